"""Migration: against points and faces drawn by formula, and against a slow sum written out in this test.

Travel times here are written out anew: two straight legs through the concrete (Euclid).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from depthwright.errors import DepthwrightError
from depthwright.processing.envelope import envelope
from depthwright.processing.migration import migrate, plan_migration

DT_NS, SPACING_MM, ZERO_NS, VELOCITY, SEPARATION_MM, FREQUENCY = 0.02, 5.0, 0.5, 100.0, 40.0, 2.0
SAMPLES, TRACES = 300, 161
TIME = np.arange(SAMPLES) * DT_NS


def ricker(time_ns: np.ndarray) -> np.ndarray:
    phase = (np.pi * FREQUENCY * time_ns) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def echo_ns(away_mm, depth_mm, separation_mm=SEPARATION_MM):
    legs = (np.hypot(depth_mm, away_mm + side * separation_mm / 2) for side in (-1, 1))
    return ZERO_NS + sum(legs) / VELOCITY


def plan(samples=SAMPLES, dt_ns=DT_NS, spacing_mm=SPACING_MM, separation_mm=SEPARATION_MM):
    return plan_migration(samples, dt_ns, spacing_mm, ZERO_NS, VELOCITY, separation_mm, FREQUENCY)


@pytest.fixture(scope="module", name="usual")
def _usual():
    return plan()


def point(depth_mm: float, separation_mm: float = SEPARATION_MM, at: int = TRACES // 2):
    """A point diffractor's section, as strong on every trace."""
    away = (np.arange(TRACES) - at) * SPACING_MM
    echo = echo_ns(away, depth_mm, separation_mm)[:, None]
    return ricker(TIME - echo).astype(np.float32)


def face(depth_mm: float, separation_mm: float = SEPARATION_MM):
    return np.tile(ricker(TIME - echo_ns(0.0, depth_mm, separation_mm)), (TRACES, 1)).astype(
        np.float32
    )


