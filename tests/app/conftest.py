"""A window on a copy of the demo job, a hand that clicks and types in it, and no way out to the user.

Every dialog fails the test that opens it unexpectedly; settings and data folders lie in ``tmp_path``;
a window's threads are joined when its test ends.
"""

import json
import os
import shutil
import threading
from datetime import UTC, datetime
from pathlib import Path

os.environ["QT_QPA_PLATFORM"] = "offscreen"

import matplotlib
import matplotlib.font_manager  # which writes the list of fonts down where there is none
import pytest
from PySide6.QtCore import QEvent, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QFileDialog, QMessageBox

from depthwright.edits import change_line, change_zone
from depthwright.files.jobfile import load_job, save_job
from depthwright_app.demo import copy_demo, mark_click
from depthwright_app.document import Selection
from depthwright_app.main_window import MainWindow
from depthwright_app.session import evaluate_with_scans

SAMPLES = Path(__file__).resolve().parents[2] / "sample_data"
LONGEST_WAIT_MS = 60_000


class Hand:
    """Uses a window as a person does: real mouse and key events, and eyes for what is shown."""

    def __init__(self, window, qtbot):
        self.window, self.qtbot = window, qtbot
        self.document, self.pane, self.box = window.document, window.pane, window.marking.box

    def settle(self):
        """Let the background finish and everything be drawn."""
        self.qtbot.waitUntil(lambda: not self.window.background.busy(), timeout=LONGEST_WAIT_MS)
        QApplication.processEvents()

    def click(self, position_mm, time_ns):
        """Click on the section at a place of the plot."""
        where = self.pane.pixels(position_mm, time_ns)
        QTest.mouseClick(self.pane.viewport(), Qt.MouseButton.LeftButton, pos=where)
        self.settle()

    def drag(self, start, end):
        """Drag on the section from one place of the plot to another, through places between."""
        self.drag_pixels(self.pane.viewport(), self.pane.pixels(*start), self.pane.pixels(*end))

    def drag_pixels(self, view, first, last):
        """Drag on a widget with the left button."""
        button = Qt.MouseButton.LeftButton
        QTest.mouseMove(view, first)
        QTest.mousePress(view, button, pos=first)
        for part in (0.3, 0.6, 1.0):
            at = first + (last - first) * part
            # A move with the button held, which the simple test call does not send.
            moved = QMouseEvent(
                QEvent.Type.MouseMove,
                QPointF(at),
                QPointF(view.mapToGlobal(at)),
                Qt.MouseButton.NoButton,
                button,
                Qt.KeyboardModifier.NoModifier,
            )
            QApplication.sendEvent(view, moved)
            QTest.qWait(20)
        QTest.mouseRelease(view, button, pos=last)
        self.settle()

    def press(self, key, modifiers=Qt.KeyboardModifier.NoModifier):
        """Press a key where the focus is."""
        QTest.keyClick(self.focus, key, modifiers)
        self.settle()

    def type(self, text):
        """Type text where the focus is, key by key."""
        for letter in text:
            QTest.keyClicks(self.focus, letter)
        self.settle()

    @property
    def focus(self):
        return QApplication.focusWidget() or self.window

    def trigger(self, command_id):
        """Use a command, if it is enabled."""
        action = self.window.commands[command_id]
        assert action.isEnabled(), f"{command_id} is disabled"
        action.trigger()
        self.settle()

    @property
    def said(self):
        """What the message strip says."""
        return self.window.strip.message.text()

    @property
    def line(self):
        """The line shown."""
        return self.document.line

    def marks(self, kind):
        return [mark for mark in self.line.marks if mark.kind == kind]

    def bar_at(self, position_mm):
        """The bar mark nearest to a place."""
        return min(self.marks("bar"), key=lambda mark: abs(mark.position_mm - position_mm))

    def rows(self, line_id="line-1"):
        return self.document.results.lines[line_id]

    def covers(self, line_id="line-1"):
        """Covers of a line's bars, mm, by their numbers."""
        return {row.number: row.cover.value_mm for row in self.rows(line_id).bars}

    def select(self, mark_id, anchor=None, line_id="line-1"):
        self.document.select(Selection(line_id, mark_id, anchor))
        self.pane.setFocus()
        self.settle()

    def forget(self):
        """Nothing selected, nothing half typed, nothing said: for the next of several cases."""
        self.document.select(None)
        self.window.strip.say("", False)
        self.settle()

    def tick_places(self):
        """File times of the depth ruler's ticks, by the words beside them."""
        ruler = self.pane.ruler
        ticks = ruler.tickValues(0.0, 6.0, 500.0)
        times = [time for _, level in ticks for time in level]
        return dict(zip(ruler.tickStrings(times, 1.0, 1.0), times, strict=True))


