"""The direct wave in each trace: what it is fitted on, what it follows, and what it leaves alone."""

import numpy as np
import pytest

from depthwright.measuring.picking import snap_bar
from depthwright.measuring.timezero import (
    find_direct_wave,
    fit_direct_wave,
    is_cut_off,
    sample_traces,
    settle_direct_wave,
)
from depthwright.processing.filters import keep_band
from depthwright.scan import scan_from_array

FREQUENCY_GHZ = 2.0
SHALLOW = ((350.0, 8.0),)
"""A bar whose echo comes 0.55 periods behind the direct wave, half as strong."""


def samples_of(drawn):
    return drawn.scan.block(0, drawn.scan.traces).astype(np.float64)


def fitted(samples, dt_ns=0.02):
    """Strength and delay (ns) of the direct wave that the line itself shows."""
    scan = scan_from_array(samples, dt_ns)
    direct = find_direct_wave(scan, FREQUENCY_GHZ)
    plain = keep_band(scan.block(0, scan.traces), dt_ns, FREQUENCY_GHZ)
    return fit_direct_wave(plain, direct, dt_ns)


def later(samples, by_ns, dt_ns=0.02):
    """Traces moved to later times, each by its own, without loss."""
    frequency = np.fft.rfftfreq(samples.shape[1], dt_ns)
    turn = np.exp(-2j * np.pi * frequency * by_ns[:, None])
    return np.fft.irfft(np.fft.rfft(samples) * turn, samples.shape[1])


def test_the_echo_of_a_shallow_bar_is_not_taken_for_direct_wave(draw_line):
    fit = fitted(samples_of(draw_line(bars=SHALLOW)))
    assert fit.strength == pytest.approx(1.0, abs=0.06)
    assert np.abs(fit.delay_ns).max() < 0.004


def test_a_shallow_bar_is_picked_where_its_echo_is(draw_line, stage_of):
    drawn = draw_line(bars=SHALLOW)
    pick = snap_bar(stage_of(drawn), 355.0, drawn.echo_ns(8.0))
    assert pick is not None
    assert pick.time_ns == pytest.approx(drawn.echo_ns(8.0), abs=0.010)
    assert pick.position_mm == pytest.approx(350.0, abs=1.0)
    assert pick.overlaps_direct


@pytest.mark.parametrize("bars", [(), SHALLOW], ids=["no bar", "shallow bar"])
def test_jitter_is_followed_to_5_ps_over_a_bar_too(draw_line, bars):
    """0.12 periods between the earliest and the latest trace."""
    samples = samples_of(draw_line(bars=bars, noise=0.0))
    late = np.random.default_rng(2).uniform(-0.03, 0.03, len(samples))
    left = fitted(later(samples, late)).delay_ns - late
    assert np.abs(left - np.median(left)).max() < 0.005


def test_jitter_does_not_choose_the_traces_that_the_direct_wave_is_learnt_on(draw_line):
    """Early traces are the quieter ones at a fixed time; the direct wave is that of the middle one."""
    samples = samples_of(draw_line())
    late = np.random.default_rng(2).uniform(-0.03, 0.03, len(samples))
    direct = find_direct_wave(scan_from_array(later(samples, late), 0.02), FREQUENCY_GHZ)
    assert direct.time_ns == pytest.approx(1.0 + np.median(late), abs=0.004)


def test_strength_that_changes_along_the_line_is_followed(draw_line):
    """As by an antenna that rides on a rough surface."""
    samples = samples_of(draw_line(bars=SHALLOW))
    random = np.random.default_rng(3)
    strong = np.exp(0.3 * np.sin(np.linspace(0, 8, len(samples))))
    strong *= 1 + 0.03 * random.standard_normal(len(samples))
    strength = fitted(samples * strong[:, None]).strength / strong
    assert strength / np.median(strength) == pytest.approx(1.0, abs=0.08)


def test_noise_of_one_percent_moves_a_trace_by_2_ps_at_most(draw_line):
    fit = fitted(samples_of(draw_line(bars=(), noise=0.01)))
    assert np.std(fit.delay_ns) < 0.002
    assert np.std(fit.strength) < 0.02


