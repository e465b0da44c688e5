"""Proposals in the window: seen over the section, decided with keys, buttons and the mouse."""

import threading

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton

from depthwright_app import proposing, theme

from .made_up_proposals import FACE, made_up

CTRL = Qt.KeyboardModifier.ControlModifier
LEFT, RIGHT, UP, DOWN = Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down


@pytest.fixture
def row_before(hand):
    """Whether there is a row before anything was looked for, and the commands that are possible then."""
    names = ("next", "accept", "reject", "accept-shown", "reject-shown", "put-away")
    possible = [name for name in names if hand.window.commands[f"proposal-{name}"].isEnabled()]
    return hand.window.proposals.isVisible(), possible


@pytest.fixture
def proposed(hand, monkeypatch):
    """A hand on a line with proposals, none of them decided."""
    monkeypatch.setattr(proposing, "propose", lambda job, line, stage, report: made_up(stage))
    hand.pane.setFocus()
    hand.press(Qt.Key.Key_F5)
    return hand


def current(hand):
    one = hand.window.proposing.current
    return one and one.reason


def press(hand, *keys):
    for key in keys:
        hand.press(key, CTRL)


def colours(hand):
    """How many pixels of the section are in the proposals' colour, and how many white."""
    hand.settle()
    shot = hand.pane.grab(hand.pane.box.sceneBoundingRect().toAlignedRect()).toImage()
    rgb = shot.convertToFormat(shot.Format.Format_RGB888)
    pixels = np.frombuffer(rgb.constBits(), np.uint8).reshape(rgb.height(), -1)
    pixels = pixels[:, : 3 * rgb.width()].reshape(-1, 3).astype(int)
    wanted = [int(theme.PROPOSAL[at : at + 2], 16) for at in (1, 3, 5)]
    return int((np.abs(pixels - wanted).max(axis=1) < 8).sum())


def test_the_row_counts_sweeps_and_says_and_is_there_only_while_there_are_proposals(
    row_before, proposed
):
    assert row_before == (False, [])
    row, commands = proposed.window.proposals, proposed.window.commands
    assert row.isVisible()
    assert row.count.text() == "5 of 7 shown"
    assert proposed.said.startswith("4 bars and the back face proposed.")
    drawn = colours(proposed)
    assert drawn > 200
    row.least.setValue(100)
    assert (row.score.text(), row.count.text()) == ("1.00", "0 of 7 shown")
    assert not commands["proposal-accept-shown"].isEnabled()
    assert colours(proposed) == 0
    row.least.setValue(50)
    press(proposed, RIGHT)  # the current one is white
    assert 0.5 * drawn < colours(proposed) < 0.95 * drawn
    assert "echo 1 · score 0.95 · <i>cover" in row.told.text()
    assert "provisional</i>" in row.told.text()
    row.least.setValue(0)
    row.least.setFocus()
    proposed.trigger("proposal-accept-shown")
    assert not row.isVisible()
    assert QApplication.focusWidget() is proposed.pane
    assert len(proposed.covers()) == 6
    assert colours(proposed) == 0
    bar = proposed.bar_at(260)
    proposed.select(bar.id)
    press(proposed, UP, DOWN, LEFT, RIGHT)  # nothing to decide: no nudge instead
    assert proposed.bar_at(260) == bar


def test_buttons_count_what_they_decide_on_and_one_is_not_all(proposed):
    row, commands = proposed.window.proposals, proposed.window.commands
    accept, reject = commands["proposal-accept-shown"], commands["proposal-reject-shown"]
    seen = {}
    for least in (50, 95, 100):
        row.least.setValue(least)
        seen[row.count.text()] = (accept.iconText(), reject.iconText())
    assert seen == {
        "5 of 7 shown": ("Accept all 5", "Reject all 5"),
        "1 of 7 shown": ("Accept 1", "Reject 1"),
        "0 of 7 shown": ("Accept all", "Reject all"),
    }
    # The menu and the tip are right for one and for many.
    assert (accept.text(), reject.text()) == ("Accept what is shown", "Reject what is shown")
    assert accept.toolTip().startswith("Mark every proposal that scores enough")


