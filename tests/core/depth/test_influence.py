"""Evidence taken out, added and counted up, each against solving anew."""

import math
from dataclasses import replace

import numpy as np
import pytest

from depthwright.depth.estimator import solve
from depthwright.depth.influence import budgets, curvature_apart, with_reading, without_tie

NAN = float("nan")
SLOPES = np.array([-0.6, -0.01, 0.002, 2.4])


@pytest.fixture
def evidence(make_points, make_setting):
    """Three bars, a slab; two ties by one meter, a little off; typed permittivity kept."""
    known = make_points(
        [25.0, 60.0, 90.0, 160.0], [25.1, 60.6, NAN, NAN], pick_ns=0.01, tie_u=[1.0, 1.5, 1.0, 1.0]
    )
    known = replace(
        known, bar=np.array([1.0, 1.0, 1.0, 0.0]), meter=np.array([0, 0, -1, -1]),
        shared=np.full(4, 0.5),
    )  # fmt: skip
    setting = make_setting(
        r_ns=0.04, typed=(8.0, 1.5), meters=("m",), early_ns=0.0, early_u_ns=0.01, separation_u=1.0
    )
    return known, setting


def curved(points, log_permittivity):
    """The points with a curvature on the first three."""
    first = np.arange(len(points.time_ns)) < 3
    return replace(
        points,
        curve=np.where(first, log_permittivity, NAN),
        curve_u=np.where(first, 0.06, NAN),
        curve_time_ns=np.where(first, points.time_ns + 40 / 299.792458, NAN),
        curve_slopes=np.where(first[:, None], SLOPES, NAN),
    )


def test_taking_a_tie_out_is_solving_without_it(evidence):
    known, setting = evidence
    for index in (0, 1):
        rest = known.tie_mm.copy()
        rest[index] = NAN
        untied = known.with_ties(rest, known.tie_u_mm)
        anew = solve(untied, setting)
        out = without_tie(solve(known, setting), known, index)
        at = anew.names.index("ln_permittivity:zone-1")
        assert out.theta[at] == pytest.approx(anew.theta[at], abs=6e-3)
        assert out.covariance[at, at] == pytest.approx(anew.fit.covariance[at, at], rel=0.06)
        said = anew.depths(untied)
        # Independent of the meter's shared part, the tie differs from what the rest says by this much.
        slope = said.sensitivity[index].copy()
        slope[anew.names.index("meter:m")] += known.tie_u_mm[index] * math.sqrt(0.5)
        spread = math.sqrt(
            slope @ anew.fit.covariance @ slope
            + said.own_variance[index]
            + 0.5 * known.tie_u_mm[index] ** 2
        )
        meter = anew.theta[anew.names.index("meter:m")] * known.tie_u_mm[index] * math.sqrt(0.5)
        apart = abs(known.tie_mm[index] - said.depth_mm[index] - meter) / spread
        assert out.apart == pytest.approx(apart, rel=0.05)


def test_what_rests_on_one_tie_alone_has_nothing_without_it(make_points, make_setting):
    known = make_points([30.0, 60.0], [30.0, NAN], pick_ns=0.01)
    assert without_tie(solve(known, make_setting(r_ns=0.04)), known, 0) is None


def test_one_more_reading_is_solving_with_it(evidence):
    known, setting = evidence
    before = solve(known, setting)
    tied = known.tie_mm.copy()
    tied[2] = float(before.depths(known).depth_mm[2])
    u = known.tie_u_mm.copy()
    anew = solve(known.with_ties(tied, u), setting)
    after = with_reading(before, known.some(np.array([2])), 1.0)
    assert after == pytest.approx(anew.fit.covariance, rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("target", range(4))
def test_the_squares_of_a_budget_add_up(evidence, target):
    known, setting = evidence
    known = curved(known, math.log(8.1))
    answer = solve(known, setting)
    shares = budgets(answer, known, ["bar 1", "bar 2", "bar 3", "back face"], [target])[0]
    whole = answer.depths(known).u_mm[target]
    assert math.sqrt(sum(share.u_mm**2 for share in shares)) == pytest.approx(whole, rel=1e-6)
    assert [share.u_mm for share in shares] == sorted((s.u_mm for s in shares), reverse=True)
    assert all(share.u_mm > 0 for share in shares)


def test_a_budget_names_what_matters(make_points, make_setting):
    """One exact tie and a loose time offset: at the slab the offset is nearly all there is."""
    known = make_points([25.0, 150.0], [25.0, NAN], tie_u=0.01, pick_ns=1e-4)
    answer = solve(known, make_setting(r_ns=0.05))
    shares = budgets(answer, known, ["bar 1", "back face"], [1])[0]
    assert shares[0].source == "antenna's time offset"
    assert shares[0].u_mm == pytest.approx(answer.depths(known).u_mm[1], rel=1e-3)


def test_a_budget_of_correlated_readings_is_that_of_the_guide(make_points, make_setting):
    """JCGM 100:2008, H.3 with a common systematic: what readings share does not average out."""
    known = make_points(
        [40.0, 40.0], [40.0, 40.0], meter=np.zeros(2, dtype=np.intp), shared=np.full(2, 0.5)
    )
    answer = solve(known, make_setting(meters=("m",)))
    shares = {s.source: s.u_mm for s in budgets(answer, known, ["bar 1", "bar 2"], [0])[0]}
    assert shares["cover meter, shared by its readings"] == pytest.approx(math.sqrt(0.5), rel=1e-4)
    own = math.hypot(shares["known depth of bar 1"], shares["known depth of bar 2"])
    assert own == pytest.approx(math.sqrt(0.5 / 2), rel=1e-4)


def test_curvature_that_agrees_is_near_and_one_that_does_not_is_far(evidence):
    known, setting = evidence
    near, far = (curved(known, math.log(eps)) for eps in (8.0, 15.0))
    rest = solve(known, setting)
    assert curvature_apart(rest, near) < 2.0
    assert curvature_apart(rest, far) > 2.5
