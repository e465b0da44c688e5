"""What a reader has to tell about a file: what it made of it, and what it must ask for."""

from dataclasses import dataclass
from typing import Literal

from depthwright.errors import DepthwrightError
from depthwright.job import TracesIn

Need = Literal["trace_spacing", "sample_interval"]


@dataclass(frozen=True)
class Stated:
    """A number that a file gives for its sample interval, in a unit that it may not name.

    Parameters
    ----------
    place
        Where in the file it stands.
    value
        The number; 0 where the file leaves it open.
    """

    place: str
    value: float


@dataclass(frozen=True)
class FileFacts:
    """What a scan's file says of itself, what was made of it, and what it leaves open.

    Parameters
    ----------
    rows
        What was read and inferred, in the order in which it is told.
    needs
        What has to be given before the file can be opened.
    intervals
        Numbers that may be the sample interval, the most trusted first.
    samples
        Samples in a trace.
    text
        The file's own words (the text header, or the first lines); may be empty.
    traces_in
        How a matrix is taken to lie; None for other files.
    data_sets
        Names of what can be read in a file that holds several, the one taken first.
    """

    rows: tuple["Fact", ...]
    needs: tuple[Need, ...]
    intervals: tuple[Stated, ...]
    samples: int
    text: str = ""
    traces_in: TracesIn | None = None
    data_sets: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fact:
    """One thing about a file: what it says, what was made of it, and why if that is no matter of course.

    Parameters
    ----------
    label
        What it is about.
    stated
        What the file says.
    inferred
        What was made of it; empty where nothing could be.
    why
        Full sentences; empty where nothing had to be inferred.
    settled
        Whether nobody needs to confirm it: the file says so itself, or it changes no depth.
    """

    label: str
    stated: str
    inferred: str
    why: str = ""
    settled: bool = True


class MissingGeometry(DepthwrightError):  # noqa: N818 (a question, no failure)
    """The file is readable once somebody says where its traces or samples are.

    Parameters
    ----------
    needs
        What to ask for before reading again.
    """

    def __init__(self, message: str, hint: str, needs: tuple[Need, ...]) -> None:
        super().__init__(message, hint)
        self.needs = needs


NEED_WORDS: dict[Need, str] = {
    "trace_spacing": "trace spacing",
    "sample_interval": "sample interval",
}
_NEED_UNITS: dict[Need, str] = {"trace_spacing": "mm", "sample_interval": "ns"}


def missing(facts: FileFacts) -> MissingGeometry:
    """What is said of a file that leaves something open: why, and what to give."""
    reasons = [fact.why for fact in facts.rows if fact.why and not fact.inferred]
    wanted = " and ".join(f"the {NEED_WORDS[need]} in {_NEED_UNITS[need]}" for need in facts.needs)
    return MissingGeometry(" ".join(reasons), f"Give {wanted}.", facts.needs)
