"""How long a typed tie takes to move every depth: 500 bars on 20 lines, with and without curvature.

Printed with the ratio to one plain least-squares solution of as many rows and unknowns, in the same run.
"""

import time

import numpy as np

from depthwright import edits
from depthwright.job import Tie
from depthwright.results.evaluate import evaluate
from depthwright.simulate.drawn import Evidence, draw_line

LINES, BARS = 20, 25


def many(evidence):
    """A job of many lines of one member, from the marks of one drawn line."""
    job = draw_line(1, evidence, bars=BARS).job
    first = job.lines[0]
    for number in range(2, LINES + 1):
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


def main():
    for name, evidence in (
        ("one tie", Evidence(ties=1, curvature=False)),
        ("one tie and curvature", Evidence(ties=1)),
    ):
        job = many(evidence)
        results = evaluate(job)
        tie = Tie(depth_mm=50.0, plus_minus_mm=1.0)
        moved = edits.tie_mark(job, "line-1", "bar-2", tie)
        ms = best_ms(lambda job=moved, known=results.curvatures: evaluate(job, None, known))
        rows, unknowns = len(results.points.time_ns), len(results.parameters)
        plain = np.random.default_rng(0).normal(size=(rows, unknowns))
        reference = best_ms(lambda a=plain: np.linalg.lstsq(a, a[:, 0], rcond=None))
        print(
            "%-24s %d bars, %d unknowns: %.0f ms, %.1f times one plain least squares (%.1f ms)"
            % (name, LINES * BARS, unknowns, ms, ms / reference, reference)
        )


if __name__ == "__main__":
    main()
