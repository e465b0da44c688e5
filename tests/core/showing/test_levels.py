"""Levels of detail: nothing one trace wide is lost, whatever the zoom."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from depthwright.processing.recipe import NOTHING, Recipe
from depthwright.scan import scan_from_array
from depthwright.showing import levels as levels_module
from depthwright.showing.chain import make_chain
from depthwright.showing.levels import Level, columns, make_levels, narrowed, quick_level

DT_NS = 0.02


def levels_of(scan, setting_for, recipe=NOTHING):
    return make_levels(make_chain(scan, recipe, setting_for(scan)))


def test_the_finest_level_is_the_line_itself(noisy_scan, setting_for):
    made = levels_of(noisy_scan, setting_for)
    assert np.array_equal(made.levels[0].values, noisy_scan.block(0, 700))


def test_every_level_keeps_a_feature_one_trace_wide(setting_for):
    samples = np.zeros((10_001, 40), np.float32)
    samples[7777, 20], samples[10_000, 5] = -3.0, 2.0
    made = levels_of(scan_from_array(samples, DT_NS), setting_for)
    assert [level.step for level in made.levels] == [1, 4, 16]
    for level in made.levels:
        assert level.values[(7777 - level.first) // level.step, 20] == -3.0
        assert level.values[-1, 5] == 2.0
        assert np.count_nonzero(level.values) == 2


@given(st.integers(1, 60), st.integers(2, 9))
def test_narrowing_keeps_the_largest_magnitude_with_its_sign(count, factor):
    values = np.random.default_rng(count).standard_normal((count, 3)).astype(np.float32)
    strongest = narrowed(values, factor)
    for group, row in enumerate(strongest):
        part = values[group * factor : (group + 1) * factor]
        assert np.abs(row) == pytest.approx(np.abs(part).max(axis=0))
        assert (np.abs(part - row).min(axis=0) == 0).all()


def test_pieces_do_not_change_the_levels(noisy_scan, setting_for, monkeypatch):
    whole = levels_of(noisy_scan, setting_for, Recipe())
    monkeypatch.setattr(levels_module, "PIECE_TRACES", 64)
    cut = levels_of(noisy_scan, setting_for, Recipe())
    for one, other in zip(whole.levels, cut.levels, strict=True):
        assert one.values == pytest.approx(other.values, abs=1e-6)
    assert (whole.traces_filled, whole.spikes_replaced) == (cut.traces_filled, cut.spikes_replaced)


@pytest.fixture(scope="module")
def finest(noisy_scan, setting_for):
    """The finest level alone."""
    return levels_of(noisy_scan, setting_for).levels[:1]


@given(
    count=st.integers(1, 900),
    left=st.floats(-100, 3000),
    width=st.floats(20, 4000),
    backwards=st.booleans(),
)
def test_columns_hold_the_strongest_of_their_traces(
    noisy_scan, finest, count, left, width, backwards
):
    """Against the plain rule: of the traces in the column the strongest sample, else the nearest."""
    where = noisy_scan.positions_mm[::-1] if backwards else noisy_scan.positions_mm
    edges = np.linspace(left, left + width, count + 1)
    shown = columns(finest, where, edges, slice(100, 110))
    values = noisy_scan.block(0, 700)[:, 100:110]
    for column in {0, count // 2, count - 1}:
        inside = np.flatnonzero((where >= edges[column]) & (where < edges[column + 1]))
        if len(inside):
            assert np.abs(shown[column]) == pytest.approx(np.abs(values[inside]).max(axis=0))
        else:
            away = np.abs(where - (edges[column] + edges[column + 1]) / 2)
            nearest = np.flatnonzero(away <= away.min() + 1e-9)
            assert any(np.array_equal(shown[column], values[trace]) for trace in nearest)


def test_a_coarse_level_loses_no_spike(setting_for):
    samples = np.zeros((40_000, 20), np.float32)
    spikes = np.random.default_rng(5).choice(40_000, 30, replace=False)
    samples[spikes, 7] = 9.0
    made = levels_of(scan_from_array(samples, DT_NS), setting_for)
    where = 5.0 * np.arange(40_000)
    edges = np.linspace(-2.5, where[-1] + 2.5, 1001)
    shown = columns(made.levels, where, edges)
    for spike in spikes:
        column = np.searchsorted(edges, where[spike], side="right") - 1
        assert shown[max(0, column - 1) : column + 2, 7].max() == 9.0
    assert np.count_nonzero(shown[:, 7]) <= 2 * len(spikes)


def test_a_picture_is_even_in_distance_where_the_traces_are_not(setting_for, uneven):
    positions = np.concatenate([np.arange(0, 300, 5.0), np.arange(550, 850, 5.0)])
    samples = np.zeros((len(positions), 30), np.float32)
    samples[np.flatnonzero(positions == 600.0), 10] = 5.0
    scan = uneven(scan_from_array(samples, DT_NS), positions)
    edges = np.linspace(*scan.edges_mm, 171)
    shown = columns(levels_of(scan, setting_for).levels, scan.positions_mm, edges)
    middles = (edges[1:] + edges[:-1])[shown[:, 10] == 5.0] / 2
    assert middles == pytest.approx(600.0, abs=5.0)


def test_traces_that_crowd_together_are_taken_from_a_coarser_level(setting_for, uneven):
    positions = np.concatenate([np.arange(5000) * 0.01, 100.0 + 5.0 * np.arange(1000)])
    samples = np.zeros((6000, 30), np.float32)
    samples[1234, 3] = 4.0
    scan = uneven(scan_from_array(samples, DT_NS), positions)
    shown = columns(
        levels_of(scan, setting_for).levels, positions, np.linspace(*scan.edges_mm, 801)
    )
    assert shown[:, 3].max() == 4.0


def test_a_first_look_at_a_short_stretch_is_what_is_shown_later(noisy_scan, setting_for):
    chain = make_chain(noisy_scan, Recipe(), setting_for(noisy_scan))
    look = quick_level(chain, 100, 300, 1600)
    assert look.step == 1
    assert np.array_equal(look.values, chain.block(100, 300))


def test_a_first_look_at_a_long_line_takes_one_trace_of_many(noisy_scan, setting_for):
    chain = make_chain(noisy_scan, NOTHING, setting_for(noisy_scan))
    look = quick_level(chain, 0, 700, 100)
    assert (look.step, len(look.values)) == (7, 100)
    assert np.array_equal(look.values, noisy_scan.block(0, 700)[::7])


def test_a_line_too_long_to_be_kept_is_run_again_where_it_is_looked_at(
    noisy_scan, setting_for, monkeypatch
):
    monkeypatch.setattr(levels_module, "KEPT_BYTES", 1000)
    chain = make_chain(noisy_scan, Recipe(), setting_for(noisy_scan))
    made = make_levels(chain)
    assert made.levels[0].step == 4
    detailed = made.with_detail(chain, 300, 400)
    edges = np.linspace(1600.0, 1900.0, 61)
    fine = columns(detailed.levels, noisy_scan.positions_mm, edges)
    assert np.array_equal(
        fine, columns((Level(0, 1, chain.block(0, 700)),), noisy_scan.positions_mm, edges)
    )
    assert len(columns(detailed.levels, noisy_scan.positions_mm, np.linspace(0, 3500, 11))) == 10


def test_work_stops_where_its_report_says_so(noisy_scan, setting_for):
    def report(fraction):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        make_levels(make_chain(noisy_scan, NOTHING, setting_for(noisy_scan)), report)


def test_what_was_repaired_is_said(noisy_scan, setting_for):
    chain = make_chain(noisy_scan, Recipe(), setting_for(noisy_scan))
    said = make_levels(chain).findings(chain)["repair"]
    assert said == "1 dead trace filled from neighbours, 1 spike replaced."


def test_a_single_trace_is_shown(setting_for):
    scan = scan_from_array(np.ones((1, 30)), DT_NS)
    made = levels_of(scan, setting_for)
    assert columns(made.levels, scan.positions_mm, np.array([-1.0, 1.0])).shape == (1, 30)
