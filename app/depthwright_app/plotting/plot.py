"""A plot: a view box between axes.

pyqtgraph's own plot makes four axes and, in widgets, a menu for each plot, which took a third of the time
that the window takes to be made; no plot here has that menu.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

import pyqtgraph as pg
from PySide6.QtWidgets import QGraphicsGridLayout, QSizePolicy, QWidget

Side = Literal["top", "bottom", "left", "right"]
_CELLS: Mapping[Side, tuple[int, int]] = MappingProxyType(
    {"top": (1, 1), "bottom": (3, 1), "left": (2, 0), "right": (2, 2)}
)
_BOX_CELL = (2, 1)
TITLE_CELL = (0, 1)


class Plot(pg.GraphicsWidget):  # type: ignore[misc]
    """A view box and the axes given, each at its side; a cell above them is left for a title."""

    def __init__(self, box: pg.ViewBox, axes: Mapping[Side, pg.AxisItem]) -> None:
        super().__init__()
        expanding = QSizePolicy.Policy.Expanding
        self.setSizePolicy(expanding, expanding)
        self.box, self.axes = box, dict(axes)
        self.grid = QGraphicsGridLayout()
        self.grid.setContentsMargins(1, 1, 1, 1)
        self.grid.setSpacing(0)
        self.grid.addItem(box, *_BOX_CELL)
        self.grid.setRowStretchFactor(_BOX_CELL[0], 1)
        self.grid.setColumnStretchFactor(_BOX_CELL[1], 1)
        for side, axis in axes.items():
            # A unit stands in the label; no "(x0.001)" is put behind it.
            axis.enableAutoSIPrefix(False)
            axis.linkToView(box)
            # Over pictures, which lie at 0; what is to cover an axis lies at 1 or above.
            axis.setZValue(0.5)
            axis.setFlag(axis.GraphicsItemFlag.ItemNegativeZStacksBehindParent)
            self.grid.addItem(axis, *_CELLS[side])
        self.setLayout(self.grid)

    def draw(self, *items: pg.GraphicsObject) -> None:
        """Draw items that do not decide on the range shown."""
        for item in items:
            self.box.addItem(item, ignoreBounds=True)

    def curve(self) -> pg.PlotDataItem:
        """A curve without points."""
        curve = pg.PlotDataItem()
        self.box.addItem(curve)
        return curve


class PlotView(pg.GraphicsView):  # type: ignore[misc]
    """A widget with one plot, which is looked at and not panned."""

    def __init__(self, axes: Mapping[Side, pg.AxisItem], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        expanding = QSizePolicy.Policy.Expanding
        self.setSizePolicy(expanding, expanding)
        self.enableMouse(False)
        self.plot = Plot(pg.ViewBox(enableMenu=False, enableMouse=False), axes)
        self.setCentralItem(self.plot)
