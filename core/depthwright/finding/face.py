"""The back face by itself: an echo that goes along under the bars."""

from collections.abc import Sequence

from depthwright.finding.proposal import BarProposal, FaceProposal
from depthwright.job import Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.scan import Report, no_report


def propose_face(
    job: Job,
    line: Line,
    stage: PickStage,
    bars: Sequence[BarProposal],
    report: Report = no_report,
) -> tuple[FaceProposal | None, tuple[str, ...]]:
    """The back face that the line's echoes speak for, or a sentence on why there is none.

    Parameters
    ----------
    job, line
        The line and its job.
    stage
        The line as it is picked on.
    bars
        The bars above it: accepted or proposed.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    report(1.0)
    return None, ("No back face was looked for.",)
