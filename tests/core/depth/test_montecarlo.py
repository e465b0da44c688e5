"""The linear posterior against draws of everything (JCGM 101:2008)."""

import numpy as np
import pytest

from depthwright.depth.estimator import solve
from depthwright.depth.montecarlo import drawn_depths

NAN = float("nan")
DRAWS = 160


def half_interval(sample):
    low, high = np.percentile(sample, [2.5, 97.5])
    return (high - low) / 2


def test_a_nearly_linear_problem_is_the_monte_carlo_one(make_points, make_setting):
    """Two ties far apart: the interval of the slab between them, to the scatter of the draws."""
    known = make_points([35.0, 150.0, 120.0], [35.0, 150.0, NAN], pick_ns=0.01, height=3.0)
    setting = make_setting(r_ns=0.03, height=3.0, separation_u=1.0)
    sample = drawn_depths(known, setting, DRAWS, np.random.default_rng(1))[:, 2]
    linear = solve(known, setting).depths(known)
    assert np.mean(sample) == pytest.approx(linear.depth_mm[2], abs=0.2 * linear.u_mm[2])
    assert half_interval(sample) == pytest.approx(1.96 * linear.u_mm[2], rel=0.25)


def test_where_it_is_curved_the_linear_interval_is_still_near(make_points, make_setting):
    """One shallow tie and a loose time offset: the slab's distribution is skewed, and the linear interval
    within a fifth of the drawn one."""
    known = make_points([25.0, 150.0], [25.0, NAN], pick_ns=0.01)
    setting = make_setting(r_ns=0.03)
    sample = drawn_depths(known, setting, DRAWS, np.random.default_rng(2))[:, 1]
    linear = solve(known, setting).depths(known)
    assert half_interval(sample) == pytest.approx(1.96 * linear.u_mm[1], rel=0.25)
    low, high = np.percentile(sample, [2.5, 97.5])
    assert low < 150.0 < high


def test_readings_of_one_meter_move_together(make_points, make_setting):
    shared = {"meter": np.zeros(2, dtype=np.intp), "shared": np.full(2, 0.8)}
    known = make_points([40.0, 40.0], [40.0, 40.0], pick_ns=0.01, **shared)
    setting = make_setting(r_ns=0.03, meters=("m",))
    sample = drawn_depths(known, setting, DRAWS, np.random.default_rng(3))
    linear = solve(known, setting).depths(known)
    assert np.std(sample[:, 0]) == pytest.approx(linear.u_mm[0], rel=0.25)


def test_what_contradicts_physics_is_cut_off(make_points, make_setting):
    """A tie of 12 mm give or take 12: some draws ask for a wave faster than in air."""
    known = make_points([12.0], [12.0], tie_u=12.0, permittivity=2.0)
    sample = drawn_depths(known, make_setting(), 60, np.random.default_rng(4))
    assert 0 < np.isnan(sample).sum() < 60
