"""The axes of a matrix: a column or a row of positions or times beside the samples.

One is recognised by its header, or because it rises evenly and its neighbour does not.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.files.matrix_words import Meaning, axis_words

Floats = NDArray[np.float64]

_UNEVEN = 0.3
"""Numbers may lie off an even axis by this share of a step: more is no rounding."""
_UNEVEN_SHORT = 0.01
_SHORT = 10
_FEWEST = 4
"""Fewer numbers than these rise evenly by chance."""


@dataclass(frozen=True)
class Axis:
    """Numbers beside a matrix, one for each of its rows or columns.

    Parameters
    ----------
    place
        Where they stand, like "the first column".
    values
        The numbers.
    meaning, unit
        What the header says they are; empty where it does not.
    """

    place: str
    values: Floats
    meaning: Meaning = ""
    unit: str = ""

    @property
    def is_count(self) -> bool:
        """Whether they only count rows or columns: said so, or 0, 1, 2 or 1, 2, 3 with no word on it."""
        if self.meaning:
            return self.meaning == "count"
        return self.values[0] in (0, 1) and bool((np.diff(self.values) == 1).all())

    def named(self, label: str) -> "Axis":
        """The same axis with what its header says."""
        return Axis(self.place, self.values, *axis_words(label))


def off_even(values: Floats) -> float:
    """How far numbers lie off the straight line through them, as a share of its step; inf if none."""
    if len(values) < 2 or not np.isfinite(values).all():
        return np.inf
    count = np.arange(len(values)) - (len(values) - 1) / 2
    scaled = values / max(float(np.abs(values).max()), 1e-300)  # no square overflows
    centred = scaled - scaled.mean()
    step = float(count @ centred / (count @ count))
    if step == 0:
        return np.inf
    return float(np.abs(centred - step * count).max() / abs(step))


def is_even(values: Floats) -> bool:
    """Whether numbers are equally far apart but for rounding."""
    return off_even(values) <= _UNEVEN


def rises_evenly(values: Floats) -> bool:
    """Whether numbers with no word on them are an axis: so many that rise evenly are no samples."""
    if len(values) < _FEWEST or not np.isfinite(values).all() or not (np.diff(values) > 0).all():
        return False
    return off_even(values) <= (_UNEVEN if len(values) >= _SHORT else _UNEVEN_SHORT)


def first_uneven(values: Floats) -> tuple[int, float, float]:
    """Where an axis first leaves its usual step: its index, the step there, and the usual step."""
    steps = np.diff(values)
    usual = float(np.median(steps))
    at = int(np.argmax(~(np.abs(steps - usual) <= _UNEVEN * abs(usual))))
    return at + 1, float(steps[at]), usual
