"""Rows brought together lose nothing, and steps that look back come sooner to the same place."""

import numpy as np
import pytest

from depthwright.depth.leastsquares import Alike, gauss_newton
from depthwright.depth.unknowns import HELD, Slopes


def dense_by_hand(column, value, unknowns):
    """Derivatives with every unknown, written one by one."""
    rows = np.zeros((*value.shape[:-1], unknowns))
    for (point, kind), unknown in np.ndenumerate(column):
        if unknown != HELD:
            rows[point, ..., unknown] = value[point, ..., kind]
    return rows


def test_slopes_spread_over_all_unknowns_leave_out_what_is_held():
    random = np.random.default_rng(1)
    column = np.array([[0, 3, HELD], [2, HELD, HELD], [1, 0, 4]])
    value = random.normal(size=(3, 2, 3)) * (column != HELD)[:, None, :]
    assert Slopes(column, value).dense(5) == pytest.approx(dense_by_hand(column, value, 5))


def test_the_variance_by_few_unknowns_is_that_by_all():
    random = np.random.default_rng(2)
    column = np.array([[0, 3, HELD], [2, HELD, HELD], [1, 0, 4]])
    slopes = Slopes(column, random.normal(size=(3, 1, 3)) * (column != HELD)[:, None, :])
    root = random.normal(size=(5, 5))
    row = slopes.dense(5)[:, 0]
    expected = np.diag(row @ root @ root.T @ row.T)
    assert slopes.variance(root @ root.T) == pytest.approx(expected)


@pytest.mark.parametrize("rows", [3, 60], ids=["a few rows", "many rows"])
def test_rows_that_touch_the_same_unknowns_say_the_same_in_a_triangle(rows):
    random = np.random.default_rng(rows)
    key = random.integers(0, 3, size=rows)
    column = np.array([[0, 2], [1, 2], [3, HELD]])[key]
    value = random.normal(size=(rows, 2)) * (column != HELD)
    residual = random.normal(size=rows)
    alike = Alike.of(column, key)
    few, turned = alike.condensed(residual, value)
    condensed = dense_by_hand(alike.column, turned, 4).reshape(-1, 4)
    whole = dense_by_hand(column, value, 4)
    assert few.size <= max(rows * 3, 3 * 3)
    assert condensed.T @ condensed == pytest.approx(whole.T @ whole)
    assert condensed.T @ few.ravel() == pytest.approx(whole.T @ residual)
    assert np.sum(few**2) == pytest.approx(np.sum(residual**2))


def test_where_residuals_stay_large_looking_back_comes_sooner_to_the_minimum():
    """Steps that do not look back shrink to four ninths each: twenty of them to a ten-millionth."""
    places = []

    def linearise(values):
        places.append(float(values[0]))
        curved = 2 / 9 * values**2
        return np.concatenate([-values, 1 - curved]), np.array([[1.0], [4 / 9 * values[0]]])

    fit = gauss_newton(linearise, np.array([0.2]))
    assert fit.values == pytest.approx([0.0], abs=1e-6)
    assert len(places) < 12
