"""Opens many job files gone wrong: how many open, how many are refused, and what the worst of them cost.

``python packaging/benchmarks/bench_fuzz_jobs.py [FILES [SEED]]``. Anything but a job or a refusal in words
ends the run, with the file that did it kept in the temporary folder.
"""

import random
import sys
import tempfile
import time
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import load_job

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "core" / "files"))
from mutations import mutated  # noqa: E402


def hostile():
    """Job files that were made to cost much, by what is in them."""
    head = (
        '{"format": "depthwright-job", "version": 2, "program": "x", "saved": "2026-03-14T09:26:53Z", '
        '"results": null, "job": {"antennas": [{"id": "a", "centre_frequency_ghz": 1}], "lines": [{'
        '"id": "l", "name": "n", "scan": {"path": "", "size_bytes": 0, "sha256": "", "traces": 2, '
        '"samples": 2, "dt_ns": 1}, "zone": "zone-1", "antenna": "a", "direct": {"time_ns": 1}, "marks": ['
    )
    note = '{"kind":"note","id":"%d","position_mm":0,"time_ns":0,"text":""}'
    bar = '{"kind":"bar","id":"b","number":1,"position_mm":1,"position_u_mm":1,"time_ns":1,"crest":[%s]}'
    marks = {
        "a million notes": ",".join(note % number for number in range(1_000_000)),
        "59,000 notes": ",".join(note % number for number in range(59_000)),
        "59,000 bars with nothing in them": ",".join(['{"kind":"bar"}'] * 59_000),
        "a million times nothing": ",".join(["{}"] * 1_000_000),
        "590,000 wrong nodes": bar % ",".join(["0"] * 590_000),
        "190,000 right nodes": bar % ",".join(["[1.5,2.5]"] * 190_000),
        "nested 60,000 deep": "[" * 60_000 + "]" * 60_000,
        "nested 900 deep": "[" * 900 + "]" * 900,
        "a text of 60 MB": note.replace('""', '"%s"' % ("x" * 60_000_000)) % 1,
    }
    for what, text in marks.items():
        yield what, (head + text + "]}]}}").encode()


def opened(path):
    try:
        load_job(path)
    except DepthwrightError as problem:
        return "refused: %s" % problem.message[:90]
    return "opened"


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    draw = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    raw = (ROOT / "sample_data" / "demo.dwjob").read_bytes()
    folder = Path(tempfile.mkdtemp())
    path = folder / "wrong.dwjob"
    slowest, tally = 0.0, {"opened": 0, "refused": 0}
    for _ in range(count):
        path.write_bytes(mutated(raw, draw))
        start = time.process_time()
        tally[opened(path).partition(":")[0]] += 1
        slowest = max(slowest, time.process_time() - start)
    print("%d files gone wrong: %s, slowest %.3f s of the processor" % (count, tally, slowest))
    for what, data in hostile():
        path.write_bytes(data)
        start = time.process_time()
        said = opened(path)
        print("%-34s %.2f s  %s" % (what, time.process_time() - start, said))
    path.unlink()
    folder.rmdir()
    try:
        import resource
    except ImportError:
        return
    print("most memory: %.0f MB" % (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3))


if __name__ == "__main__":
    main()
