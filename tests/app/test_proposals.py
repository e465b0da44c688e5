"""Proposals in the window: the program proposes, the user decides."""

import threading
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from depthwright import edits
from depthwright.files.jobfile import load_job
from depthwright.finding.proposal import BarProposal, FaceProposal, Proposals
from depthwright.measuring.picking import snap_bar, snap_face, with_crest
from depthwright_app import proposing

CTRL = Qt.KeyboardModifier.ControlModifier
BARS_MM = (90.0, 260.0, 423.0, 599.0, 765.0, 932.0)
TIMES_NS = (1.42, 1.48, 1.57, 1.50, 1.66, 1.55)
SCORES = (0.95, 0.9, 0.3, 0.7, 0.85, 0.4)
"""Made-up scores: four of the six bars are shown at first."""


def made_up(stage):
    """Real echoes with made-up scores and reasons, whatever they are worth."""
    picks = [snap_bar(stage, *place) for place in zip(BARS_MM, TIMES_NS, strict=True)]
    bars = tuple(
        BarProposal(with_crest(stage, pick), score, f"echo {number}")
        for number, (pick, score) in enumerate(zip(picks, SCORES, strict=True), start=1)
    )
    anchors = tuple(snap_face(stage, float(at), 4.1) for at in range(200, 1100, 200))
    return Proposals(bars, FaceProposal(anchors, 0.8, "goes along the line"), ("Look at 1100 mm.",))


@pytest.fixture
def proposed(hand, monkeypatch):
    """A hand on a line with proposals, none of them decided."""
    monkeypatch.setattr(proposing, "propose", lambda job, line, stage, report: made_up(stage))
    hand.trigger("propose")
    return hand


def shown(hand):
    """Numbers of the shown bars, and F for the back face."""
    ours = hand.window.proposing.shown
    return [
        one.reason.removeprefix("echo ") if isinstance(one, BarProposal) else "F" for one in ours
    ]


def current(hand):
    one = hand.window.proposing.current
    return None if one is None else one.reason


def press(hand, *keys, modifiers=CTRL):
    for key in keys:
        hand.press(key, modifiers)


# Looking for marks.


def test_proposals_are_said_and_shown_and_nothing_is_marked(proposed):
    assert proposed.said.startswith("4 bars and the back face proposed. Accept what is shown, or")
    assert proposed.said.endswith("Look at 1100 mm.")
    assert shown(proposed) == ["1", "2", "4", "5", "F"]
    assert proposed.window.proposals.isVisible()
    assert proposed.window.proposals.count.text() == "5 of 7 shown"
    assert proposed.line.marks == ()
    assert not proposed.document.modified


def test_without_proposals_there_is_no_row_and_nothing_to_accept(hand):
    assert not hand.window.proposals.isVisible()
    for command in ("next", "accept", "reject", "accept-shown", "reject-shown", "put-away"):
        assert not hand.window.commands[f"proposal-{command}"].isEnabled(), command


def test_where_nothing_is_found_the_strip_says_what(hand, monkeypatch):
    nothing = Proposals(messages=("No echo stands out.",))
    monkeypatch.setattr(proposing, "propose", lambda *_: nothing)
    hand.trigger("propose")
    assert hand.said == "Nothing to propose was found on this line. No echo stands out."
    assert not hand.window.proposals.isVisible()


def test_a_search_can_be_stopped(hand, monkeypatch, qtbot):
    begun, ended = threading.Event(), threading.Event()

    def endless(job, line, stage, report):
        begun.set()
        try:
            while True:
                report(0.5)
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


@pytest.mark.parametrize("meanwhile", ["another line", "another antenna"])
def test_an_answer_for_what_is_not_there_any_more_is_dropped(hand, monkeypatch, meanwhile):
    go = threading.Event()

    def slow(job, line, stage, report):
        assert go.wait(10)
        return made_up(stage)

    monkeypatch.setattr(proposing, "propose", slow)
    hand.window.commands["propose"].trigger()
    if meanwhile == "another line":
        hand.document.show_line("line-2")
    else:
        antenna = hand.document.job.antenna_of(hand.line).id
        hand.document.edit(
            "Antenna", lambda job: edits.change_antenna(job, antenna, separation_mm=50.0)
        )
    go.set()
    hand.settle()
    hand.document.show_line("line-1")
    hand.settle()
    assert hand.window.proposing.count == 0


