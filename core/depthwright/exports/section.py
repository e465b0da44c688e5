"""The section on paper: the samples as displayed, on recorded time, between distance and depth axes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, NullLocator
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.exports import palette
from depthwright.exports.lettering import Type
from depthwright.exports.page import DPI, HEIGHT_MM, MM_PER_INCH, WIDTH_MM
from depthwright.job import Job, Line
from depthwright.results.tracking import shown_edges_mm
from depthwright.results.values import LineModel
from depthwright.scan import Scan
from depthwright.showing.chain import Chain, make_chain
from depthwright.showing.levels import Level, columns, make_levels
from depthwright.showing.setting import Setting
from depthwright.showing.shades import Shades, gain_with_depth
from depthwright.units import MM_PER_UNIT, LengthUnit, from_mm

Floats = NDArray[np.float64]

PART_TRACES = 8192
"""Up to so many traces are drawn from the line itself, not from levels of detail."""

_STEPS: dict[LengthUnit, tuple[float, ...]] = {
    "mm": (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000),
    "cm": (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000),
    "in": (0.125, 0.25, 0.5, 1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 2400),
}


@dataclass(frozen=True)
class ImageStyle:
    """How samples become greys or colours.

    ``colour_map`` is a name that matplotlib knows; ``contrast`` 2 shows half the amplitude at full
    scale.
    """

    colour_map: str = "gray"
    contrast: float = 1.0
    inverted: bool = False

    def __post_init__(self) -> None:
        if self.colour_map not in matplotlib.colormaps:
            raise DepthwrightError(
                f"There is no colour map “{self.colour_map}”.", "Choose gray, or another one."
            )
        if not (math.isfinite(self.contrast) and self.contrast > 0):
            raise DepthwrightError("The contrast is not above zero.", "Choose a larger one.")


@dataclass(frozen=True)
class Extent:
    """What the section shows: distance from the datum, mm, and file time, ns."""

    left_mm: float
    right_mm: float
    top_ns: float
    bottom_ns: float

    def holds(self, position_mm: float, time_ns: float) -> bool:
        """Whether a place lies in the picture."""
        return (
            self.left_mm <= position_mm <= self.right_mm
            and self.top_ns <= time_ns <= self.bottom_ns
        )


def extent_of(job: Job, line: Line, scan: Scan) -> Extent:
    """The line as far as it is shown, from a period before the direct wave to the end of the record."""
    left, right = shown_edges_mm(line, scan)
    period = 1 / job.antenna_of(line).centre_frequency_ghz
    return Extent(
        left_mm=left,
        right_mm=right,
        top_ns=max(-scan.dt_ns / 2, line.direct.time_ns - period),
        bottom_ns=scan.time_window_ns + scan.dt_ns / 2,
    )


def draw_samples(
    axes: Axes, line: Line, scan: Scan, extent: Extent, setting: Setting, style: ImageStyle
) -> None:
    """The samples through the line's recipe, at most as many columns as the page has dots."""
    dots = max(1, math.floor(paper_mm(axes)[0] / MM_PER_INCH * DPI))
    chain = make_chain(scan, line.recipe, setting)
    count = min(dots, round((extent.right_mm - extent.left_mm) / setting.trace_spacing_mm) or 1)
    edges = np.linspace(extent.left_mm, extent.right_mm, count + 1)
    where = line.on_concrete_mm(scan.positions_mm)
    gain = gain_with_depth(line.recipe, setting, scan)
    values = columns(_levels(chain, where, extent), where, edges) * gain
    shades = Shades.of(chain).times(1 / style.contrast)
    colours = matplotlib.colormaps[style.colour_map]
    axes.imshow(
        values.T,
        extent=(extent.left_mm, extent.right_mm, scan.samples * scan.dt_ns - scan.dt_ns / 2,
                -scan.dt_ns / 2),
        aspect="auto",
        cmap=colours.reversed() if style.inverted else colours,
        vmin=shades.low,
        vmax=shades.high,
        interpolation="bilinear",
        rasterized=True,
    )  # fmt: skip
    axes.set_xlim(extent.left_mm, extent.right_mm)
    axes.set_ylim(extent.bottom_ns, extent.top_ns)


