"""How long a typed tie takes to move every depth of 500 bars, on one line and on 20, with and without
curvature.

Printed with the ratio to one plain least-squares solution of as many rows and unknowns, in the same run.
Then the same in a window of 1600 x 950 in the software rasteriser: from the edit until it is painted, and
until what comes after it (the outlook) is on screen too, without the share of the evaluation.
"""

import os
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtWidgets import QApplication
from timing import best_s

from depthwright import edits
from depthwright.job import Tie
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage
from depthwright.scan import scan_from_array
from depthwright.simulate.drawn import DIRECT_NS, FREQUENCY_GHZ, Evidence, draw_line
from depthwright_app.document import Selection
from depthwright_app.main_window import MainWindow

BARS = 500
BAR_SPACING_MM, TRACE_SPACING_MM = 250.0, 25.0


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


def measure(name, evidence, lines):
    """Print one case: from a job with one tie more to all its numbers."""
    job = many(evidence, lines)
    results = evaluate(job)
    tie = Tie(depth_mm=50.0, plus_minus_mm=1.0)
    moved = edits.tie_mark(job, "line-1", "bar-2", tie)
    ms = 1e3 * best_s(lambda: evaluate(moved, None, results.curvatures), 7)
    rows, unknowns = len(results.points.time_ns), len(results.parameters)
    plain = np.random.default_rng(0).normal(size=(rows, unknowns))
    reference = 1e3 * best_s(lambda: np.linalg.lstsq(plain, plain[:, 0], rcond=None), 7)
    print(
        "%-24s %d bars on %2d lines, %2d unknowns: %.0f ms, %.1f times one plain least squares (%.1f ms)"
        % (name, BARS, lines, unknowns, ms, ms / reference, reference)
    )


def quiet_scan():
    """A scan as long as one line of all bars: its direct wave and noise."""
    traces = int(BARS * BAR_SPACING_MM / TRACE_SPACING_MM)
    lag = (np.pi * FREQUENCY_GHZ * (0.02 * np.arange(512) - DIRECT_NS)) ** 2
    noise = np.random.default_rng(1).normal(scale=0.01, size=(traces, 512))
    return scan_from_array((1 - 2 * lag) * np.exp(-lag) + noise, 0.02, TRACE_SPACING_MM)


def settle(window):
    """Let the background finish and everything be painted."""
    while window.background.busy():
        QApplication.processEvents()
    for _ in range(5):
        QApplication.processEvents()


def opened(lines, folder):
    """A window with the job of 500 bars, the first line's scan at hand, one bar selected."""
    scan, job = quiet_scan(), many(Evidence(ties=1), lines)
    size = {"traces": scan.traces, "samples": scan.samples, "dt_ns": scan.dt_ns}
    ref = job.lines[0].scan.model_copy(update={"sha256": scan.sha256, **size})
    job = edits.change_line(job, "line-1", scan=ref)
    window = MainWindow(record=Path(folder) / "settings.json")
    window.resize(1600, 950)
    window.show()
    window.document.open(job, None)
    window.document.scan_arrived("line-1", pick_stage(job, job.lines[0], scan))
    window.document.select(Selection("line-1", "bar-2"))
    settle(window)
    return window


def tied_ms(window, depth_mm):
    """From a tie to the window painted, and from there to all that comes after; without evaluating, ms."""
    document, evaluating, own = window.document, [], window.document._evaluate

    def timed(job):
        start = time.perf_counter()
        results = own(job)
        evaluating.append(time.perf_counter() - start)
        return results

    document._evaluate = timed
    tie = Tie(depth_mm=depth_mm, plus_minus_mm=1.0)
    start = time.perf_counter()
    document.edit("Tie", lambda job: edits.tie_mark(job, "line-1", "bar-2", tie))
    QApplication.processEvents()
    painted = time.perf_counter()
    for _ in range(3):
        QApplication.processEvents()
    document._evaluate = own
    return 1e3 * np.array(
        [painted - start - sum(evaluating), time.perf_counter() - painted, sum(evaluating)]
    )


def measure_showing(lines, folder):
    """Print how long the showing takes with the whole line in view, and with a part of it."""
    window = opened(lines, folder)
    for seen_mm in (BARS / lines * BAR_SPACING_MM, 10_000.0, 2_000.0):
        window.pane.box.setXRange(0.0, seen_mm, padding=0)
        settle(window)
        taken = np.array([tied_ms(window, 50.0 + 0.1 * step) for step in range(12)])
        best = taken[np.argmin(taken[:, :2].sum(axis=1))]
        print(
            "shown, %2d lines, %3.0f m in view: %3.0f ms until painted, %3.0f ms after it "
            "(median of both %3.0f); beside %3.0f ms of evaluating"
            % (lines, seen_mm / 1e3, *best[:2], np.median(taken[:, :2].sum(axis=1)), best[2])
        )
    window.document.saved = window.document.job
    window.close()


def main():
    for lines in (1, 20):
        measure("one tie", Evidence(ties=1, curvature=False), lines)
        measure("one tie and curvature", Evidence(ties=1), lines)
    application = QApplication([])
    with tempfile.TemporaryDirectory() as folder:
        for lines in (1, 20):
            measure_showing(lines, folder)
    application.quit()


if __name__ == "__main__":
    main()