def test_a_dead_trace_holds_no_direct_wave(draw_line):
    dead = (0, 29, 140)
    fit = fitted(samples_of(draw_line(dead=dead)))
    assert fit.strength[list(dead)].tolist() == [0.0, 0.0, 0.0]
    assert fit.delay_ns[list(dead)].tolist() == [0.0, 0.0, 0.0]
    assert np.sum(fit.strength > 0.9) == len(fit.strength) - len(dead)


def test_a_delay_beyond_jitter_is_bounded(draw_line):
    """Another arrival in the place of the direct wave must not drag a trace about."""
    samples = samples_of(draw_line(bars=()))
    samples[70] = np.roll(samples[70], 25)
    fit = fitted(samples)
    assert np.abs(fit.delay_ns).max() <= 0.15 / FREQUENCY_GHZ
    assert 0.0 <= fit.strength.min() <= fit.strength.max() <= 2.0


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_settled_is_found_and_found_again_around_its_time(plain_line, noise):
    random = np.random.default_rng(5)
    samples = samples_of(plain_line)
    scan = scan_from_array(samples + noise * random.standard_normal(samples.shape), 0.02)
    first, settled = settle_direct_wave(scan, FREQUENCY_GHZ)
    alone = find_direct_wave(scan, FREQUENCY_GHZ)
    again = find_direct_wave(scan, FREQUENCY_GHZ, near_ns=alone.time_ns)
    for found, expected in ((first, alone), (settled, again)):
        assert found.time_ns == expected.time_ns
        np.testing.assert_array_equal(found.wavelet, expected.wavelet)


@pytest.mark.parametrize("traces", [1, 255, 257, 1000, 5000])
def test_sampled_traces_lie_evenly_from_the_first_on(traces):
    numbered = np.arange(traces, dtype=np.float32)[:, None] + np.zeros(4, np.float32)
    stride = -(-traces // 256)
    sampled = sample_traces(scan_from_array(numbered, 0.02), 256)
    np.testing.assert_array_equal(sampled[:, 0], np.arange(0, traces, stride))


@pytest.mark.parametrize("bar", [-2.5, 2.5])
@pytest.mark.parametrize("late_ns", [0.3, 0.4])
def test_strong_bars_under_most_traces_are_not_taken_for_the_direct_wave(bar, late_ns):
    """Their echoes run into it under 70 %, and it parts in two as that of distant antennas does."""
    time = np.arange(300) * 0.02

    def pulse(at_ns):
        phase = (np.pi * FREQUENCY_GHZ * (time - at_ns)) ** 2
        return (1 - 2 * phase) * np.exp(-phase)

    over_bar = np.arange(100) % 10 < 7
    bare = np.tile(pulse(1.0) - 0.6 * pulse(1.4), (100, 1))
    samples = bare + bar * over_bar[:, None] * pulse(1.0 + late_ns)
    alone, found = (
        find_direct_wave(scan_from_array(each, 0.02), FREQUENCY_GHZ) for each in (bare, samples)
    )
    assert found.time_ns == pytest.approx(alone.time_ns, abs=0.01)


@pytest.mark.parametrize(
    ("spoil", "cut_off"),
    [
        (lambda traces: traces, False),
        (lambda traces: np.clip(traces, -0.6, 0.6), True),
        (lambda traces: np.clip(traces, -9.0, 0.6), True),
        (lambda traces: np.round(100 * traces), False),
        (lambda traces: np.round(40 * np.clip(traces, -0.6, 0.6)), True),
        (np.zeros_like, False),
    ],
    ids=["as recorded", "clipped", "clipped above", "8 bit", "8 bit clipped", "silence"],
)
def test_a_recorder_that_was_overdriven_is_seen(draw_line, spoil, cut_off):
    samples = samples_of(draw_line(bars=SHALLOW, noise=0.003))
    samples /= np.abs(samples).max()
    assert is_cut_off(spoil(samples).astype(np.float32)) == cut_off
