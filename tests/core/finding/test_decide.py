"""What the user decides on proposals: pure edits, and what is still open after them."""

import numpy as np
import pytest

from depthwright import edits
from depthwright.finding import decide
from depthwright.finding.proposal import (
    SAME_MM,
    SAME_NS,
    BarProposal,
    FaceProposal,
    Proposals,
    still_open,
)
from depthwright.job import Antenna, DirectPick, Job, Line, ScanRef
from depthwright.measuring.picking import Pick

ID = "line-1"
SCAN = ScanRef(path="a.sgy", size_bytes=1, sha256="0", traces=10, samples=10, dt_ns=0.02)
LINE = Line(id=ID, name="L1", scan=SCAN, zone="zone-1", antenna="a", direct=DirectPick(time_ns=1.0))
JOB = Job(antennas=(Antenna(id="a", centre_frequency_ghz=2.0),), lines=(LINE,))


def bar(position_mm, time_ns=2.0):
    return BarProposal(
        Pick(position_mm, 1.5, time_ns, crest=((position_mm, time_ns),)), 0.9, "clear"
    )


FACE = FaceProposal(tuple(Pick(at, float("nan"), 4.0) for at in (300.0, 100.0)), 0.8, "goes along")
PROPOSED = Proposals((bar(100.0), bar(300.0), bar(500.0)), FACE)


def test_accepted_bars_are_the_marks_that_clicks_would_have_made():
    one_by_one = edits.add_bar(JOB, ID, bar(700.0).pick)[0]
    together, ids = decide.accept_bars(one_by_one, ID, PROPOSED.bars)
    for proposal in PROPOSED.bars:
        one_by_one, _ = edits.add_bar(one_by_one, ID, proposal.pick)
    assert together == one_by_one
    assert ids == ("bar-2", "bar-3", "bar-4")
    assert decide.accept_bars(JOB, ID, ()) == (JOB, ())


def test_an_accepted_face_is_the_one_that_clicks_on_its_anchors_would_have_made():
    u, left, middle = float("nan"), 100.0, 300.0
    anchors = (Pick(middle, u, 4.0), Pick(left, u, 4.1), Pick(middle, u, 4.2))
    together, face_id = decide.accept_face(JOB, ID, FaceProposal(anchors, 0.8, "goes along"))
    one_by_one, clicked = JOB, None
    for pick in anchors:
        one_by_one, clicked = edits.add_anchor(one_by_one, ID, clicked, pick)
    assert together == one_by_one
    assert face_id == clicked
    places = [(a.position_mm, a.time_ns) for a in together.line(ID).mark(face_id).anchors]
    assert places == [(left, 4.1), (middle, 4.2)]


def test_what_is_marked_or_rejected_is_no_longer_open():
    job, _ = decide.accept_bars(JOB, ID, PROPOSED.bars[:1])
    job = decide.reject(job, ID, (PROPOSED.bars[2], FACE))
    assert still_open(job.line(ID), PROPOSED) == Proposals(PROPOSED.bars[1:2])
    assert still_open(decide.allow_again(job, ID).line(ID), PROPOSED) == Proposals(
        PROPOSED.bars[1:], FACE
    )
    marked, _ = edits.add_anchor(JOB, ID, None, Pick(50.0, 0.0, 3.0))
    assert still_open(marked.line(ID), PROPOSED).face is None


@pytest.mark.parametrize(
    ("away_mm", "away_ns", "same"),
    [
        (SAME_MM - 0.01, SAME_NS - 0.001, True),
        (-SAME_MM + 0.01, -SAME_NS + 0.001, True),
        (SAME_MM, 0.0, False),
        (-SAME_MM, 0.0, False),
        (0.0, SAME_NS + 0.001, False),
    ],
)
def test_a_mark_near_in_place_and_in_time_is_the_same_echo(away_mm, away_ns, same):
    job, _ = edits.add_bar(JOB, ID, Pick(300.0 + away_mm, 1.5, 2.0 + away_ns))
    assert (bar(300.0) not in still_open(job.line(ID), PROPOSED).bars) == same


def test_among_many_each_is_compared_with_each():
    random = np.random.default_rng(5)
    marked, proposed = (
        [bar(*place) for place in random.uniform((0.0, 1.5), (3000.0, 2.5), (150, 2)).tolist()]
        for _ in range(2)
    )
    job, _ = decide.accept_bars(JOB, ID, marked)
    expected = tuple(
        one
        for one in proposed
        if not any(
            abs(one.pick.position_mm - other.pick.position_mm) < SAME_MM
            and abs(one.pick.time_ns - other.pick.time_ns) < SAME_NS
            for other in marked
        )
    )
    assert 0 < len(expected) < len(proposed)
    assert still_open(job.line(ID), Proposals(tuple(proposed))).bars == expected
