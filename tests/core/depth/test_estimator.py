"""One posterior: closed forms, the trade's rule of thumb, and a dense solution by other means."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.depth.estimator import LEAST_FREEDOM, solve
from depthwright.depth.model import Model, implied_log_permittivity
from depthwright.depth.points import plain_points
from depthwright.depth.unknowns import AntennaPrior, LinePrior, Setting, ZonePrior
from depthwright.errors import DepthwrightError

NAN = float("nan")


def permittivity(answer):
    return math.exp(answer.zone_log_permittivity(0)[0])


class TestCommonPractice:
    """Common practice, no source: at permittivity 7 a bar reads 26 mm; told 23 mm, it becomes 8.8."""

    def test_one_reading_moves_the_permittivity(self, make_points, make_setting):
        known = make_points([26.0], [23.0], permittivity=7.0, separation=0.0)
        answer = solve(known, make_setting(separation=0.0))
        assert permittivity(answer) == pytest.approx(7 * (26 / 23) ** 2, abs=1e-9)
        assert permittivity(answer) == pytest.approx(8.945, abs=5e-4)

    @pytest.mark.parametrize(("read", "expected"), [(25.5, 8.60), (26.5, 9.29)])
    def test_the_rounding_of_the_reading_spans_the_usual_8_8(
        self, make_points, make_setting, read, expected
    ):
        known = make_points([read], [23.0], permittivity=7.0, separation=0.0)
        assert permittivity(solve(known, make_setting(separation=0.0))) == pytest.approx(
            expected, abs=0.006
        )

    def test_at_147_mm_one_reading_is_good_to_6_4_mm(self, make_points, make_setting):
        known = make_points([26.0, 147 * 26 / 23], [23.0, NAN], permittivity=7.0, separation=0.0)
        depths = solve(known, make_setting(separation=0.0)).depths(known)
        assert depths.depth_mm[1] == pytest.approx(147.0, abs=1e-6)
        assert depths.u_mm[1] == pytest.approx(6.4, abs=0.05)
        assert abs(151 - depths.depth_mm[1]) < 2 * depths.u_mm[1]

    def test_with_a_separation_of_40_mm(self, make_points, make_setting):
        known = make_points([26.0, 165.0], [23.0, NAN], permittivity=7.0)
        answer = solve(known, make_setting())
        depths = answer.depths(known)
        assert permittivity(answer) == pytest.approx(8.11, abs=0.005)
        assert depths.depth_mm[1] == pytest.approx(153, abs=0.5)
        # From the tie alone: 3.86 mm at 153 mm (3.7 mm at 147 mm).
        assert depths.u_mm[1] == pytest.approx(
            0.5 * (153.14**2 + 400) / 153.14 * 46 / 929, rel=1e-3
        )


@pytest.mark.parametrize(
    ("ties", "typed", "expected"),
    [
        ([NAN, NAN, NAN, NAN], True, 33.0),
        ([25.0, NAN, NAN, NAN], False, 18.3),
        ([25.0, 50.0, NAN, NAN], False, 9.7),
        ([25.0, NAN, 150.0, NAN], False, 2.5),
    ],
)
def test_the_interval_of_a_150_mm_slab_by_what_is_known(
    make_points, make_setting, ties, typed, expected
):
    """Separation 40 mm, permittivity 8, r 40 ps, picks 10 ps, ties 1 mm: closed-form propagation, k = 2."""
    known = make_points([25.0, 50.0, 150.0, 150.0], ties, pick_ns=0.010)
    setting = make_setting(r_ns=0.040, typed=(8.0, 8.0 * 1.5 / 7) if typed else None)
    assert 2 * solve(known, setting).depths(known).u_mm[3] == pytest.approx(expected, abs=0.05)


def test_a_typed_permittivity_propagates_as_the_guide_says(make_points, make_setting):
    """JCGM 100:2008, 5.1.2: u(d) = |dd/d ln eps| u(ln eps); at zero offset half the relative u."""
    known = make_points([100.0], [NAN], separation=0.0)
    depths = solve(known, make_setting(separation=0.0, typed=(8.0, 1.0))).depths(known)
    assert depths.depth_mm[0] == pytest.approx(100.0)
    assert depths.u_mm[0] == pytest.approx(6.25, rel=1e-4)


def test_a_tied_bar_shows_its_ties_uncertainty(make_points, make_setting):
    one = make_points([30.0, 60.0], [30.0, NAN], pick_ns=0.01)
    assert solve(one, make_setting(r_ns=0.04)).depths(one).u_mm[0] == pytest.approx(1.0, abs=1e-6)
    two = make_points([30.0, 60.0], [30.0, 60.0], pick_ns=0.01)
    assert 0.5 < solve(two, make_setting(r_ns=0.04)).depths(two).u_mm[0] <= 1.0


def test_two_ties_at_different_depths_also_find_the_time_offset(make_points, make_setting):
    exact = make_points([25.0, 150.0, 80.0], [25.0, 150.0, NAN], pick_ns=0.002)
    late = replace(exact, time_ns=exact.time_ns - 0.05)
    answer = solve(late, make_setting(r_ns=0.065))
    offset = answer.theta[answer.names.index("time_offset_ns:antenna-1")]
    assert offset == pytest.approx(0.05, abs=0.012)
    assert answer.depths(late).depth_mm[2] == pytest.approx(80.0, abs=1.0)
    one = late.with_ties(np.array([25.0, NAN, NAN]), late.tie_u_mm)
    assert abs(solve(one, make_setting(r_ns=0.065)).depths(one).depth_mm[1] - 150.0) > 5.0


def test_the_error_of_a_meter_is_shared_by_its_readings(make_points, make_setting):
    """Closed form for two readings at one depth: u^2 = u_1^2 (1 + rho) / 2, JCGM 100:2008, 5.2.2."""
    shared = {"meter": np.zeros(2, dtype=np.intp), "shared": np.full(2, 0.6)}
    known = make_points([40.0, 40.0], [40.0, 40.0], **shared)
    depth = solve(known, make_setting(meters=("meter-1",))).depths(known)
    assert depth.u_mm[0] == pytest.approx(math.sqrt((1 + 0.6) / 2), rel=1e-4)
    alone = make_points([40.0], [40.0], meter=np.zeros(1, dtype=np.intp), shared=np.full(1, 0.6))
    assert solve(alone, make_setting(meters=("meter-1",))).depths(alone).u_mm[0] == pytest.approx(
        1.0, abs=1e-6
    )


def test_a_duplicated_point_without_a_tie_changes_nothing(make_points, make_setting):
    few = make_points([30.0], [31.0], pick_ns=0.01)
    many = make_points([30.0, 40.0, 40.0], [31.0, NAN, NAN], pick_ns=0.01)
    one, other = (solve(known, make_setting(r_ns=0.04)) for known in (few, many))
    assert permittivity(other) == pytest.approx(permittivity(one), rel=1e-9)
    assert other.covariance == pytest.approx(one.covariance, rel=1e-7)


def test_an_uncertain_separation_widens_shallow_depths_most(make_points, make_setting):
    known = make_points([25.0, 150.0], [NAN, NAN])
    sure = make_setting(typed=(8.0, 1e-6))
    open_ended = make_setting(typed=(8.0, 1e-6), separation_u=3.0)
    grown = [solve(known, s).depths(known).u_mm for s in (sure, open_ended)]
    assert grown[1][0] > grown[1][1] > 10 * grown[0][1]


@pytest.mark.parametrize("seed", range(6))
def test_the_elimination_agrees_with_a_dense_least_squares(seed):
    """All unknowns together, with refraction, ties, curvature, a meter and two lines of one antenna, by
    scipy.optimize.least_squares; covariance from its Jacobian."""
    random = np.random.default_rng(seed)
    count = 7
    line = np.arange(count) % 2
    truth = random.uniform(25, 180, count)
    tied = random.permutation(count)[: random.integers(2, 4)]
    ties = np.full(count, NAN)
    ties[tied] = truth[tied] + random.normal(0, 1, len(tied))
    curved = np.arange(count) < 3
    setting = Setting(
        zones=(ZonePrior("z", 8.0, np.inf),),
        antennas=(AntennaPrior("a", 40.0, 2.0, 3.0, 0.4, 0.0, 0.05),),
        lines=tuple(
            LinePrior(f"l{i}", direct_u_ns=0.004, apart_u=0.03, scale_u=0.01) for i in range(2)
        ),
        meters=("m",),
        early_ns=0.015,
        early_u_ns=0.01,
        moveout_u=0.05,
    )
    eps = random.uniform(6, 10)
    times = wave.travel_time(truth, eps, 40.0, 3.0).time_ns - 40 / C_MM_PER_NS
    slopes = np.array([0.6, 0.01, -0.002, -2.4])
    known = replace(
        plain_points(
            times + random.normal(0, 0.012, count), np.full(count, 0.012), bar=1.0,
            tie_mm=ties, tie_u_mm=np.full(count, 1.2),
        ),
        line=line, meter=np.where(np.isfinite(ties), 0, -1), shared=np.full(count, 0.5),
        curve=np.where(curved, np.log(eps) + random.normal(0, 0.05, count), NAN),
        curve_u=np.where(curved, 0.06, NAN),
        curve_time_ns=np.where(curved, times + 40 / C_MM_PER_NS + 0.015, NAN),
        curve_slopes=np.where(curved[:, None], slopes, NAN),
    )  # fmt: skip
    answer = solve(known, setting)
    names = answer.names
    column = {name: names.index(name) for name in names}
    where = np.flatnonzero(np.isfinite(ties))

    def residuals(x):
        theta, depth = x[: len(names)], x[len(names) :]
        get = lambda name: theta[column[name]]  # noqa: E731
        log_eps = (
            get("ln_permittivity:z")
            + np.array([get("ln_permittivity_apart:l0"), get("ln_permittivity_apart:l1")])[line]
        )
        s, h = get("separation_mm:a"), get("height_mm:a")
        h = (h + np.hypot(h, 0.3)) / 2
        model = wave.travel_time(depth, np.exp(log_eps), s, h).time_ns
        direct = np.array([get("direct_ns:l0"), get("direct_ns:l1")])[line]
        picked = known.time_ns + s / C_MM_PER_NS + get("time_offset_ns:a") + direct
        rows = [(picked + get("bars_early_ns") - model) / 0.012]
        own = 1.2 * np.sqrt(0.5)
        rows.append((ties - depth - own * get("meter:m"))[where] / own)
        scale = np.array([get("ln_distance_scale:l0"), get("ln_distance_scale:l1")])[line]
        said = (
            log_eps + 0.6 * (model - known.curve_time_ns) + 0.01 * (s - 40) - 0.002 * (h - 3.0)
            - 2.4 * scale + get("ln_moveout")
        )  # fmt: skip
        rows.append(((known.curve - said) / 0.06)[curved])
        u = np.array([unknown.u for unknown in answer.model.columns.unknowns])
        rows.append(((theta - answer.model.columns.means) / u)[np.isfinite(u)])
        return np.concatenate(rows)

    dense = scipy.optimize.least_squares(
        residuals, np.concatenate([answer.model.columns.means, truth]), x_scale="jac",
        xtol=1e-15, ftol=1e-15, gtol=1e-15,
    )  # fmt: skip
    covariance = np.linalg.inv(dense.jac.T @ dense.jac)
    depths = answer.depths(known)
    assert answer.theta == pytest.approx(dense.x[: len(names)], abs=2e-5)
    assert depths.depth_mm == pytest.approx(dense.x[len(names) :], abs=1e-3)
    assert answer.fit.covariance == pytest.approx(
        covariance[: len(names), : len(names)], rel=2e-2, abs=2e-5
    )
    spread = math.sqrt(max(1.0, answer.fit.chi_square / answer.freedom))
    if answer.freedom >= LEAST_FREEDOM and spread > 1:
        return
    u = np.sqrt(np.diag(covariance))[len(names) :]
    assert depths.u_mm == pytest.approx(u, rel=1e-2)


def test_evidence_that_does_not_fit_together_widens_everything(make_points, make_setting):
    """Five ties on one line that scatter three times as wide as they claim (Birge's ratio)."""
    depths = [30.0, 60.0, 90.0, 120.0, 150.0]
    off = np.array([3.0, -3.0, 3.0, -3.0, 3.0])
    fits = make_points(depths, depths)
    scatters = make_points(depths, np.array(depths) + off)
    one, other = (solve(known, make_setting()) for known in (fits, scatters))
    assert one.freedom == 4
    assert one.covariance == pytest.approx(one.fit.covariance)
    ratio = math.sqrt(other.fit.chi_square / 4)
    assert ratio > 2
    assert np.sqrt(other.covariance[0, 0] / other.fit.covariance[0, 0]) == pytest.approx(ratio)


def test_below_three_degrees_of_freedom_nothing_is_read_from_the_scatter(make_points, make_setting):
    known = make_points([30.0, 60.0, 90.0], [33.0, 57.0, 93.0])
    answer = solve(known, make_setting())
    assert answer.freedom == 2
    assert answer.covariance == pytest.approx(answer.fit.covariance)


@settings(max_examples=40, deadline=None)
@given(
    depth=st.floats(15, 120),
    eps=st.floats(4, 14),
    tie_u=st.floats(0.3, 6),
    r=st.floats(0.005, 0.08),
)
def test_one_tie_is_met_and_its_interval_kept(depth, eps, tie_u, r):
    """With a free permittivity one tie is reproduced, and the tied bar has the tie's uncertainty."""
    time = wave.travel_time(depth, eps, 40.0, 3.0).time_ns - 40 / C_MM_PER_NS
    setting = Setting(
        (ZonePrior("z", 8.0, np.inf),),
        (AntennaPrior("a", 40.0, 1.0, 3.0, 0.3, 0.0, r),),
        (LinePrior("l"),),
    )
    known = plain_points(
        np.array([float(time)]),
        np.array([0.01]),
        tie_mm=np.array([depth]),
        tie_u_mm=np.array([tie_u]),
    )
    answer = solve(known, setting)
    depths = answer.depths(known)
    assert depths.depth_mm[0] == pytest.approx(depth, abs=1e-5)
    assert depths.u_mm[0] == pytest.approx(tie_u, rel=1e-5)
    assert permittivity(answer) == pytest.approx(eps, rel=1e-5)


def test_a_dipping_back_face_is_read_straight_below(make_points, make_setting):
    """By the image of one antenna in the plane: t = (2 n cos b / c) sqrt(D^2 + (s/2)^2)."""
    dip = math.radians(5.0)
    level = make_points([160.0], [NAN])
    first = 40 / C_MM_PER_NS
    dipping = replace(
        level,
        time_ns=(level.time_ns + first) * math.cos(dip) - first,
        level=np.array([math.cos(dip)]),
    )
    answer = solve(dipping, make_setting(typed=(8.0, 1e-6)))
    assert answer.depths(dipping).depth_mm[0] == pytest.approx(160.0, abs=1e-3)
    slope_ns_per_mm = 2 * math.sqrt(8) * math.sin(dip) / C_MM_PER_NS
    assert wave.level_cosine(slope_ns_per_mm, 8.0) == pytest.approx(math.cos(dip))


def test_each_tie_alone_asks_for_its_own_permittivity(make_points, make_setting):
    known = make_points([26.0, 50.0], [23.0, NAN], permittivity=7.0, separation=0.0)
    model = Model.of(make_setting(separation=0.0))
    asked = implied_log_permittivity(known, model, model.columns.means)
    assert math.exp(asked[0]) == pytest.approx(8.945, abs=1e-3)
    assert np.isnan(asked[1])


@pytest.mark.parametrize(
    ("tie", "words"), [(900.0, "faster than in air"), (1.0, "slower than in water")]
)
def test_a_reading_against_physics_is_refused(make_points, make_setting, tie, words):
    with pytest.raises(DepthwrightError, match=words):
        solve(make_points([30.0], [tie], separation=0.0), make_setting(separation=0.0))


def test_nothing_known_is_said(make_points, make_setting):
    with pytest.raises(DepthwrightError, match="Nothing speaks"):
        solve(make_points([30.0], [NAN]), make_setting())


def test_ties_at_one_depth_with_nothing_known_of_the_offset_are_refused(make_points, make_setting):
    known = make_points([40.0, 40.0], [40.0, 40.0], pick_ns=0.01)
    with pytest.raises(DepthwrightError, match="does not determine") as told:
        solve(known, make_setting(r_ns=np.inf))
    assert "another depth" in str(told.value)
    spread = make_points([40.0, 140.0], [40.0, 140.0], pick_ns=0.01)
    assert permittivity(solve(spread, make_setting(r_ns=np.inf))) == pytest.approx(8.0, abs=1e-6)


def test_an_echo_before_any_depth_has_no_depth_and_breaks_nothing(make_points, make_setting):
    known = make_points([30.0, 60.0], [30.0, NAN], pick_ns=0.01, height=3.0)
    early = replace(known, time_ns=np.array([known.time_ns[0], -0.2]))
    depths = solve(early, make_setting(r_ns=0.04, height=3.0)).depths(early)
    assert np.isnan(depths.depth_mm[1])
    assert np.isnan(depths.u_mm[1])
    assert depths.depth_mm[0] == pytest.approx(30.0, abs=1e-6)


def test_where_the_search_starts_moves_nothing_that_is_shown(make_points, make_setting):
    setting = make_setting(r_ns=0.03, separation_u=1.0, height=3.0, height_u=2.0)
    known = make_points([25.0, 40.0, 60.0, 150.0], [24.0, NAN, 62.0, NAN], height=3.0, pick_ns=0.02)
    cold = solve(known, setting)
    asked = cold.depths(known)
    for off in (-0.5, 0.5):
        warm = solve(known, setting, start=cold.theta + off * np.sqrt(np.diag(cold.covariance)))
        found = warm.depths(known)
        assert found.depth_mm == pytest.approx(asked.depth_mm, abs=1e-5)
        assert found.u_mm == pytest.approx(asked.u_mm, abs=1e-5)
