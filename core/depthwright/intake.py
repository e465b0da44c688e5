"""From a scan to a line of the job: reference, antenna, direct wave."""

from pathlib import Path

import numpy as np

from depthwright.depth import priors
from depthwright.edits import add_line, new_id
from depthwright.job import Antenna, DirectPick, Job, Line, ScanRef
from depthwright.measuring.timezero import DirectWave, centre_frequency_ghz, find_direct_wave
from depthwright.scan import Scan, scan_from_array

SAME_FREQUENCY = 0.25
"""Two spectra closer than this share are taken for one antenna's."""


def take_in(
    job: Job,
    scan: Scan,
    *,
    antenna: Antenna | None = None,
    given_dt_ns: float | None = None,
    given_trace_spacing_mm: float | None = None,
) -> tuple[Job, str]:
    """Add a scan to the job as a line; gives the job and the line's id.

    Parameters
    ----------
    job, scan
        The job and the scan to add.
    antenna
        An antenna card. Without one, an antenna of the job with the same separation serves, and
        without that either one is assumed from the file and the pulse's spectrum.
    given_dt_ns, given_trace_spacing_mm
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
    known = antenna or _same_antenna(job, scan)
    chosen = known or _assumed_antenna(job, scan)
    direct = find_direct_wave(scan, chosen.centre_frequency_ghz)
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
            given_dt_ns=given_dt_ns,
            given_trace_spacing_mm=given_trace_spacing_mm,
        ),
        zone=job.zones[0].id,
        antenna=chosen.id,
        direct=DirectPick(
            time_ns=direct.time_ns,
            time_u_ns=direct.time_u_ns,
            frequency_ghz=round(_own_frequency_ghz(direct, scan.dt_ns), 3),
        ),
    )
    is_new = all(other.id != chosen.id for other in job.antennas)
    return add_line(job, line, chosen if is_new else None), line.id


def _own_frequency_ghz(direct: DirectWave, dt_ns: float) -> float:
    """Centre of the direct wave's own spectrum: on a whole line the echoes pull it up."""
    return centre_frequency_ghz(scan_from_array(np.stack(3 * [direct.wavelet]), dt_ns))


def _same_antenna(job: Job, scan: Scan) -> Antenna | None:
    """The job's antenna with the scan's separation; by its frequency when the file does not say."""
    frequency = centre_frequency_ghz(scan) if scan.separation_mm is None else None
    for antenna in reversed(job.antennas):
        if scan.separation_mm is not None:
            fits = abs(antenna.separation_mm - scan.separation_mm) < 0.5
        else:
            assert frequency is not None
            fits = abs(antenna.centre_frequency_ghz / frequency - 1) < SAME_FREQUENCY
        if fits:
            return antenna
    return None


def _assumed_antenna(job: Job, scan: Scan) -> Antenna:
    separation = scan.separation_mm
    known = separation is not None
    told = "separation from the file" if known else "separation assumed"
    return Antenna(
        id=new_id(job, "antenna"),
        separation_mm=priors.ANTENNA_SEPARATION_MM if separation is None else separation,
        separation_known=known,
        centre_frequency_ghz=round(centre_frequency_ghz(scan), 2),
        source=f"{told}, frequency from the pulse's spectrum, height and time offset assumed",
    )
