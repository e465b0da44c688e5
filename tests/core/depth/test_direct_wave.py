"""The table of the direct wave: its interpolation, its derivatives, and that it is what is computed."""

import time

import numpy as np
import pytest

from depthwright.constants import C_MM_PER_NS
from depthwright.depth.direct_wave import direct_shift
from depthwright.simulate.direct_wave_table import (
    DELAYS,
    HEIGHTS,
    PERMITTIVITIES,
    first_strong_maximum,
    read,
)

STEP = 1e-5


def places(count, seed=1):
    """Separation, height, permittivity, frequency of antennas on concrete, shape (count,) each."""
    random = np.random.default_rng(seed)
    low, high = (30, 0.3, 3, 1.3), (70, 10, 14, 2.6)
    return random.uniform(low, high, (count, 4)).T


@pytest.mark.parametrize(
    ("moved", "name"), [(0, "per_separation"), (1, "per_height"), (2, "per_log_permittivity")]
)
def test_derivatives_are_those_of_the_shift(moved, name):
    here = list(places(500))
    step = STEP * (here[2] if moved == 2 else 1)
    below, above = (
        direct_shift(*(value + sign * step * (i == moved) for i, value in enumerate(here))).time_ns
        for sign in (-1, 1)
    )
    expected = (above - below) / (2 * STEP)
    assert getattr(direct_shift(*here), name) == pytest.approx(expected, abs=2e-5)


def separation_mm(delay, permittivity):
    """Separation at 1 GHz for a delay in periods between the waves in the concrete and in the air."""
    return delay * C_MM_PER_NS / (np.sqrt(permittivity) - 1)


@pytest.mark.parametrize("moved", [0, 1, 2])
def test_derivatives_do_not_jump_from_cell_to_cell(moved):
    axis = (DELAYS, HEIGHTS, PERMITTIVITIES)[moved][1:-1]
    delay, height, eps = (axis if i == moved else value for i, value in enumerate((0.4, 0.013, 7)))
    inside = [separation_mm(delay, eps), height * C_MM_PER_NS, eps]
    below, above = (
        direct_shift(*(value * (1 + side) for value in inside), 1.0) for side in (-1e-9, 1e-9)
    )
    for name in ("time_ns", "per_separation", "per_height", "per_log_permittivity"):
        assert getattr(below, name) == pytest.approx(getattr(above, name), abs=1e-5)


def test_only_lengths_in_wavelengths_count():
    s, h, eps, f = places(50)
    here, halved = direct_shift(s, h, eps, f), direct_shift(s / 2, h / 2, eps, 2 * f)
    assert halved.time_ns == pytest.approx(here.time_ns / 2)
    assert halved.per_height == pytest.approx(here.per_height)
    assert halved.per_log_permittivity == pytest.approx(here.per_log_permittivity / 2)


def test_beyond_the_edge_the_shift_stays():
    """Delays from 0.08 to 2.06 periods, heights to 0.08 wavelengths, permittivities 2.5 to 30."""
    wide, wider = (direct_shift(separation_mm(delay, 7), 3, 7, 1.0) for delay in (2.06, 3))
    assert wider.time_ns == pytest.approx(wide.time_ns)
    assert wider.per_separation == 0
    close, closer = (direct_shift(separation_mm(delay, 7), 3, 7, 1.0) for delay in (0.08, 0.03))
    assert closer.time_ns == pytest.approx(close.time_ns)
    assert closer.per_separation == 0
    high, higher = (direct_shift(80, 0.08 * C_MM_PER_NS * times, 7, 1.0) for times in (1, 2))
    assert higher.time_ns == pytest.approx(high.time_ns)
    assert higher.per_height == 0
    for edge, beyond in ((2.5, 1.5), (30, 50)):
        at, out = (direct_shift(80, 3, eps, 1.0) for eps in (edge, beyond))
        assert out.time_ns == pytest.approx(at.time_ns)
        assert out.per_log_permittivity == 0


def test_shapes_broadcast():
    shift = direct_shift(np.full((3, 1), 50.0), np.array([1.0, 3.0]), 7.0, 2.0)
    assert shift.time_ns.shape == shift.per_height.shape == (3, 2)
    assert direct_shift(50, 3, 7, 2).time_ns.shape == ()


@pytest.mark.parametrize(
    ("s_mm", "h_mm", "eps", "f_ghz"),
    [
        (40, 3.3, 7.0, 1.80),
        (40, 0.7, 6.2, 1.80),
        (50, 3.0, 8.0, 1.52),
        (60, 5.0, 6.0, 1.45),
        (45, 2.4, 9.3, 1.71),
        (30, 4.1, 5.1, 2.60),
        (80, 8.0, 7.0, 1.55),
    ],
)
def test_between_the_nodes_it_is_what_the_exact_field_gives(s_mm, h_mm, eps, f_ghz):
    per_mm = f_ghz / C_MM_PER_NS
    exact = read(s_mm * per_mm, h_mm * per_mm, eps).shift_ns / f_ghz
    shift = direct_shift(s_mm, h_mm, eps, f_ghz)
    assert shift.time_ns == pytest.approx(exact, abs=0.002)


def test_the_nodes_are_what_the_kept_program_computes():
    random = np.random.default_rng(4)
    for _ in range(12):
        delay, height, eps = (random.choice(axis) for axis in (DELAYS, HEIGHTS, PERMITTIVITIES))
        s_mm = separation_mm(delay, eps)
        stored = direct_shift(s_mm, height * C_MM_PER_NS, eps, 1.0).time_ns
        separation = s_mm / C_MM_PER_NS
        computed = read(separation, min(height, separation), eps).shift_ns
        assert stored == pytest.approx(computed, abs=2e-4)


def test_of_two_maxima_the_first_that_reaches_half_is_taken():
    around = np.array([0.0, 0.2, 0.1, 0.6, 0.3, 1.0, 0.0])
    assert first_strong_maximum(around) == 3


@pytest.mark.parametrize(("count", "most_s"), [(1, 0.002), (5000, 0.1)])
def test_it_is_fast(count, most_s):
    """A tenth of a millisecond and some milliseconds on the machine it was made on; generous here."""
    here = places(count)
    taken_s = []
    for _ in range(6):
        start = time.thread_time()  # whatever else the machine does
        direct_shift(*here)
        taken_s.append(time.thread_time() - start)
    assert min(taken_s) < most_s
