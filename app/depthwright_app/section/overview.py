"""The overview bar: the whole of a long line in small, and the part in view."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor

from depthwright.showing.levels import Level
from depthwright_app import theme
from depthwright_app.plotting.axes import AXIS_PX, RULER_PX
from depthwright_app.plotting.plot import Plot
from depthwright_app.section.scan_item import Paint, ScanItem, Sheet

HEIGHT_PX = 44
LONG_TRACES = 1500
"""A line of more traces than this has an overview: a window shows fewer side by side."""


class Overview(Plot):
    """Drag the frame, or its edges, to look at another part."""

    def __init__(self, looked_at: pg.ViewBox) -> None:
        left, right = pg.AxisItem("left"), pg.AxisItem("right")
        super().__init__(
            pg.ViewBox(enableMenu=False, enableMouse=False, invertY=True),
            {"left": left, "right": right},
        )
        self._looked_at = looked_at
        for axis, width in ((left, AXIS_PX), (right, RULER_PX)):
            axis.setWidth(width)
            axis.setStyle(showValues=False, tickLength=0)
        self.scan = ScanItem()
        # The frame moves over it with every change of the view: painted once, it is copied then.
        self.scan.setCacheMode(ScanItem.CacheMode.DeviceCoordinateCache)
        self.frame = pg.LinearRegionItem(swapMode="block")
        self.frame.setZValue(10)
        self.draw(self.scan, self.frame)
        self.frame.sigRegionChanged.connect(self._moved)
        looked_at.sigXRangeChanged.connect(self._follow)
        self._following = False
        self._stronger = 1.0
        self._edges_mm = (0.0, 1.0)
        self.show_sheet(None)

    def show_look(self, look: theme.Look) -> None:
        """Colours for a light or a dark window."""
        for axis in self.axes.values():
            axis.setPen(pg.mkPen(look.ground))
        veil = QColor(look.accent)
        veil.setAlpha(60)
        self.frame.setBrush(veil)
        veil.setAlpha(90)
        self.frame.setHoverBrush(veil)
        for edge in self.frame.lines:
            edge.setPen(pg.mkPen(look.accent, width=2))
            edge.setHoverPen(pg.mkPen(look.accent, width=4))

    def show_sheet(self, sheet: Sheet | None) -> None:
        """Show a long line; a short one needs no overview."""
        long = sheet is not None and len(sheet.where_mm) > LONG_TRACES
        self.setVisible(long)
        # Axes that were measured while they were hidden take no room: they are measured anew.
        for axis in self.axes.values():
            axis.show()
        self.setFixedHeight(HEIGHT_PX if long else 0)
        self.scan.show_sheet(sheet if long else None)
        if sheet is not None and long:
            self._stronger = _stronger(sheet.levels)
            self.box.setRange(sheet.rect, padding=0)
            self._edges_mm = sheet.edges_mm
            self._follow()

    def show_paint(self, paint: Paint) -> None:
        """Other colours, contrast or gain; the strongest of many traces are not all black or white."""
        self.scan.show_paint(replace(paint, shades=paint.shades.times(self._stronger)))

    def _follow(self, *_: object) -> None:
        """The view moved: so does the frame."""
        if self.isVisible():
            self._following = True
            self.frame.setRegion(self._looked_at.viewRange()[0])
            self._following = False

    def _moved(self) -> None:
        """The frame was moved: so does the view."""
        if self._following:
            return
        (left, right), (first, last) = self.frame.getRegion(), self._edges_mm
        # Pushed against an end of the line the frame stops there, as wide as it is.
        step = max(first - left, 0.0) + min(last - right, 0.0)
        if step and right - left < last - first:
            left, right = left + step, right + step
        self._looked_at.setXRange(max(left, first), min(right, last), padding=0)
        self._follow()

    def mouseClickEvent(self, event: "pg.GraphicsScene.mouseEvents.MouseClickEvent") -> None:  # noqa: N802
        """A click beside the frame brings it there."""
        if event.button() == Qt.MouseButton.LeftButton:
            event.accept()
            left, right = self.frame.getRegion()
            middle = self.box.mapSceneToView(event.scenePos()).x()
            half = (right - left) / 2
            self._looked_at.setXRange(middle - half, middle + half, padding=0)


def _stronger(levels: Sequence[Level]) -> float:
    """How much stronger the columns of the coarsest level are than those of the finest."""
    by_step = sorted(levels, key=lambda level: level.step)
    finest, coarsest = (
        np.sqrt(np.mean(np.square(level.values[:: max(1, len(level.values) // 256)])))
        for level in (by_step[0], by_step[-1])
    )
    return float(coarsest / finest) if finest > 0 else 1.0
