"""Things painted over a plot with sizes in pixels and places in plot coordinates."""

from functools import lru_cache

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPen, QPolygonF, QTransform
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from depthwright_app import theme

Floats = NDArray[np.float64]


class Overlay(pg.GraphicsObject):  # type: ignore[misc]
    """Base: covers the whole view, hands :meth:`draw` a painter in pixels and a mapping."""

    def __init__(self) -> None:
        super().__init__()
        self.setZValue(10)
        self.font = QFont()
        self._to_pixels = QTransform()

    def boundingRect(self) -> QRectF:  # noqa: N802
        """All of the view, whatever is drawn."""
        view = self.getViewBox()
        return QRectF() if view is None else QRectF(view.viewRect())

    def viewTransformChanged(self) -> None:  # noqa: N802
        """The view was zoomed or panned."""
        super().viewTransformChanged()
        self.prepareGeometryChange()

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        """Go over to pixels and draw."""
        self._to_pixels = painter.worldTransform()
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self.font)
        self.draw(painter, self._to_pixels.mapRect(self.boundingRect()))
        painter.restore()

    def draw(self, painter: QPainter, area: QRectF) -> None:
        """Paint in pixels inside ``area``."""

    def at(self, distance_mm: float, vertical: float) -> QPointF:
        """Pixels of a place in plot coordinates."""
        return self._to_pixels.map(QPointF(distance_mm, vertical))

    def pixels(self, places: Floats) -> Floats:
        """Pixels of many places in plot coordinates, shape (..., 2)."""
        to = self._to_pixels
        turn = np.array([[to.m11(), to.m12()], [to.m21(), to.m22()]])
        found: Floats = places @ turn + np.array([to.dx(), to.dy()])
        return found


def polygon(pixels: Floats) -> QPolygonF:
    """A run of pixels, shape (points, 2), for the painter."""
    run: QPolygonF = pg.functions.arrayToQPolygonF(pixels[:, 0], pixels[:, 1])
    return run


@lru_cache(maxsize=256)
def pen(colour: str, width: float, dashed: bool = False, square: bool = False) -> QPen:
    """A pen of the marks: in pixels and round; a square one draws single lines much sooner.

    It is kept and given to all who ask for the same, so nobody may change it.
    """
    style = Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine
    made = QPen(QColor(colour), width, style)
    made.setCapStyle(Qt.PenCapStyle.SquareCap if square else Qt.PenCapStyle.RoundCap)
    made.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    return made


@lru_cache(maxsize=16)
def dashed_pen(colour: str, width: float, long: bool = False) -> QPen:
    """A pen of proposals, in pixels: dashes with clear gaps; long ones and dots for a line that goes on."""
    made = QPen(QColor(colour), width)
    made.setCapStyle(Qt.PenCapStyle.FlatCap)
    made.setDashPattern([5, 1.5, 1, 1.5] if long else [2.5, 1.5])
    return made


def cased_line(painter: QPainter, run: QPolygonF, colour: str, width: float, casing: str) -> None:
    """A line in its colour over a wider casing."""
    for tint, thickness in ((casing, width + 3), (colour, width)):
        painter.setPen(pen(tint, thickness))
        painter.drawPolyline(run)


def cased_segment(
    painter: QPainter,
    ends: tuple[float, float, float, float],
    colour: str,
    width: float,
    square: bool = False,
) -> None:
    """The same from one place to another (x, y, x, y)."""
    line = QLineF(*ends)
    for tint, thickness in ((theme.CASING, width + 3), (colour, width)):
        painter.setPen(pen(tint, thickness, square=square))
        painter.drawLine(line)


def cased_outline(
    painter: QPainter, run: QPolygonF, colour: str, width: float, casing: str
) -> None:
    """A closed outline in its colour over a wider casing, not filled."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for tint, thickness in ((casing, width + 3), (colour, width)):
        painter.setPen(pen(tint, thickness))
        painter.drawPolygon(run)


SAME_PX = 0.15
"""What moves an edge by less cannot be seen."""


def thinned(outlines: Floats) -> Floats:
    """Closed outlines of bars, in pixels, with as few points as look the same.

    Parameters
    ----------
    outlines
        Shape (bars, 60 k + 1, 2), beginning at a side. Outlines narrower than can be seen become
        lines from their bottoms to their tops.
    """
    count = outlines.shape[1] - 1
    across, down = (np.ptp(outlines, axis=1) / 2).max(axis=0)
    if across < SAME_PX:
        return outlines[:, [count // 4, 3 * count // 4]]
    # Between two points of a circle, an arc rises over its chord by r (1 - cos(half the angle)).
    steps = (5, 3, 1)
    rises = (max(across, down) * (1 - np.cos(np.pi * step / count)) for step in steps)
    step = next((s for s, rise in zip(steps, rises, strict=True) if rise < SAME_PX), 1)
    return outlines[:, ::step]
