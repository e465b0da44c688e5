"""Marks drawn over the section: bars to scale, the back face with its interval, ties, targets, notes."""

import math

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from depthwright.exports import palette
from depthwright.exports.lettering import Type, width_mm
from depthwright.exports.palette import LINE_PT, THIN_PT, cased
from depthwright.exports.section import Extent, paper_mm
from depthwright.exports.wording import TARGET_LETTERS
from depthwright.job import BarMark, FaceMark, Line, NoteMark, TargetMark, Tie
from depthwright.results.values import COVERAGE_FACTOR, BarRow, FaceRow, LineModel, LineRows
from depthwright.units import LengthUnit, format_interval

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""Left, top, right and bottom on paper, mm from the section's upper left corner."""

LABEL = Type(palette.SMALL_PT, bold=True)
_LOZENGE_PT = 12.0


class Marks:
    """Draws one line's marks on the section's axes; places in mm from the datum and ns of file time.

    ``labelled`` holds the ids of the marks that have a label above the section, to lead to.
    """

    def __init__(
        self,
        axes: Axes,
        extent: Extent,
        model: LineModel,
        unit: LengthUnit,
        provisional: bool,
        labelled: frozenset[str],
    ) -> None:
        self.axes, self.extent, self.model = axes, extent, model
        self.unit, self.provisional, self.labelled = unit, provisional, labelled
        self._mm = paper_mm(axes)
        self._cap_mm = 1.1
        self._taken: list[Box] = []
        self._strokes: dict[tuple[int, str, float, float], list[Floats]] = {}

    def draw(self, line: Line, rows: LineRows) -> None:
        """Everything, faces first and labels last."""
        self._cap_mm = min(1.1, 0.3 * self._mm[0] / max(len(rows.bars), 1))
        self._surface()
        for face in rows.faces:
            mark = line.mark(face.mark_id)
            assert isinstance(mark, FaceMark)
            self._face(face, mark)
        self._draw_strokes()
        for bar in rows.bars:
            mark = line.mark(bar.mark_id)
            assert isinstance(mark, BarMark)
            self._bar(bar, mark.time_ns)
        self._draw_strokes()
        targets = {mark.id: mark for mark in line.marks if isinstance(mark, TargetMark)}
        for row in rows.targets:
            self._lozenge(row.position.value_mm, targets[row.mark_id])
        for number, note in enumerate(notes_of(line), start=1):
            self._note(line.on_concrete_mm(note.position_mm), note.time_ns, number)
        for face in rows.faces:
            self._face_label(face)
        for row in rows.targets:
            value = format_interval(row.depth.value_mm, row.depth.expanded_mm, self.unit, figures=1)
            text = f"{row.what} {row.number}  {value}"
            place = (row.position.value_mm, targets[row.mark_id].time_ns)
            self._label(text, palette.TARGET, [place], clear_mm=3.2)
        self._draw_strokes()

    def _surface(self) -> None:
        """Where depth is zero."""
        zero = float(self.model.file_ns(np.zeros(1))[0])
        self.axes.axhline(zero, color=palette.NOTE, linewidth=THIN_PT, path_effects=cased(0.0))

    def _bar(self, row: BarRow, time: float) -> None:
        position = row.position.value_mm
        if not self.extent.holds(position, time):
            return
        leader_ns = time
        if math.isfinite(row.cover.value_mm):
            outline = self.model.bar_outline(position, row.cover.value_mm, row.diameter_mm)
            self._stroke(outline[:, 0], outline[:, 1], palette.BAR)
            ends = row.cover.value_mm + row.cover.expanded_mm * np.array([-1.0, 1.0])
            low, high = self.model.file_ns(np.maximum(ends, 0.0))
            self._whisker(position, float(low), float(high))
            leader_ns = float(low)
        else:
            self.axes.plot(
                position, time, "x", color=palette.BAR, markersize=6, markeredgewidth=LINE_PT,
                path_effects=cased(LINE_PT),
            )  # fmt: skip
        if row.mark_id in self.labelled:
            self._leader(position, leader_ns)
        if row.tie is not None:
            self._bracket(position, row.tie)
        self._take(position, time, 3.0)

    def _leader(self, position: float, down_to_ns: float) -> None:
        """From the label above the section down to the mark."""
        ends = [self.extent.top_ns, down_to_ns]
        self._stroke([position, position], ends, palette.BAR, 0.5, edge_pt=0.4)

    def _whisker(self, position: float, low_ns: float, high_ns: float) -> None:
        """The interval of a cover, with caps."""
        cap = self._cap_mm * self._per_mm()[0]
        self._stroke([position, position], [low_ns, high_ns], palette.BAR, level=1)
        for level, end in enumerate((low_ns, high_ns), start=2):
            self._stroke([position - cap, position + cap], [end, end], palette.BAR, level=level)

    def _bracket(self, position: float, tie: Tie) -> None:
        """A bracket from the surface to the known depth, beside the mark."""
        away, tick = (length * self._per_mm()[0] for length in (2.4, 1.3))
        side = position - away
        if side < self.extent.left_mm + tick:
            side, tick = position + away, -tick
        surface, known = self.model.file_ns(np.array([0.0, tie.depth_mm]))
        self._stroke(
            [side + tick, side, side, side + tick],
            [surface, surface, known, known],
            palette.TIE,
            1.3 * LINE_PT,
        )
        x, top = self._on_paper(side, float(surface))
        self._taken.append((x - 0.8, top, x + 0.8, self._on_paper(side, float(known))[1]))

    def _face(self, row: FaceRow, mark: FaceMark) -> None:
        """The back face through its profile, its U as edges hatched on the far side, its anchors."""
        where, depth = row.position_mm, np.nan_to_num(row.depth_mm)
        broken = row.breaks
        spread = COVERAGE_FACTOR * np.nan_to_num(row.depth_u_mm)
        time = np.where(np.isfinite(row.depth_mm), row.time_ns, np.nan)
        # The ruler is that of bars, whose echoes come a little early: edges are counted from the pick.
        middle = self.model.file_ns(depth)
        for sign in (-1.0, 1.0):
            edge = self.model.file_ns(np.maximum(depth + sign * spread, 0.0))
            self._hatched_edge(where, time + edge - middle, broken, sign)
        self._stroke(*_with_gaps(where, time, broken), palette.FACE)
        self._take_run(where, time)
        half = 1.3 * self._per_mm()[1]
        for anchor, place in zip(mark.anchors, row.anchors, strict=True):
            at = place.position.value_mm
            if not self.extent.holds(at, anchor.time_ns):
                continue
            ends = [anchor.time_ns - half, anchor.time_ns + half]
            self._stroke([at, at], ends, palette.FACE, 1.6 * LINE_PT)
            if anchor.tie is not None:
                self._bracket(at, anchor.tie)

    def _hatched_edge(
        self, where: Floats, edge: Floats, broken: NDArray[np.intp], away: float
    ) -> None:
        """A fine line with slanted ticks on the side away from the face, 2 mm apart on paper."""
        across, down = self._per_mm()
        at = np.arange(where[0] + across, where[-1], 2.0 * across)
        at = at[~np.isin(np.searchsorted(where, at), broken)]
        foot = np.interp(at, where, edge)
        blank = np.full(len(at), np.nan)
        ticks = (
            np.column_stack([at, at + 0.7 * across, blank]).ravel(),
            np.column_stack([foot, foot + away * 1.1 * down, blank]).ravel(),
        )
        for along, time in (_with_gaps(where, edge, broken), ticks):
            self._stroke(along, time, palette.FACE, THIN_PT, edge_pt=0.45)
        self._take_run(where, edge)

    def _face_label(self, row: FaceRow) -> None:
        known = np.flatnonzero(np.isfinite(row.depth_mm))
        if not len(known):
            return
        median = row.median
        value = format_interval(median.value_mm, median.expanded_mm, self.unit, figures=1)
        name = "back face" if row.number == 1 else f"back face {row.number}"
        chosen = [known[int(share * (len(known) - 1))] for share in (0.5, 0.3, 0.7, 0.1, 0.9)]
        low = row.depth_mm[chosen] + COVERAGE_FACTOR * row.depth_u_mm[chosen]
        places = list(
            zip(row.position_mm[chosen].tolist(), self.model.file_ns(low).tolist(), strict=True)
        )
        self._label(f"{name}  {value}", palette.FACE, places, clear_mm=1.8)

    def _lozenge(self, position: float, mark: TargetMark) -> None:
        if not self.extent.holds(position, mark.time_ns):
            return
        self.axes.plot(
            position, mark.time_ns, "D", markersize=_LOZENGE_PT * 0.72, markerfacecolor="none",
            markeredgecolor=palette.TARGET, markeredgewidth=LINE_PT, path_effects=cased(LINE_PT),
        )  # fmt: skip
        self.axes.text(
            position, mark.time_ns, TARGET_LETTERS[mark.what], ha="center", va="center_baseline",
            color=palette.TARGET, fontproperties=LABEL.font, path_effects=cased(0.2), clip_on=True,
        )  # fmt: skip
        self._take(position, mark.time_ns, 2.6)

    def _note(self, position: float, time: float, number: int) -> None:
        if self.extent.holds(position, time):
            self._take(position, time, 1.8)
            self.axes.text(
                position, time, str(number), ha="center", va="center_baseline", color=palette.TEXT,
                fontproperties=LABEL.font, clip_on=True,
                bbox={"boxstyle": "square,pad=0.25", "facecolor": palette.NOTE,
                      "edgecolor": palette.CASING, "linewidth": THIN_PT},
            )  # fmt: skip

    def _label(
        self, text: str, colour: str, places: list[tuple[float, float]], clear_mm: float
    ) -> None:
        """A label on a dark ground at the first of the places that has room for it near by."""
        kind = Type(palette.SMALL_PT, bold=True, italic=self.provisional)
        width, height = width_mm(text, kind) + 2.0, kind.line_mm + 1.0
        seen = [
            place for place in places if self.extent.left_mm <= place[0] <= self.extent.right_mm
        ]
        tries = [
            box
            for place in seen
            for box in _boxes_around(*self._on_paper(*place), width, height, clear_mm)
            if box[0] >= 0 and box[1] >= 0 and box[2] <= self._mm[0] and box[3] <= self._mm[1]
        ]
        if not tries:
            return
        free = [box for box in tries if not any(_overlap(box, other) for other in self._taken)]
        box = (free or tries)[0]
        self._taken.append(box)
        self._pointer(seen, box, clear_mm)
        self.axes.text(
            (box[0] + box[2]) / 2 / self._mm[0], 1 - (box[1] + box[3]) / 2 / self._mm[1], text,
            transform=self.axes.transAxes, ha="center", va="center", color=colour,
            fontproperties=kind.font, parse_math=False,
            bbox={"boxstyle": "round,pad=0.2", "facecolor": palette.CASING, "edgecolor": "none"},
        )  # fmt: skip

    def _pointer(self, places: list[tuple[float, float]], box: Box, clear_mm: float) -> None:
        """A fine line from a label to its place where it stands apart from all of them."""
        near = [
            (x, y, min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
            for x, y in (self._on_paper(*place) for place in places)
        ]
        x, y, end_x, end_y = min(near, key=lambda ends: math.dist(ends[:2], ends[2:]))
        away = math.dist((x, y), (end_x, end_y))
        if away <= clear_mm + 1.0:
            return
        start = (x + clear_mm * (end_x - x) / away, y + clear_mm * (end_y - y) / away)
        across, down = self._per_mm()
        self._stroke(
            [self.extent.left_mm + at * across for at in (start[0], end_x)],
            [self.extent.top_ns + at * down for at in (start[1], end_y)],
            palette.NOTE,
            THIN_PT,
            edge_pt=0.45,
        )

    def _stroke(
        self,
        where: Floats | list[float],
        time: Floats | list[float],
        colour: str,
        width_pt: float = LINE_PT,
        edge_pt: float = 0.9,
        level: int = 0,
    ) -> None:
        """Draw a cased line with those alike; parts of a mark that cross have levels of their own."""
        stroke = np.array([where, time], dtype=np.float64)
        self._strokes.setdefault((level, colour, width_pt, edge_pt), []).append(stroke)

    def _draw_strokes(self) -> None:
        """Those that look alike as one path with gaps in it: many separate ones take long."""
        gap = np.full((2, 1), np.nan)
        for (_, colour, width_pt, edge_pt), strokes in self._strokes.items():
            where, time = np.hstack([part for stroke in strokes for part in (stroke, gap)])
            self.axes.plot(
                where, time, color=colour, linewidth=width_pt,
                path_effects=cased(width_pt, edge_pt),
                solid_capstyle="butt", solid_joinstyle="round",
            )  # fmt: skip
        self._strokes.clear()

    def _per_mm(self) -> tuple[float, float]:
        """Distance (mm) and time (ns) of one mm on paper."""
        extent = self.extent
        return (
            (extent.right_mm - extent.left_mm) / self._mm[0],
            (extent.bottom_ns - extent.top_ns) / self._mm[1],
        )

    def _on_paper(self, position: float, time: float) -> tuple[float, float]:
        """Millimetres from the upper left corner of the section."""
        across, down = self._per_mm()
        return (position - self.extent.left_mm) / across, (time - self.extent.top_ns) / down

    def _take(self, position: float, time: float, half_mm: float) -> None:
        x, y = self._on_paper(position, time)
        self._taken.append((x - half_mm, y - half_mm, x + half_mm, y + half_mm))

    def _take_run(self, where: Floats, time: Floats) -> None:
        """Keep labels off a line, in steps of 2 mm on paper."""
        known = np.isfinite(time)
        if known.any():
            at = np.arange(where[known][0], where[known][-1] + 1e-9, 2.0 * self._per_mm()[0])
            for x, y in zip(at, np.interp(at, where[known], time[known]), strict=True):
                self._take(float(x), float(y), 1.2)


def notes_of(line: Line) -> list[NoteMark]:
    """A line's notes in the order of their numbers on the page."""
    notes = [mark for mark in line.marks if isinstance(mark, NoteMark)]
    return sorted(notes, key=lambda note: note.position_mm)


def _with_gaps(where: Floats, values: Floats, broken: NDArray[np.intp]) -> tuple[Floats, Floats]:
    return np.insert(where, broken, np.nan), np.insert(values, broken, np.nan)


def _boxes_around(x: float, y: float, width: float, height: float, clear: float) -> list[Box]:
    """Boxes beside, below and above a place on paper, the nearest first."""
    corners = [
        (x + clear, y - height / 2),
        (x - clear - width, y - height / 2),
        (x - width / 2, y + clear),
        (x - width / 2, y - clear - height),
        *((x + side, y + drop * height) for drop in (0.6, -1.6, 1.8, -2.8, 3.0)
          for side in (clear, -clear - width)),
    ]  # fmt: skip
    return [(left, top, left + width, top + height) for left, top in corners]


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
