"""Bars are found where they are, whatever crosses, covers or spoils their hyperbolas."""

import numpy as np
import pytest

from depthwright.finding.proposal import SHOWN_SCORE
from depthwright.measuring.picking import snap_bar, with_crest

SPREAD = (
    (90.0, 35.0),
    (240.0, 50.0),
    (400.0, 42.0),
    (560.0, 65.0),
    (700.0, 30.0),
)


@pytest.fixture(scope="module")
def clear(survey, bar_at):
    return survey([bar_at(*bar) for bar in SPREAD])


def places(proposals):
    return [bar.pick.position_mm for bar in proposals]


def test_clear_bars_are_found_at_their_places_and_nothing_else(clear, bar_ns):
    shown = clear.proposals(SHOWN_SCORE)
    assert places(shown) == pytest.approx([x for x, _ in SPREAD], abs=2.5)
    assert [bar.pick.time_ns for bar in shown] == pytest.approx(
        [bar_ns(cover) for _, cover in SPREAD], abs=0.03
    )
    assert all(bar.score > 0.85 for bar in shown)
    assert all("clear hyperbola" in bar.reason and "dB above" in bar.reason for bar in shown)


def test_a_proposed_pick_is_what_a_click_there_gives(clear):
    for bar in clear.proposals(SHOWN_SCORE):
        clicked = snap_bar(clear.stage, bar.pick.position_mm, bar.pick.time_ns)
        assert clicked is not None
        assert bar.pick.position_mm == pytest.approx(clicked.position_mm, abs=1e-6)
        assert bar.pick.time_ns == pytest.approx(clicked.time_ns, abs=1e-6)
        crest = dict(bar.pick.crest)
        same = [(crest[x], t) for x, t in with_crest(clear.stage, clicked).crest if x in crest]
        assert len(same) >= 5
        assert np.ptp(np.array(same), axis=1).max() < 0.03


def test_crests_of_bars_that_close_are_read_past_their_crossings(survey, bar_at, echo_ns):
    """Bars 90 mm apart cross 45 mm away: a click's crest ends there, a proposal's goes on."""
    line = survey([bar_at(x, 50.0) for x in np.arange(-45.0, 700.0, 90.0)], length_mm=630.0)
    inside = [b.pick for b in line.proposals(SHOWN_SCORE) if 100 < b.pick.position_mm < 530]
    assert len(inside) == 5
    for pick in inside:
        assert pick.crest_alone
        away, time_ns = np.array(pick.crest).T - [[pick.position_mm], [0.0]]
        assert away.min() < -50 < 50 < away.max()
        assert np.abs(time_ns - echo_ns(away, 50.0)).max() < 0.04


def test_traces_that_come_farther_apart_are_freed_from_other_bars_too(survey, bar_at):
    """Most traces lie 4 mm apart, and where these bars lie 10 mm: as many of them are freed as are read."""
    places = np.cumsum(np.where(np.arange(250) < 150, 4.0, 10.0))
    line = survey([bar_at(x, 50.0) for x in np.arange(735.0, 1700.0, 90.0)], places_mm=places)
    inside = [b.pick for b in line.proposals(SHOWN_SCORE) if 850 < b.pick.position_mm < 1350]
    assert len(inside) >= 5
    for pick in inside:
        assert pick.crest_alone
        assert np.ptp([place for place, _ in pick.crest]) > 95


def test_a_crest_read_beside_other_bars_is_not_said_to_be_alone(clear):
    proposed = clear.proposals(SHOWN_SCORE)[1].pick
    assert proposed.crest_alone
    assert not with_crest(clear.stage, proposed).crest_alone


@pytest.mark.parametrize("pitch_mm", [70.0, 85.0])
def test_crests_of_a_close_shallow_mat_are_freed_from_the_direct_wave(
    survey, bar_at, echo_ns, pitch_mm
):
    """No trace is free of bars there, so that the direct wave learnt holds a part of them."""
    line = survey(
        [bar_at(x, 30.0) for x in np.arange(-pitch_mm / 2, 800.0, pitch_mm)],
        length_mm=700.0,
        noise=0.002,
    )
    inside = [b.pick for b in line.proposals(SHOWN_SCORE) if 100 < b.pick.position_mm < 600]
    assert len(inside) > 5
    for pick in inside:
        away, time_ns = np.array(pick.crest).T - [[pick.position_mm], [0.0]]
        assert np.ptp(away) >= 60
        assert np.abs(time_ns - echo_ns(away, 30.0)).max() < 0.03


