"""The cover strip on paper: each bar's cover with its interval, under the section, on its distances."""

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator

from depthwright.exports import palette
from depthwright.exports.band import spread
from depthwright.exports.lettering import MM_PER_POINT, Type, width_mm
from depthwright.exports.palette import LINE_PT, THIN_PT
from depthwright.exports.section import Extent, length_ticks, number, paper_mm, style_axis
from depthwright.exports.wording import short_of_mm, short_words
from depthwright.job import Job
from depthwright.results.values import BarRow
from depthwright.units import format_length

_LABEL = Type(palette.SMALL_PT)


def draw_strip(
    axes: Axes, job: Job, bars: tuple[BarRow, ...], extent: Extent, provisional: bool
) -> None:
    """Whiskers from cover - U to cover + U; below the specified cover hatched, with by how much."""
    known = [bar for bar in bars if math.isfinite(bar.cover.value_mm)]
    _frame(axes, job, known, extent, provisional)
    specified = job.specified_cover_mm
    if specified is not None:
        axes.axhline(specified, color=palette.TEXT, linewidth=THIN_PT * 1.3, dashes=(5, 3))
        axes.text(
            1.006, specified, f"specified\n{format_length(specified, job.unit)}",
            transform=axes.get_yaxis_transform(), va="center", ha="left", color=palette.TEXT,
            fontproperties=_LABEL.font, linespacing=1.1,
        )  # fmt: skip
    width_on_paper = paper_mm(axes)[0]
    per_mm = (extent.right_mm - extent.left_mm) / width_on_paper
    half_on_paper = min(1.4, 0.35 * width_on_paper / max(len(known), 1))
    half = half_on_paper * per_mm
    _whiskers(axes, known, half, half_on_paper)
    for bar in known:
        if short_of_mm(bar, job) > 0 and specified is not None:
            axes.add_patch(
                Rectangle(
                    (bar.position.value_mm - half, bar.cover.value_mm), 2 * half,
                    specified - bar.cover.value_mm, facecolor="none", edgecolor=palette.TEXT,
                    linewidth=THIN_PT, hatch="//////", zorder=1,
                )
            )  # fmt: skip
    _say_short(axes, job, known, extent, per_mm)


def _frame(axes: Axes, job: Job, bars: list[BarRow], extent: Extent, provisional: bool) -> None:
    lows = [bar.cover.value_mm - bar.cover.expanded_mm for bar in bars]
    highs = [bar.cover.value_mm + bar.cover.expanded_mm for bar in bars]
    if job.specified_cover_mm is not None:
        lows.append(job.specified_cover_mm)
        highs.append(job.specified_cover_mm)
    low, high = max(0.0, min(lows, default=0.0)), max(highs, default=60.0)
    span = max(high - low, 10.0)
    top, bottom = max(0.0, low - 0.12 * span), high + 0.12 * span
    if any(short_of_mm(bar, job) for bar in bars):
        top -= 0.25 * span
    axes.set_xlim(extent.left_mm, extent.right_mm)
    axes.set_ylim(bottom, top)
    ticks = [tick for tick in length_ticks(top, bottom, job.unit, 4) if tick >= 0]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.set_yticklabels([number(tick, job.unit) for tick in ticks])
    axes.grid(axis="y", color=palette.HAIRLINE, linewidth=0.4)
    axes.set_axisbelow(True)
    word = "Provisional\ncover" if provisional else "Cover"
    style_axis(axes, f"{word}, {job.unit}", italic=provisional)


def _whiskers(axes: Axes, bars: list[BarRow], half_mm: float, half_on_paper: float) -> None:
    """All as one path with gaps in it: many separate ones take long."""
    at = np.array([bar.position.value_mm for bar in bars])
    cover = np.array([bar.cover.value_mm for bar in bars])
    expanded = np.array([bar.cover.expanded_mm for bar in bars])
    low, high, blank = cover - expanded, cover + expanded, np.full(len(bars), np.nan)
    left, right = at - 0.7 * half_mm, at + 0.7 * half_mm
    axes.plot(
        np.column_stack([at, at, blank, left, right, blank, left, right, blank]).ravel(),
        np.column_stack([low, high, blank, low, low, blank, high, high, blank]).ravel(),
        color=palette.TEXT, linewidth=LINE_PT,
    )  # fmt: skip
    axes.plot(
        at, cover, "o", markersize=1.15 * half_on_paper / MM_PER_POINT,
        markerfacecolor=palette.BAR, markeredgecolor=palette.CASING,
        markeredgewidth=0.9, zorder=3,
    )  # fmt: skip


def _say_short(axes: Axes, job: Job, bars: list[BarRow], extent: Extent, per_mm: float) -> None:
    """By how much each cover falls short, along the upper edge where the words find room."""
    short = [
        (bar.position.value_mm, short_of_mm(bar, job))
        for bar in bars
        if short_of_mm(bar, job) > 0 and extent.left_mm <= bar.position.value_mm <= extent.right_mm
    ]
    if not short:
        return
    room = (extent.right_mm - extent.left_mm) / per_mm
    at = np.array([(position - extent.left_mm) / per_mm for position, _ in short])
    words = [f"{short_words(by, job.unit)} short" for _, by in short]
    widths = np.array([width_mm(word, _LABEL) for word in words])
    if widths.sum() + 1.5 * len(widths) <= room:
        places = spread(at, widths, 1.5, 0.5, room - 0.5)
    else:
        most = short_words(max(by for _, by in short), job.unit)
        words = [
            f"{len(short)} of {len(bars)} bars are short of the specified cover, by up to {most}"
        ]
        places = np.array([room / 2])
    for word, place in zip(words, places, strict=True):
        axes.text(
            place / room, 0.97, word, transform=axes.transAxes, ha="center", va="top",
            color=palette.TEXT, fontproperties=_LABEL.font,
        )  # fmt: skip