def _levels(chain: Chain, where_mm: Floats, extent: Extent) -> Sequence[Level]:
    """The whole line at all levels; of a short part of a long one only that, at its finest."""
    inside = np.flatnonzero((where_mm >= extent.left_mm) & (where_mm <= extent.right_mm))
    if len(inside) and len(inside) <= PART_TRACES:
        first, last = max(0, inside[0] - 1), min(len(where_mm), inside[-1] + 2)
        return (Level(int(first), 1, chain.block(int(first), int(last))),)
    return make_levels(chain).levels


def draw_axes(
    axes: Axes, extent: Extent, model: LineModel, unit: LengthUnit, provisional: bool
) -> None:
    """Depth on the left by the depth model, recorded time on the right."""
    height_mm = paper_mm(axes)[1]
    depths = _depth_ticks(model, extent, unit, height_mm)
    axes.yaxis.set_major_locator(FixedLocator(model.file_ns(depths).tolist()))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.set_yticklabels([number(depth, unit) for depth in depths])
    axes.xaxis.set_major_locator(FixedLocator(distance_ticks(extent, unit)))
    axes.set_xticklabels([])
    axes.xaxis.set_ticks_position("both")
    word = "Provisional depth" if provisional else "Depth"
    style_axis(axes, f"{word}, {unit}", italic=provisional)
    right = axes.twinx()
    right.set_ylim(axes.get_ylim())
    times = _steps(extent.top_ns, extent.bottom_ns, (0.1, 0.2, 0.5, 1, 2, 5, 10), height_mm / 7)
    right.yaxis.set_major_locator(FixedLocator(times))
    right.set_yticklabels([f"{time:.2f}" for time in times])
    style_axis(right, "Recorded time, ns")
    for spine in right.spines.values():
        spine.set_visible(False)


def style_axis(axes: Axes, label: str, *, italic: bool = False) -> None:
    """One hand for all axes."""
    kind = Type(palette.BODY_PT, italic=italic)
    axes.set_ylabel(label, fontproperties=kind.font, color=palette.TEXT, labelpad=3)
    axes.tick_params(
        width=palette.THIN_PT, length=2.5, pad=2, color=palette.TEXT, labelcolor=palette.TEXT
    )
    for tick in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        tick.set_fontproperties(Type(palette.SMALL_PT).font)


def number(value_mm: float, unit: LengthUnit) -> str:
    """A round length without its unit, as at a tick."""
    return f"{round(from_mm(value_mm, unit), 3):g}".replace("-", "−")


def distance_ticks(extent: Extent, unit: LengthUnit) -> list[float]:
    """Round distances from the datum along the section, mm."""
    return length_ticks(extent.left_mm, extent.right_mm, unit, 14)


def length_ticks(low_mm: float, high_mm: float, unit: LengthUnit, most: float) -> list[float]:
    """Round lengths between two ends, mm, at most about ``most``."""
    steps = tuple(step * MM_PER_UNIT[unit] for step in _STEPS[unit])
    return _steps(low_mm, high_mm, steps, most)


def _steps(low: float, high: float, steps: tuple[float, ...], most: float) -> list[float]:
    fitting = [step for step in steps if (high - low) / step <= max(most, 1.0)]
    step = fitting[0] if fitting else high - low
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [index * step for index in range(first, last + 1)]


def _depth_ticks(model: LineModel, extent: Extent, unit: LengthUnit, height_mm: float) -> Floats:
    """Round depths, mm, thinned where the surface squeezes them together."""
    end = np.array([extent.bottom_ns])
    deepest = float(np.nan_to_num(model.depths(end, np.ones(1))[0][0]))
    depths = np.array(length_ticks(0.0, deepest, unit, height_mm / 7))
    places = (model.file_ns(depths) - extent.top_ns) / (extent.bottom_ns - extent.top_ns)
    kept: list[int] = []
    for index, place in enumerate(places * height_mm):
        if not 0 <= place <= height_mm:
            continue
        if not kept or place - places[kept[-1]] * height_mm >= 3.2:
            kept.append(index)
    chosen: Floats = depths[kept]
    return chosen


def paper_mm(axes: Axes) -> tuple[float, float]:
    """Width and height of axes on paper, mm."""
    box = axes.get_position()
    return float(box.width) * WIDTH_MM, float(box.height) * HEIGHT_MM
