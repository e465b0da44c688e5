"""The picture panel in the window: edits, commands, toolbar and panel say the same."""

from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from depthwright.processing.recipe import Recipe
from depthwright_app.panels.recipe_steps import STEPS


def test_f8_brings_the_panel_a_click_is_one_undoable_edit_and_f9_goes_back(hand):
    window, panel, before = hand.window, hand.window.recipe_panel, hand.document.job
    assert window.side.currentWidget() is window.ledger
    hand.press(Qt.Key.Key_F8)
    assert window.side.currentWidget() is panel
    hand.press(Qt.Key.Key_Tab)
    assert hand.focus is panel.rows["repair"].box
    QTest.mouseClick(panel.rows["smooth"].box, Qt.MouseButton.LeftButton, pos=QPoint(8, 8))
    hand.settle()
    assert hand.line.recipe == before.line("line-1").recipe.model_copy(update={"smooth": True})
    assert window.commands["smooth"].isChecked()
    panel.fields["smooth_mm"].setFocus()
    panel.fields["smooth_mm"].selectAll()
    hand.type("wide\r")
    assert "“wide” is not a length. Type it like" in hand.said
    assert hand.line.recipe.smooth_mm == 10.0
    hand.document.show_line("line-2")
    assert not panel.rows["smooth"].box.isChecked()
    assert not window.commands["smooth"].isChecked()
    hand.document.show_line("line-1")
    hand.trigger("undo")
    assert hand.document.job is before
    assert not panel.rows["smooth"].box.isChecked()
    assert not window.commands["smooth"].isChecked()
    hand.press(Qt.Key.Key_F9)
    assert window.side.currentWidget() is window.ledger


def test_each_switch_is_a_command_that_the_panel_follows(hand):
    window, panel = hand.window, hand.window.recipe_panel
    for step in STEPS:
        was = bool(getattr(hand.line.recipe, step.field))
        window.commands[step.command].trigger()
        assert bool(getattr(hand.line.recipe, step.field)) is not was, step.field
        assert panel.rows[step.field].box.isChecked() is not was
    hand.settle()


def test_a_previewed_gain_is_no_edit_and_both_sliders_show_the_one_entered(hand):
    window, before = hand.window, hand.document.job
    window.gain.setSliderDown(True)
    window.gain.setSliderPosition(10)
    hand.qtbot.wait(60)
    hand.settle()
    assert hand.document.job is before
    window.gain.setSliderDown(False)
    hand.settle()
    assert hand.line.recipe.gain_db_per_100mm == 10.0
    assert window.recipe_panel.gain.value() == window.gain.value() == 10
    hand.trigger("undo")
    assert hand.document.job is before
    assert window.gain.value() == 0


def test_the_recipe_is_used_for_all_lines_in_one_step_and_goes_back_to_the_usual(hand):
    panel = hand.window.recipe_panel
    hand.window.commands["envelope"].trigger()
    panel.copy.click()
    assert all(line.recipe.envelope for line in hand.document.job.lines)
    assert hand.said == "Recipe used for 2 lines."
    job = hand.document.job
    panel.copy.click()
    assert hand.document.job is job
    hand.trigger("undo")
    assert [line.recipe.envelope for line in hand.document.job.lines] == [True, False]
    panel.reset.click()
    hand.settle()
    assert hand.line.recipe == Recipe()


def test_boxes_and_lists_of_the_display_are_one_with_their_commands(hand):
    window, before = hand.window, hand.document.job
    display = window.recipe_panel.display
    hand.trigger("picture")
    for box, command in ((display.swap, "invert"), (display.pin, "pin-trace")):
        box.click()
        assert window.commands[command].isChecked()
        hand.trigger(command)
        assert not box.isChecked()
    display.contrast.setValue(7)
    assert window.contrast.value() == 7
    window.contrast.setValue(-3)
    assert display.contrast.value() == -3
    hand.trigger("exaggeration-5:1")
    assert display.exaggeration.currentText() == "5:1"
    assert window.viewing.exaggeration == 5.0
    display.exaggeration.setFocus()
    hand.press(Qt.Key.Key_Down)
    assert window.commands["exaggeration-10:1"].isChecked()
    assert not window.commands["exaggeration-5:1"].isChecked()
    assert hand.document.job is before


def test_without_a_job_the_panel_is_off(window):
    assert not window.recipe_panel.inner.isEnabled()
    for command in ("migrate", "copy-recipe", "pin-trace", "exaggeration-2:1", "place"):
        assert not window.commands[command].isEnabled()
