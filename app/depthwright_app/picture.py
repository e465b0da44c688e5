"""What should be on screen: plain values from job, results and selection. No Qt here.

Places are in plot coordinates: distance from the datum in mm, file time in ns. Views compare pictures
and touch what differs.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from depthwright.exports.wording import TARGET_LETTERS
from depthwright.job import BarMark, FaceMark, Job, Line, NoteMark, TargetMark, Tie
from depthwright.results.values import FaceRow, LineRows, Measured, Results
from depthwright.units import THIN_SPACE, LengthUnit, format_interval, from_mm
from depthwright_app.wording import place_words

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Run:
    """A run of places, read as (mm, ns) pairs and compared by value.

    ``places`` is an array of shape (points, 2): hundreds of outlines are kept and drawn as they are.
    """

    places: Floats

    def __len__(self) -> int:
        return len(self.places)

    def __iter__(self) -> Iterator[tuple[float, float]]:
        return (tuple(pair) for pair in self.places.tolist())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Run) and np.array_equal(self.places, other.places)

    def __hash__(self) -> int:
        return hash(self.places.tobytes())


NOWHERE = Run(np.empty((0, 2)))


@dataclass(frozen=True)
class BarGlyph:
    """A bar: outline to scale, whisker for U, label."""

    mark_id: str
    position_mm: float
    time_ns: float
    outline: Run
    whisker_ns: tuple[float, float]
    label: str
    short_label: str
    tie_label: str
    surface_ns: float
    selected: bool
    provisional: bool


@dataclass(frozen=True)
class PointGlyph:
    """An anchor, a target or a note."""

    kind: Literal["anchor", "target", "note"]
    mark_id: str
    anchor: int | None
    position_mm: float
    time_ns: float
    label: str
    tie_label: str
    surface_ns: float
    selected: bool


@dataclass(frozen=True)
class Stretch:
    """A back face without a gap: its line and the edges of U."""

    line: Run
    upper: Run
    lower: Run


@dataclass(frozen=True)
class FaceGlyph:
    """A back face in its stretches."""

    mark_id: str
    stretches: tuple[Stretch, ...]
    label: str
    selected: bool


@dataclass(frozen=True)
class CoverBar:
    """One bar of the cover strip, mm."""

    mark_id: str
    position_mm: float
    cover_mm: float
    expanded_mm: float
    short_of_mm: float
    label: str
    selected: bool


@dataclass(frozen=True)
class Picture:
    """Everything drawn over a line's section and under it."""

    bars: tuple[BarGlyph, ...] = ()
    faces: tuple[FaceGlyph, ...] = ()
    points: tuple[PointGlyph, ...] = ()
    covers: tuple[CoverBar, ...] = ()
    specified_cover_mm: float | None = None
    provisional: bool = False

    @property
    def glyphs(self) -> "tuple[BarGlyph | PointGlyph, ...]":
        """Everything that can be clicked."""
        return (*self.bars, *self.points)


def resolve(
    job: Job, results: Results, line_id: str, selected: tuple[str, int | None] | None
) -> Picture:
    """The picture of one line; ``selected`` is a mark's id and its anchor, if any."""
    if line_id not in results.lines:
        return Picture()
    line, rows = job.line(line_id), results.lines[line_id]
    chosen = selected or ("", None)
    surface = float(rows.model.file_ns(np.zeros(1))[0])
    return Picture(
        bars=_bars(job, line, rows, chosen[0], surface, results.provisional),
        faces=_faces(job.unit, rows, chosen[0]),
        points=(*_anchors(job, line, rows, chosen, surface), *_points(line, rows, job, chosen)),
        covers=_covers(job, rows, chosen[0]),
        specified_cover_mm=job.specified_cover_mm,
        provisional=results.provisional,
    )


def readout(
    job: Job, results: Results, line_id: str, mark_id: str, anchor: int | None
) -> tuple[tuple[str, str], ...]:
    """What is known of one mark: pairs of a name and a value with its interval (U, k = 2)."""
    line, rows = job.line(line_id), results.lines[line_id]

    def full(value: Measured) -> str:
        return format_interval(value.value_mm, value.expanded_mm, job.unit)

    for bar in rows.bars:
        if bar.mark_id == mark_id:
            pairs = [("Cover", full(bar.cover)), ("Position", full(bar.position))]
            if bar.spacing is not None:
                pairs.append(("Spacing", full(bar.spacing)))
            return (*pairs, ("Two-way time", f"{bar.two_way_ns:.2f} ns"))
    for face in rows.faces:
        if face.mark_id == mark_id:
            here = face.anchors[anchor or 0]
            return (
                ("Thickness here", full(here.depth)),
                ("Position", full(here.position)),
                ("Median", full(face.median)),
            )
    for target in rows.targets:
        if target.mark_id == mark_id:
            return (("Depth", full(target.depth)), ("Position", full(target.position)))
    note = line.mark(mark_id)
    if isinstance(note, NoteMark):
        return (("Position", place_words(line, note.position_mm, job.unit)),)
    return ()


def measured_label(value: Measured, unit: LengthUnit, with_unit: bool = False) -> str:
    """``24 ± 2``, as beside marks."""
    return format_interval(value.value_mm, value.expanded_mm, unit, 1, with_unit)


