"""What one known depth is worth at another depth, against sums done apart from this project.

Sources: the law of propagation, JCGM 100:2008, 5.1.2 and 5.2.2, applied by hand to
t = (2/v) sqrt(d^2 + (s/2)^2) with independently computed sensitivities; c = 299.792458 mm/ns. The
numbers were computed with numpy from those formulas, apart from this project, to the digits printed.
"""

import numpy as np
import pytest

from depthwright import wave
from depthwright.depth.estimator import Depths, Posterior, solve
from depthwright.depth.points import plain_points
from depthwright.depth.unknowns import AntennaPrior, LinePrior, Setting, ZonePrior

C_MM_PER_NS = 299.792458
NAN = float("nan")
NEVER = 1e-9
"""Stands for a quantity that is known, ns."""


def solved(
    times_ns, ties_mm, tie_u_mm, pick_u_ns, separation_mm, offset_u_ns=NEVER, typed=(8.0, np.inf)
) -> tuple[Posterior, Depths]:
    """The posterior and its depths, for antennas on the surface and two-way times as they are."""
    count = len(times_ns)
    points = plain_points(
        np.asarray(times_ns, float) - separation_mm / C_MM_PER_NS,
        np.full(count, pick_u_ns),
        tie_mm=np.asarray(ties_mm, float),
        tie_u_mm=np.full(count, float(tie_u_mm)),
    )
    antenna = AntennaPrior("a", separation_mm, 0.0, 0.0, 0.0, 0.0, offset_u_ns)
    posterior = solve(points, Setting((ZonePrior("z", *typed),), (antenna,), (LinePrior("l"),)))
    return posterior, posterior.depths(points)


def answer(*args, **kwargs) -> Depths:
    return solved(*args, **kwargs)[1]


def times_ns(depths_mm, permittivity, separation_mm):
    half = separation_mm / 2
    return [2 * np.sqrt(permittivity) * np.hypot(d, half) / C_MM_PER_NS for d in depths_mm]


def test_a_velocity_and_a_pick():
    """v = 0.12 m/ns to 5 %, t = 1.6667(200) ns, no separation: d = 100 mm, u = 5.14, U = 10.3."""
    permittivity = (C_MM_PER_NS / 120) ** 2
    typed = (permittivity, 0.10 * permittivity)
    depth = answer([1.6667], [NAN], 1, 0.02, 0, typed=typed)
    assert depth.depth_mm[0] == pytest.approx(100.0, abs=0.005)
    assert depth.u_mm[0] == pytest.approx(5.14, abs=0.005)


@pytest.mark.parametrize(("pick_u_ns", "expected_mm"), [(NEVER, 3.75), (0.02, 5.98)])
def test_one_reading_without_separation(pick_u_ns, expected_mm):
    """A cover of 40(1) mm read by a meter, and 150 mm behind it, v = 0.12 m/ns."""
    times = times_ns([40, 150], (C_MM_PER_NS / 120) ** 2, 0)
    assert answer(times, [40, NAN], 1, pick_u_ns, 0).u_mm[1] == pytest.approx(
        expected_mm, abs=0.006
    )


class TestOneReadingWithASeparationOf60Mm:
    """A cover of 40 mm and a slab of 200 mm, permittivity 6.25."""

    times = times_ns([40, 200], 6.25, 60)

    def test_1_mm_of_cover_is_1_60_per_cent_of_velocity(self):
        posterior, _ = solved(self.times, [40, NAN], 1, NEVER, 60)
        assert posterior.zone_log_permittivity(0)[1] / 2 == pytest.approx(0.0160, abs=5e-6)

    def test_and_3_27_mm_of_slab(self):
        posterior = answer(self.times, [40, NAN], 1, NEVER, 60)
        assert posterior.u_mm[1] == pytest.approx(3.27, abs=0.005)

    @pytest.mark.parametrize(
        ("moved", "mm_per_ns"), [((1, 0), -245), ((0, 1), 60.6), ((1, 1), -184.6)]
    )
    def test_sensitivity_to_the_picks_and_to_a_common_time_error(self, moved, mm_per_ns):
        step = 1e-6
        plain = answer(self.times, [40, NAN], 1, NEVER, 60).depth_mm[1]
        shifted = np.add(self.times, np.multiply(moved, step))
        change = answer(shifted, [40, NAN], 1, NEVER, 60).depth_mm[1] - plain
        assert change / step == pytest.approx(mm_per_ns, abs=0.5)

    @pytest.mark.parametrize(("tie_u_mm", "expected_mm"), [(1.0, 4.13), (1 / np.sqrt(3), 3.15)])
    def test_with_10_ps_picks(self, tie_u_mm, expected_mm):
        posterior = answer(self.times, [40, NAN], tie_u_mm, 0.010, 60)
        assert posterior.u_mm[1] == pytest.approx(expected_mm, abs=0.006)

    def test_an_unknown_time_offset_is_not_removed_by_one_reading(self):
        """0.1 ns of common time error is 18.5 mm of slab, and the interval says so."""
        posterior = answer(self.times, [40, NAN], 1, 0.010, 60, offset_u_ns=0.1)
        assert posterior.u_mm[1] == pytest.approx(np.hypot(18.46, 4.13), abs=0.02)


def test_a_wetter_top_is_outside_the_model():
    """Top 30 mm permittivity 9, next 170 mm 6: tied in the top, the slab reads 168.8 mm (-15.6 %).

    One permittivity cannot hold both; a second tie, on the slab, is what helps.
    """
    slab_ns = 3.37843
    bar_ns = 2 * 30 * 3 / C_MM_PER_NS
    posterior = answer([bar_ns, slab_ns], [30, NAN], 1, 0.01, 0)
    assert posterior.depth_mm[1] == pytest.approx(168.8, abs=0.05)
    effective = wave.depth_mm(slab_ns, 6.411, 0.0)
    assert effective == pytest.approx(200.0, abs=0.01)
