"""All proposals of a line together, and the neighbouring cases that have none."""

import math

import numpy as np
import pytest

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.finding import propose as proposing
from depthwright.finding.bars import without_bars
from depthwright.finding.face import propose_face
from depthwright.finding.level import bar_phase
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, FaceProposal
from depthwright.finding.propose import NO_DIRECT_WAVE, propose
from depthwright.intake import take_in
from depthwright.job import Job
from depthwright.measuring.picking import Pick
from depthwright.measuring.stage import at_hand
from depthwright.results.tracking import pick_stage
from depthwright.scan import scan_from_array


@pytest.fixture
def proposed():
    """Proposals of samples, shape (traces, samples)."""

    def look(samples):
        scan = scan_from_array(samples, 0.02, 5.0, separation_mm=40.0)
        job, line_id = take_in(Job(), scan)
        line = job.line(line_id)
        return propose(job, line, pick_stage(job, line, scan))

    return look


@pytest.fixture
def bars(bar_at):
    """Three bars that are well apart."""
    return [bar_at(position, 50.0) for position in (150.0, 400.0, 650.0)]


def test_in_pure_noise_nothing_is_looked_for_and_the_reason_is_said(proposed):
    noise = np.random.default_rng(3).standard_normal((160, 300))
    found = proposed(noise)
    assert (found.bars, found.face, found.messages) == ((), None, (NO_DIRECT_WAVE,))


def test_contact_that_comes_and_goes_is_no_missing_direct_wave(proposed, survey, bars):
    stage = survey(bars).stage
    samples = stage.scan.block(0, stage.scan.traces)
    gains = np.random.default_rng(4).uniform(0.7, 1.3, (len(samples), 1))
    found = proposed(samples * gains)
    assert sum(bar.score >= SHOWN_SCORE for bar in found.bars) == len(bars)


@pytest.mark.parametrize(
    ("traces", "words"), [(1, "A line of 1 trace "), (5, "A line of 5 traces ")]
)
def test_a_line_of_few_traces_is_told_to_be_too_short(proposed, survey, traces, words):
    stage = survey(()).stage
    found = proposed(stage.scan.block(0, traces))
    assert not found.bars
    assert found.face is None
    assert found.messages[0].startswith(words)


def test_what_lies_in_a_proposed_back_face_or_below_it_is_no_bar(survey, bars, monkeypatch):
    line = survey(bars)
    above, inside, below = (
        BarProposal(Pick(400.0, 1.0, time_ns), 0.9, "clear hyperbola")
        for time_ns in (2.0, 3.9, 5.0)
    )
    anchors = tuple(Pick(place, float("nan"), 4.0) for place in (100.0, 700.0))
    monkeypatch.setattr(proposing, "propose_bars", lambda *_: (above, inside, below))
    for score, scores in ((0.9, [0.9, 0.1, 0.1]), (0.3, [0.9, 0.9, 0.9])):
        face = FaceProposal(anchors, score, "clear echo")
        monkeypatch.setattr(proposing, "propose_face", lambda *_, face=face: (face, ()))
        found = propose(line.job, line.line, line.stage)
        assert [bar.score for bar in found.bars] == scores
    assert found.bars[1].reason == "clear hyperbola"


@pytest.fixture(scope="module")
def two_mats(survey, bar_at):
    """A faint back face 165 mm deep under two mats, whose hyperbolas cross all over it."""
    upper = np.arange(-75.0, 900.0, 150.0)
    mats = [bar_at(x, 40.0) for x in upper] + [bar_at(x + 75.0, 120.0) for x in upper]
    return survey(mats, length_mm=700.0, layers=[(165.0, 0.05)], noise=0.003)


def test_a_back_face_that_hyperbolas_hide_is_found_without_them(two_mats):
    bars = two_mats.proposals(SHOWN_SCORE)
    phase = bar_phase(two_mats.stage, bars)
    assert propose_face(two_mats.stage, bars, phase)[0] is None
    found = propose(two_mats.job, two_mats.line, two_mats.stage)
    assert found.face is not None
    due_ns = float(wave.travel_time(165.0, 7.5, 40.0).time_ns) + 1.0 - 40.0 / C_MM_PER_NS
    times = [anchor.time_ns for anchor in found.face.anchors]
    assert times == pytest.approx([due_ns] * len(times), abs=0.06)
    shown = [bar for bar in found.bars if bar.score >= SHOWN_SCORE]
    assert [bar.pick for bar in shown] == [bar.pick for bar in bars]


def test_a_line_without_its_bars_is_what_it_would_be_without_them(survey, bar_at):
    places = np.arange(60.0, 600.0, 120.0)
    layers = [(150.0, 0.2)]
    line = survey([bar_at(x, 45.0) for x in places], length_mm=600.0, layers=layers, noise=0.0)
    bare = survey(length_mm=600.0, layers=layers, noise=0.0).stage.waves(0, 121)
    stage = at_hand(line.stage)
    freed = without_bars(line.job, line.line, stage, line.proposals(SHOWN_SCORE)).waves(0, 121)
    crowd = np.linalg.norm(stage.waves(0, 121) - bare)
    assert np.linalg.norm(freed - bare) < 0.3 * crowd


@pytest.mark.parametrize(("periods", "counts"), [(0.5, False), (3.0, True)])
def test_what_bars_leave_of_themselves_is_no_back_face(
    survey, bars, bar_ns, monkeypatch, periods, counts
):
    """What shows only without the bars has to come well after all of theirs."""
    line = survey(bars)
    time_ns = bar_ns(50.0) + periods * line.stage.period_ns
    level = FaceProposal(tuple(Pick(x, math.nan, time_ns) for x in (0.0, 800.0)), 0.9, "")
    looks = iter([(None, ("hidden",)), (level, ())])
    monkeypatch.setattr(proposing, "propose_face", lambda *_: next(looks))
    found = propose(line.job, line.line, line.stage)
    assert (found.face == level) == counts
    assert found.messages == (() if counts else ("hidden",))
    assert len([bar for bar in found.bars if bar.score >= SHOWN_SCORE]) == len(bars)
