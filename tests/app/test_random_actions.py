"""Five hundred random actions in the real window: nothing raises, nothing is left behind.

The hand knows nothing of the program: it clicks, drags, turns the wheel, types sense and nonsense, uses
whatever command is enabled and answers whatever dialog opens, in an order drawn from a seed.
"""

import gc
import random
import shutil
from collections import Counter

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt, QTimer
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QDialog,
    QFileDialog,
    QLineEdit,
    QMessageBox,
    QSlider,
)

ACTIONS = 250
SEEDS = (20260314, 20261128)
TYPED = (
    "35",
    "7/8 in",
    "2,3 cm",
    "41 ± 1.5",
    "-4",
    "0",
    "1e9",
    "abc",
    "",
    "±",
    "99999999999",
    "nan",
)
KEYS = (
    Qt.Key.Key_Left,
    Qt.Key.Key_Right,
    Qt.Key.Key_Up,
    Qt.Key.Key_Down,
    Qt.Key.Key_Return,
    Qt.Key.Key_Escape,
    Qt.Key.Key_Tab,
    Qt.Key.Key_Delete,
    Qt.Key.Key_Space,
    Qt.Key.Key_F,
)
USED = (
    *("click", "click", "click", "type", "type", "key", "drag", "wheel"),
    *("command", "command", "control", "tree", "undo", "resize", "propose", "decide"),
)
NOT_USED = {"quit", "export-all", "pack"}
"""Commands left out: the end of the window, and slow writing that has tests of its own."""


class RandomHand:
    """Does something, anything, drawn from a seed."""

    def __init__(self, hand, seed, folder):
        self.hand, self.window, self.folder = hand, hand.window, folder
        self.draw = random.Random(seed)
        self.done = []

    def act(self):
        name = self.draw.choice(USED)
        self.done.append(name)
        getattr(self, name)()
        QApplication.processEvents()

    def place(self):
        view = self.window.pane.viewport().rect()
        return QPoint(self.draw.randrange(view.width()), self.draw.randrange(view.height()))

    def click(self):
        button = self.draw.choice([Qt.MouseButton.LeftButton] * 5 + [Qt.MouseButton.RightButton])
        if self.window.pane.isVisible():
            QTest.mouseClick(self.window.pane.viewport(), button, pos=self.place())

    def drag(self):
        if self.window.pane.isVisible():
            view = self.window.pane.viewport()
            first, last = self.place(), self.place()
            QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=first)
            QTest.mouseMove(view, (first + last) / 2)
            QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=last)

    def type(self):
        for letter in self.draw.choice(TYPED):
            QTest.keyClicks(self.hand.focus, letter)
        if self.draw.random() < 0.7:
            QTest.keyClick(self.hand.focus, Qt.Key.Key_Return)

    def key(self):
        modifier = self.draw.choice(
            [Qt.KeyboardModifier.NoModifier] * 3 + [Qt.KeyboardModifier.ShiftModifier]
        )
        QTest.keyClick(self.hand.focus, self.draw.choice(KEYS), modifier)

    def wheel(self):
        if self.window.pane.isVisible():
            view, at = self.window.pane.viewport(), QPointF(self.place())
            turned = QPoint(0, self.draw.choice([-360, -120, 120, 360]))
            event = QWheelEvent(
                at,
                QPointF(view.mapToGlobal(at.toPoint())),
                QPoint(),
                turned,
                Qt.MouseButton.NoButton,
                Qt.KeyboardModifier.NoModifier,
                Qt.ScrollPhase.NoScrollPhase,
                False,
            )
            QApplication.sendEvent(view, event)

    def command(self):
        actions = [
            action
            for action in self.window.commands.actions.values()
            if action.isEnabled() and action.objectName() not in NOT_USED
        ]
        chosen = self.draw.choice(actions)
        self.done[-1] = f"command {chosen.text()}"
        chosen.trigger()

    def propose(self):
        """Look for marks, and mostly wait for the answer."""
        if self.window.commands["propose"].isEnabled():
            self.window.commands["propose"].trigger()
            if self.draw.random() < 0.7:
                self.hand.settle()

    def decide(self):
        """Step through proposals, accept and reject them, by their commands or by keys."""
        commands = self.window.commands
        names = [name for name in commands.actions if name.startswith("proposal-")]
        usable = [name for name in names if commands[name].isEnabled()]
        if usable and self.draw.random() < 0.5:
            self.done[-1] = self.draw.choice(usable)
            commands[self.done[-1]].trigger()
        else:
            key = self.draw.choice(KEYS[:4])
            QTest.keyClick(self.hand.focus, key, Qt.KeyboardModifier.ControlModifier)

    def control(self):
        """Use one of the controls beside the section."""
        found = [
            widget
            for kind in (QSlider, QComboBox, QAbstractButton, QLineEdit)
            for widget in self.window.findChildren(kind)
            if widget.isVisible() and widget.isEnabled() and widget is not self.window.strip.cancel
        ]
        self.use(self.draw.choice(found))

    def use(self, widget):
        self.done[-1] = f"{type(widget).__name__} {widget.accessibleName()}"
        if isinstance(widget, QSlider):
            widget.setValue(self.draw.randint(widget.minimum(), widget.maximum()))
        elif isinstance(widget, QComboBox):
            if widget.count():
                widget.setCurrentIndex(self.draw.randrange(widget.count()))
                widget.activated.emit(widget.currentIndex())
        elif isinstance(widget, QAbstractButton):
            widget.click()
        else:
            widget.selectAll()
            QTest.keyClicks(widget, self.draw.choice(TYPED))

    def tree(self):
        lines = self.window.document.job.lines
        if lines:
            self.window.document.show_line(self.draw.choice(lines).id)

    def undo(self):
        command = self.window.commands[self.draw.choice(["undo", "redo"])]
        if command.isEnabled():
            command.trigger()

    def resize(self):
        self.window.resize(self.draw.randint(900, 1700), self.draw.randint(600, 1100))

    # Dialogs, answered as blindly.

    def answer(self, dialog):
        dialog.show()
        for field in dialog.findChildren(QLineEdit):
            if field.isEnabled() and self.draw.random() < 0.3:
                field.setText(self.draw.choice(TYPED))
        buttons = [
            b for b in dialog.findChildren(QAbstractButton) if b.isEnabled() and b.isVisible()
        ]
        for _ in range(self.draw.randint(1, 3)):
            self.draw.choice(buttons).click()
            if not dialog.isVisible():
                break
        dialog.hide()
        return dialog.result()


