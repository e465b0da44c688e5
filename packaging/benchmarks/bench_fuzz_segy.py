"""How thousands of spoilt SEG-Y files end: read, or refused in a sentence; anything else ends the run.

The files are made as in the test of the same kind, from other seeds. The first argument is their number,
50,000 by default, the second the seed. Prints how many ended how, the slowest, and the most memory that one
took (of every tenth, as watching it takes time). The file that fails is kept and named.
"""

import sys
import tempfile
import time
import tracemalloc
import warnings
from collections import Counter
from itertools import islice
from pathlib import Path

WATCHED = 10
"""Memory is watched for one in so many."""


def spoiling():
    sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "core" / "files"))
    try:
        import test_segy_fuzz
    except ImportError:
        sys.exit("This benchmark uses the tests: python3 packaging/bootstrap.py test first.")
    return test_segy_fuzz


def measured(call, watch):
    """What a call gives, how long it takes, s, and the most memory it took, bytes, if that is watched."""
    if watch:
        tracemalloc.start()
    start = time.perf_counter()
    ended = call()
    taken = time.perf_counter() - start
    peak = 0
    if watch:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    return ended, taken, peak


def main(count=50_000, seed=2):
    warnings.simplefilter("error")
    fuzz = spoiling()
    ends, slowest, largest = Counter(), (0.0, ""), (0, 0)
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "line.sgy"
        files = fuzz.spoilt(fuzz.seeds(Path(folder)), seed)
        for number, raw in enumerate(islice(files, count)):
            fuzz.put(path, raw)
            watch = number % WATCHED == 0
            given = fuzz.given_to(number)
            try:
                ended, taken, peak = measured(lambda: fuzz.outcome(path, given), watch)  # noqa: B023
            except BaseException:
                kept = Path(tempfile.gettempdir()) / ("spoilt-%d-%d.sgy" % (seed, number))
                kept.write_bytes(raw)
                print("Number %d of seed %d failed; it is kept as %s" % (number, seed, kept))
                raise
            ends[ended] += 1
            if not watch:
                slowest = max(slowest, (taken, ended))
            largest = max(largest, (peak, len(raw)))
    print("%d spoilt files in %.0f s" % (count, time.perf_counter() - begun))
    for ended, times in ends.most_common():
        print("%7d  %s" % (times, ended))
    print("slowest: %.1f ms (%s)" % (1000 * slowest[0], slowest[1]))
    print("most memory: %.2f MB for a file of %.3f MB" % (largest[0] / 1e6, largest[1] / 1e6))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
