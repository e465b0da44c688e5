"""When the bars of a line are focused anew: not for a tie, and for all that moves their crests."""

import pytest

from depthwright import edits
from depthwright.job import Tie
from depthwright.simulate.drawn import Evidence, draw_line
from depthwright_app.presenter import _same_but_ties
from depthwright_app.session import focus_subject

JOB = draw_line(3, Evidence(ties=0), bars=5).job
FACE = next(mark.id for mark in JOB.line("line-1").marks if mark.kind == "face")
TIE = Tie(depth_mm=50.0, plus_minus_mm=1.0)
ANTENNA = JOB.antennas[0]


def same(job):
    return _same_but_ties(JOB, JOB.line("line-1"), job, job.line("line-1"))


@pytest.mark.parametrize(
    "job",
    [
        edits.tie_mark(JOB, "line-1", "bar-2", TIE),
        edits.change_job(JOB, specified_cover_mm=40.0),
        edits.change_zone(JOB, "zone-1", curvature=False),
    ],
    ids=["a tie", "a specified cover", "a switch"],
)
def test_what_leaves_the_crests_alone_is_not_looked_at_again(job):
    assert same(job)
    assert focus_subject(job, job.line("line-1")) == focus_subject(JOB, JOB.line("line-1"))


@pytest.mark.parametrize(
    "job",
    [
        edits.change_mark(JOB, "line-1", "bar-2", time_ns=3.0),
        edits.change_mark(JOB, "line-1", "bar-2", diameter_mm=20.0),
        edits.delete_mark(JOB, "line-1", "bar-2"),
        edits.change_line(JOB, "line-1", distance_scale=1.1),
        JOB.model_copy(update={"antennas": (ANTENNA.model_copy(update={"separation_mm": 55.0}),)}),
    ],
    ids=["moved", "another diameter", "deleted", "another scale", "another antenna"],
)
def test_what_moves_a_crest_is(job):
    assert not same(job)
    assert focus_subject(job, job.line("line-1")) != focus_subject(JOB, JOB.line("line-1"))


def test_a_tie_of_the_face_changes_nothing_for_the_bars():
    job = edits.change_anchor(JOB, "line-1", FACE, 0, tie=TIE)
    assert focus_subject(job, job.line("line-1")) == focus_subject(JOB, JOB.line("line-1"))
