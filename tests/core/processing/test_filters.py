"""Filters along time and along the line."""

import numpy as np
import pytest
import scipy.ndimage
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from depthwright.processing import filters

DT_NS = 0.02


def pulse(centre_ns: float, samples: int = 256, frequency_ghz: float = 2.0) -> np.ndarray:
    phase = (np.pi * frequency_ghz * (np.arange(samples) * DT_NS - centre_ns)) ** 2
    return ((1 - 2 * phase) * np.exp(-phase)).astype(np.float32)[None, :]


def noise(traces: int, samples: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((traces, samples)).astype(np.float32)


ZERO_PHASE = {
    "keep_band": lambda x: filters.keep_band(x, DT_NS, 2.0),
    "band_pass": lambda x: filters.band_pass(x, DT_NS, 0.6, 4.0),
    "dewow": lambda x: filters.dewow(x, DT_NS, 2.0),
}
LINEAR = ZERO_PHASE | {
    "shift_times": lambda x: filters.shift_times(x, DT_NS, np.full(len(x), 0.013)),
    "smooth_along": lambda x: filters.smooth_along(x, 1.5),
}


@pytest.mark.parametrize("step", ZERO_PHASE.values(), ids=ZERO_PHASE)
def test_filters_keep_a_symmetric_pulse_in_place(step):
    filtered = step(pulse(2.5))
    assert int(np.abs(filtered[0]).argmax()) == 125
    assert_allclose(filtered[0, 125 - 20 : 126], filtered[0, 125:146][::-1], rtol=0, atol=2e-3)


@pytest.mark.parametrize("step", LINEAR.values(), ids=LINEAR)
@settings(max_examples=15, derandomize=True, deadline=None)
@given(st.floats(-3, 3), st.floats(-3, 3))
def test_steps_are_linear(step, a, b):
    one, two = noise(4, 90, 1), noise(4, 90, 2)
    both = step((a * one + b * two).astype(np.float32))
    assert_allclose(both, a * step(one) + b * step(two), rtol=0, atol=2e-5)


def test_a_shift_moves_a_trace_to_earlier_times():
    moved = filters.keep_band(pulse(2.5), DT_NS, 2.0, np.array([0.03]))
    assert_allclose(moved, filters.keep_band(pulse(2.47), DT_NS, 2.0), rtol=0, atol=2e-3)


class TestBandPass:
    def test_the_response_is_full_inside_and_nothing_outside(self):
        frequency = np.array([0.0, 0.4, 0.7, 1.0, 2.0, 4.0, 4.5, 5.0, 20.0])
        assert filters.band_response(frequency, 1.0, 4.0) == pytest.approx(
            [0, 0, 0.5, 1, 1, 1, 0.5, 0, 0], abs=1e-12
        )

    @pytest.mark.parametrize("frequency_ghz", [0.3, 0.7, 2.0, 4.5, 6.0])
    def test_a_sine_comes_out_with_its_weight(self, frequency_ghz):
        time = np.arange(4096) * DT_NS
        sine = np.sin(2 * np.pi * frequency_ghz * time).astype(np.float32)[None]
        middle = slice(1500, 2500)
        weight = filters.band_response(np.array([frequency_ghz]), 1.0, 4.0)[0]
        filtered = filters.band_pass(sine, DT_NS, 1.0, 4.0)
        assert_allclose(filtered[0, middle], weight * sine[0, middle], rtol=0, atol=0.01)

    def test_offset_and_drift_go(self):
        drift = np.linspace(50, 90, 300, dtype=np.float32)[None]
        assert np.abs(filters.band_pass(drift, DT_NS, 0.5, 5.0)).max() < 1e-4

    def test_nothing_wraps_around(self):
        late = pulse(4.7) - filters.chord(pulse(4.7))
        weights = filters.band_response(np.fft.rfftfreq(256, DT_NS), 0.5, 5.0)
        wrapped = np.fft.irfft(np.fft.rfft(late) * weights, n=256)[0, :40]
        start = filters.band_pass(late, DT_NS, 0.5, 5.0)[0, :40]
        assert np.abs(start).max() < 0.1 * np.abs(wrapped).max()

    def test_traces_do_not_know_each_other(self):
        block = noise(200, 300)
        alone = filters.band_pass(block[137:138], DT_NS, 0.5, 5.0)
        assert np.array_equal(filters.band_pass(block, DT_NS, 0.5, 5.0)[137:138], alone)

    def test_a_band_from_next_to_nothing_on_is_possible(self):
        assert np.isfinite(filters.band_pass(noise(2, 100), DT_NS, 1e-9, 100.0)).all()


class TestSpectrum:
    @pytest.mark.parametrize("samples", [500, 501])
    def test_a_sine_has_its_own_amplitude(self, samples):
        frequency_ghz = 20 / (samples * DT_NS)
        time = np.arange(samples) * DT_NS
        sines = np.outer([1.0, 3.0], np.sin(2 * np.pi * frequency_ghz * time)).astype(np.float32)
        sines -= sines[:, :1]
        frequencies, amplitude = filters.amplitude_spectrum(sines, DT_NS)
        assert frequencies[20] == pytest.approx(frequency_ghz)
        assert amplitude.argmax() == 20
        assert amplitude[20] == pytest.approx(2.0, rel=0.01)

    def test_frequencies_reach_half_the_sampling_rate(self):
        frequencies, amplitude = filters.amplitude_spectrum(noise(3, 64), DT_NS)
        assert frequencies[-1] == pytest.approx(25.0)
        assert frequencies.shape == amplitude.shape == (33,)


class TestShift:
    @pytest.mark.parametrize("shift_ns", [0.013, -0.187, 0.5, 0.0])
    def test_a_pulse_lands_where_it_would_have_been_drawn(self, shift_ns):
        moved = filters.shift_times(pulse(2.5), DT_NS, np.array([shift_ns]))
        assert_allclose(moved, pulse(2.5 - shift_ns), rtol=0, atol=1e-4)

    def test_each_trace_has_its_own_shift(self):
        block = np.repeat(pulse(2.5), 150, axis=0)
        shifts = np.linspace(-0.3, 0.3, 150)
        moved = filters.shift_times(block, DT_NS, shifts)
        drawn = np.concatenate([pulse(2.5 - shift) for shift in shifts])
        assert_allclose(moved, drawn, rtol=0, atol=1e-4)

    @pytest.mark.parametrize(("centre_ns", "shift_ns"), [(0.5, 2.0), (4.5, -2.0), (2.5, 99.0)])
    def test_what_leaves_at_one_end_does_not_come_in_at_the_other(self, centre_ns, shift_ns):
        moved = filters.shift_times(pulse(centre_ns), DT_NS, np.array([shift_ns]))
        assert np.abs(moved).max() < 2e-3

    def test_an_offset_stays_level(self):
        level = np.full((1, 200), 7.0, np.float32)
        assert_allclose(
            filters.shift_times(level, DT_NS, np.array([0.4])), level, rtol=0, atol=1e-5
        )


class TestDewow:
    def test_a_constant_goes(self):
        level = np.full((2, 300), 7.0, np.float32)
        assert np.abs(filters.dewow(level, DT_NS, 2.0)).max() < 1e-4

    def test_it_is_the_trace_less_its_moving_mean(self):
        block = noise(3, 200) + 100.0
        window = 51  # two periods of 2 GHz at 0.02 ns are 50 samples; odd
        padded = np.pad(block.astype(np.float64), ((0, 0), (25, 25)), mode="edge")
        mean = np.lib.stride_tricks.sliding_window_view(padded, window, axis=1).mean(axis=-1)
        assert_allclose(filters.dewow(block, DT_NS, 2.0), block - mean, rtol=0, atol=2e-5)


class TestSmoothing:
    @pytest.mark.parametrize("sigma", [0.3, 1.0, 6.5, 40.0])
    @pytest.mark.parametrize("traces", [1, 64, 150])
    def test_it_is_scipys_gaussian(self, sigma, traces):
        block = noise(traces, 20)
        expected = scipy.ndimage.gaussian_filter1d(
            block.astype(np.float64), sigma, axis=0, mode="nearest"
        )
        assert_allclose(filters.smooth_along(block, sigma), expected, rtol=0, atol=2e-6)

    @pytest.mark.parametrize("sigma", [0.7, 5.0, 30.0])
    def test_a_stretch_with_its_reach_gives_the_same_as_the_whole(self, sigma):
        block, reach = noise(600, 20), filters.smooth_reach(sigma)
        stretch = block[300 - reach : 333 + reach]
        cropped = filters.smooth_along(stretch, sigma)[reach:-reach]
        assert_allclose(cropped, filters.smooth_along(block, sigma)[300:333], rtol=0, atol=1e-6)


class TestGain:
    def test_it_rises_in_db_per_ns_from_the_start(self):
        factor = filters.gain_factor(300, DT_NS, 1.0, 6.0)
        assert factor.dtype == np.float32
        assert factor[:50] == pytest.approx(1.0)
        assert factor[round(3.0 / DT_NS)] == pytest.approx(10 ** (12 / 20), rel=1e-6)

    def test_even_gain_brings_loud_and_quiet_to_the_same_strength(self):
        time = np.arange(2000) * DT_NS
        strength = 10 ** (-time / 20)
        block = (strength * np.sin(2 * np.pi * 2.0 * time)).astype(np.float32)[None]
        even = filters.even_gain(block, DT_NS, 1.0, 1e-5)
        peaks = np.abs(even[0]).reshape(-1, 100).max(axis=1)
        assert peaks[1:-1] == pytest.approx(np.sqrt(2), rel=0.05)

    def test_the_ends_of_a_trace_are_brought_to_the_same_strength_too(self):
        level = np.full((1, 200), 3.0, np.float32)
        assert filters.even_gain(level, DT_NS, 0.5, 0.0)[0] == pytest.approx(1.0, rel=1e-5)

    def test_what_is_below_the_floor_is_not_blown_up(self):
        block = 1e-4 * noise(2, 400)
        even = filters.even_gain(block, DT_NS, 1.0, 0.1)
        assert even == pytest.approx(block / 0.1, rel=1e-3)

    def test_silence_without_a_floor_stays_silent(self):
        assert np.array_equal(
            filters.even_gain(np.zeros((2, 50), np.float32), DT_NS, 0.2, 0.0), np.zeros((2, 50))
        )
