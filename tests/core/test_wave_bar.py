"""Time to a bar beside the antennas, against Fermat's principle minimised by scipy.optimize."""

import numpy as np
import pytest
import scipy.optimize
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from depthwright import wave
from depthwright.errors import DepthwrightError

C_MM_PER_NS = 299.792458

offsets = st.floats(-250.0, 250.0)
covers = st.floats(3.0, 300.0)
radii = st.one_of(st.just(0.0), st.floats(2.0, 25.0))
permittivities = st.floats(3.0, 20.0)
separations = st.floats(0.0, 150.0)
heights = st.floats(0.5, 30.0)


def least(function, low, high):
    """Least value of a function of one variable, the ends included."""
    best = scipy.optimize.minimize_scalar(
        function, bounds=(low, high), method="bounded", options={"xatol": 1e-8}
    )
    return min(best.fun, function(low), function(high))


def leg_mm(across, deep, n, h):
    """Least optical length between an antenna and a point, over where it crosses the surface."""
    across = abs(across)
    if h == 0 or across == 0:
        return n * np.hypot(across, deep) + (h if across == 0 else 0.0)
    return least(lambda u: np.hypot(u, h) + n * np.hypot(across - u, deep), 0.0, across)


def shortest_ns(x, cover, radius, eps, s, h):
    """Least time over the bar's upper half and both crossings; the bar's axis at ``x``."""
    n = np.sqrt(eps)

    def way(angle):
        side, deep = x + radius * np.sin(angle), cover + radius * (1 - np.cos(angle))
        return leg_mm(side + s / 2, deep, n, h) + leg_mm(side - s / 2, deep, n, h)

    if radius == 0:
        return way(0.0) / C_MM_PER_NS
    around = np.linspace(-np.pi / 2, np.pi / 2, 13)
    middle = int(np.argmin([way(angle) for angle in around]))
    ends = around[max(0, middle - 1)], around[min(len(around) - 1, middle + 1)]
    return least(way, *ends) / C_MM_PER_NS


@settings(deadline=None)
@given(offsets, covers, radii, permittivities, separations)
def test_on_the_surface_it_is_the_shortest_way(x, cover, radius, eps, s):
    expected = shortest_ns(x, cover, radius, eps, s, 0.0)
    assert wave.bar_time(x, cover, radius, eps, s).time_ns == pytest.approx(expected, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(offsets, covers, radii, permittivities, separations, heights)
def test_above_the_surface_it_is_the_shortest_refracted_way(x, cover, radius, eps, s, h):
    expected = shortest_ns(x, cover, radius, eps, s, h)
    assert wave.bar_time(x, cover, radius, eps, s, h).time_ns == pytest.approx(expected, abs=1e-6)


STEPS = {
    "per_offset": (0, 1e-3),
    "per_mm": (1, 1e-3),
    "per_radius": (2, 1e-3),
    "per_log_permittivity": (3, 1e-5),
    "per_separation": (4, 1e-3),
    "per_height": (5, 1e-3),
}


@given(
    offsets,
    covers,
    st.floats(2.0, 25.0),
    permittivities,
    st.floats(1.0, 150.0),
    st.one_of(st.just(0.0), heights),
)
def test_derivatives_are_those_of_the_time(x, cover, radius, eps, s, h):
    given_values = np.array([x, cover, radius, eps, s, h])
    at = wave.bar_time(*given_values)
    for name, (place, step) in STEPS.items():
        if name == "per_height" and h == 0:
            continue
        ends = []
        for sign in (-1, 1):
            moved = given_values.copy()
            if name == "per_log_permittivity":
                moved[place] *= np.exp(sign * step)
            else:
                moved[place] += sign * step
            ends.append(float(wave.bar_time(*moved).time_ns))
        slope = (ends[1] - ends[0]) / (2 * step)
        assert getattr(at, name) == pytest.approx(slope, abs=1e-6), name


@given(st.floats(-20.0, 20.0), st.floats(60.0, 200.0), st.floats(0.0, 16.0))
def test_the_change_with_height_holds_from_the_surface_on(x, cover, radius):
    """Steeper than the critical angle, where lifting the antennas a little changes nothing else."""
    eps, s, lift = 7.0, 20.0, 1e-3
    assume(np.sqrt(eps) * (abs(x) + s / 2) < 0.9 * np.hypot(abs(x) + s / 2, cover))
    on_it = wave.bar_time(x, cover, radius, eps, s, 0.0)
    lifted = wave.bar_time(x, cover, radius, eps, s, lift).time_ns
    assert on_it.per_height == pytest.approx((lifted - on_it.time_ns) / lift, abs=1e-5)


@given(covers, radii, permittivities, separations, st.one_of(st.just(0.0), heights))
def test_over_the_bar_its_radius_does_not_matter(cover, radius, eps, s, h):
    over = wave.bar_time(0.0, cover, radius, eps, s, h)
    flat = wave.travel_time(cover, eps, s, h)
    for name in ("time_ns", "per_mm", "per_log_permittivity", "per_separation", "per_height"):
        assert getattr(over, name) == pytest.approx(getattr(flat, name), abs=1e-9), name
    assert over.per_offset == pytest.approx(0, abs=1e-9)
    assert over.per_radius == pytest.approx(0, abs=1e-9)


@given(offsets, covers, radii, permittivities, separations, st.one_of(st.just(0.0), heights))
def test_both_sides_of_the_bar_are_alike(x, cover, radius, eps, s, h):
    left, right = (wave.bar_time(side * x, cover, radius, eps, s, h) for side in (-1, 1))
    assert left.time_ns == pytest.approx(right.time_ns, abs=1e-9)
    assert left.per_offset == pytest.approx(-right.per_offset, abs=1e-8)


@given(offsets, covers, radii, permittivities)
def test_one_antenna_in_the_concrete_hears_the_circle_s_nearest_point(x, cover, radius, eps):
    expected = 2 * np.sqrt(eps) * (np.hypot(x, cover + radius) - radius) / C_MM_PER_NS
    assert wave.bar_time(x, cover, radius, eps, 0.0).time_ns == pytest.approx(expected, abs=1e-9)


def test_the_bar_is_earliest_straight_below_and_rises_to_either_side():
    x = np.linspace(0, 300, 61)
    for h in (0.0, 5.0):
        time = wave.bar_time(x, 50.0, 8.0, 8.0, 40.0, h).time_ns
        assert np.all(np.diff(time) > 0)


def test_many_geometries_at_once_are_each_as_alone():
    x, cover, h = np.linspace(-100, 100, 5)[:, None], np.array([20.0, 60.0, 150.0]), 3.0
    together = wave.bar_time(x, cover, 8.0, 8.0, 40.0, h).time_ns
    assert together.shape == (5, 3)
    alone = [
        [float(wave.bar_time(a, b, 8.0, 8.0, 40.0, h).time_ns) for b in cover] for a in x[:, 0]
    ]
    assert together == pytest.approx(np.array(alone), abs=1e-10)


@pytest.mark.parametrize(
    "impossible", [(0.0, 50.0, 8.0, 0.9, 40.0, 0.0), (0.0, 50.0, 8.0, 8.0, -1.0, 0.0)]
)
def test_impossible_inputs_are_refused(impossible):
    with pytest.raises(DepthwrightError):
        wave.bar_time(*impossible)
