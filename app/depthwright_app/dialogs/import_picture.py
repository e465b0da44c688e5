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

PICTURE_PX = 250
SPECTRUM_PX = 130
FLOOR_DB = -40.0
_TICKS_GHZ = {1e-6: "1 kHz", 1e-3: "1 MHz", 1.0: "1 GHz", 1e3: "1 THz"}
_APART = 1.0
"""Curves nearer than this, in powers of ten, share a label."""


class SmallPicture(pg.PlotWidget):  # type: ignore[misc]
    """Some of the traces, on axes that follow what is said of the file."""

    def __init__(self, unit: LengthUnit, look: theme.Look) -> None:
        self._across = LengthAxis("bottom")
        self._across.show_unit(unit)
        super().__init__(axisItems={"bottom": self._across})
        self.setAccessibleName("Small picture of the scan")
        self.setFixedHeight(PICTURE_PX)
        _plain(self, look)
        self._across.setLabel(f"distance, {unit}")
        self.getAxis("left").setLabel("time in the file, ns")
        self.getViewBox().invertY(True)
        self._image = pg.ImageItem(axisOrder="row-major")
        self.addItem(self._image)

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
        self.getAxis("left").setStyle(showValues=window_ns is not None)
        self.setXRange(0.0, across, padding=0)
        self.setYRange(0.0, down, padding=0)


class SpectrumReadings(pg.PlotWidget):  # type: ignore[misc]
    """The scan's spectrum where each reading of the interval puts it; antennas' band is shaded."""

    def __init__(self, look: theme.Look) -> None:
        super().__init__()
        self._look = look
        self.setAccessibleName("Spectrum under each reading of the sample interval")
        self.setToolTip(
            "The shaded band holds the antennas used on concrete: the right reading puts the pulse there"
        )
        self.setFixedHeight(SPECTRUM_PX)
        _plain(self, look)
        self.getAxis("left").setStyle(showValues=False)
        self.getAxis("left").setLabel("spectrum")
        self.getAxis("bottom").setTicks([[(np.log10(f), w) for f, w in _TICKS_GHZ.items()]])
        self.setYRange(FLOOR_DB, 14.0, padding=0)
        low, high = np.log10(PULSE_GHZ)
        band = pg.LinearRegionItem((low, high), movable=False, pen=pg.mkPen(None))
        shade = QColor(look.accent)
        shade.setAlpha(50)
        band.setBrush(shade)
        self.addItem(band)
        self._drawn: list[pg.GraphicsObject] = []

    def show_readings(
        self, traces: Block, readings: Sequence[IntervalReading], chosen_dt_ns: float | None
    ) -> None:
        """Draw traces' spectrum under each reading and, standing out, under the chosen interval."""
        for item in self._drawn:
            self.removeItem(item)
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
            self._drawn.append(self.plot(frequency, level, pen=pen))
            peak = float(frequency[np.argmax(level)])
            if all(abs(peak - other) > _APART for other in labelled):
                labelled.append(peak)
                label = pg.TextItem(
                    interval_words(dt_ns),
                    color=self._look.text if chosen else self._look.quiet,
                    anchor=(0.5, 1.0),
                )
                label.setPos(peak, 0.0)
                self.addItem(label)
                self._drawn.append(label)
        around = (min(labelled, default=0.0), max(labelled, default=0.0))
        self.setXRange(min(-1.5, around[0] - 1.0), max(1.5, around[1] + 1.0), padding=0)


def _plain(plot: pg.PlotWidget, look: theme.Look) -> None:
    """A plot to look at only, in the window's colours."""
    plot.setMenuEnabled(False)
    plot.hideButtons()
    plot.setMouseEnabled(x=False, y=False)
    plot.setBackground(look.panel)
    for name in ("left", "bottom"):
        axis = plot.getAxis(name)
        axis.enableAutoSIPrefix(False)
        axis.setPen(pg.mkPen(look.hairline))
        axis.setTextPen(pg.mkPen(look.quiet))
    plot.getAxis("left").setWidth(52)
    # Half a figure of the topmost number stands above the axis.
    plot.getPlotItem().setContentsMargins(0, theme.GRID, theme.GRID, 0)
