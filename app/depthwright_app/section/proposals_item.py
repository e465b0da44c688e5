"""Proposals over the section: open, dashed, without numbers, so that none is taken for a mark."""

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QLineF, QRectF, Qt
from PySide6.QtGui import QPainter, QPainterPath

from depthwright_app import theme
from depthwright_app.plotting.overlay import Floats, Overlay, dashed_pen, pen
from depthwright_app.proposal_picture import ARC_HALF_MM, ProposalPicture

LINE_PX, CURRENT_PX = 2.0, 3.0
TICK_PX = 6.0
"""Half the length of a proposed back face's ticks."""
CROWDED_PX = 6.0
"""Arcs narrower than this are drawn with three points and no dashes, which could not be told apart."""


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
            self._bars(painter, self._arcs[first:last])
        self._current(painter)

    def _bars(self, painter: QPainter, arcs: Floats) -> None:
        pixels = self.pixels(arcs)
        crowded = float(np.ptp(pixels[..., 0], axis=1).max()) < CROWDED_PX
        if crowded:
            pixels = pixels[:, [0, pixels.shape[1] // 2, -1]]
        path = _path(pixels)
        painter.setPen(pen(theme.CASING, LINE_PX + 3))
        painter.drawPath(path)
        dashes = pen(theme.PROPOSAL, LINE_PX) if crowded else dashed_pen(theme.PROPOSAL, LINE_PX)
        painter.setPen(dashes)
        painter.drawPath(path)

    def _current(self, painter: QPainter) -> None:
        """Its own shape, thicker and white; a bar's apex is dotted like a selected bar's."""
        picture, current = self.picture, self.picture.current
        if current is None:
            return
        if picture.face is not None and picture.face.proposal is current:
            self._face(painter, picture.face.anchors.places, theme.SELECTED, CURRENT_PX)
            return
        bar = next(bar for bar in picture.bars if bar.proposal is current)
        path = _path(self.pixels(bar.arc.places)[None])
        painter.setPen(pen(theme.CASING, CURRENT_PX + 3))
        painter.drawPath(path)
        painter.setPen(dashed_pen(theme.SELECTED, CURRENT_PX))
        painter.drawPath(path)
        painter.setPen(pen(theme.CASING, 1))
        painter.setBrush(Qt.GlobalColor.white)
        painter.drawEllipse(self.at(bar.position_mm, bar.time_ns), 4.5, 4.5)
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _face(self, painter: QPainter, places: Floats, colour: str, width: float) -> None:
        pixels = self.pixels(places)
        path = _path(pixels[None])
        ticks = [QLineF(x, y - TICK_PX, x, y + TICK_PX) for x, y in pixels.tolist()]
        painter.setPen(pen(theme.CASING, width + 3))
        painter.drawPath(path)
        painter.drawLines(ticks)
        painter.setPen(dashed_pen(colour, width, long=True))
        painter.drawPath(path)
        painter.setPen(pen(colour, width))
        painter.drawLines(ticks)


def _path(runs: Floats) -> QPainterPath:
    """Runs of pixels, shape (runs, points, 2), as one path."""
    joined = np.ones(runs.shape[:2], dtype=np.int32)
    joined[:, -1] = 0
    x, y = runs.reshape(-1, 2).T
    path: QPainterPath = pg.functions.arrayToQPath(x, y, connect=joined.ravel(), finiteCheck=False)
    return path
