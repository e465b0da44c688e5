"""How long migration takes: 2,000 and 20,000 traces of 512 samples, 5 mm apart.

Printed with the time of each trace, the ratio of the two, the ratio to a plain copy of the data, and the
memory besides data and image.
"""

import tracemalloc

import numpy as np
from timing import best_s

from depthwright.processing.migration import migrate, plan_migration

SAMPLES = 512
LINES = (2_000, 20_000)


def make_plan():
    """Concrete of 100 mm/ns, antennas 40 mm apart, 2 GHz."""
    return plan_migration(SAMPLES, 0.02, 5.0, 0.5, 100.0, 40.0, 2.0)


def main():
    plan = make_plan()
    print("plan: %.2f s, %d traces on each side" % (best_s(make_plan), plan.reach))
    each = []
    for traces in LINES:
        line = np.random.default_rng(0).standard_normal((traces, SAMPLES), np.float32)
        copy, taken = best_s(line.copy), best_s(lambda line=line: migrate(line, plan))
        tracemalloc.start()
        migrate(line, plan)
        work = tracemalloc.get_traced_memory()[1] - line.nbytes
        tracemalloc.stop()
        each.append(taken / traces)
        print(
            "%d x %d: %.3f s, %.1f us a trace, %.0f times a plain copy (%.1f ms), %.1f MB of work"
            % (traces, SAMPLES, taken, 1e6 * each[-1], taken / copy, 1e3 * copy, work / 1e6)
        )
    print("a trace of the longer line takes %.2f times one of the shorter" % (each[1] / each[0]))


if __name__ == "__main__":
    main()
