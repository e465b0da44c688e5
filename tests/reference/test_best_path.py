"""The way that a back face is followed along, against shortest ways by Dijkstra's algorithm.

``scipy.sparse.csgraph.dijkstra`` knows nothing of the picture: it is given every step that is allowed, with
what the step costs. Costs are negated worths, moved up alike so that none is below zero.
"""

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from depthwright.measuring.path import BEND_COST, best_path

COLUMNS, ROWS = 40, 25
MOST_SLOPE, MOST_JUMP, JUMP_COST = 2, 8, 0.7


def shortest(worth, fixed):
    """Rows of the shortest way from one side to the other, shape (columns,)."""
    up = worth.max() + 1.0
    columns, rows = worth.shape
    before, after = np.meshgrid(np.arange(rows), np.arange(rows), indexing="ij")
    rise = np.abs(after - before)
    slid = np.where(rise <= MOST_SLOPE, BEND_COST * rise, np.inf)
    start, steps = columns * rows, []
    for column in range(columns):
        reach = np.full_like(slid, True) if fixed[column] >= 0 else rise <= MOST_JUMP
        cost = np.minimum(slid, np.where(reach, JUMP_COST, np.inf))
        tail = (column - 1) * rows + before
        if column == 0:
            cost, tail = np.zeros((1, rows)), np.full((1, rows), start)
        closed = (fixed[column] >= 0) & (np.arange(rows) != fixed[column])
        cost = cost + np.where(closed, np.inf, up - worth[column])
        steps.append(np.stack([tail, column * rows + after[: len(cost)], cost]).reshape(3, -1))
    tail, head, cost = np.concatenate(steps, axis=1)
    there = np.isfinite(cost)
    ends = tail[there].astype(int), head[there].astype(int)
    graph = coo_array((cost[there], ends), shape=(start + 1, start + 1)).tocsr()
    far, came_from = dijkstra(graph, indices=start, return_predecessors=True)
    last = (columns - 1) * rows
    node, way = last + int(np.argmin(far[last:start])), []
    while node != start:
        way.append(node % rows)
        node = came_from[node]
    return np.array(way[::-1])


def pictures():
    """Noise, a ridge in noise that steps, and one that anchors lie beside; with the rows of the anchors."""
    free = np.full(COLUMNS, -1)
    for seed in range(4):
        random = np.random.default_rng(seed)
        noise = random.uniform(0, 1, (COLUMNS, ROWS))
        yield pytest.param(noise, free, id=f"noise-{seed}")
        ridge = np.where(np.arange(COLUMNS) < 20, 6, 6 + 2 * seed) + np.arange(COLUMNS) // 9
        stepped = 0.6 * noise
        stepped[np.arange(COLUMNS), ridge] = 1.0
        yield pytest.param(stepped, free, id=f"step-{seed}")
        anchored = free.copy()
        anchored[[0, 13, 29]] = random.integers(0, ROWS, 3)
        yield pytest.param(stepped, anchored, id=f"anchors-{seed}")


@pytest.mark.parametrize(("worth", "fixed"), [*pictures()])
def test_the_best_way_is_the_shortest(worth, fixed):
    path = best_path(worth, fixed, MOST_SLOPE, MOST_JUMP, JUMP_COST)
    assert path.tolist() == shortest(worth, fixed).tolist()
