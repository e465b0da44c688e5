"""A long line is searched in stretches: where they are cut, and how much is at hand, does not matter."""

import numpy as np
import pytest

from depthwright.finding import bars as finding
from depthwright.finding.proposal import SHOWN_SCORE

PLACES = tuple(np.arange(60.0, 1350.0, 140.0).tolist())


@pytest.fixture(scope="module")
def long_line(survey, bar_at):
    covers = np.random.default_rng(4).uniform(30.0, 65.0, len(PLACES))
    return survey(
        [bar_at(x, cover) for x, cover in zip(PLACES, covers, strict=True)], length_mm=1400.0
    )


def test_stretches_give_what_the_whole_gives(long_line, monkeypatch):
    whole = long_line.proposals(SHOWN_SCORE)
    monkeypatch.setattr(finding, "STRETCH_MM", 730.0)
    parts = long_line.proposals(SHOWN_SCORE)
    assert [bar.pick.position_mm for bar in whole] == pytest.approx(list(PLACES), abs=3.0)
    assert [bar.pick.position_mm for bar in parts] == pytest.approx(
        [bar.pick.position_mm for bar in whole], abs=0.5
    )
    assert [bar.score for bar in parts] == pytest.approx([bar.score for bar in whole], abs=0.05)


def test_no_more_than_a_stretch_and_its_margins_is_read_at_once(long_line, monkeypatch):
    monkeypatch.setattr(finding, "STRETCH_MM", 500.0)
    read = []
    plain = type(long_line.stage).block

    def watched(stage, first, last):
        read.append(last - first)
        return plain(stage, first, last)

    monkeypatch.setattr(type(long_line.stage), "block", watched)
    long_line.proposals()
    margins = 2 * finding.BESIDE_MM / 5.0
    assert 0 < max(read) <= max(500.0 / 5.0 + margins, 256)


def test_progress_is_told_and_may_cancel(long_line, monkeypatch):
    monkeypatch.setattr(finding, "STRETCH_MM", 500.0)
    told = []
    finding.propose_bars(long_line.job, long_line.line, long_line.stage, told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) > 2

    class CancelledError(Exception):
        pass

    def cancel(done):
        raise CancelledError

    with pytest.raises(CancelledError):
        finding.propose_bars(long_line.job, long_line.line, long_line.stage, cancel)
