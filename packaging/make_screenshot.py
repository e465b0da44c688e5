"""Makes the README's screenshot: the main job on the invented demo line, in the program's own window.

Run it in the private environment; it needs no display. Its choices serve for looking at other states.
"""

import argparse
import json
import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QDeadlineTimer, QEventLoop
from PySide6.QtWidgets import QApplication

from depthwright_app import settings
from depthwright_app.demo import copy_demo, line_named, tie_reading
from depthwright_app.document import Selection
from depthwright_app.main_window import MainWindow

HERE = Path(__file__).parent


def settle(window: MainWindow) -> None:
    """Let background work arrive and the window repaint."""
    limit = QDeadlineTimer(30_000)
    while window.background.busy() and not limit.hasExpired():
        QApplication.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 20)
    for _ in range(20):
        QApplication.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 10)


def main_job(window: MainWindow, folder: Path) -> None:
    """Click as in the tour, tie the one reading, select the tied bar."""
    document = window.document
    tour = json.loads((folder / "tour.json").read_text("utf-8"))
    add = {"bar": document.add_bar, "face": document.add_anchor, "target": document.add_target}
    for click in tour["clicks"]:
        document.show_line(line_named(document.job, click["line"]).id)
        settle(window)
        pick = document.snap(click["kind"], click["position_mm"], click["time_ns"])
        assert pick is not None
        document.select(None)
        add[click["kind"]](pick)
    document.show_line(document.job.lines[0].id)
    document.select(None)
    document.edit("Tie bar 2", lambda job: tie_reading(job, tour["tie"]))
    tied = next(row for row in document.results.lines[document.line_id].bars if row.tie)
    document.select(Selection(document.line_id, tied.mark_id))


def main() -> None:
    """Draw the window into a picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE / "screenshot.png")
    parser.add_argument("--appearance", choices=("light", "dark"), default="light")
    parser.add_argument("--size", default="1600x1000")
    parser.add_argument("--unmarked", action="store_true", help="leave the line as it is opened")
    options = parser.parse_args()
    app = QApplication(sys.argv[:1])
    with tempfile.TemporaryDirectory() as scratch:
        record = Path(scratch) / "settings.json"
        settings.save(record, settings.Settings(appearance=options.appearance))
        window = MainWindow(record=record)
        width, height = (int(part) for part in options.size.split("x"))
        window.resize(width, height)
        window.show()
        job = copy_demo(Path(scratch) / "demo")
        window.keeper.open_job(job)
        settle(window)
        if not options.unmarked:
            main_job(window, job.parent)
            settle(window)
        window.grab().save(str(options.out))
        window.document.saved = window.document.job
        window.close()
    app.quit()


if __name__ == "__main__":
    main()
