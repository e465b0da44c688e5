"""What an incoming file looks like: a small picture, and its spectrum under each reading of its interval."""

from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor

from depthwright.files.interval_readings import (
    PULSE_GHZ,
    IntervalReading,
    interval_words,
)
from depthwright.processing.filters import amplitude_spectrum
from depthwright.scan import Block
from depthwright.showing.shades import full_scale
from depthwright.units import LengthUnit
from depthwright_app import theme
from depthwright_app.plotting.axes import LengthAxis
from depthwright_app.plotting.plot import PlotView

PICTURE_PX = 250
SPECTRUM_PX = 130
FLOOR_DB = -40.0
_TICKS_GHZ = {1e-6: "1 kHz", 1e-3: "1 MHz", 1.0: "1 GHz", 1e3: "1 THz"}
_APART = 1.0
"""Curves nearer than this, in powers of ten, share a label."""


class SmallPicture(PlotView):
    """Some of the traces, on axes that follow what is said of the file."""

    def __init__(self, unit: LengthUnit, look: theme.Look) -> None:
        self._across, self._down = LengthAxis("bottom"), pg.AxisItem("left")
        self._across.show_unit(unit)
        super().__init__({"bottom": self._across, "left": self._down})
        self.setAccessibleName("Small picture of the scan")
        self.setFixedHeight(PICTURE_PX)
        _plain(self, look)
        self._across.setLabel(f"distance, {unit}")
        self._down.setLabel("time in the file, ns")
        self.plot.box.invertY(True)
        self._image = pg.ImageItem(axisOrder="row-major")
        self.plot.box.addItem(self._image)

    def show_traces(self, traces: Block, length_mm: float | None, window_ns: float | None) -> None:
        """Draw traces, shape (traces, samples); an axis that nobody knows has no numbers."""
        self._image.setVisible(traces.size > 0)
        if not traces.size:
            return
        centred = traces - np.median(traces, axis=1, keepdims=True)
        level = full_scale(centred)
        self._image.setImage(centred.T, levels=(-level, level))
        across, down = length_mm or 1.0, window_ns or 1.0
        self._image.setRect(QRectF(0.0, 0.0, across, down))
        self._across.setStyle(showValues=length_mm is not None)
        self._down.setStyle(showValues=window_ns is not None)
        self.plot.box.setXRange(0.0, across, padding=0)
        self.plot.box.setYRange(0.0, down, padding=0)


class SpectrumReadings(PlotView):
    """The scan's spectrum where each reading of the interval puts it; antennas' band is shaded."""

    def __init__(self, look: theme.Look) -> None:
        below, beside = pg.AxisItem("bottom"), pg.AxisItem("left", showValues=False)
        super().__init__({"bottom": below, "left": beside})
        self._look = look
        self.setAccessibleName("Spectrum under each reading of the sample interval")
        self.setToolTip(
            "The shaded band holds the antennas used on concrete: the right reading puts the pulse there"
        )
        self.setFixedHeight(SPECTRUM_PX)
        _plain(self, look)
        beside.setLabel("spectrum")
        below.setTicks([[(np.log10(f), w) for f, w in _TICKS_GHZ.items()]])
        self.plot.box.setYRange(FLOOR_DB, 14.0, padding=0)
        low, high = np.log10(PULSE_GHZ)
        band = pg.LinearRegionItem((low, high), movable=False, pen=pg.mkPen(None))
        shade = QColor(look.accent)
        shade.setAlpha(50)
        band.setBrush(shade)
        self.plot.box.addItem(band)
        self._drawn: list[pg.GraphicsObject] = []

    def show_readings(
        self, traces: Block, readings: Sequence[IntervalReading], chosen_dt_ns: float | None
    ) -> None:
        """Draw traces' spectrum under each reading and, standing out, under the chosen interval."""
        for item in self._drawn:
            self.plot.box.removeItem(item)
        self._drawn.clear()
        if not traces.size:
            return
        # Against cycles per sample: divided by an interval, they are frequencies.
        cycles, amplitude = amplitude_spectrum(traces, 1.0)
        if not amplitude[1:].any():  # the same number in all of a trace
            return
        level = 20 * np.log10(np.maximum(amplitude[1:] / amplitude[1:].max(), 1e-3))
        labelled: list[float] = []
        intervals = [reading.dt_ns for reading in readings]
        if chosen_dt_ns is not None:
            intervals = [
                chosen_dt_ns,
                *(dt for dt in intervals if not np.isclose(dt, chosen_dt_ns)),
            ]
        for dt_ns in intervals:
            frequency = np.log10(cycles[1:] / dt_ns)
            chosen = dt_ns == chosen_dt_ns
            pen = pg.mkPen(
                self._look.accent if chosen else self._look.quiet, width=2 if chosen else 1
            )
            curve = self.plot.curve()
            curve.setData(frequency, level, pen=pen)
            self._drawn.append(curve)
            peak = float(frequency[np.argmax(level)])
            if all(abs(peak - other) > _APART for other in labelled):
                labelled.append(peak)
                label = pg.TextItem(
                    interval_words(dt_ns),
                    color=self._look.text if chosen else self._look.quiet,
                    anchor=(0.5, 1.0),
                )
                label.setPos(peak, 0.0)
                self.plot.box.addItem(label)
                self._drawn.append(label)
        around = (min(labelled, default=0.0), max(labelled, default=0.0))
        self.plot.box.setXRange(min(-1.5, around[0] - 1.0), max(1.5, around[1] + 1.0), padding=0)


def _plain(view: PlotView, look: theme.Look) -> None:
    """A plot in the window's colours."""
    view.setBackground(look.panel)
    for axis in view.plot.axes.values():
        axis.setPen(pg.mkPen(look.hairline))
        axis.setTextPen(pg.mkPen(look.quiet))
    view.plot.axes["left"].setWidth(52)
    # Half a figure of the topmost number stands above the axis.
    view.plot.setContentsMargins(0, theme.GRID, theme.GRID, 0)
