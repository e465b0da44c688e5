"""The form of the results in a job file: plain numbers that anyone can read without this program.

Lengths are mm, times ns. A name ending in ``_u`` (before its unit) is a standard uncertainty, one with
``_expanded`` is U = k u with the k stated once. A value that does not exist is null.
"""

from typing import Any, Final, Literal

from depthwright.job import Frozen, Origin, TargetKind
from depthwright.results.values import EvidenceKind

FORM: Final = 2
"""Of what is written now. Results of another form are computed again, not compared."""


class Length(Frozen):
    """A measured length with its standard and expanded uncertainty, mm."""

    value_mm: float | None
    u_mm: float | None
    expanded_mm: float | None


class KnownDepth(Frozen):
    """A tie that counts: a known depth, mm, and its standard uncertainty, mm."""

    depth_mm: float
    u_mm: float
    origin: Origin


class BarBlock(Frozen):
    """One bar; position from the datum, spacing to the bar before it.

    ``curvature`` says whether the curvature of its hyperbola counted as evidence.
    """

    mark: str
    number: int
    position: Length
    cover: Length
    spacing: Length | None
    diameter_mm: float
    two_way_ns: float
    overlaps_direct: bool
    curvature: bool
    tie: KnownDepth | None


class AnchorBlock(Frozen):
    """A point of the back face that the user pointed at."""

    position: Length
    depth: Length
    tie: KnownDepth | None


class Profile(Frozen):
    """A back face along the line: lists of equal length, ordered from the datum."""

    position_mm: tuple[float, ...]
    depth_mm: tuple[float | None, ...]
    depth_u_mm: tuple[float | None, ...]
    time_ns: tuple[float, ...]


class FaceBlock(Frozen):
    """One back face; its profile keeps at most a thousand of the ``tracked_points``."""

    mark: str
    number: int
    median: Length
    anchors: tuple[AnchorBlock, ...]
    tracked_points: int
    profile: Profile


class TargetBlock(Frozen):
    """Another target."""

    mark: str
    number: int
    what: TargetKind
    position: Length
    depth: Length
    tie: KnownDepth | None


class DepthModelBlock(Frozen):
    """What turns file times into depths on a line.

    A two-way time is a file time less ``time_zero_ns``; echoes of bars come earlier by the unknown
    ``bars_early_ns``.
    """

    permittivity: float
    permittivity_u: float
    separation_mm: float
    height_mm: float
    direct_ns: float
    time_zero_ns: float
    time_zero_u_ns: float


class LineBlock(Frozen):
    """The results of one line."""

    line: str
    name: str
    depth_model: DepthModelBlock
    bars: tuple[BarBlock, ...]
    faces: tuple[FaceBlock, ...]
    targets: tuple[TargetBlock, ...]


class EvidenceBlock(Frozen):
    """One piece of evidence and the permittivity it alone would give.

    ``log_u`` is the standard uncertainty of its natural logarithm, ``low`` and ``high`` the ends of the
    interval (k = 2, even in the logarithm). ``line`` and ``mark`` are empty where it belongs to none.
    """

    kind: EvidenceKind
    label: str
    permittivity: float
    log_u: float
    low: float
    high: float
    used: bool
    note: str
    line: str
    mark: str


class OutlookRowBlock(Frozen):
    """U of the deep depth with some evidence, mm; ``now`` is with what is there."""

    what: str
    expanded_mm: float | None
    now: bool


class OutlookBlock(Frozen):
    """How good depths are, near the surface and deep, and what one more reading would bring."""

    shallow: Length
    deep: Length
    deep_label: str
    rows: tuple[OutlookRowBlock, ...]


class UnknownsBlock(Frozen):
    """What all depths share: names, values and their covariance, to six significant digits.

    Rows and columns of the covariance are in the order of the names. ``ln_`` stands for a natural
    logarithm.
    """

    names: tuple[str, ...]
    values: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]


class ResultsBlock(Frozen):
    """All results of a job as computed when it was saved."""

    form: Literal[2] = FORM
    program: str
    length_unit: Literal["mm"] = "mm"
    time_unit: Literal["ns"] = "ns"
    coverage_factor: float
    intervals: str
    permittivity: float
    permittivity_u: float
    permittivity_expanded: float
    provisional: bool
    adopted_from: tuple[str, ...]
    evidence: tuple[EvidenceBlock, ...]
    outlook: OutlookBlock | None
    unknowns: UnknownsBlock
    lines: tuple[LineBlock, ...]
    warnings: tuple[str, ...]
    messages: tuple[str, ...]
    cautions: tuple[str, ...]


def unusable_words(stored: Any) -> str:
    """Why a stored block that does not validate is left out: of another form, or damaged."""
    form = stored.get("form", 1) if isinstance(stored, dict) else FORM
    if not isinstance(form, int) or form == FORM:
        return "The stored results are damaged; they are computed again."
    age = "an older" if form < FORM else "a newer"
    return f"The stored results are of {age} form; they are computed again."
