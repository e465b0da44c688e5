"""Proposals over the section: open, dashed, without numbers, so that none is taken for a mark."""

import numpy as np
from PySide6.QtCore import QLineF, QRectF, Qt
from PySide6.QtGui import QPainter, QPolygonF

from depthwright_app import theme
from depthwright_app.plotting.overlay import Floats, Overlay, dashed_pen, pen, polygon
from depthwright_app.proposal_picture import ARC_HALF_MM, ProposalPicture

LINE_PX, CURRENT_PX = 2.0, 3.0
TICK_PX = 6.0
"""Half the length of a proposed back face's ticks."""
CROWDED_PX = 8.0
"""Where all arcs are narrower than this, small ones of one size stand for them."""
SMALL_PX, SAME_PX = 3.5, 10.0
"""Half the width of those, and how near to each other one is enough."""


class ProposalsItem(Overlay):
    """Open arcs over proposed apexes and a dashed line along a proposed back face."""

    def __init__(self) -> None:
        super().__init__()
        self.setZValue(9)
        self.picture = ProposalPicture()
        self._places = np.empty(0)
        self._arcs = np.empty((0, 1, 2))

    def show_picture(self, picture: ProposalPicture) -> None:
        """Draw other proposals, if they differ."""
        if picture == self.picture:
            return
        if picture.bars != self.picture.bars:
            self._places = np.array([bar.position_mm for bar in picture.bars])
            arcs = [bar.arc.places for bar in picture.bars]
            self._arcs = np.stack(arcs) if arcs else np.empty((0, 1, 2))
        self.picture = picture
        self.update()

    def draw(self, painter: QPainter, area: QRectF) -> None:
        """The back face, the bars in view over it, the current one on top."""
        painter.setClipRect(area)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        picture, seen = self.picture, self.boundingRect()
        if picture.face is not None and picture.face.proposal is not picture.current:
            self._face(painter, picture.face.anchors.places, theme.PROPOSAL, LINE_PX)
        reach = (seen.left() - ARC_HALF_MM, seen.right() + ARC_HALF_MM)
        first, last = np.searchsorted(self._places, reach)
        if last > first:
            pixels = self.pixels(self._arcs[first:last])
            if float(np.ptp(pixels[..., 0], axis=1).max()) < CROWDED_PX:
                self._crowd(painter, self.pixels(picture.apexes[first:last]))
            else:
                for run in map(polygon, pixels):
                    _dashed(painter, run, theme.PROPOSAL, LINE_PX)
        self._current(painter)

    def _crowd(self, painter: QPainter, apexes: Floats) -> None:
        """Small open arcs at the apexes, and of those that would cover each other one."""
        _, kept = np.unique((apexes / SAME_PX).round(), axis=0, return_index=True)
        lines = [
            QLineF(x, y, x + side * SMALL_PX, y + SMALL_PX)
            for x, y in apexes[kept].tolist()
            for side in (-1, 1)
        ]
        for tint, thickness in ((theme.CASING, LINE_PX + 3), (theme.PROPOSAL, LINE_PX)):
            painter.setPen(pen(tint, thickness, square=True))
            painter.drawLines(lines)

    def _current(self, painter: QPainter) -> None:
        """Its own shape, thicker and white; a bar's apex is dotted like a selected bar's."""
        picture, current = self.picture, self.picture.current
        if current is None:
            return
        if picture.face is not None and picture.face.proposal is current:
            self._face(painter, picture.face.anchors.places, theme.SELECTED, CURRENT_PX)
            return
        bar = next(bar for bar in picture.bars if bar.proposal is current)
        _dashed(painter, polygon(self.pixels(bar.arc.places)), theme.SELECTED, CURRENT_PX)
        painter.setPen(pen(theme.CASING, 1))
        painter.setBrush(Qt.GlobalColor.white)
        painter.drawEllipse(self.at(bar.position_mm, bar.time_ns), 4.5, 4.5)
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _face(self, painter: QPainter, places: Floats, colour: str, width: float) -> None:
        pixels = self.pixels(places)
        ticks = [QLineF(x, y - TICK_PX, x, y + TICK_PX) for x, y in pixels.tolist()]
        painter.setPen(pen(theme.CASING, width + 3))
        painter.drawLines(ticks)
        _dashed(painter, polygon(pixels), colour, width, long=True)
        painter.setPen(pen(colour, width))
        painter.drawLines(ticks)


def _dashed(
    painter: QPainter, run: QPolygonF, colour: str, width: float, long: bool = False
) -> None:
    """A dashed line over an unbroken, wider casing."""
    painter.setPen(pen(theme.CASING, width + 3))
    painter.drawPolyline(run)
    painter.setPen(dashed_pen(colour, width, long))
    painter.drawPolyline(run)
