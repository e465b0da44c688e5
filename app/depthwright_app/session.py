"""A job with its scans, without a window: what the command line and the document work on."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from depthwright.depth.curvature import Crest
from depthwright.errors import DepthwrightError
from depthwright.files.scans import followed, open_scan
from depthwright.job import Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.results.crests import crests_of, offset_beforehand_ns
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage, track_faces
from depthwright.results.values import Results


@dataclass(frozen=True)
class Session:
    """Pick stages by line, the numbers, and a sentence for each scan that is missing."""

    stages: dict[str, PickStage]
    results: Results
    missing: dict[str, str]


@dataclass(frozen=True)
class WorkedOut:
    """What an edit of a job comes to: job and numbers, and from which job, numbers and pick stages."""

    before: Job
    made: Results
    stages: tuple[PickStage, ...]
    job: Job
    results: Results

    def holds(self, job: Job, made: Results, stages: Iterable[PickStage]) -> bool:
        """Whether it starts from these."""
        # By identity: stages hold arrays, which are not equal or unequal as a whole.
        same_stages = [*map(id, stages)] == [*map(id, self.stages)]
        return job is self.before and made is self.made and same_stages


def evaluate_with_scans(job: Job, folder: Path | None = None) -> Session:
    """Read every scan of a job and evaluate it; a missing scan leaves its marks as they are.

    A scan that has moved is looked for around the job's own folder too.
    """
    stages: dict[str, PickStage] = {}
    missing: dict[str, str] = {}
    for line in job.lines:
        try:
            stages[line.id] = pick_stage(job, line, open_scan(followed(line.scan, folder)))
        except DepthwrightError as problem:
            missing[line.id] = f"{line.name}: {problem}"
    return Session(stages, evaluate(job, track_faces(job, stages)), missing)


def shows(stage: PickStage, line: Line, sha256: str = "") -> bool:
    """Whether a stage was made from the scan that a line shows.

    ``sha256`` is the hash of the stage's scan if a check has found it since. As long as one of the two is
    not known, the place and the size of the file stand for it.
    """
    scan, ref = stage.scan, line.scan
    found = sha256 or scan.sha256
    if found and ref.sha256:
        same = found == ref.sha256
    else:
        same = (scan.source, scan.size_bytes) == (ref.path, ref.size_bytes)
    return same and scan.dt_ns == ref.dt_ns


def focus_subject(job: Job, line: Line) -> dict[str, Crest]:
    """What a line's focusing depends on: its crests, whether or not curvature is on."""
    return crests_of(job, line, offset_beforehand_ns(job, line))
