"""The mean amplitude spectrum with the band that passes, whose edges are dragged with the mouse."""

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QFont, QWheelEvent
from PySide6.QtWidgets import QSizePolicy

from depthwright_app import theme
from depthwright_app.plotting.plot import PlotView

Floats = NDArray[np.float64]
Band = tuple[float, float]

FLOOR_DB = -60.0
HEIGHT_PX = 112
LEAST_WIDTH_GHZ = 0.05


class SpectrumPlot(PlotView):
    """Decibels below the strongest frequency, over the band's surroundings."""

    dragging = Signal(object)
    """The edges that are being dragged, as fields of the recipe; None when nothing came of it."""
    dropped = Signal(object)
    """The edges that were dragged, as fields of the recipe."""

    def __init__(self) -> None:
        self._levels, self._frequencies = pg.AxisItem("left"), pg.AxisItem("bottom")
        super().__init__({"left": self._levels, "bottom": self._frequencies})
        self.setAccessibleName("Mean amplitude spectrum")
        self.setAccessibleDescription("Drag the band's edges, or type them above")
        self.setToolTip("Mean amplitude spectrum of the line. Drag the band or its edges")
        self.setFixedHeight(HEIGHT_PX)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._levels.setTicks(
            [[(level, f"{level:.0f}".replace("-", "−")) for level in (-60.0, -40.0, -20.0, 0.0)]]
        )
        self._levels.setWidth(34)
        self._frequencies.setStyle(tickTextOffset=2)
        self._frequencies.setHeight(29)
        self.curve = self.plot.curve()
        self.region = pg.LinearRegionItem()
        self.region.setZValue(-10)
        self.plot.draw(self.region)
        self.region.sigRegionChanged.connect(self._drag)
        self.region.sigRegionChangeFinished.connect(self._drop)
        self._band: Band = (0.0, 1.0)
        self._reach_ghz = 1.0
        self.hide()

    def show_spectrum(self, frequencies_ghz: Floats | None, amplitude: Floats | None) -> None:
        """Draw another spectrum, both of shape (frequencies,); None clears."""
        strongest = 0.0 if amplitude is None or not len(amplitude) else float(np.max(amplitude))
        if frequencies_ghz is None or amplitude is None or not strongest > 0.0:
            self.curve.setData([], [])
            self.hide()
            return
        quietest = strongest * 10 ** (FLOOR_DB / 20)
        level_db = 20 * np.log10(np.maximum(amplitude, quietest) / strongest)
        self.curve.setData(np.asarray(frequencies_ghz, float), level_db)
        self._reach_ghz = float(frequencies_ghz[-1])
        self._frame()
        self.show()

    def show_band(self, band_ghz: Band) -> None:
        """Shade another band."""
        self._band = band_ghz
        self._place(band_ghz)
        self._frame()

    def show_look(self, look: theme.Look) -> None:
        """Grounds and pens for a light or a dark window."""
        self.setBackground(look.panel)
        for axis in self.plot.axes.values():
            axis.setPen(pg.mkPen(look.hairline))
            axis.setTextPen(pg.mkPen(look.quiet))
        self._frequencies.setLabel("GHz")
        self.curve.setPen(pg.mkPen(look.text, width=1))
        for over, alpha in ((False, 40), (True, 70)):
            tint = QColor(look.accent)
            tint.setAlpha(alpha)
            (self.region.setHoverBrush if over else self.region.setBrush)(tint)
        for line in self.region.lines:
            line.setPen(pg.mkPen(look.accent, width=1.5))
            line.setHoverPen(pg.mkPen(look.accent, width=2.5))

    def show_font(self, font: QFont) -> None:
        """Small figures that follow the system's size."""
        small = theme.sized(font, 0.85)
        for axis in self.plot.axes.values():
            axis.setTickFont(small)
            axis.label.setFont(small)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """The wheel scrolls the panel."""
        event.ignore()

    def _frame(self) -> None:
        right = min(self._reach_ghz, 1.4 * self._band[1])
        self.plot.box.setXRange(0.0, max(right, 1.02 * self._band[1]), padding=0)
        self.plot.box.setYRange(FLOOR_DB, 3.0, padding=0)

    def _place(self, band_ghz: Band) -> None:
        self.region.blockSignals(True)
        self.region.setRegion(band_ghz)
        self.region.blockSignals(False)

    def _moved(self) -> dict[str, float]:
        """The edges that differ from those shown, kept apart and above zero."""
        low, high = self.region.getRegion()
        low = max(low, 0.01)
        high = max(high, low + LEAST_WIDTH_GHZ)
        edges = zip(("band_low_ghz", "band_high_ghz"), self._band, (low, high), strict=True)
        return {
            name: round(float(now), 2) for name, before, now in edges if abs(now - before) >= 0.005
        }

    def _drag(self) -> None:
        self.dragging.emit(self._moved() or None)

    def _drop(self) -> None:
        moved = self._moved()
        if moved:
            self.dropped.emit(moved)
        else:
            self._place(self._band)
            self.dragging.emit(None)