# Which are shown.


def test_the_slider_sweeps_them_in_and_out_of_view(proposed):
    slider = proposed.window.proposals.least
    assert slider.value() == 50
    for value, numbers in ((0, ["1", "2", "3", "4", "5", "6", "F"]), (87, ["1", "2"]), (100, [])):
        slider.setValue(value)
        assert shown(proposed) == numbers
        drawn = proposed.pane.proposals.picture
        assert len(drawn.bars) + (drawn.face is not None) == len(numbers)
    assert proposed.window.proposals.score.text() == "1.00"
    assert proposed.window.proposals.count.text() == "0 of 7 shown"
    assert not proposed.window.commands["proposal-accept-shown"].isEnabled()
    proposed.trigger("propose")  # what a new search shows is not what was swept in before
    assert len(shown(proposed)) == 5


def test_what_is_swept_out_of_view_is_not_the_current_one(proposed):
    press(proposed, Qt.Key.Key_Right, Qt.Key.Key_Right, Qt.Key.Key_Right)
    assert current(proposed) == "echo 4"
    proposed.window.proposals.least.setValue(80)
    assert current(proposed) is None


def test_each_line_has_its_own(proposed):
    proposed.window.proposals.least.setValue(87)
    proposed.document.show_line("line-2")
    proposed.settle()
    assert not proposed.window.proposals.isVisible()
    assert proposed.pane.proposals.picture.bars == ()
    proposed.document.show_line("line-1")
    proposed.settle()
    assert shown(proposed) == ["1", "2"]


# One by one, by keyboard.


def test_ctrl_arrows_go_from_one_to_the_next_round_the_ends(proposed):
    seen = []
    for _ in range(6):
        press(proposed, Qt.Key.Key_Right)
        seen.append(current(proposed))
    assert seen == ["echo 1", "echo 2", "echo 4", "echo 5", "goes along the line", "echo 1"]
    press(proposed, Qt.Key.Key_Left)
    assert current(proposed) == "goes along the line"


def test_ctrl_up_accepts_and_ctrl_down_rejects_each_going_to_the_next(proposed):
    press(proposed, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_Up)
    assert [mark.position_mm for mark in proposed.marks("bar")] == pytest.approx([90, 599], abs=2)
    assert [mark.number for mark in proposed.marks("bar")] == [1, 2]
    assert [place.position_mm for place in proposed.line.rejected] == pytest.approx([260], abs=2)
    assert current(proposed) == "echo 5"
    assert "left to decide" in proposed.said


def test_after_the_last_one_no_further_press_decides_on_what_was_passed_over(proposed):
    press(proposed, *[Qt.Key.Key_Right] * 5, *[Qt.Key.Key_Up] * 4)
    assert [mark.kind for mark in proposed.line.marks] == ["face"]
    assert current(proposed) is None


def test_ctrl_arrows_never_nudge_a_mark(marked):
    bar = marked.bar_at(260)
    marked.select(bar.id)
    for key in (Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_Left, Qt.Key.Key_Right):
        assert not marked.window.commands["proposal-next"].isEnabled()
        marked.press(key, CTRL)
    assert marked.bar_at(260) == bar


def test_a_held_key_decides_on_one(proposed):
    for name in ("accept", "reject", "accept-shown"):
        assert not proposed.window.commands[f"proposal-{name}"].autoRepeat()


def test_the_view_pans_to_the_current_one(proposed):
    box = proposed.pane.box
    box.setXRange(800, 1000, padding=0)
    press(proposed, Qt.Key.Key_Right)
    left, right = proposed.pane.seen_mm
    assert left < 90 < right
    assert right - left == pytest.approx(200)


def test_the_row_says_what_speaks_for_the_current_one_and_its_depth(proposed):
    told = proposed.window.proposals.told
    press(proposed, Qt.Key.Key_Right)
    assert "Bar at 90" in told.text()
    assert "echo 1 · score 0.95" in told.text()
    assert "cover" in told.text()
    assert "<i>" in told.text()  # provisional, as long as nothing is tied
    assert "provisional" in told.text()
    press(proposed, Qt.Key.Key_Left)
    assert "Back face through 5 anchors: goes along the line · score 0.80" in told.text()
    said = told.text()
    press(proposed, Qt.Key.Key_Up)
    median = proposed.rows().faces[0].median
    assert f"thickness {median.value_mm:.0f}" in said