@pytest.mark.parametrize("cover_mm", [30.0, 60.0])
def test_bars_seventy_millimetres_apart_are_told_apart(survey, bar_at, cover_mm):
    """Nothing is proposed midway between them, where their hyperbolas cross."""
    bars = np.arange(-35.0, 500.0, 70.0)
    line = survey([bar_at(x, cover_mm) for x in bars], length_mm=420.0, window_ns=5.0)
    shown = [x for x in places(line.proposals(SHOWN_SCORE)) if 15 < x < 405]
    assert shown == pytest.approx([x for x in bars if 15 < x < 405], abs=5.0)


@pytest.mark.parametrize("beside_mm", [75.0, 0.0])
def test_a_weak_lower_mat_is_found_between_and_under_the_upper_bars(survey, bar_at, beside_mm):
    upper = np.arange(75.0, 500.0, 150.0)
    lower = upper[:-1] + beside_mm
    line = survey(
        [bar_at(x, 35.0) for x in upper] + [bar_at(x, 120.0, 0.6) for x in lower],
        noise=0.003,
        length_mm=500.0,
    )
    shown = line.proposals(SHOWN_SCORE)
    deep = places([bar for bar in shown if bar.pick.time_ns > 2.2])
    assert deep == pytest.approx(list(lower), abs=6.0)
    assert places([bar for bar in shown if bar.pick.time_ns < 2.2]) == pytest.approx(
        list(upper), abs=3.0
    )


def test_shallow_bars_right_behind_the_direct_wave_are_found(survey, bar_at):
    line = survey([bar_at(x, 22.0) for x in (120.0, 300.0, 480.0)], length_mm=600.0)
    assert places(line.proposals(SHOWN_SCORE)) == pytest.approx([120.0, 300.0, 480.0], abs=4.0)


def test_one_single_bar_is_enough(survey, bar_at):
    line = survey([bar_at(333.0, 55.0)])
    assert places(line.proposals(SHOWN_SCORE)) == pytest.approx([333.0], abs=2.5)


@pytest.mark.parametrize(
    "spoilt",
    [
        {"jitter_ns": 0.02},
        {"dead": (18, 47, 48, 81)},
        {"drift": 2.0},
        {"noise": 0.03},
        {"layers": ((160.0, 0.3),)},
    ],
    ids=["jitter", "dead traces", "drift", "noise", "back face"],
)
def test_what_spoils_a_line_hides_no_bar_and_makes_none(survey, bar_at, spoilt):
    line = survey([bar_at(*bar) for bar in SPREAD[:3]], length_mm=500.0, **spoilt)
    assert places(line.proposals(SHOWN_SCORE)) == pytest.approx([90.0, 240.0, 400.0], abs=5.0)


def test_a_line_recorded_backwards_holds_the_same_bars(survey, bar_at, clear):
    back = survey([bar_at(*bar) for bar in SPREAD], backwards=True)
    forth = clear.proposals(SHOWN_SCORE)
    assert places(back.proposals(SHOWN_SCORE)) == pytest.approx(places(forth), abs=2.5)


@pytest.mark.parametrize("start_mm", [-1234.5, 98765.0])
def test_where_a_line_begins_does_not_matter(survey, bar_at, clear, start_mm):
    moved = survey([bar_at(start_mm + x, cover) for x, cover in SPREAD], start_mm=start_mm)
    here, there = clear.proposals(), moved.proposals()
    assert places(there) == pytest.approx([start_mm + x for x in places(here)], abs=0.01)
    assert [b.score for b in there] == pytest.approx([b.score for b in here], abs=1e-3)


def test_the_same_line_is_always_answered_the_same(clear, survey, bar_at):
    again = survey([bar_at(*bar) for bar in SPREAD])
    assert again.proposals() == clear.proposals()
