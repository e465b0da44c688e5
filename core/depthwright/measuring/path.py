"""The best way through a picture from one side to the other, by dynamic programming."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

BEND_COST = 0.02
"""What each sample of rise or fall costs, against a worth of 1 for each column on the ridge."""


def best_path(
    worth: NDArray[np.floating], fixed: Indices, most_slope: int, most_jump: int, jump_cost: float
) -> Indices:
    """The row in each column that together are worth most (Viterbi's algorithm).

    Parameters
    ----------
    worth
        What it is worth to pass through, shape (columns, rows).
    fixed
        Rows that the way must pass through, -1 where it is free, shape (columns,).
    most_slope
        By how many rows it may rise or fall from one column to the next.
    most_jump, jump_cost
        By how many rows it may do so at a cost, and that cost. To a fixed row it may jump from anywhere.

    Returns
    -------
    The rows, shape (columns,).
    """
    columns, rows = worth.shape
    way = _Way(
        BEND_COST * np.abs(np.arange(-most_slope, most_slope + 1)), max(most_slope, most_jump), rows
    )
    # What each row was worth on arrival, kept so that only the way taken is ever traced back.
    before = np.empty((columns, rows))
    total = np.zeros(rows)
    for column in range(columns):
        before[column] = total
        total = way.arrive(total, jump_cost)
        if fixed[column] >= 0:
            only = int(fixed[column])
            kept = max(total[only], before[column].max() - jump_cost)
            total[:] = -np.inf
            total[only] = kept
        total += worth[column]
    path = np.empty(columns, np.intp)
    row = int(total.argmax())
    for column in range(columns - 1, -1, -1):
        path[column] = row
        row = way.source(before[column], row, jump_cost, anywhere=bool(fixed[column] >= 0))
    return path


class _Way:
    """From the rows of one column to those of the next."""

    def __init__(self, bend: Floats, margin: int, rows: int) -> None:
        self._bend, self._margin, self._rows = bend, margin, rows
        self._padded = np.full(rows + 2 * margin, -np.inf)
        first = margin - len(bend) // 2
        beside = np.lib.stride_tricks.sliding_window_view(self._padded, rows)
        self._beside = beside[first : first + len(bend)]

    def arrive(self, before: Floats, jump_cost: float) -> Floats:
        """The most that each row can be reached with."""
        self._padded[self._margin : self._margin + self._rows] = before
        total: Floats = (self._beside - self._bend[:, None]).max(axis=0)
        np.maximum(total, _running_max(self._padded, 2 * self._margin + 1) - jump_cost, out=total)
        return total

    def source(self, before: Floats, row: int, jump_cost: float, anywhere: bool) -> int:
        """The row that another one was reached from: level, by a bend, or by a jump where that is more."""
        half = len(self._bend) // 2
        low, high = max(0, row - half), min(self._rows, row + half + 1)
        bent = before[low:high] - self._bend[low - row + half : high - row + half]
        source = low + int(bent.argmax())
        most = bent[source - low]
        first = max(0, row - self._margin)
        near = before[first : row + self._margin + 1]
        if near.max() - jump_cost > most:
            source = first + int(near.argmax())
            most = near.max() - jump_cost
        if anywhere and before.max() - jump_cost > most:
            source = int(before.argmax())
        return source


def _running_max(values: Floats, size: int) -> Floats:
    """Maximum of each stretch of so many values, by stretches twice as long each time."""
    span = 1
    while 2 * span <= size:
        values = np.maximum(values[:-span], values[span:])
        span *= 2
    return values if span == size else np.maximum(values[: span - size], values[size - span :])