def test_one_thing_is_picked_out_a_mark_or_a_proposal(proposed):
    proposed.click(932, 1.55)  # a bar that is not shown as proposed: a click like any other
    assert proposed.document.selected is not None
    press(proposed, Qt.Key.Key_Right)
    assert proposed.document.selected is None
    proposed.select(proposed.marks("bar")[0].id)
    assert current(proposed) is None
    press(proposed, Qt.Key.Key_Right)
    proposed.press(Qt.Key.Key_Escape)
    assert current(proposed) is None


# All at once.


def test_accepting_all_that_is_shown_is_one_step_of_undo_and_undo_proposes_them_again(proposed):
    proposed.trigger("proposal-accept-shown")
    assert len(proposed.marks("bar")) == 4
    assert len(proposed.marks("face")) == 1
    assert set(proposed.covers()) == {1, 2, 3, 4}
    assert proposed.said.startswith("4 bars and the back face accepted; 2 left to decide.")
    assert shown(proposed) == []
    proposed.trigger("undo")
    assert proposed.line.marks == ()
    assert shown(proposed) == ["1", "2", "4", "5", "F"]
    proposed.trigger("redo")
    assert shown(proposed) == []


def test_the_numbers_move_as_with_clicks(proposed, qtbot):
    proposed.trigger("proposal-accept-shown")
    assert any(row.kind == "curvature" and row.used for row in proposed.document.results.evidence)
    assert len(proposed.pane.strip._covers.picture.covers) == 4


def test_those_in_view_are_accepted_without_the_rest(proposed):
    action = proposed.window.commands["proposal-accept-in-view"]
    assert not action.isVisible()  # all are in view
    proposed.pane.box.setXRange(200, 650, padding=0)
    proposed.pane.box.setYRange(0.5, 3.0, padding=0)
    proposed.settle()
    assert action.isVisible()
    assert action.iconText() == "Accept 2 in view"
    proposed.trigger("proposal-accept-in-view")
    assert [mark.position_mm for mark in proposed.marks("bar")] == pytest.approx([260, 599], abs=2)
    assert shown(proposed) == ["1", "5", "F"]


def test_the_row_goes_with_the_last_proposal_and_leaves_the_keyboard_in_the_section(proposed):
    proposed.window.proposals.least.setValue(0)
    proposed.window.proposals.least.setFocus()
    proposed.trigger("proposal-accept-shown")
    assert not proposed.window.proposals.isVisible()
    assert QApplication.focusWidget() is proposed.pane


# Rejected ones, and later changes.


def test_rejected_ones_do_not_come_back_by_searching_nor_by_reopening(proposed, tmp_path):
    press(proposed, Qt.Key.Key_Right, Qt.Key.Key_Down)
    proposed.trigger("propose")
    assert shown(proposed) == ["2", "4", "5", "F"]
    path = tmp_path / "demo" / "demo.dwjob"
    proposed.trigger("save")
    assert [place.kind for place in load_job(path).job.line("line-1").rejected] == ["bar"]
    proposed.window.keeper.open_path(path)
    proposed.settle()
    assert not proposed.window.proposals.isVisible()
    proposed.trigger("propose")
    assert shown(proposed) == ["2", "4", "5", "F"]
    proposed.trigger("propose-again")
    assert shown(proposed) == ["1", "2", "4", "5", "F"]
    assert not proposed.window.commands["propose-again"].isEnabled()


def test_a_search_that_finds_only_what_is_decided_says_so(proposed):
    proposed.window.proposals.least.setValue(0)
    proposed.trigger("proposal-reject-shown")
    assert len(proposed.line.rejected) == 7
    proposed.trigger("propose")
    assert proposed.said.startswith("All that was found is marked already or was rejected.")


def test_changed_marks_leave_the_proposals_and_a_new_pick_stage_takes_them_away(proposed):
    proposed.click(932, 1.55)
    assert len(shown(proposed)) == 5
    antenna = proposed.document.job.antenna_of(proposed.line).id
    proposed.document.edit(
        "Frequency", lambda job: edits.change_antenna(job, antenna, centre_frequency_ghz=1.7)
    )
    proposed.settle()
    assert proposed.window.proposing.count == 0
    assert not proposed.window.proposals.isVisible()


