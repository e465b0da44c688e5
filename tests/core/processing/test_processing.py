"""Envelope, filters, recipe and the shown image."""

import dataclasses

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from depthwright.processing import filters
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.processing.recipe import Recipe, Setting, apply, background_trace
from depthwright.processing.shown import shown_image
from depthwright.scan import scan_from_array

SETTING = Setting(centre_frequency_ghz=2.0, gain_start_ns=1.0, ns_per_100mm=1.9)
PLAIN = Recipe(dewow=False)


def pulse(centre_ns: float, samples: int = 256, dt_ns: float = 0.02) -> np.ndarray:
    phase = (np.pi * 2.0 * (np.arange(samples) * dt_ns - centre_ns)) ** 2
    return ((1 - 2 * phase) * np.exp(-phase)).astype(np.float32)[None, :]


@given(
    hnp.arrays(
        np.float32,
        st.tuples(st.integers(1, 4), st.integers(4, 65)),
        elements=st.floats(-1e3, 1e3, width=32),
    )
)
def test_envelope_is_the_magnitude_of_scipys_analytic_signal(block):
    expected = np.abs(scipy.signal.hilbert(block.astype(np.float64), axis=-1))
    within = 2e-5 * max(1.0, float(np.abs(block).max()))
    assert np.abs(envelope(block) - expected).max() <= within


@pytest.mark.parametrize("centre_ns", [2.5, 2.504, 2.509, 2.511])
def test_peaks_are_placed_below_a_sample(centre_ns):
    around = envelope(pulse(centre_ns))
    found = refine_peak(around, around.argmax(axis=1))[0] * 0.02
    assert found == pytest.approx(centre_ns, abs=0.001)


@pytest.mark.parametrize("centre_ns", [2.5, 2.503, 2.507, 2.51])
def test_the_peak_of_a_gaussian_is_placed_to_1_ps(centre_ns):
    gauss = np.exp(-(((np.arange(256) * 0.02 - centre_ns) / 0.15) ** 2))[None, :]
    found = refine_peak(gauss, gauss.argmax(axis=1))[0] * 0.02
    assert found == pytest.approx(centre_ns, abs=0.001)


def test_a_peak_on_the_edge_stays_there():
    assert refine_peak(np.array([[3.0, 2.0, 1.0]]), np.array([0]))[0] == 0


def test_an_empty_recipe_changes_nothing():
    block = pulse(2.5)
    assert np.array_equal(apply(PLAIN, block, 0.02, SETTING), block)


def test_filters_keep_a_symmetric_pulse_in_place():
    block = pulse(2.5)
    for filtered in (filters.keep_band(block, 0.02, 2.0), filters.dewow(block, 0.02, 2.0)):
        assert abs(int(np.abs(filtered[0]).argmax()) - 125) <= 0
        assert filtered[0, 125 - 20 : 126] == pytest.approx(filtered[0, 125:146][::-1], abs=2e-3)


def test_a_shift_moves_a_trace_to_earlier_times():
    moved = filters.keep_band(pulse(2.5), 0.02, 2.0, np.array([0.03]))
    assert moved == pytest.approx(filters.keep_band(pulse(2.47), 0.02, 2.0), abs=2e-3)


@given(st.floats(-3, 3), st.floats(-3, 3))
def test_steps_are_linear(a, b):
    one, two = pulse(2.0), pulse(3.0)
    for step in (
        lambda x: filters.keep_band(x, 0.02, 2.0),
        lambda x: filters.dewow(x, 0.02, 2.0),
        lambda x: filters.gain(x, 0.02, 1.0, 6.0),
    ):
        both = step((a * one + b * two).astype(np.float32))
        assert both == pytest.approx(a * step(one) + b * step(two), abs=2e-4 * 200)


def test_dewow_takes_a_constant_away():
    assert np.abs(filters.dewow(np.full((2, 300), 7.0, np.float32), 0.02, 2.0)).max() < 1e-4


def test_gain_is_in_db_per_100_mm_from_the_start():
    ones = np.ones((1, 300), np.float32)
    shown = apply(Recipe(dewow=False, gain_db_per_100mm=6.0), ones, 0.02, SETTING)
    assert shown[0, :50] == pytest.approx(1.0)
    at = 1.0 + 1.9  # 100 mm below the start
    assert shown[0, round(at / 0.02)] == pytest.approx(10 ** (6 / 20), rel=1e-3)


def test_background_removal_takes_what_all_traces_share():
    common = pulse(1.0)
    samples = np.repeat(common, 60, axis=0)
    samples[30] += pulse(3.0)[0]
    scan = scan_from_array(samples, 0.02)
    shown = shown_image(scan, Recipe(dewow=False, remove_background=True), SETTING)
    assert np.abs(np.delete(shown, 30, axis=0)).max() == 0
    assert shown[30] == pytest.approx(pulse(3.0)[0], abs=1e-6)
    with pytest.raises(ValueError, match="background"):
        apply(Recipe(remove_background=True), samples, 0.02, SETTING)


def test_the_recipe_never_touches_the_scan():
    samples = np.random.default_rng(1).standard_normal((50, 80)).astype(np.float32)
    scan = scan_from_array(samples, 0.02)
    shown_image(scan, Recipe(remove_background=True, gain_db_per_100mm=12), SETTING)
    assert np.array_equal(scan.block(0, 50), samples)


def test_narrowing_keeps_a_feature_one_trace_wide():
    samples = np.zeros((10_000, 40), np.float32)
    samples[7777, 20] = -3.0
    shown = shown_image(scan_from_array(samples, 0.02), PLAIN, SETTING, most_columns=500)
    assert shown.shape == (500, 40)
    assert shown.min() == -3.0


def test_chunks_do_not_change_the_background():
    samples = np.random.default_rng(2).standard_normal((700, 16)).astype(np.float32)
    scan = scan_from_array(samples, 0.02)
    assert background_trace(scan) == pytest.approx(np.median(samples, axis=0))


def uneven_scan(samples, positions_mm):
    """A scan with traces just where they are said to be."""
    return dataclasses.replace(
        scan_from_array(samples, 0.02), positions_mm=np.asarray(positions_mm, dtype=np.float64)
    )


def test_the_picture_is_even_in_distance_where_the_traces_are_not():
    """A gap of 250 mm in the middle: a trace at 600 mm stands at 600 mm of the picture."""
    positions = np.concatenate([np.arange(0, 300, 5.0), np.arange(550, 850, 5.0)])
    samples = np.zeros((len(positions), 30), np.float32)
    samples[np.flatnonzero(positions == 600.0), 10] = 5.0
    scan = uneven_scan(samples, positions)
    shown = shown_image(scan, PLAIN, SETTING)
    left, right = scan.edges_mm
    middles = left + (np.flatnonzero(shown[:, 10] == 5.0) + 0.5) * (right - left) / len(shown)
    assert middles == pytest.approx(600.0, abs=5.0)


def test_a_line_walked_backwards_is_shown_from_its_smaller_end():
    samples = np.zeros((100, 30), np.float32)
    samples[3, 10] = 5.0
    scan = scan_from_array(samples, 0.02, trace_spacing_mm=-5.0, start_mm=495.0)
    shown = shown_image(scan, PLAIN, SETTING)
    assert np.flatnonzero(shown[:, 10]).tolist() == [96]


def test_a_single_trace_is_shown():
    assert shown_image(scan_from_array(np.ones((1, 30)), 0.02), PLAIN, SETTING).shape == (1, 30)
