"""Proposals in the window: seen over the section, decided with keys, buttons and the mouse."""

import threading
from datetime import datetime

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton

from depthwright.exports.write import export_job
from depthwright.files.jobfile import save_job
from depthwright_app import proposing, theme

from .made_up_proposals import FACE, made_up

CTRL = Qt.KeyboardModifier.ControlModifier
LEFT, RIGHT, UP, DOWN = Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down


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


def test_without_proposals_there_is_no_row_and_ctrl_arrows_nudge_nothing(marked):
    assert not marked.window.proposals.isVisible()
    for command in ("next", "accept", "reject", "accept-shown", "reject-shown", "put-away"):
        assert not marked.window.commands[f"proposal-{command}"].isEnabled(), command
    bar = marked.bar_at(260)
    marked.select(bar.id)
    press(marked, UP, DOWN, LEFT, RIGHT)
    assert marked.bar_at(260) == bar


def test_the_row_sweeps_counts_and_says_and_goes_with_the_last_proposal(proposed):
    row = proposed.window.proposals
    assert row.isVisible()
    assert row.count.text() == "5 of 7 shown"
    assert proposed.said.startswith("4 bars and the back face proposed.")
    row.least.setValue(100)
    assert (row.score.text(), row.count.text()) == ("1.00", "0 of 7 shown")
    assert not proposed.window.commands["proposal-accept-shown"].isEnabled()
    row.least.setValue(0)
    press(proposed, RIGHT)
    assert "echo 1 · score 0.95 · <i>cover" in row.told.text()
    assert "provisional</i>" in row.told.text()
    row.least.setFocus()
    proposed.trigger("proposal-accept-shown")
    assert not row.isVisible()
    assert QApplication.focusWidget() is proposed.pane
    assert len(proposed.covers()) == 6


def test_ctrl_arrows_step_accept_and_reject(proposed):
    proposed.pane.box.setXRange(800, 1000, padding=0)
    press(proposed, RIGHT)
    left, right = proposed.pane.seen_mm
    assert left < 90 < right  # the view has panned there, and not zoomed
    assert right - left == pytest.approx(200)
    press(proposed, UP, DOWN, LEFT)
    assert current(proposed) == FACE
    assert [round(mark.position_mm) for mark in proposed.marks("bar")] == [90]
    assert [round(place.position_mm) for place in proposed.line.rejected] == [260]
    proposed.press(Qt.Key.Key_Escape)
    assert current(proposed) is None
    assert not proposed.window.commands["proposal-accept"].isEnabled()
    for name in ("accept", "reject", "accept-shown"):  # a key that is held decides once
        assert not proposed.window.commands[f"proposal-{name}"].autoRepeat()


def test_buttons_are_named_reached_by_tab_and_leave_the_keyboard_in_the_section(proposed):
    buttons = proposed.window.proposals.findChildren(QPushButton)
    assert len(buttons) == 8
    for button in buttons:
        assert button.accessibleName()
        assert button.toolTip()
        assert button.focusPolicy() == Qt.FocusPolicy.TabFocus
    press(proposed, RIGHT)
    accept = next(button for button in buttons if button.accessibleName() == "Accept proposal")
    assert "Ctrl+Up" in accept.toolTip()
    QTest.mouseClick(accept, Qt.MouseButton.LeftButton)
    proposed.settle()
    assert len(proposed.marks("bar")) == 1
    assert QApplication.focusWidget() is proposed.pane


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


def test_a_click_accepts_in_the_mode_of_its_mark_and_typing_ties_it(proposed):
    bar, face = proposed.pane.proposals.picture.bars[1], proposed.pane.proposals.picture.face
    proposed.click(bar.position_mm + 4, bar.time_ns)
    (mark,) = proposed.marks("bar")
    assert (mark.position_mm, mark.crest) == (
        bar.proposal.pick.position_mm,
        bar.proposal.pick.crest,
    )
    assert proposed.said == "Bar 1 marked. Type its known depth and press Enter to tie it."
    proposed.type("35")
    proposed.press(Qt.Key.Key_Return)
    assert proposed.marks("bar")[0].tie.depth_mm == 35
    proposed.window.marking.set_mode("face")
    proposed.click(*face.anchors.places[2].tolist())
    assert [len(mark.anchors) for mark in proposed.marks("face")] == [5]
    assert proposed.document.selection.anchor == 2


