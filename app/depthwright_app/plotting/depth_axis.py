"""The depth ruler: depths by the line's depth model beside the section's time axis.

Grabbing it and moving it stretches the depths: the live way to a permittivity.
"""

import math

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Signal

from depthwright.results.values import LineModel
from depthwright.units import MM_PER_UNIT, LengthUnit, from_mm
from depthwright_app.plotting.axes import RULER_PX, name_axis

TICK_GAP_PX = 44.0
_STEPS: dict[LengthUnit, tuple[float, ...]] = {
    "mm": (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000),
    "cm": (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100),
    "in": (0.125, 0.25, 0.5, 1, 2, 4, 6, 12, 24),
}


class DepthAxis(pg.AxisItem):  # type: ignore[misc]
    """Depth ticks on a time axis."""

    stretched = Signal(float, float, bool)
    """Depth grabbed (mm), file time it is moved to (ns), and whether the drag has ended."""

    def __init__(self) -> None:
        super().__init__("right")
        self.model: LineModel | None = None
        self.unit: LengthUnit = "mm"
        self._grabbed_mm = math.nan
        self.setWidth(RULER_PX)

    def show_model(self, model: LineModel | None, unit: LengthUnit, provisional: bool) -> None:
        """Rule by another depth model."""
        self.model, self.unit = model, unit
        name_axis(self, f"Depth, {unit}, provisional" if provisional else f"Depth, {unit}")
        self.picture = None
        self.update()

    def tickValues(  # noqa: N802
        self, low_ns: float, high_ns: float, size_px: float
    ) -> list[tuple[float, list[float]]]:
        """File times of the depths that get a tick."""
        if self.model is None:
            return []
        return [(1.0, self.model.file_ns(self._depths_mm(low_ns, high_ns, size_px)).tolist())]

    def tickStrings(  # noqa: N802
        self, values: list[float], scale: float, spacing: float
    ) -> list[str]:
        """Depths at those file times."""
        return [self._words(depth) for depth in self._read(values)]

    def depth_mm(self, file_ns: float) -> float:
        """Depth of a bar read at a file time, mm, as the ticks are placed; zero above the surface."""
        return self._read([file_ns])[0]

    def _read(self, file_ns: list[float]) -> list[float]:
        """Depths at file times, all at once: each change of the view asks for them."""
        if self.model is None:
            return [math.nan for _ in file_ns]
        times = np.array(file_ns, dtype=np.float64)
        depths: list[float] = np.nan_to_num(
            self.model.depths(times, np.ones_like(times), bar=1.0)[0]
        ).tolist()
        return depths

    def _depths_mm(self, low_ns: float, high_ns: float, size_px: float) -> NDArray[np.float64]:
        first, last = self._read(sorted((low_ns, high_ns)))
        wanted = (last - first) * TICK_GAP_PX / max(size_px, 1.0)
        steps = [step * MM_PER_UNIT[self.unit] for step in _STEPS[self.unit]]
        step = next((step for step in steps if step >= wanted), steps[-1])
        count = np.arange(math.ceil(first / step), math.floor(last / step) + 1, dtype=np.float64)
        return np.maximum(count * step, 0.0)

    def _words(self, depth_mm: float) -> str:
        shown = from_mm(depth_mm, self.unit)
        return f"{round(shown, 3):g}"

    def mouseDragEvent(self, event: "pg.GraphicsScene.mouseEvents.MouseDragEvent") -> None:  # noqa: N802
        """Grab a depth and move it."""
        view = self.linkedView()
        if view is None or self.model is None:
            event.ignore()
            return
        event.accept()
        if event.isStart():
            start = view.mapSceneToView(event.buttonDownScenePos()).y()
            self._grabbed_mm = self.depth_mm(start)
        if self._grabbed_mm > 0:
            now = view.mapSceneToView(event.scenePos()).y()
            self.stretched.emit(self._grabbed_mm, float(now), event.isFinish())

    def wheelEvent(self, event: object) -> None:  # noqa: N802
        """Leave the wheel to the section."""
        getattr(event, "ignore", lambda: None)()
