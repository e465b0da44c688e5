"""The band of labels above the section: numbers and values stand clear of the picture, each with a
fine leader to its mark."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.exports import palette
from depthwright.exports.lettering import MM_PER_POINT, Type, width_mm
from depthwright.exports.page import Page

Floats = NDArray[np.float64]

NUMBER = Type(palette.BODY_PT, bold=True)
VALUE_PT = palette.BODY_PT
PILL = Type(palette.SMALL_PT, bold=True)

LEADER_MM = 3.0
_GAP_MM = 1.2
_TURNED_MM = VALUE_PT * MM_PER_POINT * 1.12
_FARTHEST_MM = 14.0
"""How far a level label may stand from its mark before all are turned."""


@dataclass(frozen=True)
class Label:
    """What stands above one mark: ``at_mm`` is the mark's place across the page, mm.

    ``pill`` is a known depth, on a dark ground.
    """

    mark_id: str
    at_mm: float
    number: str
    value: str
    pill: str = ""
    provisional: bool = False

    @property
    def value_type(self) -> Type:
        """Provisional values are in italics."""
        return Type(VALUE_PT, italic=self.provisional)

    @property
    def width_mm(self) -> float:
        """Width when set level."""
        pill = width_mm(self.pill, PILL) + 1.6 if self.pill else 0.0
        value = width_mm(self.value, self.value_type)
        return max(pill, value, width_mm(self.number, NUMBER))

    @property
    def length_mm(self) -> float:
        """Length when turned."""
        pill = width_mm(self.pill, PILL) + 2.6 if self.pill else 0.0
        gap = 1.4 if self.number and self.value else 0.0
        value = width_mm(self.value, self.value_type)
        return width_mm(self.number, NUMBER) + gap + value + pill


@dataclass(frozen=True)
class Band:
    """Labels with a place for each.

    ``centres_mm`` are across the page, mm; ``step`` is 1 when every mark has its label, else only
    every ``step``-th has.
    """

    labels: tuple[Label, ...]
    centres_mm: Floats
    turned: bool
    height_mm: float
    step: int


def arrange(labels: Sequence[Label], left_mm: float, right_mm: float) -> Band:
    """Find a place for every label: level where they fit near their marks, else turned."""
    ordered = tuple(sorted(labels, key=lambda label: label.at_mm))
    if not ordered:
        return Band((), np.empty(0), False, 0.0, 1)
    at = np.array([label.at_mm for label in ordered])
    widths = np.array([label.width_mm for label in ordered])
    if widths.sum() + _GAP_MM * len(ordered) <= right_mm - left_mm:
        centres = spread(at, widths, _GAP_MM, left_mm, right_mm)
        if np.abs(centres - at).max() <= _FARTHEST_MM:
            rows = 2 + any(label.pill for label in ordered)
            height = rows * Type(VALUE_PT).line_mm + LEADER_MM + 0.6 * (rows - 2)
            return Band(ordered, centres, False, height, 1)
    room = int((right_mm - left_mm) // _TURNED_MM)
    step = -(-len(ordered) // room)
    kept = ordered[::step]
    at = np.array([label.at_mm for label in kept])
    centres = spread(at, np.full(len(kept), _TURNED_MM), 0.0, left_mm, right_mm)
    height = max(label.length_mm for label in kept) + LEADER_MM + 1.0
    return Band(kept, centres, True, height, step)


def spread(at: Floats, widths: Floats, gap: float, low: float, high: float) -> Floats:
    """Centres nearest to ``at`` (sorted) whose boxes do not overlap and stay between two ends.

    Least squares under ordered spacing: with the boxes' cumulative widths taken off it is an isotonic
    regression.
    """
    from scipy.optimize import isotonic_regression  # slow to read, and only a picture asks for it

    reach = np.concatenate([[0.0], np.cumsum((widths[:-1] + widths[1:]) / 2 + gap)])
    level = isotonic_regression(at - reach).x
    least, most = low + widths[0] / 2, high - widths[-1] / 2 - reach[-1]
    centres: Floats = np.clip(level, least, max(least, most)) + reach
    return centres


def draw(page: Page, band: Band, top_mm: float) -> None:
    """Write the labels and their leaders down to the section's upper edge."""
    bottom = top_mm + band.height_mm
    foot = bottom - LEADER_MM
    for label, centre in zip(band.labels, band.centres_mm, strict=True):
        page.line(
            (centre, label.at_mm, label.at_mm), (foot + 0.5, bottom - 0.5, bottom), palette.QUIET
        )
        (_turned if band.turned else _level)(page, label, float(centre), foot)


def _level(page: Page, label: Label, centre: float, foot: float) -> None:
    step = Type(VALUE_PT).line_mm
    page.text(centre, foot - 0.5, label.value, label.value_type, align="center")
    page.text(centre, foot - 0.5 - step, label.number, NUMBER, align="center")
    if label.pill:
        above = foot - 0.5 - (2 * step + 0.3 if label.value else 0.3)
        page.text(centre, above, label.pill, PILL, colour=palette.TIE, align="center", pill=True)


def _turned(page: Page, label: Label, centre: float, foot: float) -> None:
    at = foot
    for text, kind in ((label.number, NUMBER), (label.value, label.value_type)):
        if text:
            page.text(centre, at, text, kind, turned=True)
            at -= width_mm(text, kind) + 1.4
    if label.pill:
        page.text(centre, at - 0.4, label.pill, PILL, colour=palette.TIE, turned=True, pill=True)
