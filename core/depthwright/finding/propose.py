"""All proposals of one line."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from depthwright.finding.bars import LEAST_TRACES, propose_bars, without_bars
from depthwright.finding.face import propose_face
from depthwright.finding.level import bar_phase
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, FaceProposal, Proposals
from depthwright.job import Job, Line
from depthwright.measuring.stage import KeptStage, PickStage, at_hand
from depthwright.measuring.timezero import is_shared, sample_traces
from depthwright.scan import Report, no_report

ABOVE_FACE_PERIODS = 0.5
"""A bar's echo comes earlier than the back face's by at least this: with its own diameter and the least
cover from below it is about one period (common practice, no source)."""
APART_PERIODS = 1.5
"""A back face that shows only without the bars comes later than all of theirs by at least this."""
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
    phase = bar_phase(stage, above)
    face, messages = propose_face(stage, above, phase, lambda done: report(0.6 + 0.3 * done))
    if face is None and above and isinstance(stage, KeptStage):
        # Under close bars or two mats it is their hyperbolas that hide it.
        freed = without_bars(job, line, stage, above)
        hidden, said = propose_face(freed, above, phase, lambda done: report(0.9 + 0.1 * done))
        # What bars leave of themselves may be level too.
        if hidden is not None and all(_lie_above(hidden, above, APART_PERIODS * stage.period_ns)):
            face, messages = hidden, said
    if face is not None and face.score >= SHOWN_SCORE:
        bars = _above(face, bars, ABOVE_FACE_PERIODS * stage.period_ns)
    return Proposals(bars, face, messages)


def _above(
    face: FaceProposal, bars: Sequence[BarProposal], least_ns: float
) -> tuple[BarProposal, ...]:
    """The bars, with little left for those that lie in the back face's echo or below it."""
    return tuple(
        bar
        if lies_above
        else replace(
            bar, score=min(bar.score, BELOW_FACE_SCORE), reason="at the back face or below it"
        )
        for bar, lies_above in zip(bars, _lie_above(face, bars, least_ns), strict=True)
    )


def _lie_above(face: FaceProposal, bars: Sequence[BarProposal], least_ns: float) -> list[bool]:
    anchors = sorted((anchor.position_mm, anchor.time_ns) for anchor in face.anchors)
    place, time_ns = np.array(anchors).T
    return [
        bool(bar.pick.time_ns < np.interp(bar.pick.position_mm, place, time_ns) - least_ns)
        for bar in bars
    ]
