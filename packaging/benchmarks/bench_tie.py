"""How long a typed tie takes to move every depth of 500 bars, on one line and on 20, with and without
curvature.

Printed with the ratio to one plain least-squares solution of as many rows and unknowns, in the same run.
"""

import time

import numpy as np

from depthwright import edits
from depthwright.job import Tie
from depthwright.results.evaluate import evaluate
from depthwright.simulate.drawn import Evidence, draw_line

BARS = 500


def many(evidence, lines):
    """A job of 500 bars on some lines of one member, from the marks of one drawn line."""
    job = draw_line(1, evidence, bars=BARS // lines).job
    first = job.lines[0]
    for number in range(2, lines + 1):
        marks = tuple(
            mark.model_copy(update={"id": "%s-of-%d" % (mark.id, number)}) for mark in first.marks
        )
        line = first.model_copy(
            update={"id": "line-%d" % number, "name": "L%d" % number, "marks": marks}
        )
        job = edits.add_line(job, line)
    return job


def best_ms(call, times=7):
    """Shortest of some calls, ms."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(1e3 * (time.perf_counter() - start))
    return min(taken)


def measure(name, evidence, lines):
    """Print one case: from a job with one tie more to all its numbers."""
    job = many(evidence, lines)
    results = evaluate(job)
    tie = Tie(depth_mm=50.0, plus_minus_mm=1.0)
    moved = edits.tie_mark(job, "line-1", "bar-2", tie)
    ms = best_ms(lambda: evaluate(moved, None, results.curvatures))
    rows, unknowns = len(results.points.time_ns), len(results.parameters)
    plain = np.random.default_rng(0).normal(size=(rows, unknowns))
    reference = best_ms(lambda: np.linalg.lstsq(plain, plain[:, 0], rcond=None))
    print(
        "%-24s %d bars on %2d lines, %2d unknowns: %.0f ms, %.1f times one plain least squares (%.1f ms)"
        % (name, BARS, lines, unknowns, ms, ms / reference, reference)
    )


def main():
    for lines in (1, 20):
        measure("one tie", Evidence(ties=1, curvature=False), lines)
        measure("one tie and curvature", Evidence(ties=1), lines)


if __name__ == "__main__":
    main()
