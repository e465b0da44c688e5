"""The best way through a picture."""

from itertools import pairwise, product

import numpy as np
import pytest

from depthwright.measuring.path import BEND_COST, best_path


def worth_of(path, worth, most_slope, most_jump, jump_cost):
    """What a way is worth by the rules alone, minus infinity where it is not allowed."""
    total = sum(worth[column, row] for column, row in enumerate(path))
    for before, after in pairwise(path):
        rise = abs(after - before)
        slid = BEND_COST * rise if rise <= most_slope else np.inf
        total -= min(slid, jump_cost if rise <= most_jump else np.inf)
    return total


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("most_jump", [1, 2, 5])
def test_no_other_way_is_worth_more(seed, most_jump):
    """All ways through a small picture are counted."""
    random = np.random.default_rng(seed)
    worth = random.uniform(0, 1, (5, 5))
    path = best_path(worth, np.full(5, -1), 1, most_jump, 0.4)
    every = max(worth_of(way, worth, 1, most_jump, 0.4) for way in product(range(5), repeat=5))
    assert worth_of(path, worth, 1, most_jump, 0.4) == pytest.approx(every)


def test_it_goes_through_fixed_rows_whatever_they_are_worth():
    worth = np.zeros((30, 20))
    worth[:, 5] = 1.0
    fixed = np.full(30, -1)
    fixed[[10, 20]] = 15, 4
    path = best_path(worth, fixed, 1, 20, 3.0)
    assert path[10] == 15
    assert path[20] == 4
    assert np.all(path[[0, 5, 15, 25]] == 5)


def test_what_rises_faster_than_the_limit_is_not_followed():
    rows = np.arange(40)
    worth = np.zeros((40, 40))
    worth[np.arange(40), rows] = 1.0
    assert best_path(worth, np.full(40, -1), 1, 40, 100.0).tolist() == rows.tolist()
    steep = np.zeros((20, 40))
    steep[np.arange(20), rows[::2]] = 1.0
    found = best_path(steep, np.full(20, -1), 1, 40, 100.0)
    assert np.abs(np.diff(found)).max() <= 1


def test_a_jump_is_made_where_it_pays():
    worth = np.zeros((40, 30))
    worth[:20, 5] = worth[20:, 25] = 1.0
    far = best_path(worth, np.full(40, -1), 1, 30, 10.0)
    assert far.tolist() == [5] * 20 + [25] * 20
    near = best_path(worth, np.full(40, -1), 1, 30, 30.0)
    assert np.abs(np.diff(near)).max() <= 1


def test_a_jump_has_a_limit():
    worth = np.zeros((40, 30))
    worth[:20, 5] = worth[20:, 25] = 1.0
    path = best_path(worth, np.full(40, -1), 1, 8, 1.0)
    assert np.abs(np.diff(path)).max() <= 8
    assert (path[0], path[-1]) == (5, 25)


def test_a_fixed_row_is_reached_from_however_far():
    worth = np.zeros((20, 60))
    worth[:, 5] = 1.0
    fixed = np.full(20, -1)
    fixed[10] = 55
    path = best_path(worth, fixed, 1, 4, 2.0)
    assert path[10] == 55
    assert np.all(path[:10] == 5)
