"""The job: everything about one member investigated, as one frozen tree of plain values.

Who owns what: permittivity per zone; separation, height and time offset per antenna; direct wave,
datum, direction, distance scale, turn and crop per line; reading uncertainty per meter; diameter and pick
stage per mark. Marks keep distance and time on the recorded axes, so that a better depth model moves depths
and never marks. Arrays never live here.
"""

import math
from typing import Annotated, Literal, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, FailFast, Field, model_validator

from depthwright.constants import (
    PERMITTIVITY_MAX,
    PERMITTIVITY_MIN,
    TYPICAL_PERMITTIVITY,
    TYPICAL_PERMITTIVITY_U,
)
from depthwright.depth import priors
from depthwright.errors import DepthwrightError
from depthwright.measuring.stage import PICK_STAGE
from depthwright.processing.recipe import Recipe
from depthwright.units import LengthUnit

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
AntennaLength = Annotated[float, Field(ge=0, le=1e5)]
Frequency = Annotated[float, Field(gt=0, le=1e3)]
FileTime = Annotated[float, Field(ge=-1e6, le=1e6)]
Distance = TypeVar("Distance", float, NDArray[np.float64])
Origin = Literal["cover meter", "drilled hole or core", "drawing", "exposed target", "other"]
Medium = Literal["concrete", "other"]
DirectShiftSource = Literal["computed", "measured"]
TracesIn = Literal["rows", "columns"]
CrestNode = tuple[float, float]
"""Position along the line, mm, and file time, ns."""
Crest = Annotated[tuple[CrestNode, ...], FailFast()]
"""A hyperbola's picked points. Long lists give up at their first fault: a spoilt file may hold a million."""
TargetKind = Literal["duct", "conduit", "pipe", "void", "unknown"]
AS_SCANNED = "as scanned"
"""A line's direction as long as nobody named it."""
SCALE_LEAST, SCALE_MOST = 0.1, 10.0
"""Distance scales, true over recorded distance, between which a line is believed."""


