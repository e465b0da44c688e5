"""The marks over the section, drawn from a :class:`~depthwright_app.picture.Picture`."""

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPolygonF

from depthwright_app import theme
from depthwright_app.picture import BarGlyph, FaceGlyph, Picture, PointGlyph
from depthwright_app.plotting.labels import Labels
from depthwright_app.plotting.overlay import (
    Floats,
    Overlay,
    cased_line,
    cased_outline,
    cased_segment,
    pen,
    polygon,
    thinned,
)

LINE_PX = 1.5
SELECTED_PX = 2.5
LABEL_GAP_PX = 8.0
CAP_PX = 4.0
"""Half the length of a whisker's caps."""


class MarksItem(Overlay):
    """Bars, back faces, targets, notes, ties, and the place a click would snap to."""

    def __init__(self) -> None:
        super().__init__()
        self.picture = Picture()
        self.preview: tuple[float, float] | None = None
        self.cursor_at: tuple[float, float] | None = None

    def show_picture(self, picture: Picture) -> None:
        """Draw another picture, if it differs."""
        if picture != self.picture:
            self.picture = picture
            self.update()

    def show_preview(self, place: tuple[float, float] | None) -> None:
        """Show where a click would snap (mm, ns), or nothing."""
        if place != self.preview:
            self.preview = place
            self.update()

    def show_cursor(self, place: tuple[float, float] | None) -> None:
        """Show the keyboard's cursor (mm, ns), or nothing."""
        if place != self.cursor_at:
            self.cursor_at = place
            self.update()

    def draw(self, painter: QPainter, area: QRectF) -> None:
        """Faces first, bars over them, labels on top."""
        painter.setClipRect(area)
        labels = Labels(painter, area)
        for face in self.picture.faces:
            self._face(painter, face)
        for point in self.picture.points:
            self._point(painter, point)
        seen = self.boundingRect()
        bars = [bar for bar in self.picture.bars if seen.left() <= bar.position_mm <= seen.right()]
        self._bars(painter, bars, len(bars) * 2 * CAP_PX > area.width())
        for bar in sorted(bars, key=lambda glyph: not glyph.selected):
            self._bar_label(labels, bar)
        for face in self.picture.faces:
            self._face_label(labels, face)
        for point in self.picture.points:
            self._point_label(labels, point)
        labels.write()
        self._preview(painter)

    def _bars(self, painter: QPainter, bars: list[BarGlyph], crowded: bool) -> None:
        """All bars, one over the other; in a crowd the ends of their caps cannot be told apart."""
        if not bars:
            return
        round_ones = [bar.outline.places for bar in bars if bar.outline]
        outlines = iter(thinned(self.pixels(np.stack(round_ones))) if round_ones else ())
        ends = self.pixels(
            np.array([[(bar.position_mm, end) for end in bar.whisker_ns] for bar in bars])
        )
        for bar, ((x, low), (_, high)) in zip(bars, ends.tolist(), strict=True):
            colour = theme.SELECTED if bar.selected else theme.BAR
            width = SELECTED_PX if bar.selected else LINE_PX
            if bar.tie_label:
                self._tie(painter, bar.position_mm, bar.surface_ns, bar.time_ns)
            if bar.outline:
                self._outline(painter, next(outlines), colour, width)
            # Square, since its ends lie under the caps.
            cased_segment(painter, (x, low, x, high), colour, width, square=True)
            for end in (low, high):
                cap = (x - CAP_PX, end, x + CAP_PX, end)
                cased_segment(painter, cap, colour, width, square=crowded)
            if bar.selected:
                painter.setPen(pen(theme.CASING, 1))
                painter.setBrush(Qt.GlobalColor.white)
                painter.drawEllipse(self.at(bar.position_mm, bar.time_ns), 4.5, 4.5)

    def _outline(self, painter: QPainter, pixels: Floats, colour: str, width: float) -> None:
        if len(pixels) > 2:
            cased_outline(painter, polygon(pixels), colour, width, theme.CASING)
        else:
            (x, y), (to_x, to_y) = pixels.tolist()
            cased_segment(painter, (x, y, to_x, to_y), colour, width)

    def _bar_label(self, labels: Labels, bar: BarGlyph) -> None:
        top = self.at(bar.position_mm, min(bar.whisker_ns))
        colour = theme.SELECTED if bar.selected else theme.BAR
        where = top - QPointF(0, LABEL_GAP_PX)
        labels.place(bar.label, where, colour, bar.provisional, bar.short_label)
        if bar.tie_label:
            surface = self.at(bar.position_mm, bar.surface_ns)
            labels.place(f"tie {bar.tie_label}", surface - QPointF(0, 4), theme.TIE)

    def _tie(
        self, painter: QPainter, position_mm: float, surface_ns: float, known_ns: float
    ) -> None:
        """A bracket from the surface to the known depth."""
        high, low = self.at(position_mm, surface_ns), self.at(position_mm, known_ns)
        side, tick = QPointF(-7, 0), QPointF(5, 0)
        run = QPolygonF([high + side + tick, high + side, low + side, low + side + tick])
        cased_line(painter, run, theme.TIE, LINE_PX + 0.5, theme.CASING)

    def _face(self, painter: QPainter, face: FaceGlyph) -> None:
        width = SELECTED_PX if face.selected else LINE_PX
        for stretch in face.stretches:
            for edge in (stretch.upper, stretch.lower):
                painter.setPen(pen(theme.FACE, 1.0, dashed=True))
                painter.drawPolyline(polygon(self.pixels(edge.places)))
            line = polygon(self.pixels(stretch.line.places))
            cased_line(painter, line, theme.FACE, width, theme.CASING)

    def _face_label(self, labels: Labels, face: FaceGlyph) -> None:
        if face.stretches:
            longest = max((stretch.line for stretch in face.stretches), key=len).places
            middle = longest[len(longest) // 2]
            where = self.at(*middle) + QPointF(0, 30)
            labels.place(f"back face   {face.label}", where, theme.FACE, self.picture.provisional)

    def _point(self, painter: QPainter, point: PointGlyph) -> None:
        here = self.at(point.position_mm, point.time_ns)
        width = SELECTED_PX if point.selected else LINE_PX
        if point.tie_label:
            self._tie(painter, point.position_mm, point.surface_ns, point.time_ns)
        if point.kind == "anchor":
            colour = theme.SELECTED if point.selected else theme.FACE
            tick = QPolygonF([here - QPointF(0, 7), here + QPointF(0, 7)])
            cased_line(painter, tick, colour, width + 1, theme.CASING)
            return
        colour = theme.SELECTED if point.selected else theme.TARGET
        if point.kind == "note":
            colour = theme.SELECTED
            painter.setPen(pen(theme.CASING, 1))
            painter.setBrush(Qt.GlobalColor.white)
            painter.drawRect(QRectF(here.x() - 4, here.y() - 4, 8, 8))
            return
        lozenge = QPolygonF([here + QPointF(*step) for step in ((0, -9), (8, 0), (0, 9), (-8, 0))])
        cased_outline(painter, lozenge, colour, width, theme.CASING)

    def _point_label(self, labels: Labels, point: PointGlyph) -> None:
        here = self.at(point.position_mm, point.time_ns)
        if point.tie_label:
            surface = self.at(point.position_mm, point.surface_ns)
            labels.place(f"tie {point.tie_label}", surface - QPointF(0, 4), theme.TIE)
        if point.kind == "anchor":
            if point.selected:
                labels.place(point.label, here - QPointF(0, 12), theme.SELECTED)
            return
        colour = theme.SELECTED if point.selected or point.kind == "note" else theme.TARGET
        labels.place(point.label, here - QPointF(0, 13), colour)

    def _preview(self, painter: QPainter) -> None:
        if self.preview is not None:
            here = self.at(*self.preview)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            for tint, thickness in ((theme.CASING, 4.5), (theme.SELECTED, 1.5)):
                painter.setPen(pen(tint, thickness))
                painter.drawEllipse(here, 6.0, 6.0)
        if self.cursor_at is not None:
            here = self.at(*self.cursor_at)
            for step in (QPointF(12, 0), QPointF(0, 12)):
                cross = QPolygonF([here - step, here + step])
                cased_line(painter, cross, theme.SELECTED, LINE_PX, theme.CASING)
