"""Whatever has happened to a job file: it opens, or is refused with a sentence. Nothing else."""

import random
from datetime import UTC, datetime
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import job_bytes, load_job, save_job
from depthwright.files.recovery import find_recoveries, recovery_path, write_recovery
from depthwright.job import Job
from depthwright.results.evaluate import evaluate

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)

_spec = spec_from_file_location("mutations", Path(__file__).with_name("mutations.py"))
assert _spec is not None
assert _spec.loader is not None
mutations = module_from_spec(_spec)
_spec.loader.exec_module(mutations)


def test_two_thousand_job_files_gone_wrong(path: Path, job: Job) -> None:
    whole = [job_bytes(job, results, NOW, str) for results in (evaluate(job), None, None, None)]
    draw = random.Random(11)
    outcome = {"opened": 0, "refused": 0}
    for count in range(2000):
        path.write_bytes(mutations.mutated(whole[count % 4], draw))
        try:
            loaded = load_job(path)
        except DepthwrightError as problem:
            said = (problem.message, problem.hint)
            outcome["refused"] += 1
        else:
            said = (*loaded.findings, "Opened.")
            outcome["opened"] += 1
            if outcome["opened"] % 40 == 0:
                save_job(path.with_name("again.dwjob"), loaded.job, None, NOW)
        assert all(each.endswith(".") and len(each) < 1000 for each in said), said
        assert "".join(said).encode("utf-8")
    assert min(outcome.values()) > 200, outcome


def test_recovery_files_gone_wrong_are_found_or_put_aside(tmp_path: Path, job: Job) -> None:
    raw = write_recovery(tmp_path, "one", job, None, "", NOW).read_bytes()
    draw, found = random.Random(12), 0
    for count in range(1, 301):
        recovery_path(tmp_path, "one").write_bytes(mutations.mutated(raw, draw))
        left = find_recoveries(tmp_path)
        assert len(left.found) + len(left.findings) == 1, count
        found += len(left.found)
        for aside in tmp_path.glob("*unreadable*"):
            aside.unlink()
    assert 10 < found < 270
