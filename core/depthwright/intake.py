"""From a scan to a line of the job: reference, antenna, direct wave."""

from functools import cached_property
from pathlib import Path

import numpy as np

from depthwright.depth import priors
from depthwright.edits import add_line, new_id
from depthwright.errors import DepthwrightError
from depthwright.job import NOTHING_GIVEN, Antenna, DirectPick, Given, Job, Line, ScanRef
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import (
    DirectWave,
    centre_frequency_ghz,
    is_cut_off,
    sample_traces,
    settle_direct_wave,
)
from depthwright.scan import Scan, scan_from_array

SAME_FREQUENCY = 0.25
"""Two spectra closer than this share are taken for one antenna's."""


CUT_OFF = (
    "The strongest samples are cut off at one value: the recorder was overdriven. The direct wave's time, "
    "and all depths with it, may be off by more than their intervals say. Record again with less gain."
)


class Survey:
    """What the traces of a scan say, each thing found once: the slow part of taking it in.

    Parameters
    ----------
    scan
        The scan. A thousand of its traces are read here and kept for all that is asked.
    """

    def __init__(self, scan: Scan) -> None:
        self.scan = scan
        self._sampled = scan_from_array(sample_traces(scan), scan.dt_ns)
        self._found: dict[float, tuple[DirectPick, PickStage]] = {}

    @cached_property
    def frequency_ghz(self) -> float:
        """Centre frequency by the pulse's spectrum, GHz."""
        return centre_frequency_ghz(self._sampled)

    @property
    def largest(self) -> float:
        """Largest sample among the traces read, whatever its sign; 0 for a scan of zeros."""
        return float(np.abs(self._sampled.block(0, self._sampled.traces)).max())

    @property
    def warnings(self) -> tuple[str, ...]:
        """What about the traces makes all that is read of them less sure, in sentences."""
        return (CUT_OFF,) if is_cut_off(self._sampled.block(0, self._sampled.traces)) else ()

    def prepare(self, job: Job, card: Antenna | None = None) -> "Survey":
        """Find what taking the scan into the job will ask for; gives itself."""
        self.find((card or _chosen_antenna(job, self)).centre_frequency_ghz)
        return self

    def serves(self, job: Job, card: Antenna | None = None) -> bool:
        """Whether taking the scan into the job is quick, with all it asks for found."""
        try:
            return (card or _chosen_antenna(job, self)).centre_frequency_ghz in self._found
        except DepthwrightError:
            return False

    def find(self, frequency_ghz: float) -> tuple[DirectPick, PickStage]:
        """The direct wave and the stage to pick on, for an antenna of a frequency."""
        if frequency_ghz not in self._found:
            # As first found, and as when the job is opened again: around the time that is stored.
            direct, wave = settle_direct_wave(self._sampled, frequency_ghz)
            pick = DirectPick(
                time_ns=direct.time_ns,
                time_u_ns=direct.time_u_ns,
                frequency_ghz=round(_own_frequency_ghz(direct, self.scan.dt_ns), 3),
            )
            self._found[frequency_ghz] = pick, PickStage(self.scan, wave)
        return self._found[frequency_ghz]


def take_in(
    job: Job,
    scan: Scan,
    *,
    survey: Survey | None = None,
    card: Antenna | None = None,
    given: Given = NOTHING_GIVEN,
) -> tuple[Job, str]:
    """Add a scan to the job as a line; gives the job and the line's id.

    Parameters
    ----------
    job, scan
        The job and the scan to add.
    survey
        The scan's survey if there is one; made here otherwise.
    card
        An antenna card, or an antenna of the job. Without one, an antenna of the job with the same
        separation serves, and without that either one is assumed from the file and the pulse's spectrum.
    given
        What the user said of the file, kept so that it is read the same way again.

    Raises
    ------
    DepthwrightError
        When the scan holds no pulse.
    """
    name = Path(scan.source).stem or "Line"
    taken = {line.name for line in job.lines}
    if name in taken:
        name = next(
            f"{name} ({n})" for n in range(2, len(taken) + 3) if f"{name} ({n})" not in taken
        )
    survey = survey or Survey(scan)
    chosen = as_in(job, card) if card else _chosen_antenna(job, survey)
    direct, _ = survey.find(chosen.centre_frequency_ghz)
    line = Line(
        id=new_id(job, "line"),
        name=name,
        scan=ScanRef(
            path=scan.source,
            size_bytes=scan.size_bytes,
            sha256=scan.sha256,
            traces=scan.traces,
            samples=scan.samples,
            dt_ns=scan.dt_ns,
            first_mm=float(scan.positions_mm[0]),
            given=given,
        ),
        zone=job.zones[0].id,
        antenna=chosen.id,
        direct=direct,
    )
    is_new = all(other.id != chosen.id for other in job.antennas)
    return add_line(job, line, chosen if is_new else None), line.id


def as_in(job: Job, card: Antenna) -> Antenna:
    """A card as an antenna of the job: the one that is like it, else the card with an id of its own."""
    for antenna in job.antennas:
        if antenna.model_copy(update={"id": card.id}) == card:
            return antenna
    return card.model_copy(update={"id": new_id(job, "antenna")})


def hash_found(job: Job, line_id: str, scan: Scan) -> Job:
    """The job with the hash of a line's scan, where it was not known before the check. No edit."""

    def known(line: Line) -> Line:
        ref = line.scan
        same = (ref.path, ref.size_bytes) == (scan.source, scan.size_bytes)
        if line.id != line_id or ref.sha256 or not same:
            return line
        found = ref.model_copy(update={"sha256": scan.sha256})
        return line.model_copy(update={"scan": found})

    lines = tuple(known(line) for line in job.lines)
    return job if lines == job.lines else job.model_copy(update={"lines": lines})


def scan_at(job: Job, ref: ScanRef, path: str) -> Job:
    """The job with a scan that has moved named where it is now, in all lines that show it. No edit."""

    def moved(line: Line) -> Line:
        if line.scan.path != ref.path or line.scan.sha256 != ref.sha256:
            return line
        return line.model_copy(update={"scan": line.scan.model_copy(update={"path": path})})

    lines = tuple(moved(line) for line in job.lines)
    return job if lines == job.lines else job.model_copy(update={"lines": lines})


def _own_frequency_ghz(direct: DirectWave, dt_ns: float) -> float:
    """Centre of the direct wave's own spectrum: on a whole line the echoes pull it up."""
    return centre_frequency_ghz(scan_from_array(np.stack(3 * [direct.wavelet]), dt_ns))


def _chosen_antenna(job: Job, survey: Survey) -> Antenna:
    """The job's antenna with the scan's separation (frequency, if the file is silent), or one assumed."""
    separation = survey.scan.separation_mm
    for antenna in reversed(job.antennas):
        if separation is not None:
            fits = abs(antenna.separation_mm - separation) < 0.5
        else:
            fits = abs(antenna.centre_frequency_ghz / survey.frequency_ghz - 1) < SAME_FREQUENCY
        if fits:
            return antenna
    return assumed_antenna(job, survey)


def assumed_antenna(job: Job, survey: Survey) -> Antenna:
    """An antenna by what the file says and the pulse's spectrum, the rest assumed."""
    separation = survey.scan.separation_mm
    known = separation is not None
    told = "separation from the file" if known else "separation assumed"
    return Antenna(
        id=new_id(job, "antenna"),
        separation_mm=priors.ANTENNA_SEPARATION_MM if separation is None else separation,
        separation_known=known,
        centre_frequency_ghz=round(survey.frequency_ghz, 2),
        source=f"{told}, frequency from the pulse's spectrum, height and time offset assumed",
    )
