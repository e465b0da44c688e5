"""What the user decides on proposals, as pure edits of the job."""

from collections.abc import Sequence

from depthwright import edits
from depthwright.finding.proposal import BarProposal, FaceProposal, rejected
from depthwright.job import Job


def accept_bars(job: Job, line_id: str, bars: Sequence[BarProposal]) -> tuple[Job, tuple[str, ...]]:
    """Mark proposed bars, numbered in the order given; gives the job and the marks' ids."""
    return edits.add_bars(job, line_id, [bar.pick for bar in bars])


def accept_face(job: Job, line_id: str, face: FaceProposal) -> tuple[Job, str]:
    """Mark the proposed back face through its anchors; gives the job and the mark's id."""
    return edits.add_face(job, line_id, face.anchors)


def reject(job: Job, line_id: str, proposals: Sequence[BarProposal | FaceProposal]) -> Job:
    """Take proposals away for good."""
    known = job.line(line_id).rejected
    return edits.change_line(job, line_id, rejected=(*known, *map(rejected, proposals)))


def allow_again(job: Job, line_id: str) -> Job:
    """Let everything be proposed again that was rejected on a line."""
    return edits.change_line(job, line_id, rejected=())