def test_put_away_is_no_decision(proposed):
    proposed.trigger("proposal-put-away")
    assert not proposed.window.proposals.isVisible()
    assert not proposed.document.modified
    proposed.trigger("propose")
    assert len(shown(proposed)) == 5


# By mouse.


def test_in_bar_mode_a_click_on_a_proposal_accepts_it_and_typing_ties_it(proposed):
    glyph = proposed.pane.proposals.picture.bars[1]
    proposed.click(glyph.position_mm + 4, glyph.time_ns)
    (bar,) = proposed.marks("bar")
    assert (bar.position_mm, bar.crest) == (
        glyph.proposal.pick.position_mm,
        glyph.proposal.pick.crest,
    )
    assert proposed.document.selected == bar
    assert proposed.said == "Bar 1 marked. Type its known depth and press Enter to tie it."
    proposed.type("35")
    proposed.press(Qt.Key.Key_Return)
    assert proposed.marks("bar")[0].tie.depth_mm == 35


def test_an_accepted_proposal_is_the_mark_that_a_click_there_would_have_made(proposed):
    glyph = proposed.pane.proposals.picture.bars[1]
    proposed.trigger("proposal-put-away")
    proposed.click(glyph.position_mm, glyph.time_ns)
    (clicked,) = proposed.marks("bar")
    proposed.trigger("undo")
    proposed.trigger("propose")
    proposed.click(glyph.position_mm, glyph.time_ns)
    assert proposed.marks("bar") == [clicked]


def test_in_look_mode_a_click_makes_it_the_current_one(proposed):
    proposed.window.marking.set_mode("look")
    picture = proposed.pane.proposals.picture
    proposed.click(picture.bars[2].position_mm, picture.bars[2].time_ns)
    assert current(proposed) == "echo 4"
    proposed.click(500.0, float(np.interp(500.0, *picture.face.anchors.places.T)))
    assert current(proposed) == "goes along the line"
    proposed.click(500.0, 5.5)
    assert current(proposed) is None
    assert proposed.line.marks == ()


def test_in_the_modes_of_other_marks_a_click_is_theirs(proposed):
    glyph = proposed.pane.proposals.picture.bars[1]
    proposed.window.marking.set_mode("target")
    proposed.click(glyph.position_mm, glyph.time_ns)
    assert [mark.kind for mark in proposed.line.marks] == ["target"]


def test_in_face_mode_a_click_on_the_proposed_face_accepts_all_of_it(proposed):
    anchors = proposed.pane.proposals.picture.face.anchors.places
    proposed.window.marking.set_mode("face")
    proposed.click(*anchors[2].tolist())
    (face,) = proposed.marks("face")
    assert len(face.anchors) == 5
    assert proposed.document.selection.anchor == 2


def test_the_buttons_of_the_row_can_be_reached_and_are_named(proposed):
    row = proposed.window.proposals
    buttons = [child for child in row.children() if hasattr(child, "click")]
    assert len(buttons) == 8
    for button in buttons:
        assert button.accessibleName()
        assert button.toolTip()
        assert button.focusPolicy() == Qt.FocusPolicy.TabFocus
    press(proposed, Qt.Key.Key_Right)
    accept = next(button for button in buttons if button.accessibleName() == "Accept proposal")
    QTest.mouseClick(accept, Qt.MouseButton.LeftButton)
    proposed.settle()
    assert len(proposed.marks("bar")) == 1


# The whole road, with the program's own search.


def test_on_the_demo_line_what_is_found_can_be_accepted_and_measured(hand, truth):
    hand.trigger("propose")
    assert hand.window.proposing.count > 0
    hand.trigger("proposal-accept-shown")
    covers = hand.covers()
    assert len(covers) == len(hand.marks("bar")) > 0
    assert all(np.isfinite(cover) for cover in covers.values())
    hand.trigger("propose")
    taken = {mark.position_mm for mark in hand.marks("bar")}
    for one in hand.window.proposing.shown:
        if isinstance(one, BarProposal):
            assert one.pick.position_mm not in taken


def test_nothing_that_is_handed_on_holds_a_proposal(proposed):
    job, results = proposed.document.job, proposed.document.made
    proposed.trigger("proposal-put-away")
    assert proposed.document.job is job
    assert proposed.document.made is results
    assert results.spots == ()
    assert replace(proposed.window.proposing.picture) == type(proposed.window.proposing.picture)()