class Frozen(BaseModel):
    """Base of every part of the tree: immutable, no unknown fields, no NaN or infinity."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, ser_json_inf_nan="constants"
    )


class Given(Frozen):
    """What the user said of a scan's file where it is silent or wrong.

    ``traces_in`` says how a matrix lies; ``data_set`` names the one to read in a file that holds several.
    """

    dt_ns: Positive | None = None
    trace_spacing_mm: Positive | None = None
    traces_in: TracesIn | None = None
    data_set: str = ""


NOTHING_GIVEN = Given()


class ScanRef(Frozen):
    """Which scan a line shows. The file is never copied or altered.

    ``first_mm`` is the recorded position of the first trace, where the distance wheel began.
    """

    path: str
    size_bytes: int = Field(ge=0)
    sha256: str
    traces: int = Field(ge=1)
    samples: int = Field(ge=2)
    dt_ns: Positive
    first_mm: float = 0.0
    given: Given = NOTHING_GIVEN


class Tie(Frozen):
    """A known depth: value, uncertainty and where it came from.

    ``meter_diameter_mm`` is the bar diameter that was set on the cover meter. A tie with a reason in
    ``set_aside`` is kept and shown, and counts for nothing.
    """

    depth_mm: float = Field(gt=0, le=1e7)
    plus_minus_mm: float = Field(ge=1e-6, le=1e9)
    limits: bool = False
    origin: Origin = "cover meter"
    meter_diameter_mm: Positive | None = None
    set_aside: str = ""

    @property
    def used(self) -> bool:
        """Whether it counts as evidence."""
        return not self.set_aside

    @property
    def u_mm(self) -> float:
        """Standard uncertainty, mm; limits are rectangular (JCGM 100:2008, 4.3.7)."""
        return self.plus_minus_mm / math.sqrt(3) if self.limits else self.plus_minus_mm


class BarMark(Frozen):
    """A bar's apex.

    ``crest`` holds the picked points of its hyperbola, to both sides of the apex; ``crest_alone`` says that
    the other bars' echoes were taken away before, so that theirs do not cross it. ``crossing_deg`` is the
    angle between the bar and the line.
    """

    kind: Literal["bar"] = "bar"
    id: str
    number: int = Field(ge=1)
    position_mm: float
    position_u_mm: NotNegative
    time_ns: float
    diameter_mm: Positive = 12.0
    crossing_deg: float = Field(default=90.0, ge=20.0, le=90.0)
    overlaps_direct: bool = False
    stage: str = PICK_STAGE
    crest: Crest = ()
    crest_alone: bool = False
    tie: Tie | None = None


class Anchor(Frozen):
    """A point of the back face that the user pointed at; a tie sits where it was clicked."""

    position_mm: float
    time_ns: float
    tie: Tie | None = None


class FaceMark(Frozen):
    """The back face, through its anchors."""

    kind: Literal["face"] = "face"
    id: str
    number: int = Field(ge=1)
    anchors: Annotated[tuple[Anchor, ...], FailFast()] = Field(min_length=1)
    stage: str = PICK_STAGE


class TargetMark(Frozen):
    """Another thing seen: a duct, a conduit, a pipe, a void, or something unknown."""

    kind: Literal["target"] = "target"
    id: str
    number: int = Field(ge=1)
    position_mm: float
    position_u_mm: NotNegative
    time_ns: float
    what: TargetKind = "unknown"
    overlaps_direct: bool = False
    stage: str = PICK_STAGE
    tie: Tie | None = None


class NoteMark(Frozen):
    """A remark pinned to a place."""

    kind: Literal["note"] = "note"
    id: str
    position_mm: float
    time_ns: float
    text: str


Mark = Annotated[BarMark | FaceMark | TargetMark | NoteMark, Field(discriminator="kind")]


class Rejected(Frozen):
    """A place that was proposed and that the user does not want proposed again."""

    kind: Literal["bar", "face"]
    position_mm: float
    time_ns: FileTime


class DirectPick(Frozen):
    """The line's direct wave: file time of its envelope maximum, and the centre of its own spectrum.

    The frequency is that of the direct wave alone, without the echoes; the antenna's stands for it where
    it was not measured.
    """

    time_ns: FileTime
    time_u_ns: NotNegative = 0.0
    frequency_ghz: Frequency | None = None


class Zone(Frozen):
    """A part of the member with one permittivity.

    The typed value steps aside as far as ties and curvature say more, unless it is kept. ``curvature``
    says whether the crests of the bars count as evidence.
    """

    id: str
    name: str = "Whole member"
    permittivity: float = Field(
        default=TYPICAL_PERMITTIVITY, ge=PERMITTIVITY_MIN, le=PERMITTIVITY_MAX
    )
    permittivity_u: float = Field(default=TYPICAL_PERMITTIVITY_U, ge=1e-6, le=1e6)
    typed: bool = False
    keep: bool = False
    curvature: bool = True
    medium: Medium = "concrete"


class Antenna(Frozen):
    """An antenna card as used in this job.

    ``time_offset_ns`` is what its direct wave comes later than ``s/c`` plus the computed near-field shift
    of a dipole pair; with ``direct_shift`` "measured" it holds the whole shift, as a card measured on
    bare concrete does.
    """

    id: str
    name: str = "Antenna"
    separation_mm: AntennaLength = priors.ANTENNA_SEPARATION_MM
    separation_u_mm: AntennaLength = priors.SEPARATION_U_MM
    separation_known: bool = True
    centre_frequency_ghz: Frequency
    height_mm: AntennaLength = priors.ANTENNA_HEIGHT_MM
    height_u_mm: AntennaLength = priors.ANTENNA_HEIGHT_U_MM
    direct_shift: DirectShiftSource = "computed"
    time_offset_ns: FileTime = priors.TIME_OFFSET_NS
    time_offset_u_ns: float = Field(default=priors.TIME_OFFSET_U_NS, gt=0, le=1e6)
    source: str = "assumed"


class Meter(Frozen):
    """A cover meter: how good its readings are taken to be.

    ``shared`` is the share of a reading's variance that all its readings have in common, such as what
    the diameter set on it or its last check leaves open.
    """

    id: str
    name: str = "Cover meter"
    reading_u_mm: float = Field(default=priors.METER_READING_U_MM, gt=0, le=1e6)
    shared: float = Field(default=priors.METER_SHARED, ge=0.0, lt=1.0)


class Taped(Frozen):
    """The place at which two known positions hold a line: midway between them.

    There the two readings leave ``u_mm`` open, the same along the whole line and independent of the
    distance scale. It holds for distances counted the way they were when it was measured.
    """

    recorded_mm: float
    u_mm: NotNegative
    reversed: bool = False


class Line(Frozen):
    """One survey line.

    With the first trace recorded at ``f``, a position recorded at ``p`` lies
    ``start_mm + f + distance_scale * (q - f)`` from the datum in the direction named. ``q`` is ``p``, or
    on a line recorded from its far end ``turned_mm - p``, where ``turned_mm`` is the sum of the recorded
    positions of its two ends. Between the two of ``crop_mm``, as recorded, the line is shown; marks
    outside stay and count.
    """

    id: str
    name: str
    scan: ScanRef
    zone: str
    antenna: str
    datum: str = "start of the line"
    direction: str = AS_SCANNED
    start_mm: float = 0.0
    distance_scale: float = Field(default=1.0, ge=SCALE_LEAST, le=SCALE_MOST)
    distance_scale_u: NotNegative = priors.DISTANCE_SCALE_U
    turned_mm: float | None = None
    taped: Taped | None = None
    crop_mm: tuple[float, float] | None = None
    direct: DirectPick
    recipe: Recipe = Recipe()
    marks: Annotated[tuple[Mark, ...], FailFast()] = ()
    rejected: Annotated[tuple[Rejected, ...], FailFast()] = ()

    @model_validator(mode="after")
    def _crop_has_a_length(self) -> Self:
        if self.crop_mm is not None and not self.crop_mm[0] < self.crop_mm[1]:
            raise ValueError(f"line “{self.name}” is cropped to nothing")
        return self

    @property
    def reversed(self) -> bool:
        """Whether it was recorded from its far end, so that distances fall from trace to trace."""
        return self.turned_mm is not None

    @property
    def course(self) -> str:
        """Which way its distances grow: the direction, and that it was recorded from the far end."""
        named = (self.direction,) if self.direction != AS_SCANNED or not self.reversed else ()
        return ", ".join((*named, *(("recorded from the far end",) if self.reversed else ())))

    def on_concrete_mm(self, recorded_mm: Distance) -> Distance:
        """Distance from the datum of recorded positions, mm."""
        first = self.scan.first_mm
        return self.start_mm + first + self.distance_scale * (self._turned(recorded_mm) - first)

    def recorded_mm(self, on_concrete_mm: Distance) -> Distance:
        """Recorded position of distances from the datum, mm."""
        first = self.scan.first_mm
        return self._turned(first + (on_concrete_mm - self.start_mm - first) / self.distance_scale)

    def _turned(self, position_mm: Distance) -> Distance:
        return position_mm if self.turned_mm is None else self.turned_mm - position_mm

    def from_fixed_mm(self, recorded_mm: Distance) -> Distance:
        """Recorded distance to the place that is held, from which the scale's uncertainty grows, mm.

        It is the end that distances are counted from; where two known positions were given, midway
        between them.
        """
        return abs(recorded_mm - self._fixed()[0])

    def place_u_mm(self, recorded_mm: float, own_u_mm: float = 0.0) -> float:
        """Standard uncertainty of a distance from the datum, mm, with that of its own recorded position.

        Own position, distance scale and known positions are independent (JCGM 100:2008, 5.1.2).
        """
        return math.hypot(*(u_mm for _, u_mm in self.place_parts(recorded_mm, own_u_mm)))

    def place_parts(
        self, recorded_mm: float, own_u_mm: float = 0.0
    ) -> tuple[tuple[str, float], ...]:
        """What a distance from the datum leaves open: sources with their standard uncertainties, mm."""
        return (
            ("pick along the line", self.distance_scale * own_u_mm),
            ("distance scale", self.distance_scale_u * self.from_fixed_mm(recorded_mm)),
            ("known positions", self._fixed()[1]),
        )

    def _fixed(self) -> tuple[float, float]:
        """Recorded position of the place that is held, and its standard uncertainty, mm."""
        if self.taped is not None and self.taped.reversed == self.reversed:
            return self.taped.recorded_mm, self.taped.u_mm
        return self._turned(self.scan.first_mm), 0.0

    def shows(self, recorded_mm: float) -> bool:
        """Whether a recorded position lies in the part of the line that is shown."""
        return self.crop_mm is None or self.crop_mm[0] <= recorded_mm <= self.crop_mm[1]

    def mark(self, mark_id: str) -> Mark:
        """The mark with this id."""
        return _by_id(self.marks, mark_id, "mark")


class Job(Frozen):
    """Everything about one member investigated."""

    name: str = "Untitled job"
    note: str = ""
    unit: LengthUnit = "mm"
    specified_cover_mm: Positive | None = None
    zones: tuple[Zone, ...] = (Zone(id="zone-1"),)
    antennas: tuple[Antenna, ...] = ()
    meters: tuple[Meter, ...] = (Meter(id="meter-1"),)
    lines: Annotated[tuple[Line, ...], FailFast()] = ()

    @model_validator(mode="after")
    def _references_hold(self) -> Self:
        zones, antennas = {zone.id for zone in self.zones}, {a.id for a in self.antennas}
        for line in self.lines:
            if line.zone not in zones or line.antenna not in antennas:
                raise ValueError(f"line “{line.name}” names a zone or antenna that is not there")
            if len({mark.id for mark in line.marks}) != len(line.marks):
                raise ValueError(f"line “{line.name}” has two marks with one id")
        marks = [mark.id for line in self.lines for mark in line.marks]
        if len(set(marks)) != len(marks):
            raise ValueError("two lines have marks with one id")
        if not self.zones:
            raise ValueError("the job has no zone")
        if not self.meters:
            raise ValueError("the job has no cover meter")
        for parts in (self.zones, self.antennas, self.meters, self.lines):
            if len({part.id for part in parts}) != len(parts):
                raise ValueError("the job has two parts with one id")
        return self

    def line(self, line_id: str) -> Line:
        """The line with this id."""
        return _by_id(self.lines, line_id, "line")

    def antenna_of(self, line: Line) -> Antenna:
        """The antenna a line was recorded with."""
        return _by_id(self.antennas, line.antenna, "antenna")

    def direct_frequency_ghz(self, line: Line) -> float:
        """Centre frequency of a line's direct wave, GHz."""
        return line.direct.frequency_ghz or self.antenna_of(line).centre_frequency_ghz

    def zone_of(self, line: Line) -> Zone:
        """The zone a line lies in."""
        return _by_id(self.zones, line.zone, "zone")


class _HasId(Protocol):
    @property
    def id(self) -> str: ...


_Part = TypeVar("_Part", bound=_HasId)


def _by_id(parts: tuple[_Part, ...], wanted: str, what: str) -> _Part:
    for part in parts:
        if part.id == wanted:
            return part
    raise DepthwrightError(f"The job has no {what} “{wanted}”.", "It may have been deleted.")