@pytest.fixture
def answered(monkeypatch):
    """Dialogs go to the random hand; gives a place to put it."""
    holder = []

    def chosen(*_):
        return holder[0].folder / f"chosen-{holder[0].draw.randrange(3)}"

    monkeypatch.setattr(QDialog, "exec", lambda dialog: holder[0].answer(dialog))
    monkeypatch.setattr(
        QMessageBox,
        "question",
        lambda *_: holder[0].draw.choice(
            [QMessageBox.StandardButton.Discard, QMessageBox.StandardButton.Cancel]
        ),
    )
    monkeypatch.setattr(QMessageBox, "about", lambda *_: None)
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(chosen()), ""))
    monkeypatch.setattr(
        QFileDialog,
        "getOpenFileNames",
        lambda *_: (holder[0].draw.choice([[], [str(chosen())], [str(holder[0].scan)]]), ""),
    )
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (f"{chosen()}.{'dwjob'}", ""))
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_: "")
    return holder


def left_over(window):
    """Widgets and running timers there are, once what was to be deleted is gone."""
    gc.collect()
    QApplication.processEvents()
    running = [timer for timer in window.findChildren(QTimer) if timer.isActive()]
    return len(QApplication.allWidgets()), len(running)


@pytest.mark.parametrize("seed", SEEDS)
def test_whatever_is_done_nothing_raises_and_nothing_is_left_behind(
    hand, demo, tmp_path, answered, seed
):
    keeper = hand.window.keeper
    folder = tmp_path / "chosen"
    folder.mkdir()
    shutil.copy(demo, tmp_path / "fresh.dwjob")
    monkey = RandomHand(hand, seed, folder)
    monkey.scan = demo.parent / "deck-L2.sgy"
    answered.append(monkey)

    def afresh():
        hand.document.saved = hand.document.job
        keeper.open_path(demo)
        hand.settle()
        assert [line.name for line in hand.document.job.lines][:1] == ["deck-L1"]

    for _ in range(ACTIONS // 5):  # until everything that is made once has been made
        monkey.act()
    shutil.copy(tmp_path / "fresh.dwjob", demo)
    afresh()
    widgets, timers = left_over(hand.window)
    before = Counter(type(w).__name__ for w in QApplication.allWidgets())
    for _ in range(ACTIONS - ACTIONS // 5):
        monkey.act()
    hand.settle()
    shutil.copy(tmp_path / "fresh.dwjob", demo)
    afresh()
    now_widgets, now_timers = left_over(hand.window)
    assert now_timers <= timers, monkey.done[-20:]
    now = Counter(type(widget).__name__ for widget in QApplication.allWidgets())
    assert now_widgets <= widgets + 40, now - before
