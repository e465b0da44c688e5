"""Times over a bar against a table computed apart from this project.

Permittivity 6.25, cover 50 mm, separation 60 mm, bar radius 8 mm; the shortest way from antenna to
bar to antenna (Fermat's principle) minimised numerically with scipy.optimize, to the digits printed,
and the simpler forms in use beside it: t = (2/v) sqrt(d^2 + (s/2)^2) over a point (ASTM D6432, from
memory), and the way through the bar's axis less its diameter (common practice, no source).
"""

import numpy as np
import pytest
import scipy.optimize

from depthwright import wave

EPS, COVER_MM, RADIUS_MM, SEPARATION_MM = 6.25, 50.0, 8.0, 60.0

# Offset, mm; ns: over the bar, over a point at its top, by way of its axis less its diameter, and
# with both antennas in one place over the bar and over the point.
TABLE = [
    (0, 0.972498, 0.972498, 0.955650, 0.833910, 0.833910),
    (50, 1.209098, 1.235784, 1.202202, 1.143737, 1.179327),
    (100, 1.813068, 1.878859, 1.811739, 1.794621, 1.864680),
    (150, 2.555399, 2.641956, 2.555062, 2.548811, 2.637056),
]


@pytest.mark.parametrize(("offset", "bar", "point", "axis", "bar_at_0", "point_at_0"), TABLE)
def test_times_over_a_bar(offset, bar, point, axis, bar_at_0, point_at_0):
    def time(radius, separation):
        return float(wave.bar_time(offset, COVER_MM, radius, EPS, separation).time_ns)

    assert time(RADIUS_MM, SEPARATION_MM) == pytest.approx(bar, abs=1e-6)
    assert time(0.0, SEPARATION_MM) == pytest.approx(point, abs=1e-6)
    assert time(RADIUS_MM, 0.0) == pytest.approx(bar_at_0, abs=1e-6)
    assert time(0.0, 0.0) == pytest.approx(point_at_0, abs=1e-6)
    # The way to the axis is that to a point; its length less the diameter is never the shortest way's.
    through_axis = float(
        wave.bar_time(offset, COVER_MM + RADIUS_MM, 0.0, EPS, SEPARATION_MM).time_ns
    )
    short_cut = through_axis - 2 * RADIUS_MM / wave.velocity_mm_per_ns(EPS)
    assert short_cut == pytest.approx(axis, abs=1e-6)
    assert short_cut < time(RADIUS_MM, SEPARATION_MM)


def test_the_way_through_the_axis_is_17_ps_or_1_mm_short_over_the_bar():
    exact = float(wave.bar_time(0.0, COVER_MM, RADIUS_MM, EPS, SEPARATION_MM).time_ns)
    through_axis = float(wave.travel_time(COVER_MM + RADIUS_MM, EPS, SEPARATION_MM).time_ns)
    short_cut = through_axis - 2 * RADIUS_MM / wave.velocity_mm_per_ns(EPS)
    assert short_cut - exact == pytest.approx(-0.01685, abs=5e-5)
    # As velocity times half the time, the common reading of 1 ns as 60 mm here.
    assert (short_cut - exact) * wave.velocity_mm_per_ns(EPS) / 2 == pytest.approx(-1.0, abs=0.05)


# Cover and radius, mm; the velocity's error in percent and the cover's in mm, when a point under one
# antenna in the middle is fitted to the times over a bar with a separation of 60 mm, over +-150 mm.
POINT_FITS = [
    (30.0, 8.0, 60.0, 8.01, 12.13),
    (50.0, 8.0, 60.0, 6.73, 10.39),
    (50.0, 16.0, 60.0, 11.20, 12.74),
    (100.0, 8.0, 60.0, 4.61, 8.79),
    (150.0, 8.0, 60.0, 3.34, 7.96),
    (50.0, 8.0, 0.0, 4.27, 1.56),
    (50.0, 4.0, 0.0, 2.13, 0.76),
    (50.0, 16.0, 0.0, 8.56, 3.27),
]


@pytest.mark.parametrize(("cover", "radius", "separation", "velocity_percent", "depth"), POINT_FITS)
def test_what_the_simple_hyperbola_costs(cover, radius, separation, velocity_percent, depth):
    """Fitted with scipy.optimize to 61 exact times; the misfit of a few ps would not betray it."""
    x = np.linspace(-150, 150, 61)
    exact = wave.bar_time(x, cover, radius, EPS, separation).time_ns

    def point(offset, depth_mm, velocity):
        return 2 * np.hypot(offset, depth_mm) / velocity

    truth = wave.velocity_mm_per_ns(EPS)
    (fitted_mm, fitted_velocity), _ = scipy.optimize.curve_fit(point, x, exact, (cover, truth))
    assert 100 * (fitted_velocity / truth - 1) == pytest.approx(velocity_percent, abs=0.02)
    assert fitted_mm - cover == pytest.approx(depth, abs=0.02)
