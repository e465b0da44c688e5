"""All proposals of one line."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from depthwright.finding.bars import LEAST_TRACES, propose_bars
from depthwright.finding.face import propose_face
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, FaceProposal, Proposals
from depthwright.job import Job, Line
from depthwright.measuring.stage import PickStage, at_hand
from depthwright.measuring.timezero import is_shared, sample_traces
from depthwright.scan import Report, no_report

ABOVE_FACE_PERIODS = 0.5
"""A bar's echo comes earlier than the back face's by at least this: with its own diameter and the least
cover from below it is about one period (common practice, no source)."""
BELOW_FACE_SCORE = 0.1
LOOKED_AT_TRACES = 256
TOO_FEW = "A line of {traces} is too short to look for bars or a back face: record a longer one."
NO_DIRECT_WAVE = (
    "The traces share no direct wave, as in noise or in a record that begins too late: nothing was looked "
    "for. Check that the right file was saved, and record the line again from before the direct wave."
)


def propose(job: Job, line: Line, stage: PickStage, report: Report = no_report) -> Proposals:
    """Bars and back face that a line's echoes speak for, whatever is marked on it.

    Parameters
    ----------
    job, line
        The line and its job.
    stage
        The line as it is picked on.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    scan = stage.scan
    if scan.traces < LEAST_TRACES:
        traces = "1 trace" if scan.traces == 1 else f"{scan.traces} traces"
        return Proposals(messages=(TOO_FEW.format(traces=traces),))
    if not is_shared(sample_traces(scan, LOOKED_AT_TRACES), stage.direct, scan.dt_ns):
        return Proposals(messages=(NO_DIRECT_WAVE,))
    stage = at_hand(stage)
    bars = propose_bars(job, line, stage, lambda done: report(0.6 * done))
    above = [bar for bar in bars if bar.score >= SHOWN_SCORE]
    face, messages = propose_face(job, line, stage, above, lambda done: report(0.6 + 0.4 * done))
    if face is not None and face.score >= SHOWN_SCORE:
        bars = _above(face, bars, ABOVE_FACE_PERIODS * stage.period_ns)
    return Proposals(bars, face, messages)


def _above(
    face: FaceProposal, bars: Sequence[BarProposal], least_ns: float
) -> tuple[BarProposal, ...]:
    """The bars, with little left for those that lie in the back face's echo or below it."""
    anchors = sorted((anchor.position_mm, anchor.time_ns) for anchor in face.anchors)
    place, time_ns = np.array(anchors).T
    return tuple(
        bar
        if bar.pick.time_ns < np.interp(bar.pick.position_mm, place, time_ns) - least_ns
        else replace(
            bar, score=min(bar.score, BELOW_FACE_SCORE), reason="at the back face or below it"
        )
        for bar in bars
    )
