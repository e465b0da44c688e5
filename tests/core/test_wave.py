"""Travel time and depth: theory first."""

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.errors import DepthwrightError

depths = st.floats(1.0, 500.0)
permittivities = st.floats(3.0, 20.0)
separations = st.floats(0.0, 150.0)
heights = st.one_of(st.just(0.0), st.floats(0.5, 20.0))


@given(depths, permittivities, separations, heights)
def test_depth_undoes_travel_time(depth, eps, s, h):
    time = wave.travel_time(depth, eps, s, h).time_ns
    assert wave.depth_mm(time, eps, s, h) == pytest.approx(depth, abs=1e-6)


@given(depths, permittivities, separations, heights)
def test_derivatives_are_those_of_the_time(depth, eps, s, h):
    step = 1e-5
    at = wave.travel_time(depth, eps, s, h)
    ends = [wave.travel_time(depth + sign * step, eps, s, h).time_ns for sign in (-1, 1)]
    assert at.per_mm == pytest.approx((ends[1] - ends[0]) / (2 * step), abs=1e-6)
    ends = [wave.travel_time(depth, eps * np.exp(sign * step), s, h).time_ns for sign in (-1, 1)]
    assert at.per_log_permittivity == pytest.approx((ends[1] - ends[0]) / (2 * step), abs=1e-5)


@pytest.mark.parametrize("depth", [5.0, 25.0, 60.0, 200.0])
@pytest.mark.parametrize("h", [0.5, 3.0, 10.0])
def test_the_refracted_path_is_the_shortest(depth, h):
    """Fermat's principle, by an independent minimisation (scipy.optimize) over the crossing point."""
    n, half = np.sqrt(8.0), 20.0

    def leg(x):
        return np.hypot(h, x) + n * np.hypot(depth, half - x)

    best = scipy.optimize.minimize_scalar(
        leg, bounds=(0, half), method="bounded", options={"xatol": 1e-9}
    )
    expected = 2 * best.fun / C_MM_PER_NS
    assert wave.travel_time(depth, 8.0, 40.0, h).time_ns == pytest.approx(expected, abs=1e-9)


@given(depths, separations, st.floats(0.5, 200.0))
def test_a_target_in_air_is_reached_in_a_straight_line(depth, s, h):
    """With permittivity 1 nothing bends: Pythagoras, over height and depth together."""
    expected = 2 * np.hypot(depth + h, s / 2) / C_MM_PER_NS
    assert wave.travel_time(depth, 1.0, s, h).time_ns == pytest.approx(expected, rel=1e-12)


@given(depths, permittivities, separations)
def test_antennas_just_above_the_surface_find_the_shorter_of_two_ways(depth, eps, s):
    """Steeper than the critical angle they are as good as on it: straight through the concrete.

    Flatter, the shortest path runs along the surface in the air and dives at the critical angle, so a
    shallow bar's time jumps between a height of zero and hardly any height.
    """
    time = wave.travel_time(depth, eps, s, 1e-7).time_ns
    on_it = wave.travel_time(depth, eps, s, 0.0).time_ns
    along = s / 2 - depth / np.sqrt(eps - 1)
    if along <= 0:
        assert time == pytest.approx(on_it, abs=1e-7)
    else:
        dive = np.sqrt(eps) * depth / np.sqrt(1 - 1 / eps)
        assert time == pytest.approx(2 * (along + dive) / C_MM_PER_NS, abs=1e-7)
        assert time <= on_it + 1e-7


def test_lines_of_different_heights_are_reckoned_together():
    heights = np.array([0.0, 3.0, 10.0])
    together = wave.travel_time(50.0, 8.0, 40.0, heights).time_ns
    alone = [float(wave.travel_time(50.0, 8.0, 40.0, h).time_ns) for h in heights]
    assert together == pytest.approx(alone, abs=1e-12)
    assert wave.depth_mm(together, 8.0, 40.0, heights) == pytest.approx(50.0, abs=1e-8)


def test_deeper_is_later_and_slower_is_later():
    deep = wave.travel_time(np.array([10.0, 20.0, 40.0]), 8.0, 40.0, 3.0).time_ns
    assert np.all(np.diff(deep) > 0)
    slow = wave.travel_time(50.0, np.array([5.0, 8.0, 12.0]), 40.0, 3.0).time_ns
    assert np.all(np.diff(slow) > 0)


@pytest.mark.parametrize("h", [0.0, 3.0])
def test_an_echo_too_early_for_any_depth_has_none(h):
    for time_ns in (0.05, 0.0, -3.0):
        assert np.isnan(wave.depth_mm(time_ns, 8.0, 40.0, h))


@pytest.mark.parametrize("h", [0.0, 3.0])
def test_the_earliest_echo_lies_at_the_surface(h):
    earliest = wave.travel_time(0.0, 8.0, 40.0, h).time_ns
    assert wave.depth_mm(earliest + 1e-12, 8.0, 40.0, h) == pytest.approx(0.0, abs=1e-3)


def test_impossible_inputs_are_refused():
    for arguments in ((50.0, 0.9, 40.0, 0.0), (50.0, 8.0, -1.0, 0.0), (50.0, 8.0, 40.0, -1.0)):
        with pytest.raises(DepthwrightError):
            wave.travel_time(*arguments)


def test_shapes_broadcast():
    assert wave.travel_time(np.ones((3, 1)), np.full(4, 8.0), 40.0, 3.0).time_ns.shape == (3, 4)