def test_keys_and_buttons_step_accept_and_reject(proposed):
    buttons = proposed.window.proposals.findChildren(QPushButton)
    assert len(buttons) == 8
    for button in buttons:
        assert button.accessibleName()
        assert button.toolTip()
        assert button.focusPolicy() == Qt.FocusPolicy.TabFocus
    for name in ("accept", "reject", "accept-shown"):  # a key that is held decides once
        assert not proposed.window.commands[f"proposal-{name}"].autoRepeat()
    proposed.pane.box.setXRange(800, 1000, padding=0)
    press(proposed, RIGHT)
    left, right = proposed.pane.seen_mm
    assert left < 90 < right  # the view has panned there, and not zoomed
    assert right - left == pytest.approx(200)
    accept = next(button for button in buttons if button.accessibleName() == "Accept proposal")
    assert "Ctrl+Up" in accept.toolTip()
    QTest.mouseClick(accept, Qt.MouseButton.LeftButton)
    proposed.settle()
    assert QApplication.focusWidget() is proposed.pane
    press(proposed, UP, DOWN, LEFT)
    assert current(proposed) == FACE
    assert [round(mark.position_mm) for mark in proposed.marks("bar")] == [90, 260]
    assert [round(place.position_mm) for place in proposed.line.rejected] == [599]
    proposed.press(Qt.Key.Key_Escape)
    assert current(proposed) is None
    assert not proposed.window.commands["proposal-accept"].isEnabled()


def test_a_click_chooses_when_looking_and_accepts_in_the_mode_of_its_mark(proposed):
    marking, picture = proposed.window.marking, proposed.pane.proposals.picture
    bar, face = picture.bars[1], picture.face
    place = bar.position_mm, bar.time_ns
    marking.set_mode("look")
    proposed.click(*place)
    assert current(proposed) == "echo 2"
    proposed.click(500.0, float(np.interp(500.0, *face.anchors.places.T)))
    assert current(proposed) == FACE
    proposed.click(500.0, 5.5)
    assert current(proposed) is None
    assert proposed.line.marks == ()
    marking.set_mode("target")  # the click belongs to the mark of another mode
    proposed.click(*place)
    assert [mark.kind for mark in proposed.line.marks] == ["target"]
    proposed.trigger("undo")
    marking.set_mode("bar")
    proposed.click(bar.position_mm + 4, bar.time_ns)
    (mark,) = proposed.marks("bar")
    pick = bar.proposal.pick
    assert (mark.position_mm, mark.crest) == (pick.position_mm, pick.crest)
    assert proposed.said == "Bar 1 marked. Type its known depth and press Enter to tie it."
    proposed.type("35")
    proposed.press(Qt.Key.Key_Return)
    assert proposed.marks("bar")[0].tie.depth_mm == 35
    marking.set_mode("face")
    proposed.click(*face.anchors.places[2].tolist())
    assert [len(mark.anchors) for mark in proposed.marks("face")] == [5]
    assert proposed.document.selection.anchor == 2


def test_those_in_view_are_accepted_without_the_rest(proposed):
    action = proposed.window.commands["proposal-accept-in-view"]
    assert not action.isVisible()  # all are in view
    proposed.pane.box.setRange(xRange=(200, 650), yRange=(0.5, 3.0), padding=0)
    proposed.settle()
    assert action.isVisible()
    assert action.iconText() == "Accept 2 in view"
    proposed.trigger("proposal-accept-in-view")
    assert [round(mark.position_mm) for mark in proposed.marks("bar")] == [260, 599]
    assert proposed.marks("face") == []


def test_a_search_can_be_stopped_and_what_another_finds_is_measured(hand, monkeypatch, qtbot):
    begun, ended = threading.Event(), threading.Event()

    def endless(job, line, stage, report):
        begun.set()
        try:
            while True:
                report(0.5)
                ended.wait(0.01)
        finally:
            ended.set()

    search = proposing.propose
    monkeypatch.setattr(proposing, "propose", endless)
    hand.window.commands["propose"].trigger()
    assert begun.wait(10)
    qtbot.waitUntil(hand.window.strip.cancel.isVisible)
    assert "being looked for" in hand.window.strip.progress.toolTip()
    hand.window.strip.cancel.click()
    assert ended.wait(10)
    hand.settle()
    assert hand.said == "Stopped. Nothing was changed."
    assert not hand.window.proposals.isVisible()

    monkeypatch.setattr(proposing, "propose", search)
    hand.press(Qt.Key.Key_F5)
    assert hand.window.proposing.count > 0
    hand.window.proposals.least.setValue(0)
    hand.trigger("proposal-accept-shown")
    covers = hand.covers()
    assert len(covers) == len(hand.marks("bar")) > 0
    hand.press(Qt.Key.Key_F5)
    assert hand.window.proposing.shown == ()
