"""The trace pane: one trace and its envelope on the section's time axis, the picked maximum marked."""

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt

from depthwright.measuring.stage import PickStage
from depthwright_app import theme
from depthwright_app.plotting.plot import TITLE_CELL, Plot

HEADING_PX = 30


class TracePane(Plot):
    """A-scan and envelope of one trace, as marks are picked on."""

    def __init__(self) -> None:
        super().__init__(
            pg.ViewBox(enableMenu=False, invertY=True),
            {"bottom": pg.AxisItem("bottom", showValues=False)},
        )
        self.box.setMouseEnabled(x=False, y=True)
        self._heading = pg.LabelItem("", size="9pt")
        self._heading.setMaximumHeight(HEADING_PX)
        self.grid.addItem(self._heading, *TITLE_CELL)
        self.grid.setRowFixedHeight(TITLE_CELL[0], HEADING_PX)
        self._trace, self._envelope = self.curve(), self.curve()
        self._pick_line = pg.InfiniteLine(angle=0, movable=False)
        self._pick = pg.ScatterPlotItem(size=11)
        self.draw(self._pick_line, self._pick)
        self._pick_line.hide()
        self._shown: tuple[int, int] | None = None
        self._envelope_values: NDArray[np.float32] | None = None
        self._dt_ns = 1.0
        self._title, self._ink = "", theme.LIGHT.text
        self.place_mm: float | None = None
        """Recorded position of the trace shown, mm."""

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self._trace.setPen(pg.mkPen(look.quiet, width=1))
        self._envelope.setPen(pg.mkPen(look.accent, width=1))
        self._pick_line.setPen(pg.mkPen(look.text, width=1, style=Qt.PenStyle.DashLine))
        self._pick.setPen(pg.mkPen(theme.CASING, width=1))
        self._pick.setBrush(pg.mkBrush(theme.BAR))
        self._ink = look.text
        self._heading.setText(self._title, color=self._ink)

    def show_trace(self, stage: PickStage, trace: int, title: str, recorded_mm: float) -> None:
        """Draw one trace and its envelope, headed by where it lies."""
        self.place_mm = recorded_mm
        self._title = title
        self._heading.setText(self._title, color=self._ink)
        if self._shown == (id(stage), trace):
            return
        self._shown = (id(stage), trace)
        samples = stage.block(trace, trace + 1)[0]
        envelope = stage.envelope(trace, trace + 1)[0]
        self._envelope_values, self._dt_ns = envelope, stage.scan.dt_ns
        times = np.arange(stage.scan.samples) * stage.scan.dt_ns
        reach = float(envelope.max()) * 1.08 or 1.0
        self._trace.setData(samples, times)
        self._envelope.setData(envelope, times)
        self.box.setXRange(-reach, reach, padding=0)

    def show_pick(self, time_ns: float | None) -> None:
        """Mark a picked maximum, or none."""
        if time_ns is None or self._envelope_values is None:
            self._pick_line.hide()
            self._pick.setData([], [])
            return
        index = int(np.clip(round(time_ns / self._dt_ns), 0, len(self._envelope_values) - 1))
        self._pick_line.setPos(time_ns)
        self._pick_line.show()
        self._pick.setData([float(self._envelope_values[index])], [time_ns])

    def clear_trace(self) -> None:
        """Nothing to show."""
        self._shown, self._envelope_values, self.place_mm = None, None, None
        self._trace.setData([], [])
        self._envelope.setData([], [])
        self._title = ""
        self._heading.setText("")
        self.show_pick(None)
