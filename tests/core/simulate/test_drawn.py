"""Lines drawn from the priors: their intervals hold the truth about as often as they say.

A small, fast version of the coverage benchmark; the bounds are what chance allows 25 lines,
each of which errs as a whole.
"""

import math

import numpy as np
import pytest

from depthwright.results.evaluate import evaluate
from depthwright.simulate.drawn import Evidence, draw_line

LINES = 25


def standardised(evidence):
    """Errors in standard uncertainties: covers, thicknesses and ln permittivity, a list of lines each."""
    covers, faces, velocity = [], [], []
    for seed in range(LINES):
        drawn = draw_line(1000 + seed, evidence)
        results = evaluate(drawn.job)
        rows = results.lines["line-1"]
        covers.append(
            [
                (bar.cover.value_mm - truth) / bar.cover.u_mm
                for bar, truth in zip(rows.bars, drawn.covers_mm, strict=True)
            ]
        )
        faces.append(
            [(a.depth.value_mm - drawn.thickness_mm) / a.depth.u_mm for a in rows.faces[0].anchors]
        )
        log_u = results.permittivity_u / results.permittivity
        velocity.append(math.log(results.permittivity / drawn.permittivity) / log_u)
    return np.array(covers), np.array(faces), np.array(velocity)


@pytest.mark.parametrize(
    "evidence",
    [Evidence(ties=0), Evidence(ties=1, curvature=False), Evidence(ties=2)],
    ids=["curvature", "one reading", "two readings and curvature"],
)
def test_intervals_hold_the_truth_about_as_often_as_they_say(evidence):
    covers, faces, velocity = standardised(evidence)
    for errors in (covers, faces, velocity):
        held = np.mean(np.abs(errors) < 1.96, axis=tuple(range(1, errors.ndim)))
        assert 0.8 <= held.mean() <= 1.0
        # Not by being far too wide.
        assert 0.6 < np.sqrt(np.mean(errors**2)) < 1.5


def test_a_line_is_the_same_for_the_same_seed():
    assert draw_line(3, Evidence()) == draw_line(3, Evidence())
    assert draw_line(3, Evidence()) != draw_line(4, Evidence())


def test_a_drawn_line_holds_what_it_was_asked_for():
    job = draw_line(5, Evidence(ties=2, hole=True)).job
    bars = [mark for mark in job.line("line-1").marks if mark.kind == "bar"]
    assert [bar.tie is not None for bar in bars] == [True, True, False, False, False, False]
    assert all(len(bar.crest) == 9 for bar in bars)
    face = next(mark for mark in job.line("line-1").marks if mark.kind == "face")
    assert face.anchors[0].tie is not None
    assert evaluate(job).outlook is not None