def tie_words(tie: Tie | None, unit: LengthUnit) -> str:
    """The known depth as it stands at its bracket."""
    if tie is None:
        return ""
    shown = round(from_mm(tie.depth_mm, unit), 1 if unit == "mm" else 2)
    return f"{shown:g}{THIN_SPACE}{unit}"


def _bars(
    job: Job, line: Line, rows: LineRows, chosen: str, surface: float, provisional: bool
) -> tuple[BarGlyph, ...]:
    position = np.array([row.position.value_mm for row in rows.bars])
    cover = np.array([row.cover.value_mm for row in rows.bars])
    spread = np.array([row.cover.expanded_mm for row in rows.bars])
    diameter = np.array([row.diameter_mm for row in rows.bars])
    known = np.isfinite(cover)
    outlines = rows.model.bar_outline(position, np.nan_to_num(cover), diameter)
    ends = np.nan_to_num(cover[:, None] + spread[:, None] * np.array([-1.0, 1.0]))
    whiskers = rows.model.file_ns(np.maximum(ends, 0.0)).tolist()
    marks = {mark.id: mark for mark in line.marks}
    glyphs = []
    for index, row in enumerate(rows.bars):
        mark = marks[row.mark_id]
        assert isinstance(mark, BarMark)
        low, high = whiskers[index] if known[index] else (mark.time_ns, mark.time_ns)
        glyphs.append(
            BarGlyph(
                mark_id=row.mark_id,
                position_mm=row.position.value_mm,
                time_ns=mark.time_ns,
                outline=Run(outlines[index]) if known[index] else NOWHERE,
                whisker_ns=(low, high),
                label=f"{row.number}   {measured_label(row.cover, job.unit)}",
                short_label=str(row.number),
                tie_label=tie_words(row.tie, job.unit),
                surface_ns=surface,
                selected=row.mark_id == chosen,
                provisional=provisional,
            )
        )
    return tuple(glyphs)


def _faces(unit: LengthUnit, rows: LineRows, chosen: str) -> tuple[FaceGlyph, ...]:
    return tuple(
        FaceGlyph(
            mark_id=row.mark_id,
            stretches=tuple(_stretches(rows, row)),
            label=measured_label(row.median, unit, with_unit=True),
            selected=row.mark_id == chosen,
        )
        for row in rows.faces
    )


def _stretches(rows: LineRows, row: FaceRow) -> list[Stretch]:
    """The profile's stretches between gaps, with the band of U."""
    low, high = (
        rows.model.file_ns(np.maximum(row.depth_mm + sign * 2 * row.depth_u_mm, 0.0))
        for sign in (-1, 1)
    )
    stretches = []
    for part in np.split(np.arange(len(row.position_mm)), row.breaks):
        part = part[np.isfinite(row.depth_mm[part])]
        if len(part):
            where = row.position_mm[part]
            line, upper, lower = (
                Run(np.column_stack([where, times[part]])) for times in (row.time_ns, low, high)
            )
            stretches.append(Stretch(line, upper, lower))
    return stretches


def _anchors(
    job: Job, line: Line, rows: LineRows, chosen: tuple[str, int | None], surface: float
) -> list[PointGlyph]:
    glyphs = []
    for row in rows.faces:
        mark = line.mark(row.mark_id)
        assert isinstance(mark, FaceMark)
        for place, (anchor, anchor_row) in enumerate(zip(mark.anchors, row.anchors, strict=True)):
            glyphs.append(
                PointGlyph(
                    kind="anchor",
                    mark_id=mark.id,
                    anchor=place,
                    position_mm=anchor_row.position.value_mm,
                    time_ns=anchor.time_ns,
                    label=measured_label(anchor_row.depth, job.unit),
                    tie_label=tie_words(anchor_row.tie, job.unit),
                    surface_ns=surface,
                    selected=(mark.id, place) == chosen,
                )
            )
    return glyphs


def _points(
    line: Line, rows: LineRows, job: Job, chosen: tuple[str, int | None]
) -> list[PointGlyph]:
    targets = {row.mark_id: row for row in rows.targets}
    surface = float(rows.model.file_ns(np.zeros(1))[0])
    glyphs = []
    for mark in line.marks:
        if not isinstance(mark, TargetMark | NoteMark):
            continue
        if isinstance(mark, TargetMark):
            row = targets[mark.id]
            depth = measured_label(row.depth, job.unit)
            label, tie = f"{TARGET_LETTERS[mark.what]}{mark.number}   {depth}", row.tie
        else:
            label, tie = mark.text, None
        glyphs.append(
            PointGlyph(
                kind=mark.kind,
                mark_id=mark.id,
                anchor=None,
                position_mm=line.on_concrete_mm(mark.position_mm),
                time_ns=mark.time_ns,
                label=label,
                tie_label=tie_words(tie, job.unit),
                surface_ns=surface,
                selected=mark.id == chosen[0],
            )
        )
    return glyphs


def _covers(job: Job, rows: LineRows, chosen: str) -> tuple[CoverBar, ...]:
    specified = job.specified_cover_mm or 0.0
    return tuple(
        CoverBar(
            mark_id=row.mark_id,
            position_mm=row.position.value_mm,
            cover_mm=row.cover.value_mm,
            expanded_mm=row.cover.expanded_mm,
            short_of_mm=max(0.0, specified - row.cover.value_mm),
            label=measured_label(row.cover, job.unit),
            selected=row.mark_id == chosen,
        )
        for row in rows.bars
        if np.isfinite(row.cover.value_mm)
    )
