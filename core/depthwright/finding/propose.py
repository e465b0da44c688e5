"""All proposals of one line."""

from depthwright.finding.bars import propose_bars
from depthwright.finding.face import propose_face
from depthwright.finding.proposal import SHOWN_SCORE, Proposals
from depthwright.job import Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.scan import Report, no_report


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
    bars = propose_bars(job, line, stage, lambda done: report(0.6 * done))
    above = [bar for bar in bars if bar.score >= SHOWN_SCORE]
    face, messages = propose_face(job, line, stage, above, lambda done: report(0.6 + 0.4 * done))
    return Proposals(bars, face, messages)
