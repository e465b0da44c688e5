"""One posterior: closed forms, the trade's rule of thumb, and a dense solution by other means."""

import numpy as np
import pytest
import scipy.optimize

from depthwright import wave
from depthwright.depth.estimator import Points, Priors, implied_permittivity, solve
from depthwright.errors import DepthwrightError

NAN = float("nan")
EXACT_NS = 1e-6


def points(depths, permittivity, separation, ties, tie_u=1.0, pick_ns=EXACT_NS, height=0.0):
    """Points at true depths, with ties (NaN for none)."""
    count = len(depths)
    return Points(
        time_ns=wave.travel_time(
            np.asarray(depths, float), permittivity, separation, height
        ).time_ns,
        time_u_ns=np.full(count, pick_ns),
        separation_mm=np.full(count, float(separation)),
        height_mm=np.full(count, float(height)),
        antenna=np.zeros(count, dtype=np.intp),
        tie_mm=np.asarray(ties, float),
        tie_u_mm=np.full(count, float(tie_u)),
    )


def priors(r_ns=EXACT_NS, permittivity=None, permittivity_u=None):
    return Priors(np.array([r_ns]), permittivity, permittivity_u)


class TestCommonPractice:
    """Common practice, no source: at permittivity 7 a bar reads 26 mm; told 23 mm, it becomes 8.8."""

    def test_one_reading_moves_the_permittivity(self):
        answer = solve(points([26.0], 7.0, 0.0, [23.0]), priors())
        assert answer.permittivity == pytest.approx(7 * (26 / 23) ** 2, abs=1e-9)
        assert answer.permittivity == pytest.approx(8.945, abs=5e-4)

    @pytest.mark.parametrize(("read", "permittivity"), [(25.5, 8.60), (26.5, 9.29)])
    def test_the_rounding_of_the_reading_spans_the_usual_8_8(self, read, permittivity):
        answer = solve(points([read], 7.0, 0.0, [23.0]), priors())
        assert answer.permittivity == pytest.approx(permittivity, abs=0.006)

    def test_at_147_mm_one_reading_is_good_to_6_4_mm(self):
        answer = solve(points([26.0, 147 * 26 / 23], 7.0, 0.0, [23.0, NAN]), priors())
        assert answer.depth_mm[1] == pytest.approx(147.0, abs=1e-6)
        assert answer.depth_u_mm[1] == pytest.approx(6.4, abs=0.05)
        assert abs(151 - answer.depth_mm[1]) < 2 * answer.depth_u_mm[1]

    def test_with_a_separation_of_40_mm(self):
        answer = solve(points([26.0, 165.0], 7.0, 40.0, [23.0, NAN]), priors())
        assert answer.permittivity == pytest.approx(8.11, abs=0.005)
        assert answer.depth_mm[1] == pytest.approx(153, abs=0.5)
        # From the tie alone: 3.86 mm at 153 mm (3.7 mm at 147 mm).
        assert answer.depth_u_mm[1] == pytest.approx(
            0.5 * (153.14**2 + 400) / 153.14 * 46 / 929, rel=1e-3
        )
        deep = wave.depth_mm(wave.travel_time(147.0, answer.permittivity, 40.0).time_ns, 7.0, 40.0)
        answer = solve(points([26.0, float(deep)], 7.0, 40.0, [23.0, NAN]), priors())
        assert answer.depth_u_mm[1] == pytest.approx(3.7, abs=0.05)


@pytest.mark.parametrize(
    ("ties", "typed", "expected"),
    [
        ([NAN, NAN, NAN, NAN], True, 33.0),
        ([25.0, NAN, NAN, NAN], False, 18.3),
        ([25.0, 50.0, NAN, NAN], False, 9.7),
        ([25.0, NAN, 150.0, NAN], False, 2.5),
    ],
)
def test_the_interval_of_a_150_mm_slab_by_what_is_known(ties, typed, expected):
    """Separation 40 mm, permittivity 8, r 40 ps, picks 10 ps, ties 1 mm: closed-form propagation, k = 2."""
    known = points([25.0, 50.0, 150.0, 150.0], 8.0, 40.0, ties, pick_ns=0.010)
    prior = priors(0.040, 8.0, 8.0 * 1.5 / 7) if typed else priors(0.040)
    assert 2 * solve(known, prior).depth_u_mm[3] == pytest.approx(expected, abs=0.05)


def test_a_typed_permittivity_propagates_as_the_guide_says():
    """JCGM 100:2008, 5.1.2: u(d) = |dd/d ln eps| u(ln eps); at zero offset half the relative u."""
    answer = solve(points([100.0], 8.0, 0.0, [NAN]), priors(permittivity=8.0, permittivity_u=1.0))
    assert answer.depth_mm[0] == pytest.approx(100.0)
    assert answer.depth_u_mm[0] == pytest.approx(6.25, rel=1e-4)


def test_a_tied_bar_shows_its_ties_uncertainty():
    answer = solve(points([30.0, 60.0], 8.0, 40.0, [30.0, NAN], pick_ns=0.01), priors(0.04))
    assert answer.depth_u_mm[0] == pytest.approx(1.0, abs=1e-6)
    both = solve(points([30.0, 60.0], 8.0, 40.0, [30.0, 60.0], pick_ns=0.01), priors(0.04))
    assert 0 < both.depth_u_mm[0] <= 1.0
    assert both.depth_u_mm[0] > 0.5


