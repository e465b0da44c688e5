"""How fast a line is seen: the recipe over a long line, and repaints of the section.

Repaints are of the whole section pane (samples, axes, trace, cover strip) at 1600 x 900 in the software
rasteriser, and are set against painting a ready-made image of that size in the same run.
"""

import os
import time
import tracemalloc

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QApplication, QWidget

from depthwright.exports.section import ImageStyle
from depthwright.intake import take_in
from depthwright.job import Job
from depthwright.processing.recipe import Recipe
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage, recipe_setting
from depthwright.scan import scan_from_array
from depthwright.showing.chain import make_chain
from depthwright.showing.levels import make_levels, quick_level
from depthwright.showing.shades import Shades, gain_with_depth
from depthwright_app import theme
from depthwright_app.section.scan_item import Sheet
from depthwright_app.section.view import SectionPane

SAMPLES = 512
SIZE = (1600, 900)
REPAINTS = 60


def long_scan(traces):
    """A direct wave, hyperbolas every 150 mm, a back face and noise, 5 mm a trace."""
    random = np.random.default_rng(7)
    period = 30 * 16
    x = 5.0 * np.arange(period)
    time_ns = np.arange(SAMPLES) * 0.02

    def pulse(at):
        return (1 - 2 * (np.pi * 2 * at) ** 2) * np.exp(-((np.pi * 2 * at) ** 2))

    block = pulse(time_ns[None, :] - 1.0) + 0.2 * pulse(time_ns[None, :] - 4.0)
    for bar in np.arange(75.0, x[-1], 150.0):
        echo = 0.87 + 2 * np.hypot(50.0, x - bar) / 106
        block = block - 0.3 * pulse(time_ns[None, :] - echo[:, None])
    many = np.tile(block.astype(np.float32), (-(-traces // period), 1))[:traces]
    many += random.standard_normal(many.shape, dtype=np.float32) * np.float32(0.01)
    return scan_from_array(many, 0.02)


def made_ready(traces):
    """The scan of a line of a job, and what its recipe needs to know."""
    scan = long_scan(traces)
    job, line_id = take_in(Job(), scan)
    line = job.line(line_id)
    model = evaluate(job).lines[line_id].model
    direct = pick_stage(job, line, scan).direct
    return scan, recipe_setting(job, line, model, scan, direct)


def pass_over(recipe, traces):
    """Seconds for a first look and for the whole pass, longest wait between reports, peak in scans."""
    scan, setting = made_ready(traces)
    start = time.perf_counter()
    chain = make_chain(scan, recipe, setting)
    quick_level(chain, 0, scan.traces, 1600)
    look = time.perf_counter() - start
    waits, last = [], [time.perf_counter()]

    def report(_):
        now = time.perf_counter()
        waits.append(now - last[0])
        last[0] = now

    start = time.perf_counter()
    make_levels(chain, report)
    whole = time.perf_counter() - start
    tracemalloc.start()
    make_levels(make_chain(scan, recipe, setting))
    peak = tracemalloc.get_traced_memory()[1] / (4 * scan.traces * scan.samples)
    tracemalloc.stop()
    return look, whole, max(waits), peak


def passes():
    for name, recipe, sizes in (
        ("default recipe", Recipe(), (25_000, 50_000, 100_000)),
        ("background, envelope", Recipe(remove_background=True, envelope=True), (100_000,)),
        ("migration", Recipe(migrate=True), (2_000, 20_000)),
    ):
        for traces in sizes:
            look, whole, wait, peak = pass_over(recipe, traces)
            print(
                "%-21s %6d traces: first look %.2f s, whole %.2f s (%.1f us a trace), "
                "reports at most %3.0f ms apart, %.2f scans of memory beside the scan"
                % (name, traces, look, whole, 1e6 * whole / traces, 1e3 * wait, peak)
            )


class Ready(QWidget):
    """Paints an image that is ready."""

    def __init__(self):
        super().__init__()
        self.image = QImage(*SIZE, QImage.Format.Format_RGB32)
        self.image.fill(0xFF808080)

    def paintEvent(self, event):  # noqa: N802
        painter = QPainter(self)
        painter.drawImage(0, 0, self.image)


def percentile_ms(change):
    """95th percentile of the time from a change to all that it repaints, ms."""
    taken = []
    for step in range(REPAINTS):
        start = time.perf_counter()
        change(step)
        QApplication.processEvents()
        taken.append(1e3 * (time.perf_counter() - start))
    return float(np.percentile(taken, 95))


class Section:
    """The section pane with a line in it, and the changes whose repaint is timed."""

    def __init__(self, traces):
        self.scan, self.setting = made_ready(traces)
        self.chain = make_chain(self.scan, Recipe(), self.setting)
        self.pane = SectionPane()
        self.pane.show_look(theme.LIGHT)
        self.pane.resize(*SIZE)
        self.pane.show()
        levels = make_levels(self.chain).levels
        where, edges = self.scan.positions_mm, self.scan.edges_mm
        self.pane.show_sheet(Sheet(levels, where, edges, self.scan.dt_ns, SAMPLES))
        self.scaled = None, None, None
        self.shade(1.0, 0.0)
        self.pane.show_all()
        QApplication.processEvents()

    def shade(self, contrast, db):
        if db != self.scaled[0]:
            gain = gain_with_depth(Recipe(gain_db_per_100mm=db), self.setting, self.scan)
            self.scaled = db, gain, Shades.of(self.chain)
        _, gain, shades = self.scaled
        self.pane.show_shading(ImageStyle(contrast=contrast), gain, shades.times(1 / contrast))

    def look(self, left, right):
        self.pane.box.setXRange(left, right, padding=0)

    def changes(self):
        length = self.scan.length_mm
        yield "contrast", lambda step: self.shade(1 + step / 30, 0.0)
        yield "gain", lambda step: self.shade(1.0, step / 3)
        yield "zoom", lambda step: self.look(0, length * 0.95**step)
        yield (
            "pan far out",
            lambda step: self.look(*(length * (step / 200 + at) for at in (0, 0.5))),
        )
        yield "pan close", lambda step: self.look(50 * step, 5000 + 50 * step)


def repaints():
    ready = Ready()
    ready.resize(*SIZE)
    ready.show()
    QApplication.processEvents()
    reference = percentile_ms(lambda step: ready.update())
    ready.close()
    print("a ready-made image of the window's size: %.1f ms" % reference)
    for traces in (2_000, 100_000):
        section = Section(traces)
        for name, change in section.changes():
            ms = percentile_ms(change)
            print(
                "%7d traces, %-11s: repainted within %5.1f ms (95th percentile), %4.1f times a "
                "ready-made image" % (traces, name, ms, ms / reference)
            )
        section.pane.close()


def main():
    app = QApplication([])
    repaints()
    passes()
    app.quit()


if __name__ == "__main__":
    main()
