"""Axes in millimetres and nanoseconds, labelled in the job's unit and from the line's zero."""

import pyqtgraph as pg

from depthwright.units import LengthUnit, from_mm

AXIS_PX, RULER_PX = 62, 64
"""Widths of the axes to the left and right of everything that shares the distance."""


def name_axis(axis: pg.AxisItem, words: str) -> None:
    """Name an axis in its middle, where a name else comes only when the axis changes its size."""
    axis.setLabel(words)
    axis.resizeEvent()


class LengthAxis(pg.AxisItem):  # type: ignore[misc]
    """An axis in mm that is labelled in the job's unit."""

    unit: LengthUnit = "mm"

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation)
        # The ends of the line keep their numbers.
        self.setStyle(hideOverlappingLabels=False)

    def show_unit(self, unit: LengthUnit) -> None:
        """Label in another unit."""
        self.unit = unit
        self.picture = None
        self.update()

    def tickSpacing(self, low: float, high: float, size: float) -> list[tuple[float, float]]:  # noqa: N802
        """Round numbers of the unit shown."""
        factor = 1 / from_mm(1.0, self.unit)
        levels = super().tickSpacing(low / factor, high / factor, size)
        return [(spacing * factor, offset * factor) for spacing, offset in levels[:1]]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:  # noqa: N802
        """Numbers in the unit shown."""
        return [f"{round(from_mm(value, self.unit), 3):g}".replace("-", "−") for value in values]


class TimeAxis(pg.AxisItem):  # type: ignore[misc]
    """File time, labelled from the zero of travelled distance."""

    zero_ns = 0.0

    def show_zero(self, zero_ns: float) -> None:
        """Label from another zero."""
        self.zero_ns = zero_ns
        self.picture = None
        self.update()

    def tickValues(self, low: float, high: float, size: float) -> list[tuple[float, list[float]]]:  # noqa: N802
        """Round times after the zero."""
        levels = super().tickValues(low - self.zero_ns, high - self.zero_ns, size)
        return [(step, [value + self.zero_ns for value in values]) for step, values in levels[:1]]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:  # noqa: N802
        """Nanoseconds with two decimals."""
        return [f"{value - self.zero_ns + 0.0:.2f}".replace("-", "−") for value in values]
