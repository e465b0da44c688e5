"""The chain: a recipe made ready for a scan, the same wherever the line is cut."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from depthwright.processing.recipe import NOTHING, Recipe
from depthwright.scan import scan_from_array
from depthwright.showing.chain import SAMPLED_TRACES, make_chain, sampled_groups
from depthwright.showing.shades import gain_with_depth

DT_NS = 0.02
EVERYTHING = Recipe(
    band=True,
    align=True,
    remove_direct=True,
    remove_background=True,
    background_from="moving window",
    background_window_mm=200.0,
    smooth=True,
    migrate=True,
    envelope=True,
    even_gain=True,
)


def only(**switches):
    """The recipe with nothing but some switches."""
    return NOTHING.model_copy(update=switches)


def run(scan, recipe, setting):
    return make_chain(scan, recipe, setting).block(0, scan.traces)


def test_an_empty_recipe_is_the_identity(noisy_scan, setting_for):
    shown = run(noisy_scan, NOTHING, setting_for(noisy_scan))
    assert np.array_equal(shown, noisy_scan.block(0, noisy_scan.traces))


@pytest.fixture(scope="module")
def everything(noisy_scan, setting_for):
    """The chain of every step, and what it makes of the whole line at once."""
    chain = make_chain(noisy_scan, EVERYTHING, setting_for(noisy_scan))
    return chain, chain.block(0, noisy_scan.traces)


@given(first=st.integers(0, 690), length=st.integers(1, 300))
@settings(max_examples=25)
def test_it_does_not_matter_where_the_line_is_cut(everything, first, length):
    chain, whole = everything
    last = min(first + length, len(whole))
    assert np.abs(chain.block(first, last) - whole[first:last]).max() < 2e-5 * whole.max()


def test_the_recipe_never_touches_the_scan(noisy_scan, setting_for):
    before = noisy_scan.block(0, noisy_scan.traces)
    run(noisy_scan, EVERYTHING, setting_for(noisy_scan))
    assert np.array_equal(noisy_scan.block(0, noisy_scan.traces), before)


def test_dead_traces_and_spikes_are_repaired_and_counted(noisy_scan, setting_for):
    piece = make_chain(noisy_scan, only(repair=True), setting_for(noisy_scan)).run(0, 700)
    assert (piece.traces_filled, piece.spikes_replaced) == (1, 1)
    assert np.ptp(piece.values[200]) > 0.9
    assert piece.values.max() < 1.2


def test_what_is_repaired_is_counted_where_it_lies(noisy_scan, setting_for):
    chain = make_chain(noisy_scan, only(repair=True), setting_for(noisy_scan))
    assert chain.run(195, 200).traces_filled == 0
    assert chain.run(200, 201).traces_filled == 1


def jittered(ricker, late_ns):
    time = np.arange(300) * DT_NS
    samples = ricker(time[None, :] - 1.0 - late_ns[:, None])
    samples += 0.2 * ricker(time[None, :] - 3.0 - late_ns[:, None])
    return scan_from_array(samples, DT_NS)


def test_levelling_brings_the_direct_wave_to_one_time(ricker, setting_for):
    late = 0.015 * np.random.default_rng(4).uniform(-1, 1, 80)
    scan = jittered(ricker, late)
    level = run(scan, only(align=True), setting_for(scan))
    straight = jittered(ricker, np.zeros(80)).block(0, 80)
    assert np.abs(level - straight).max() < 0.03
    assert np.abs(scan.block(0, 80) - straight).max() > 0.1


def test_removing_the_direct_wave_leaves_the_echoes(ricker, setting_for):
    scan = jittered(ricker, 0.015 * np.random.default_rng(4).uniform(-1, 1, 80))
    left = run(scan, only(remove_direct=True), setting_for(scan))
    assert np.abs(left[:, :90]).max() < 0.03
    assert left[:, 110:] == pytest.approx(scan.block(0, 80)[:, 110:], abs=5e-3)


def test_a_line_without_a_direct_wave_says_so(setting_for):
    silent = scan_from_array(np.zeros((60, 300)), DT_NS)
    chain = make_chain(silent, only(align=True), setting_for(silent))
    assert "not seen" in chain.findings["align"]
    assert not chain.block(0, 60).any()


def flat_and_one(ricker, echo_ns=None):
    """Traces that share a direct wave (and a flat echo), and one that has an echo of its own."""
    time = np.arange(300) * DT_NS
    common = ricker(time - 1.0) + (0.3 * ricker(time - echo_ns) if echo_ns else 0.0)
    samples = np.tile(common, (60, 1))
    samples[30] += 0.5 * ricker(time - 2.5)
    return scan_from_array(samples, DT_NS), 0.5 * ricker(time - 2.5)


@pytest.mark.parametrize("source", ["whole line", "bar-free traces"])
def test_background_removal_takes_what_all_traces_share(ricker, setting_for, source):
    scan, own = flat_and_one(ricker)
    recipe = only(remove_background=True, background_from=source)
    left = run(scan, recipe, setting_for(scan))
    assert np.abs(np.delete(left, 30, axis=0)).max() < 1e-6
    assert left[30] == pytest.approx(own, abs=1e-6)


def test_a_moving_window_takes_the_mean_of_the_neighbours(ricker, setting_for):
    scan, own = flat_and_one(ricker)
    recipe = only(remove_background=True, background_from="moving window", background_window_mm=50)
    left = run(scan, recipe, setting_for(scan))
    assert left[30] == pytest.approx(own * 10 / 11, abs=1e-6)
    assert left[27] == pytest.approx(-own / 11, abs=1e-6)
    assert np.abs(left[10]).max() < 1e-6


def test_a_flat_back_face_is_spared_and_said(ricker, setting_for):
    scan, _ = flat_and_one(ricker, echo_ns=4.0)
    chain = make_chain(scan, only(remove_background=True), setting_for(scan))
    left = chain.block(0, 60)
    assert np.abs(left[10, :100]).max() < 1e-6
    assert left[10, 190:] == pytest.approx(scan.block(10, 11)[0, 190:])
    assert "flat back face" in chain.findings["remove_background"]


def test_it_goes_with_the_rest_when_asked_to(ricker, setting_for):
    scan, _ = flat_and_one(ricker, echo_ns=4.0)
    recipe = only(remove_background=True, keep_flat_face=False)
    chain = make_chain(scan, recipe, setting_for(scan))
    assert np.abs(chain.block(10, 11)).max() < 1e-6
    assert chain.findings == {}


def test_a_marked_back_face_is_spared_even_where_it_is_faint(ricker, setting_for):
    scan, _ = flat_and_one(ricker)
    chain = make_chain(scan, only(remove_background=True), setting_for(scan, face_ns=4.0))
    assert "the marked back face" in chain.findings["remove_background"]


def test_too_few_traces_share_nothing(setting_for):
    scan = scan_from_array(np.ones((4, 300)), DT_NS)
    chain = make_chain(scan, only(remove_background=True), setting_for(scan))
    assert "too few" in chain.findings["remove_background"]
    assert np.array_equal(chain.block(0, 4), scan.block(0, 4))


def test_a_band_beyond_the_samples_says_why(noisy_scan, setting_for):
    recipe = only(band=True, band_low_ghz=30.0, band_high_ghz=40.0)
    chain = make_chain(noisy_scan, recipe, setting_for(noisy_scan))
    assert "25.00 GHz" in chain.findings["band"]
    assert np.array_equal(chain.block(0, 9), noisy_scan.block(0, 9))


def test_the_spectrum_is_that_before_the_band_pass(ricker, setting_for):
    scan, _ = flat_and_one(ricker)
    setting = setting_for(scan)
    plain = make_chain(scan, NOTHING, setting).spectrum
    banded = make_chain(scan, only(band=True, band_low_ghz=1.0, band_high_ghz=1.5), setting)
    assert np.array_equal(plain[1], banded.spectrum[1])
    assert plain[0][plain[1].argmax()] == pytest.approx(2.0, abs=0.1)


def test_a_migrated_point_collapses_at_its_place(ricker, setting_for):
    """The hyperbola of a point 60 mm deep at 300 mm, drawn with exact straight paths."""
    x, time = np.arange(0.0, 601.0, 5.0), np.arange(300) * DT_NS
    setting = setting_for(scan_from_array(np.zeros((121, 300)), DT_NS))
    legs = (np.hypot(60.0, x - 300.0 + side * 20.0) for side in (-1, 1))
    echo_ns = 0.87 + sum(legs) / setting.velocity_mm_per_ns
    scan = scan_from_array(ricker(time[None, :] - echo_ns[:, None]), DT_NS)
    focused = run(scan, only(migrate=True, envelope=True), setting)
    trace, sample = np.unravel_index(focused.argmax(), focused.shape)
    assert x[trace] == pytest.approx(300.0, abs=5.0)
    assert sample * DT_NS == pytest.approx(echo_ns.min(), abs=0.03)
    assert focused[trace - 12].max() < 0.3 * focused.max()


def test_traces_too_far_apart_are_not_migrated(noisy_scan, setting_for):
    chain = make_chain(
        noisy_scan, only(migrate=True), setting_for(noisy_scan, trace_spacing_mm=40.0)
    )
    assert "40 mm apart" in chain.findings["migrate"]
    assert np.array_equal(chain.block(0, 9), noisy_scan.block(0, 9))


def test_uneven_traces_are_not_migrated(noisy_scan, setting_for, uneven):
    steps = np.where(np.arange(700) % 2, 2.0, 8.0)
    chain = make_chain(
        uneven(noisy_scan, np.cumsum(steps)), only(migrate=True), setting_for(noisy_scan)
    )
    assert "unevenly" in chain.findings["migrate"]


def test_an_even_gain_brings_weak_echoes_up(noisy_scan, setting_for):
    even = run(noisy_scan, only(even_gain=True, even_window_mm=40.0), setting_for(noisy_scan))
    strong, weak = np.abs(even[50, 40:60]).max(), np.abs(even[50, 190:210]).max()
    assert weak > 0.7 * strong
    assert np.isfinite(even).all()


def test_gain_is_in_db_per_100_mm_of_depth_from_a_depth_on(noisy_scan, setting_for):
    setting = setting_for(noisy_scan)
    recipe = only(gain_db_per_100mm=6.0, gain_from_mm=50.0)
    gain = gain_with_depth(recipe, setting, noisy_scan)
    start = setting.file_ns(50.0)
    assert gain[: int(start / DT_NS)] == pytest.approx(1.0)
    deeper = start + 200 / setting.velocity_mm_per_ns
    assert gain[round(deeper / DT_NS)] == pytest.approx(10 ** (6 / 20), rel=5e-3)


def test_a_long_line_is_learnt_from_a_thousand_traces_spread_over_it():
    groups = sampled_groups(100_000)
    assert sum(last - first for first, last in groups) == SAMPLED_TRACES
    assert groups[0][0] == 0
    assert groups[-1][1] == 100_000
    assert sampled_groups(900) == [(0, 900)]


def test_only_a_thousand_traces_are_read_to_make_it(setting_for):
    read = []

    def block(first, last):
        read.append(last - first)
        return np.ones((last - first, 300), np.float32)

    scan = scan_from_array(np.ones((1, 300)), DT_NS)
    many = dataclasses.replace(
        scan, traces=50_000, positions_mm=5.0 * np.arange(50_000), _read=block
    )
    make_chain(many, Recipe(), setting_for(many))
    assert sum(read) < 5 * SAMPLED_TRACES