def test_a_click_chooses_in_look_mode_and_belongs_to_the_mark_in_others(proposed):
    picture = proposed.pane.proposals.picture
    proposed.window.marking.set_mode("look")
    proposed.click(picture.bars[2].position_mm, picture.bars[2].time_ns)
    assert current(proposed) == "echo 4"
    place = float(np.interp(500.0, *picture.face.anchors.places.T))
    proposed.click(500.0, place)
    assert current(proposed) == FACE
    proposed.click(500.0, 5.5)
    assert current(proposed) is None
    assert proposed.line.marks == ()
    proposed.window.marking.set_mode("target")
    proposed.click(picture.bars[2].position_mm, picture.bars[2].time_ns)
    assert [mark.kind for mark in proposed.line.marks] == ["target"]


def colours(hand):
    """How many pixels of the section are in the proposals' colour, and how many white."""
    hand.settle()
    shot = hand.pane.grab(hand.pane.box.sceneBoundingRect().toAlignedRect()).toImage()
    rgb = shot.convertToFormat(shot.Format.Format_RGB888)
    pixels = np.frombuffer(rgb.constBits(), np.uint8).reshape(rgb.height(), -1)
    pixels = pixels[:, : 3 * rgb.width()].reshape(-1, 3).astype(int)
    wanted = [int(theme.PROPOSAL[at : at + 2], 16) for at in (1, 3, 5)]
    return int((np.abs(pixels - wanted).max(axis=1) < 8).sum())


def test_they_are_drawn_in_their_colour_while_they_are_proposed(proposed):
    drawn = colours(proposed)
    assert drawn > 200
    press(proposed, RIGHT)  # the current one is white
    assert 0.5 * drawn < colours(proposed) < 0.95 * drawn
    proposed.trigger("proposal-accept-shown")
    assert colours(proposed) == 0


def test_a_search_can_be_stopped(hand, monkeypatch, qtbot):
    begun, ended = threading.Event(), threading.Event()

    def endless(job, line, stage, report):
        begun.set()
        try:
            while True:
                report(0.5)
                ended.wait(0.01)
        finally:
            ended.set()

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


def test_nothing_that_is_handed_on_holds_a_proposal(proposed, tmp_path):
    document, written = proposed.document, []
    proposed.window.proposing.accept(proposed.window.proposing.shown[:1])
    for name in ("with", "without"):
        assert bool(proposed.window.proposing.count) == (name == "with")
        when = datetime(2026, 3, 14)
        export_job(document.job, document.stages, document.made, tmp_path / name, when, ())
        save_job(tmp_path / f"{name}.dwjob", document.job, document.made, when)
        files = [path.read_bytes() for path in sorted((tmp_path / name).iterdir())]
        written.append((files, (tmp_path / f"{name}.dwjob").read_bytes()))
        proposed.window.proposing.put_away()
    assert written[0] == written[1]
    schedule = next(text for text in written[0][0] if b"Bar" in text or b"bar" in text)
    assert b"echo" not in schedule


def test_on_the_demo_line_what_the_program_finds_can_be_accepted_and_is_measured(hand):
    hand.press(Qt.Key.Key_F5)
    assert hand.window.proposing.count > 0
    hand.window.proposals.least.setValue(0)
    hand.trigger("proposal-accept-shown")
    covers = hand.covers()
    assert len(covers) == len(hand.marks("bar")) > 0
    hand.press(Qt.Key.Key_F5)
    assert hand.window.proposing.shown == ()
