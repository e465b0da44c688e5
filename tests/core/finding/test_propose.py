"""All proposals of a line together, and the neighbouring cases that have none."""

import numpy as np
import pytest

from depthwright.finding import propose as proposing
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, FaceProposal
from depthwright.finding.propose import NO_DIRECT_WAVE, propose
from depthwright.intake import take_in
from depthwright.job import Job
from depthwright.measuring.picking import Pick
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
