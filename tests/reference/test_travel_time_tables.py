"""Travel times against tables computed apart from this project from the closed forms.

Sources: v = c / sqrt(eps_r) with c = 0.299792458 m/ns (SI); offset reflector
t = (2/v) sqrt(d^2 + (s/2)^2), the form used for common-offset surveys (ASTM D6432, from memory).
Values computed independently with numpy from those formulas, to the digits printed.
"""

import numpy as np
import pytest

from depthwright import wave


@pytest.mark.parametrize(
    ("eps", "v_m_per_ns", "t_50", "t_100", "t_200"),
    [
        (1, 0.29979, 0.3336, 0.6671, 1.3343),
        (4, 0.14990, 0.6671, 1.3343, 2.6685),
        (5, 0.13407, 0.7459, 1.4917, 2.9835),
        (6, 0.12239, 0.8171, 1.6341, 3.2682),
        (6.25, 0.11992, 0.8339, 1.6678, 3.3356),
        (7, 0.11331, 0.8825, 1.7651, 3.5301),
        (8, 0.10599, 0.9435, 1.8869, 3.7738),
        (9, 0.09993, 1.0007, 2.0014, 4.0028),
        (10, 0.09480, 1.0548, 2.1096, 4.2193),
        (12, 0.08654, 1.1555, 2.3110, 4.6220),
        (16, 0.07495, 1.3343, 2.6685, 5.3370),
        (81, 0.03331, 3.0021, 6.0042, 12.0083),
    ],
)
def test_velocity_and_two_way_time_at_zero_offset(eps, v_m_per_ns, t_50, t_100, t_200):
    assert wave.velocity_mm_per_ns(eps) / 1000 == pytest.approx(v_m_per_ns, abs=6e-6)
    times = wave.travel_time(np.array([50.0, 100.0, 200.0]), eps, 0.0).time_ns
    assert times == pytest.approx([t_50, t_100, t_200], abs=6e-5)


@pytest.mark.parametrize(
    ("depth", "at_40", "at_60", "at_80"),
    [
        (20, 8.28, 16.06, 24.72),
        (30, 6.06, 12.43, 20.00),
        (50, 3.85, 8.31, 14.03),
        (75, 2.62, 5.78, 10.00),
        (100, 1.98, 4.40, 7.70),
        (150, 1.33, 2.97, 5.24),
        (200, 1.00, 2.24, 3.96),
        (300, 0.67, 1.50, 2.66),
    ],
)
def test_what_ignoring_the_separation_costs(depth, at_40, at_60, at_80):
    for separation, error in ((40, at_40), (60, at_60), (80, at_80)):
        time = wave.travel_time(depth, 6.25, separation).time_ns
        assert wave.depth_mm(time, 6.25, 0.0) - depth == pytest.approx(error, abs=0.006)


@pytest.mark.parametrize(
    ("depth", "time_ns", "eps"), [(75.0, 1.25, 6.24136), (200.0, 3.4, 6.49351)]
)
def test_the_permittivity_of_a_known_depth(depth, time_ns, eps):
    assert wave.depth_mm(time_ns, eps, 0.0) == pytest.approx(depth, abs=1e-4)


@pytest.mark.parametrize(
    ("depth", "read"),
    [(20, 24.06), (30, 30.43), (50, 46.31), (100, 92.40), (200, 190.24), (300, 289.50)],
)
def test_zero_put_on_the_direct_wave_and_no_geometry(depth, read):
    """Separation 60 mm, both left out: the two mistakes cancel only near half the separation."""
    time = wave.travel_time(depth, 6.25, 60.0).time_ns - 60.0 / 299.792458
    assert wave.depth_mm(time, 6.25, 0.0) == pytest.approx(read, abs=0.006)


def test_zero_put_on_the_wave_through_the_concrete_and_no_geometry():
    time = wave.travel_time(50.0, 6.25, 60.0).time_ns - 60.0 / wave.velocity_mm_per_ns(6.25)
    assert wave.depth_mm(time, 6.25, 0.0) == pytest.approx(28.3, abs=0.06)


def test_pythagorean_triples_and_an_apex():
    # s = 80, d = 30: the reach is exactly 50; s = 80, d = 75: 85.
    for depth, reach in ((30.0, 50.0), (75.0, 85.0)):
        time = wave.travel_time(depth, 6.25, 80.0).time_ns
        assert time * wave.velocity_mm_per_ns(6.25) / 2 == pytest.approx(reach, abs=1e-9)
    assert wave.travel_time(50.0, 6.25, 60.0).time_ns == pytest.approx(0.972498, abs=1e-6)
    assert wave.depth_mm(1.0, 6.25, 60.0) == pytest.approx(51.9136, abs=1e-4)


def test_a_40_mm_separation_left_out_spoils_a_slab():
    """Tied at 23 mm with separation 0, a 151 mm slab recorded with 40 mm reads about 115 mm."""
    bar, slab = wave.travel_time(np.array([23.0, 151.0]), 8.0, 40.0).time_ns
    permittivity = (bar * 299.792458 / 2 / 23.0) ** 2
    assert wave.depth_mm(slab, permittivity, 0.0) == pytest.approx(115, abs=1.0)