@pytest.mark.parametrize("separation_mm", [0.0, 40.0, 80.0])
@pytest.mark.parametrize("depth_mm", [60.0, 100.0, 180.0])
def test_a_point_collapses_to_its_place(depth_mm, separation_mm):
    section = point(depth_mm, separation_mm)
    image = envelope(migrate(section, plan(separation_mm=separation_mm)))
    trace, sample = np.unravel_index(image.argmax(), image.shape)
    assert abs(trace - TRACES // 2) <= 1
    apex_ns = echo_ns(0.0, depth_mm, separation_mm)
    assert sample * DT_NS == pytest.approx(apex_ns, abs=0.02 + DT_NS / 2)
    # What is at least half as strong as the strongest lies together; before, it lay along the limbs.
    strong = np.flatnonzero((image > image.max() / 2).any(axis=1))
    before = np.flatnonzero((envelope(section) > 0.5).any(axis=1))
    assert np.ptp(strong) * SPACING_MM <= 40.0
    assert len(before) > 10 * len(strong)


@pytest.mark.parametrize("separation_mm", [0.0, 40.0])
@pytest.mark.parametrize("depth_mm", [50.0, 80.0, 140.0, 220.0])
def test_a_flat_face_keeps_its_strength_time_and_shape(depth_mm, separation_mm):
    section = face(depth_mm, separation_mm)
    image = migrate(section, plan(separation_mm=separation_mm))[TRACES // 2]
    assert image.max() == pytest.approx(section.max(), rel=0.05)
    assert_allclose(image, section[0], rtol=0, atol=0.08)
    assert abs(int(image.argmax()) - int(section[0].argmax())) <= 1


@pytest.mark.parametrize("samples_per_period", [5.0, 8.0, 14.0, 40.0])
def test_strength_does_not_hang_on_the_sampling(samples_per_period):
    dt_ns = 1 / (samples_per_period * FREQUENCY)
    time = np.arange(int(6.0 / dt_ns)) * dt_ns
    section = np.tile(ricker(time - echo_ns(0.0, 120.0)), (TRACES, 1)).astype(np.float32)
    image = migrate(section, plan(len(time), dt_ns))[TRACES // 2]
    assert np.abs(envelope(image[None])).max() == pytest.approx(
        envelope(section[:1]).max(), rel=0.05
    )


def test_weights_deep_down_are_those_of_stationary_phase():
    """w(0) = spacing * sqrt(t'' / 2 pi), with t'' = (2 / v) d^2 / (d^2 + (s / 2)^2)^(3/2)."""
    found = plan()
    depth = 200.0
    row = round(echo_ns(0.0, depth) / DT_NS)
    group = found.groups[0]
    matrix = group.weights.toarray()[row - group.first_row]
    weight = matrix[: len(matrix) // len(group.steps)].sum()
    bend = 2 / VELOCITY * depth**2 / np.hypot(depth, SEPARATION_MM / 2) ** 3
    assert weight == pytest.approx(SPACING_MM * np.sqrt(bend / (2 * np.pi)), rel=0.05)


def slow_sum(section: np.ndarray, row_ns: float, trace: int) -> float:
    """One image sample, summed trace by trace: weights to a common factor, and the same tapers."""
    depth = np.sqrt((VELOCITY * (row_ns - ZERO_NS) / 2) ** 2 - (SEPARATION_MM / 2) ** 2)
    padded = np.fft.rfft(section.astype(np.float64), n=4 * SAMPLES)
    turning = 2 * np.pi * np.fft.rfftfreq(4 * SAMPLES, DT_NS)
    half = np.fft.irfft(padded * np.sqrt(turning) * np.exp(-0.25j * np.pi))[:, :SAMPLES]
    total, flat = 0.0, 0.0
    for other in range(-TRACES, 2 * TRACES):
        away = (other - trace) * SPACING_MM
        angle = np.arctan2(abs(away), depth)
        edge = np.clip((np.degrees(angle) - 45) / 30, 0, 1)
        weight = np.cos(angle) / np.sqrt(np.hypot(away, depth)) * np.cos(np.pi * edge / 2) ** 2
        late = echo_ns(away, depth)
        flat += weight * np.exp(2j * np.pi * FREQUENCY * (late - row_ns))
        if 0 <= other < TRACES:
            total += weight * np.interp(late, TIME, half[other], right=0.0)
    return total / abs(flat) / np.sqrt(2 * np.pi * FREQUENCY)


def test_it_is_the_sum_written_out(usual):
    """At 5 mm the moveout from trace to trace stays below where it is tapered."""
    section = point(90.0) + 0.5 * point(130.0, at=60) + face(200.0)
    image = migrate(section.astype(np.float32), usual)
    scale = float(np.abs(image).max())
    for sample, trace in ((126, 80), (110, 75), (160, 60), (180, 100), (228, 90), (220, 5)):
        expected = slow_sum(section, sample * DT_NS, trace)
        assert image[trace, sample] == pytest.approx(expected, abs=0.005 * scale)


def test_above_the_surface_there_is_nothing():
    section = np.random.default_rng(0).standard_normal((20, SAMPLES)).astype(np.float32)
    image = migrate(section, plan())
    surface = int((ZERO_NS + SEPARATION_MM / VELOCITY) / DT_NS)
    assert not image[:, :surface].any()
    assert image[:, surface + 2 :].any(axis=0).mean() > 0.99


def test_offset_and_drift_are_no_echo(usual):
    section = point(100.0)
    drift = np.linspace(30, 80, SAMPLES, dtype=np.float32)
    scale = np.abs(migrate(section, usual)).max()
    drifted = migrate(section + drift, usual)
    assert_allclose(drifted, migrate(section, usual), rtol=0, atol=1e-4 * scale)


def test_limbs_too_steep_for_their_traces_are_left_out():
    """At 40 mm a trace, 0.25 ns is reached at 18 degrees: beyond, traces are out of step."""
    coarse = plan(spacing_mm=40.0)
    deepest = VELOCITY * (SAMPLES * DT_NS - ZERO_NS) / 2
    assert 0 < coarse.reach * 40.0 < deepest * np.tan(np.radians(45.0))
    assert plan().reach * SPACING_MM > 0.8 * deepest


@settings(max_examples=15, derandomize=True, deadline=None)
@given(st.floats(-3, 3), st.floats(-3, 3))
def test_it_is_linear(usual, a, b):
    random = np.random.default_rng(1)
    one, two = random.standard_normal((2, 12, SAMPLES)).astype(np.float32)
    both = migrate((a * one + b * two).astype(np.float32), usual)
    apart = a * migrate(one, usual) + b * migrate(two, usual)
    assert_allclose(both, apart, rtol=0, atol=2e-4)


@settings(max_examples=10, derandomize=True, deadline=None)
@given(st.integers(0, 350), st.integers(1, 300))
def test_a_stretch_with_its_reach_gives_the_same_as_the_whole(usual, first, count):
    line = np.random.default_rng(2).standard_normal((400, SAMPLES)).astype(np.float32)
    last = min(400, first + count)
    low, high = max(0, first - usual.reach), min(400, last + usual.reach)
    whole = migrate(line, usual)[first:last]
    stretch = migrate(line[low:high], usual)[first - low : last - low]
    assert_allclose(stretch, whole, rtol=0, atol=1e-5 * np.abs(whole).max())


def test_a_line_walked_backwards_has_the_same_sums(usual):
    section = point(100.0, at=40)
    backwards = plan(spacing_mm=-SPACING_MM)
    assert np.array_equal(migrate(section[::-1], backwards)[::-1], migrate(section, usual))


@pytest.mark.parametrize("samples", [1, 2, 30])
def test_traces_that_end_above_the_surface_have_an_empty_image(samples):
    found = plan(samples)
    assert found.reach == 0
    assert not migrate(np.ones((3, samples), np.float32), found).any()


def test_a_wave_faster_than_in_air_is_refused():
    with pytest.raises(DepthwrightError):
        plan_migration(100, DT_NS, SPACING_MM, ZERO_NS, 400.0, SEPARATION_MM, FREQUENCY)
