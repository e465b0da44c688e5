"""The cover strip: the cover of each bar with its interval, along the same distance as the section."""

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QPainter, QPolygonF

from depthwright.units import LengthUnit, format_interval
from depthwright_app import theme
from depthwright_app.picture import CoverBar, Picture
from depthwright_app.plotting.axes import LengthAxis
from depthwright_app.plotting.labels import Labels
from depthwright_app.plotting.overlay import Overlay, pen
from depthwright_app.plotting.plot import Plot

CAP_PX = 4.0
"""Half the length of a whisker's caps."""
LEAST_SHORT_MM = 0.5
"""A shortfall that would be written as zero is not written."""


class _Covers(Overlay):
    """Whiskers from cover - U to cover + U, the cover as a tick, shortfalls hatched."""

    def __init__(self) -> None:
        super().__init__()
        self.picture = Picture()
        self.unit: LengthUnit = "mm"
        self.look = theme.LIGHT

    def draw(self, painter: QPainter, area: QRectF) -> None:
        painter.setClipRect(area)
        specified = self.picture.specified_cover_mm
        if specified is not None:
            height = self.at(0.0, specified).y()
            run = QPolygonF([QPointF(area.left(), height), QPointF(area.right(), height)])
            painter.setPen(pen(self.look.text, 1, dashed=True))
            painter.drawPolyline(run)
        labels = Labels(painter, area)
        seen = self.boundingRect()
        covers = [c for c in self.picture.covers if seen.left() <= c.position_mm <= seen.right()]
        crowded = len(covers) * 2 * CAP_PX > area.width()
        for cover, ends in zip(covers, self._ends(covers), strict=True):
            self._cover(painter, cover, ends, specified, crowded)
        for cover in sorted(covers, key=lambda cover: not cover.selected):
            self._label(labels, cover)
        labels.write()

    def _ends(self, covers: list[CoverBar]) -> list[list[list[float]]]:
        """Pixels of cover - U, cover + U and the cover itself."""
        rows = [(bar.position_mm, bar.cover_mm, bar.expanded_mm) for bar in covers]
        position, cover, spread = np.array(rows).reshape(-1, 3).T
        heights = (cover - spread, cover + spread, cover)
        places = np.stack([np.stack([position, height], axis=-1) for height in heights], axis=1)
        pixels: list[list[list[float]]] = self.pixels(places).tolist()
        return pixels

    def _cover(
        self,
        painter: QPainter,
        cover: CoverBar,
        ends: list[list[float]],
        specified: float | None,
        crowded: bool,
    ) -> None:
        width = 2.5 if cover.selected else 1.5
        (x, low), (_, high), (_, middle) = ends
        here = QPointF(x, middle)
        if specified is not None and cover.short_of_mm > 0:
            required = self.at(cover.position_mm, specified)
            box = QRectF(here.x() - 9, here.y(), 18, required.y() - here.y())
            painter.setPen(pen(self.look.text, 1))
            painter.setBrush(QBrush(QColor(self.look.text), Qt.BrushStyle.BDiagPattern))
            painter.drawRect(box)
        # In a crowd the ends of the caps cannot be told apart.
        painter.setPen(pen(self.look.text, width, square=crowded))
        painter.drawLine(QLineF(x, low, x, high))
        for end in (low, high):
            painter.drawLine(QLineF(x - CAP_PX, end, x + CAP_PX, end))
        painter.setBrush(QColor(theme.SELECTED if cover.selected else theme.BAR))
        painter.setPen(pen(theme.CASING, 1.5))
        painter.drawEllipse(here, 4.5, 4.5)

    def _label(self, labels: Labels, cover: CoverBar) -> None:
        text = cover.label
        if cover.short_of_mm > LEAST_SHORT_MM:
            short = format_interval(cover.short_of_mm, cover.expanded_mm, self.unit, 1)
            text += f"   short by {short}"
        where = self.at(cover.position_mm, cover.cover_mm - cover.expanded_mm)
        colour = theme.SELECTED if cover.selected else theme.BAR
        labels.place(text, where - QPointF(0, 4), colour, self.picture.provisional, cover.label)


class CoverStrip(Plot):
    """Cover against distance; cover grows downward as in the section."""

    def __init__(self) -> None:
        self.distance_axis = LengthAxis("bottom")
        self.cover_axis = LengthAxis("left")
        super().__init__(
            pg.ViewBox(enableMenu=False, invertY=True),
            {
                "bottom": self.distance_axis,
                "left": self.cover_axis,
                "right": pg.AxisItem("right", showValues=False),
            },
        )
        self.box.setMouseEnabled(x=True, y=False)
        self._covers = _Covers()
        self.draw(self._covers)

    def set_font(self, font: QFont) -> None:
        """Font of the labels."""
        self._covers.font = font

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self._covers.look = look
        self._covers.update()

    def show_picture(self, picture: Picture, unit: LengthUnit) -> None:
        """Draw another picture; the scale holds every interval and the specified cover."""
        if picture == self._covers.picture and unit == self._covers.unit:
            return
        self._covers.picture, self._covers.unit = picture, unit
        self.distance_axis.show_unit(unit)
        self.cover_axis.show_unit(unit)
        lows = [cover.cover_mm - cover.expanded_mm for cover in picture.covers]
        highs = [cover.cover_mm + cover.expanded_mm for cover in picture.covers]
        highs.append(picture.specified_cover_mm or 0.0)
        lows.append(picture.specified_cover_mm or math.inf)
        low, high = min(lows), max(highs)
        if not math.isfinite(low):
            low, high = 0.0, 60.0
        span = max(high - low, 10.0)
        self.box.setYRange(max(0.0, low - 0.9 * span), high + 0.25 * span, padding=0)
        self._covers.update()
