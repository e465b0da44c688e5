"""The budget of a mark: the parts, their sum, and how it is asked for."""

import math

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QToolButton

from depthwright_app.budget import budgets
from depthwright_app.panels.budget_view import BudgetView


def fold(hand):
    buttons = hand.window.details.findChildren(QToolButton)
    return next(button for button in buttons if button.isVisible())


def shown(hand):
    views = [v for v in hand.window.details.findChildren(BudgetView) if v.isVisible()]
    return [label.text() for view in views for label in view.findChildren(QLabel)]


def of(hand, mark_id, anchor=None, line_id="line-1"):
    return budgets(hand.document.job, hand.document.results, line_id, mark_id, anchor)


def test_squares_add_up_to_the_uncertainties_shown(marked):
    for row in marked.rows().bars:
        cover, position = of(marked, row.mark_id)
        for budget, value in ((cover, row.cover), (position, row.position)):
            assert budget.u_mm == pytest.approx(value.u_mm, rel=0.01)
            total = math.sqrt(sum(part.u_mm**2 for part in budget.parts))
            assert total == pytest.approx(budget.u_mm)
            assert sum(part.share for part in budget.parts) == pytest.approx(1.0)


def test_an_anchor_has_its_own(marked):
    (face,) = marked.rows().faces
    for place in (0, 5):
        thickness, position = of(marked, face.mark_id, place)
        assert thickness.what == "Thickness"
        assert thickness.u_mm == pytest.approx(face.anchors[place].depth.u_mm, rel=0.01)
        assert [part.source for part in position.parts] == ["distance scale"]


def test_the_greatest_comes_first_and_the_small_ones_together(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.type("35\r")
    cover, _ = of(marked, marked.bar_at(260.0).id)
    *main, rest = cover.parts
    assert [part.u_mm for part in main] == sorted((part.u_mm for part in main), reverse=True)
    assert rest.source.endswith(" smaller ones")
    assert {part.source for part in main[:2]} == {
        "known depth of bar 2 of deck-L1",
        "cover meter, shared by its readings",
    }


def test_it_is_folded_until_it_is_asked_for(marked):
    marked.select(marked.bar_at(260.0).id)
    assert shown(marked) == []
    QTest.mouseClick(fold(marked), Qt.MouseButton.LeftButton)
    marked.settle()
    words = shown(marked)
    assert "Cover" in words
    assert "Position" in words
    assert "Squares of the contributions add up to the square of u; U = 2u." in words
    row = next(row for row in marked.rows().bars if row.number == 2)
    total = next(text for text in words if text.startswith("u = "))
    assert float(total.split()[2].split("\u202f")[0]) == pytest.approx(row.cover.u_mm, abs=0.06)
    QTest.mouseClick(fold(marked), Qt.MouseButton.LeftButton)
    marked.settle()
    assert shown(marked) == []


def test_the_command_unfolds_it_and_it_stays_from_mark_to_mark(marked):
    assert not marked.window.commands["budget"].isEnabled()
    marked.select(marked.bar_at(260.0).id)
    marked.press(Qt.Key.Key_B, Qt.KeyboardModifier.ControlModifier)
    assert shown(marked)
    assert marked.window.commands["budget"].isChecked()
    (face,) = marked.marks("face")
    marked.select(face.id, 2)
    assert "Thickness" in shown(marked)
    assert fold(marked).isChecked()
    marked.press(Qt.Key.Key_B, Qt.KeyboardModifier.ControlModifier)
    assert shown(marked) == []


def test_the_keyboard_reaches_the_fold(marked):
    marked.select(marked.bar_at(260.0).id)
    fold(marked).setFocus()
    for unfolded in (True, False):
        marked.press(Qt.Key.Key_Space)
        assert bool(shown(marked)) is unfolded
        assert fold(marked).hasFocus()


def test_it_follows_a_tie_and_the_unit(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.trigger("budget")
    before = shown(marked)
    marked.type("35\r")
    after = shown(marked)
    assert before != after
    assert any(text.startswith("Known depth of bar 2") for text in after)
    marked.trigger("unit-in")
    assert any(text.endswith("\u202fin") for text in shown(marked))
    assert not any(text.endswith("\u202fmm") for text in shown(marked))


def test_a_target_has_one_and_a_note_has_none(hand):
    hand.trigger("budget") if hand.window.commands["budget"].isEnabled() else None
    hand.window.details.unfold_budget(True)
    hand.trigger("mode-target")
    hand.click(260.0, 1.45)
    assert {"Depth", "Position"} <= set(shown(hand))
    hand.trigger("mode-note")
    hand.click(505.0, 5.0)
    assert shown(hand) == []
    assert of(hand, hand.marks("note")[0].id) == ()


def test_a_depth_that_is_not_known_has_no_budget_of_it(marked):
    bar = marked.bar_at(260.0)
    marked.select(bar.id)
    marked.document.place_selected(marked.document.by_hand(260.0, 0.05))
    assert [budget.what for budget in of(marked, bar.id)] == ["Position"]
