"""The best way through a picture from one side to the other, by dynamic programming."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

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
    steps = np.arange(-most_slope, most_slope + 1)
    margin = max(most_slope, most_jump)
    cost = BEND_COST * np.abs(steps)
    came_from = np.empty((columns, rows), np.int16 if rows < 2**15 else np.int32)
    every_row = np.arange(rows)
    padded = np.full(rows + 2 * margin, -np.inf)
    before = padded[margin : margin + rows]
    before[:] = 0.0
    beside = np.lib.stride_tricks.sliding_window_view(padded, len(steps))
    beside = beside[margin - most_slope : margin - most_slope + rows]
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * margin + 1)
    for column in range(columns):
        reached = beside - cost
        step = reached.argmax(axis=1)
        total = reached[every_row, step]
        source = every_row + steps[step]
        best = maximum_filter1d(padded, 2 * margin + 1)[margin : margin + rows] - jump_cost
        jumps = np.flatnonzero(best > total)
        total[jumps] = best[jumps]
        source[jumps] = jumps - margin + around[jumps].argmax(axis=1)
        if fixed[column] >= 0:
            only = int(fixed[column])
            anywhere = int(before.argmax())
            if before[anywhere] - jump_cost > total[only]:
                source[only], total[only] = anywhere, before[anywhere] - jump_cost
            kept = total[only]
            total[:] = -np.inf
            total[only] = kept
        came_from[column] = source
        before[:] = total + worth[column]
    return _traced(came_from, int(before.argmax()))


def _traced(came_from: NDArray[np.signedinteger], last: int) -> Indices:
    """The way back from the row in the last column."""
    path = np.empty(len(came_from), np.intp)
    for column in range(len(came_from) - 1, -1, -1):
        path[column] = last
        last = int(came_from[column, last])
    return path
