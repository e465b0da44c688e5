"""A line of 4 GB is opened, shown and marked in the window; how long that takes, and the peak of memory.

The file is written to a temporary folder (set TMPDIR where that is small) by this process; the window runs
off-screen in a process of its own, whose largest resident size the system tells. Linux only.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SAMPLES, DT_NS, SPACING_MM, FREQUENCY_GHZ = 512, 0.02, 5.0, 2.0
DIRECT_NS, BAR_MM, PITCH_MM, VELOCITY_MM_PER_NS = 1.0, 50.0, 200.0, 106.0
PIECE = 50_000
TRACE_BYTES = 240 + 4 * SAMPLES


def pulse(late_ns):
    squared = (np.pi * FREQUENCY_GHZ * late_ns) ** 2
    return (1 - 2 * squared) * np.exp(-squared)


def piece_of_line(first, count):
    """A direct wave, a hyperbola every 200 mm, and noise."""
    time_ns = np.arange(SAMPLES) * DT_NS
    away_mm = (SPACING_MM * (first + np.arange(count)) + PITCH_MM / 2) % PITCH_MM - PITCH_MM / 2
    echo_ns = DIRECT_NS + 2 * np.hypot(BAR_MM, away_mm) / VELOCITY_MM_PER_NS
    samples = 0.02 * np.random.default_rng(first).standard_normal((count, SAMPLES), np.float32)
    samples += pulse(time_ns - DIRECT_NS).astype(np.float32)
    samples += 0.3 * pulse(time_ns - echo_ns[:, None]).astype(np.float32)
    return samples


def write_line(path, size_bytes):
    """A SEG-Y line of about so many bytes, written piece by piece."""
    from depthwright.files.segy import write_segy

    traces = size_bytes // TRACE_BYTES // PIECE * PIECE
    with path.open("wb") as whole:
        for first in range(0, traces, PIECE):
            part = path.with_suffix(".part")
            positions = SPACING_MM * np.arange(first, first + PIECE)
            write_segy(part, piece_of_line(first, PIECE), DT_NS, positions, 40.0)
            raw = part.read_bytes()
            whole.write(raw if first == 0 else raw[3600:])
    part.unlink()
    return traces


def peak_mb():
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    return float("nan")


def use_window(path):
    """Open the line, wait for its whole picture, mark a bar, and say how long each took."""
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from PySide6.QtWidgets import QApplication

    from depthwright_app.main_window import MainWindow

    app = QApplication([])
    folder = path.parent
    window = MainWindow(folder / "settings.json", recoveries=folder / "recovery")
    window.resize(1600, 1000)
    window.show()
    app.processEvents()
    print("an empty window: %.0f MB" % peak_mb())
    start = time.perf_counter()

    def wait(until, what):
        while not until():
            app.processEvents()
            time.sleep(0.005)
        print("%-34s after %6.1f s, peak %5.0f MB" % (what, time.perf_counter() - start, peak_mb()))

    pane, document = window.pane, window.document
    window.keeper.open_path(path)
    wait(lambda: pane.scan.sheet is not None, "the first picture")
    middle_mm = round(document.stage.scan.length_mm / 2 / PITCH_MM) * PITCH_MM
    pick = document.snap("bar", middle_mm, DIRECT_NS + 2 * BAR_MM / VELOCITY_MM_PER_NS)
    document.add_bar(pick)
    wait(lambda: len(document.line.marks) == 1, "a bar in the middle marked")
    wait(lambda: not window.background.busy("image"), "the whole picture")
    wait(lambda: not window.background.busy(), "hash and samples checked")
    pane.box.setXRange(middle_mm, middle_mm + 2000.0, padding=0)
    app.processEvents()
    wait(lambda: not window.background.busy(), "zoomed in to 2 m")
    document.saved = document.job
    window.close()


def main():
    if len(sys.argv) == 3 and sys.argv[1] == "window":
        use_window(Path(sys.argv[2]))
        return
    size = float(sys.argv[1]) if len(sys.argv) > 1 else 4.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.sgy"
        traces = write_line(path, int(size * 2**30))
        print("%d traces, %.2f GB" % (traces, path.stat().st_size / 2**30), flush=True)
        subprocess.run([sys.executable, __file__, "window", str(path)], check=True)


if __name__ == "__main__":
    main()
