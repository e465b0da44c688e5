"""A job with its scans, without a window: what the command line works on."""

from dataclasses import dataclass
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.files.scans import followed, open_scan
from depthwright.job import Job
from depthwright.measuring.stage import PickStage
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage, track_faces
from depthwright.results.values import Results


@dataclass(frozen=True)
class Session:
    """Pick stages by line, the numbers, and a sentence for each scan that is missing."""

    stages: dict[str, PickStage]
    results: Results
    missing: dict[str, str]


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