def test_two_ties_at_different_depths_also_find_the_time_offset():
    late = points([25.0, 150.0, 80.0], 8.0, 40.0, [25.0, 150.0, NAN], pick_ns=0.002)
    late = Points(**{**vars(late), "time_ns": late.time_ns - 0.05})
    answer = solve(late, priors(0.065))
    assert answer.time_offset_ns[0] == pytest.approx(0.05, abs=0.012)
    assert answer.depth_mm[2] == pytest.approx(80.0, abs=1.0)
    one = solve(Points(**{**vars(late), "tie_mm": np.array([25.0, NAN, NAN])}), priors(0.065))
    assert abs(one.depth_mm[1] - 150.0) > 5.0


def test_points_without_ties_add_no_evidence():
    few = solve(points([30.0], 8.0, 40.0, [31.0], pick_ns=0.01), priors(0.04))
    many = solve(
        points([30.0, 40.0, 90.0], 8.0, 40.0, [31.0, NAN, NAN], pick_ns=0.01), priors(0.04)
    )
    assert many.permittivity == pytest.approx(few.permittivity, rel=1e-9)
    assert many.covariance == pytest.approx(few.covariance, rel=1e-9)
    later = few.more(points([40.0, 90.0], 8.0, 40.0, [NAN, NAN], pick_ns=0.01))
    assert later.depth_mm == pytest.approx(many.depth_mm[1:])
    assert later.depth_u_mm == pytest.approx(many.depth_u_mm[1:])


@pytest.mark.parametrize("seed", range(6))
def test_the_arrow_agrees_with_a_dense_least_squares(seed):
    """All unknowns together by scipy.optimize.least_squares; covariance from its Jacobian."""
    random = np.random.default_rng(seed)
    depths = random.uniform(25, 180, 6)
    ties = np.where(np.arange(6) < random.integers(1, 4), depths + random.normal(0, 1, 6), NAN)
    known = points(depths, random.uniform(6, 10), 40.0, ties, pick_ns=0.012, height=3.0)
    noisy = Points(**{**vars(known), "time_ns": known.time_ns + random.normal(0, 0.012, 6)})
    answer = solve(noisy, priors(0.05))
    tied = noisy.tied

    def residuals(theta):
        model = wave.travel_time(theta[2:], np.exp(theta[0]), 40.0, 3.0).time_ns
        picks = (noisy.time_ns + theta[1] - model) / noisy.time_u_ns
        return np.concatenate([picks, theta[2:][tied] - ties[tied], [theta[1] / 0.05]])

    start = np.concatenate([[np.log(8.0), 0.0], depths])
    dense = scipy.optimize.least_squares(
        residuals, start, x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    covariance = np.linalg.inv(dense.jac.T @ dense.jac)
    assert answer.permittivity == pytest.approx(np.exp(dense.x[0]), rel=1e-5)
    assert answer.time_offset_ns[0] == pytest.approx(dense.x[1], abs=1e-6)
    assert answer.depth_mm == pytest.approx(dense.x[2:], abs=1e-3)
    assert answer.covariance == pytest.approx(covariance[:2, :2], rel=1e-3)
    assert answer.depth_covariance() == pytest.approx(covariance[2:, 2:], rel=1e-2, abs=1e-3)


def test_the_linear_interval_holds_against_a_monte_carlo():
    """JCGM 101:2008 in miniature: draw reading, picks and offset, solve, compare the spread."""
    random = np.random.default_rng(3)
    drawn = []
    for _ in range(400):
        known = points(
            [35.0, 120.0], 8.0, 40.0, [35.0 + random.normal(), NAN], pick_ns=0.01, height=3.0
        )
        times = known.time_ns + random.normal(0, 0.01, 2) - random.normal(0, 0.03)
        drawn.append(solve(Points(**{**vars(known), "time_ns": times}), priors(0.03)).depth_mm[1])
    linear = solve(
        points([35.0, 120.0], 8.0, 40.0, [35.0, NAN], pick_ns=0.01, height=3.0), priors(0.03)
    )
    assert np.std(drawn) == pytest.approx(linear.depth_u_mm[1], rel=0.1)


def test_each_tie_alone_asks_for_its_own_permittivity():
    asked = implied_permittivity(points([26.0, 50.0], 7.0, 0.0, [23.0, NAN]))
    assert asked[0] == pytest.approx(8.945, abs=1e-3)
    assert np.isnan(asked[1])


@pytest.mark.parametrize(
    ("tie", "words"), [(900.0, "faster than in air"), (1.0, "slower than in water")]
)
def test_a_reading_against_physics_is_refused(tie, words):
    with pytest.raises(DepthwrightError, match=words):
        solve(points([30.0], 8.0, 0.0, [tie]), priors())


def test_nothing_known_is_said():
    with pytest.raises(DepthwrightError, match="Nothing speaks"):
        solve(points([30.0], 8.0, 40.0, [NAN]), priors())


def test_an_echo_before_any_depth_has_no_depth_and_breaks_nothing():
    early = points([30.0, 60.0], 8.0, 40.0, [30.0, NAN], pick_ns=0.01, height=3.0)
    early = Points(**{**vars(early), "time_ns": np.array([early.time_ns[0], 0.01])})
    answer = solve(early, priors(0.04))
    assert np.isnan(answer.depth_mm[1])
    assert answer.depth_mm[0] == pytest.approx(30.0, abs=1e-6)
