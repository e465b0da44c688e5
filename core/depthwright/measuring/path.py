"""The best way through a picture from one side to the other, by dynamic programming."""

import numpy as np
from numpy.typing import NDArray

Indices = NDArray[np.intp]

BEND_COST = 0.02
"""What each sample of rise or fall costs, against a worth of 1 for each column on the ridge."""


def best_path(
    worth: NDArray[np.floating], fixed: Indices, most_slope: int, jump_cost: float
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
    jump_cost
        What it costs to go to any other row instead.

    Returns
    -------
    The rows, shape (columns,).
    """
    columns, rows = worth.shape
    steps = np.arange(-most_slope, most_slope + 1)
    cost = BEND_COST * np.abs(steps)
    came_from = np.empty((columns, rows), np.int16 if rows < 2**15 else np.int32)
    every_row = np.arange(rows)
    padded = np.full(rows + 2 * most_slope, -np.inf)
    near = np.lib.stride_tricks.sliding_window_view(padded, len(steps))
    total = np.zeros(rows)
    for column in range(columns):
        padded[most_slope : most_slope + rows] = total
        reached = near - cost
        step = reached.argmax(axis=1)
        total = reached[every_row, step]
        best = int(padded.argmax()) - most_slope
        jumped = padded[best + most_slope] - jump_cost > total
        total[jumped] = padded[best + most_slope] - jump_cost
        came_from[column] = np.where(jumped, best, every_row + steps[step])
        total += worth[column]
        if fixed[column] >= 0:
            kept = total[fixed[column]]
            total[:] = -np.inf
            total[fixed[column]] = kept
    path = np.empty(columns, np.intp)
    row = int(total.argmax())
    for column in range(columns - 1, -1, -1):
        path[column] = row
        row = int(came_from[column, row])
    return path
