"""Files on their way in: what they say, what the user says of them, and what is still open. No Qt here."""

from dataclasses import dataclass, replace
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.files.facts import NEED_WORDS, Need
from depthwright.files.readers import Glance, glance
from depthwright.job import NOTHING_GIVEN, Given
from depthwright.units import LengthUnit, parse_length_mm, parse_plain

INTERVALS_NS = 1e-6, 1e6
SPACINGS_MM = 1e-3, 1e6
"""What is typed may be wrong by a unit; beyond these no line was ever recorded, and numbers overflow."""


@dataclass(frozen=True)
class Incoming:
    """One file on its way into the job.

    Parameters
    ----------
    path
        The file.
    given
        What the user says of it.
    glance
        What the file says, and its scan; None where it cannot be read.
    looked_with
        What had been said of it when it was looked at.
    problem
        Why it cannot be read; empty otherwise.
    """

    path: Path
    given: Given
    glance: Glance | None = None
    looked_with: Given = NOTHING_GIVEN
    problem: str = ""

    @property
    def samples(self) -> int:
        """Samples in a trace; 0 where it cannot be read."""
        return self.glance.scan.samples if self.glance else 0

    @property
    def dt_ns(self) -> float | None:
        """Sample interval as given or as read, ns."""
        return self.given.dt_ns or self._read("sample_interval", "dt_ns")

    @property
    def spacing_mm(self) -> float | None:
        """Trace spacing as given or as read, mm."""
        return self.given.trace_spacing_mm or self._read("trace_spacing", "trace_spacing_mm")

    @property
    def length_mm(self) -> float | None:
        """Length of the line, mm."""
        if self.glance is None or self.spacing_mm is None:
            return None
        if self.given.trace_spacing_mm is None:
            return self.glance.scan.length_mm
        return self.given.trace_spacing_mm * (self.glance.scan.traces - 1)

    def _read(self, need: Need, name: str) -> float | None:
        if self.glance is None or need in self.glance.facts.needs:
            return None
        return float(getattr(self.glance.scan, name))

    def is_told_with(self, other: "Incoming", name: str) -> bool:
        """Whether what is said of another file holds for this one: it leaves that open, or says the same."""
        mine, its = self.glance, other.glance
        if mine is None or its is None:
            return False
        said, said_there = getattr(self.given, name), getattr(other.given, name)
        if said and said != said_there:  # something of its own has been said of it
            return False
        if name == "dt_ns":
            return (
                "sample_interval" in mine.facts.needs or mine.facts.intervals == its.facts.intervals
            )
        if name == "trace_spacing_mm":
            own, there = (file._read("trace_spacing", name) for file in (self, other))
            return own is None or own == there
        matrices = mine.facts.traces_in is not None and its.facts.traces_in is not None
        return matrices and mine.facts.data_sets == its.facts.data_sets

    @property
    def open_words(self) -> str:
        """What has still to be said of it: "trace spacing and sample interval"; empty when nothing."""
        if self.glance is None:
            return ""
        known = {"trace_spacing": self.spacing_mm, "sample_interval": self.dt_ns}
        return " and ".join(NEED_WORDS[need] for need, value in known.items() if value is None)  # type: ignore[index]

    @property
    def state_words(self) -> str:
        """In a word or two how far it is."""
        if self.problem:
            return "cannot be read"
        return f"{self.open_words} missing" if self.open_words else "ready"

    def settled(self, *, antenna_known: bool) -> bool:
        """Whether it can be taken in with nothing to ask or to confirm."""
        if self.glance is None or self.open_words:
            return False
        sure = all(fact.settled for fact in self.glance.facts.rows)
        return sure and (antenna_known or self.glance.scan.separation_mm is not None)


def look_at(path: Path, given: Given = NOTHING_GIVEN) -> Incoming:
    """Look at a file; one that cannot be read says why."""
    try:
        return Incoming(path, given, glance(path, given), given)
    except DepthwrightError as problem:
        return Incoming(path, given, problem=str(problem))
    except MemoryError:
        return Incoming(
            path,
            given,
            problem=f"{path.name} needs more memory than there is. Export the line as SEG-Y.",
        )


def told(incoming: Incoming, given: Given) -> Incoming:
    """The same file with something else said of it; it is read anew only where that reads it differently."""
    lies = (given.traces_in, given.data_set)
    if incoming.glance is None or lies != (incoming.given.traces_in, incoming.given.data_set):
        return look_at(incoming.path, given)
    return replace(incoming, given=given)


def interval_ns(text: str, each_ns: float) -> float:
    """A sample interval, ns, that was typed as a number; ``each_ns`` is what one of it means, ns.

    Raises
    ------
    DepthwrightError
        When it can be none.
    """
    return _within(parse_plain(text)[0] * each_ns, INTERVALS_NS, text, "sample interval")


def spacing_mm(text: str, unit: LengthUnit) -> float:
    """A distance between traces, mm, that was typed.

    Raises
    ------
    DepthwrightError
        When it can be none.
    """
    return _within(parse_length_mm(text, unit), SPACINGS_MM, text, "distance between traces")


def _within(value: float, bounds: tuple[float, float], text: str, what: str) -> float:
    least, most = bounds
    if least <= value <= most:
        return value
    shown = text if len(text) <= 20 else f"{text[:20]}…"
    raise DepthwrightError(f"“{shown}” cannot be the {what} of a line.")
