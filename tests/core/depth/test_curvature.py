"""A crest drawn with the model gives its permittivity back, and its slopes are true."""

import math
from dataclasses import replace

import numpy as np
import pytest

from depthwright import wave
from depthwright.depth import priors
from depthwright.depth.curvature import Crest, condense
from depthwright.depth.leg_delay import leg_delay_ns
from depthwright.measuring.ridge import nodes_of

OFFSETS = np.arange(-80.0, 81.0, 20.0)


def drawn(
    eps=8.0, cover=45.0, radius=8.0, s=40.0, h=3.0, f=1.7, apex=500.0, sine=1.0, late=0.0
) -> Crest:
    """Nodes at the model's own times, the two-way time of the apex by the refracted ray."""
    pulse = f * priors.PULSE_PER_LINE_FREQUENCY
    times = []
    for x in OFFSETS * sine:
        bar = wave.bar_time(x, cover, radius, eps, s)
        delay = leg_delay_ns(bar.leg_mm, bar.leg_angle_rad, h, eps, pulse).sum()
        times.append(float(bar.time_ns + delay) + 3.0)
    two_way = float(wave.travel_time(cover, eps, s, h).time_ns)
    nodes = tuple(zip((apex + OFFSETS).tolist(), times, strict=True))
    return Crest(nodes, apex + 2.0, two_way + late, radius, sine, s, h, f)


def test_a_drawn_crest_gives_its_permittivity_back():
    for eps in (5.0, 8.0, 11.0):
        (curve,) = condense([drawn(eps=eps)])
        assert math.exp(curve.log_permittivity) == pytest.approx(eps, rel=1e-4)
        assert curve.misfit_ns < 1e-5
        assert 0.01 < curve.u < 0.1


def test_many_at_once_are_each_as_alone():
    crests = [drawn(eps=eps, cover=cover) for eps in (6.0, 9.0) for cover in (35.0, 60.0)]
    crests[1] = replace(crests[1], nodes=crests[1].nodes[1:-1])
    together = condense(crests)
    for crest, curve in zip(crests, together, strict=True):
        (alone,) = condense([crest])
        assert curve.log_permittivity == pytest.approx(alone.log_permittivity, abs=1e-7)
        assert curve.u == pytest.approx(alone.u, rel=1e-6)


def test_the_slopes_are_those_of_fitting_anew():
    """What the estimator takes for granted when a tie moves the apex's time or the geometry."""
    base = drawn()
    (curve,) = condense([base])
    step = 1e-3

    def refit(**fields):
        (other,) = condense([replace(base, **fields)])
        return other.log_permittivity - curve.log_permittivity

    # z = ln eps + a (x - x0): the fit with another x gives ln eps = z - a (x - x0).
    assert -refit(two_way_ns=base.two_way_ns + step) / step == pytest.approx(
        curve.per_time, rel=0.1
    )
    assert -refit(separation_mm=base.separation_mm + 0.1) / 0.1 == pytest.approx(
        curve.per_separation, rel=0.2
    )
    assert -refit(sine=math.exp(-step)) / -step == pytest.approx(curve.per_scale, rel=0.1)


def test_a_neighbours_echo_at_one_end_pulls_little():
    base = drawn()
    nodes = (*base.nodes[:-1], (base.nodes[-1][0], base.nodes[-1][1] - 0.15))
    (clean,), (spoilt,) = condense([base]), condense([replace(base, nodes=nodes)])
    assert abs(spoilt.log_permittivity - clean.log_permittivity) < 2 * spoilt.u
    assert spoilt.u > clean.u


def test_a_level_echo_says_nothing():
    flat = tuple((500.0 + x, 4.0) for x in OFFSETS)
    (curve,) = condense([replace(drawn(), nodes=flat)])
    assert curve is None or math.exp(curve.log_permittivity) < 2.0


def test_nothing_gives_nothing():
    assert condense([]) == ()


def test_beyond_the_critical_angle_the_surface_lets_the_wave_come_early():
    """Full-wave runs: 40 to 130 ps before the straight path at 40 to 80 mm beside a shallow bar, while under
    the antennas the height's own way makes it a little late (own computation, invented scenes)."""
    beside = wave.bar_time(50.0, 35.0, 6.0, 8.0, 40.0)
    early = leg_delay_ns(beside.leg_mm, beside.leg_angle_rad, 3.3, 8.0, 1.9).sum()
    under = wave.bar_time(0.0, 66.0, 6.0, 8.0, 40.0)
    late = leg_delay_ns(under.leg_mm, under.leg_angle_rad, 3.3, 8.0, 1.9).sum()
    assert -0.130 < early < -0.030
    assert 0.0 < late < 0.040


def test_delays_follow_the_scale_of_the_wave():
    """Without loss twice the frequency at half the lengths is half the delay (Maxwell's equations)."""
    one = leg_delay_ns(60.0, 0.7, 3.0, 8.0, 1.5)
    half = leg_delay_ns(30.0, 0.7, 1.5, 8.0, 3.0)
    assert half == pytest.approx(one / 2, rel=1e-9)


def test_the_table_is_what_its_program_computes():
    from depthwright.simulate.transmitted import leg_delay

    length, angle, height, eps = 1.3, 0.62, 0.021, 7.4
    computed = leg_delay(length, angle, height, eps)
    read = leg_delay_ns(length * 299.792458 / math.sqrt(eps), angle, height * 299.792458, eps, 1.0)
    assert read == pytest.approx(computed, abs=0.004)


def test_nodes_stand_apart_and_follow_the_crest():
    position = np.arange(0.0, 301.0, 5.0)
    time = 2.0 + 1e-4 * (position - 150.0) ** 2
    random = np.random.default_rng(1)
    nodes = nodes_of(position, time + random.normal(0, 0.002, len(time)), 150.0)
    assert [node[0] for node in nodes] == pytest.approx(np.arange(10.0, 291.0, 20.0), abs=1e-9)
    for x, t in nodes:
        assert t == pytest.approx(2.0 + 1e-4 * (x - 150.0) ** 2, abs=0.005)


def test_a_short_crest_has_no_nodes():
    position = np.arange(0.0, 61.0, 5.0)
    assert nodes_of(position, np.full(13, 2.0), 30.0) == ()
    assert nodes_of(position, np.full(13, np.nan), 30.0) == ()
