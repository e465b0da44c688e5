"""Things painted over a plot with sizes in pixels and places in plot coordinates."""

from collections.abc import Iterable

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen, QPolygonF, QTransform
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from depthwright_app import theme


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

    def polygon(self, pairs: Iterable[tuple[float, float]]) -> QPolygonF:
        """Pixels of a run of places."""
        return QPolygonF([self.at(*pair) for pair in pairs])


def pen(colour: str, width: float, dashed: bool = False) -> QPen:
    """A pen of the marks: round and in pixels."""
    style = Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine
    made = QPen(QColor(colour), width, style)
    made.setCapStyle(Qt.PenCapStyle.RoundCap)
    made.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    return made


def cased_line(painter: QPainter, run: QPolygonF, colour: str, width: float, casing: str) -> None:
    """A line in its colour over a wider casing."""
    for tint, thickness in ((casing, width + 3), (colour, width)):
        painter.setPen(pen(tint, thickness))
        painter.drawPolyline(run)


def cased_outline(
    painter: QPainter, run: QPolygonF, colour: str, width: float, casing: str
) -> None:
    """A closed outline in its colour over a wider casing, not filled."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for tint, thickness in ((casing, width + 3), (colour, width)):
        painter.setPen(pen(tint, thickness))
        painter.drawPolygon(run)


ROWS = 2


class Labels:
    """Label boxes that stand at their marks and out of each other's way.

    A box may move up by one row. Where its text finds no room the short text is tried, and else it is
    left out: a number far from its mark would be read as another mark's. Zooming in makes room.
    """

    def __init__(self, painter: QPainter, area: QRectF) -> None:
        self.painter, self.area = painter, area
        self.taken: list[QRectF] = []

    def place(
        self, text: str, centre: QPointF, colour: str, italic: bool = False, short: str = ""
    ) -> None:
        """Write ``text`` with its box's lower edge at ``centre``."""
        font = QFont(self.painter.font())
        font.setItalic(italic)
        self.painter.setFont(font)
        for words in (text, short):
            box = self._room(words, centre, QFontMetricsF(font)) if words else None
            if box is not None:
                self._write(words, box, colour)
                return

    def _room(self, text: str, centre: QPointF, metrics: QFontMetricsF) -> QRectF | None:
        width, height = metrics.horizontalAdvance(text) + 10, metrics.height() + 4
        if not self.area.adjusted(-width, -height, width, height).contains(centre):
            return None
        box = QRectF(centre.x() - width / 2, centre.y() - height, width, height)
        box.moveLeft(max(self.area.left() + 2, min(box.left(), self.area.right() - width - 2)))
        box.moveTop(max(box.top(), self.area.top() + 2))
        for _ in range(ROWS):
            if not any(box.intersects(other) for other in self.taken):
                self.taken.append(box)
                return box
            box.translate(0, -(height + 2))
        return None

    def _write(self, text: str, box: QRectF, colour: str) -> None:
        ground = QColor(theme.CASING)
        ground.setAlpha(215)
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(ground)
        self.painter.drawRoundedRect(box, 4, 4)
        self.painter.setPen(QColor(colour))
        self.painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
