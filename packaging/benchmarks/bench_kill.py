"""Kills a saving process 200 times at drawn moments: is the job on the disk whole, is an edit lost?

``python packaging/benchmarks/bench_kill.py [ROUNDS [SEED]]``; needs a system with fork.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HELPER = Path(__file__).resolve().parents[2] / "tests" / "core" / "files" / "killed_saves.py"


def main():
    rounds = sys.argv[1] if len(sys.argv) > 1 else "200"
    seed = sys.argv[2] if len(sys.argv) > 2 else "1"
    for how in (("timed", seed, rounds), ("points",)):
        start = time.perf_counter()
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, str(HELPER), folder, *how]
            done = subprocess.run(command, capture_output=True, text=True, check=True)
        found = json.loads(done.stdout.splitlines()[-1])
        taken = time.perf_counter() - start
        print(
            "%-6s %d kills, %d edits told, %d times a temporary file was left until the next save, "
            "%.0f s" % (how[0], found["killed"], found["edits"], found["left_over"], taken)
        )
        print("faults: %d" % len(found["faults"]))
        for fault in found["faults"]:
            print("  " + fault)


if __name__ == "__main__":
    main()