@pytest.fixture(scope="session")
def fonts_found(tmp_path_factory):
    """A folder with matplotlib's list of fonts: every program with a home of its own would make one."""
    folder = tmp_path_factory.mktemp("own") / "matplotlib"
    shutil.copytree(matplotlib.get_cachedir(), folder)
    return folder


@pytest.fixture(autouse=True)
def _own_folders(tmp_path, fonts_found, monkeypatch):
    """Nothing is read from or written to the folders of whoever runs the tests."""
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "own" / name.lower()))
    monkeypatch.setenv("MPLCONFIGDIR", str(fonts_found))


@pytest.fixture(autouse=True)
def _no_dialogs(monkeypatch):
    """A dialog that no test asked for is a failure, not a hang."""

    def refuse(what):
        def opened(*arguments, **_):
            raise AssertionError(f"unexpected dialog: {what} {arguments[1:3]}")

        return opened

    for name in ("question", "information", "warning", "critical", "about"):
        monkeypatch.setattr(QMessageBox, name, refuse(f"QMessageBox.{name}"))
    for name in (
        "getOpenFileName",
        "getOpenFileNames",
        "getSaveFileName",
        "getExistingDirectory",
    ):
        monkeypatch.setattr(QFileDialog, name, refuse(f"QFileDialog.{name}"))
    monkeypatch.setattr(QDialog, "exec", refuse("QDialog.exec"))


@pytest.fixture
def demo(tmp_path):
    """A copy of the demo job; gives the path of the job file."""
    folder = tmp_path / "demo"
    folder.mkdir()
    for path in SAMPLES.iterdir():
        if path.suffix in (".sgy", ".json", ".dwjob"):
            shutil.copyfile(path, folder / path.name)
    return folder / "demo.dwjob"


@pytest.fixture(scope="session")
def tour():
    """Clicks and reading of the demo's tour."""
    return json.loads((SAMPLES / "tour.json").read_text("utf-8"))


@pytest.fixture(scope="session")
def truth():
    """What the demo's scans were computed from."""
    return json.loads((SAMPLES / "truth.json").read_text("utf-8"))


@pytest.fixture
def make_window(qtbot, tmp_path):
    """Opens windows; at the end they are closed, unsaved or not, and their threads are gone."""
    made = []

    def make(background=None):
        window = MainWindow(tmp_path / "settings.json", background, tmp_path / "recovery")
        made.append(window)
        window.show()
        qtbot.waitExposed(window)
        window.pane.setFocus()
        return window

    yield make
    for window in made:
        window.document.saved = window.document.job
        window.close()
        window.deleteLater()
    # The event loop of a test never ends, so what is to be deleted has to be asked for.
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    QApplication.processEvents()
    left = [thread.name for thread in threading.enumerate() if "depthwright" in thread.name]
    assert not left, f"threads left behind: {left}"


@pytest.fixture
def window(make_window):
    """A window without a job."""
    return make_window()


@pytest.fixture
def empty_hand(window, qtbot):
    """A hand in a window without a job."""
    return Hand(window, qtbot)


@pytest.fixture
def hand(window, qtbot, demo):
    """A hand in a window with the demo job, its scans read."""
    hand = Hand(window, qtbot)
    window.keeper.open_path(demo)
    hand.settle()
    assert set(window.document.stages) == {"line-1", "line-2"}
    return hand


@pytest.fixture(scope="session")
def tour_marks(tour, tmp_path_factory):
    """Marks of the first line after the tour's clicks, snapped as clicks are."""
    job = load_job(copy_demo(tmp_path_factory.mktemp("tour") / "demo")).job
    stages = evaluate_with_scans(job).stages
    for click in tour["clicks"]:
        job = mark_click(job, stages, click)
    return job.line("line-1").marks


@pytest.fixture
def marked(empty_hand, demo, tour_marks):
    """A hand in the demo job with all bars and anchors of the first line marked, nothing tied.

    It is opened so: to open it bare and to mark it then would work out everything twice.
    """
    job = change_line(load_job(demo).job, "line-1", marks=tour_marks)
    save_job(demo, job, None, datetime(2026, 3, 14, 12, tzinfo=UTC))
    empty_hand.window.keeper.open_path(demo)
    empty_hand.settle()
    assert set(empty_hand.document.stages) == {"line-1", "line-2"}
    assert empty_hand.line.marks == tour_marks
    return empty_hand


@pytest.fixture
def just_marked(hand, tour_marks):
    """The same, marked by one edit that is not saved."""
    hand.document.edit("Mark all", lambda job: change_line(job, "line-1", marks=tour_marks))
    hand.settle()
    return hand


@pytest.fixture
def plain(marked):
    """The same with the curvature switched off: depths rest on a permittivity typical of concrete."""
    zone = marked.document.job.zones[0]
    marked.document.edit("Off", lambda job: change_zone(job, zone.id, curvature=False))
    marked.settle()
    assert marked.document.results.provisional
    return marked
