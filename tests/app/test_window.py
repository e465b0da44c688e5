"""The window around the marks: ruler, units, what is shown, sheets, light and dark, closing."""

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QMessageBox

from depthwright.files.jobfile import load_job
from depthwright.files.scans import open_scan
from depthwright_app import theme
from depthwright_app.main_window import MainWindow


def tie_bar_2(hand):
    hand.select(hand.bar_at(260.0).id)
    hand.type("35\r")
    assert hand.bar_at(260.0).tie is not None


def answer(monkeypatch, button):
    """Let the question about unsaved marks be answered; gives how often it was asked."""
    asked = []

    def question(*arguments):
        asked.append(arguments[2])
        return button

    monkeypatch.setattr(QMessageBox, "question", question)
    return asked


# The depth ruler.


def test_stretching_the_ruler_types_a_permittivity(plain):
    marked = plain
    pane, before = marked.pane, marked.document.job
    model = marked.document.model
    later = float(model.file_ns(np.array([100.0]))[0]) + 0.2
    pane.ruler.stretched.emit(100.0, later, False)
    assert marked.document.job is before, "a drag that goes on is no edit"
    during = marked.document.results.permittivity
    assert during > 7.0
    pane.ruler.stretched.emit(100.0, later, True)
    marked.settle()
    assert marked.document.history.undo_words == "Drag the depth ruler"
    zone = marked.document.job.zones[0]
    assert zone.typed
    assert zone.permittivity == pytest.approx(during, abs=0.01)
    assert marked.tick_places()["100"] == pytest.approx(later, abs=0.01)
    assert marked.said.startswith(f"Permittivity 7.0 to {during:.1f}; 7 bars; ")
    marked.trigger("undo")
    assert marked.document.job is before
    assert marked.document.results.permittivity == pytest.approx(7.0)


def test_the_ruler_is_dragged_with_the_mouse(plain):
    marked = plain
    pane, view = marked.pane, marked.pane.viewport()
    at = float(marked.document.model.file_ns(np.array([100.0]))[0])
    across = pane.mapFromScene(pane.ruler.sceneBoundingRect().center()).x()

    def moved(time):
        where = pane.pixels(600.0, time)
        where.setX(across)
        return where

    marked.drag_pixels(view, moved(at), moved(at + 0.2))
    assert marked.document.history.undo_words == "Drag the depth ruler"
    assert marked.document.job.zones[0].permittivity > 7.5


def test_the_ruler_stays_while_depths_rest_on_curvature(marked):
    before = marked.document.job
    marked.pane.ruler.stretched.emit(100.0, 3.0, True)
    assert marked.document.job is before
    assert marked.said.startswith("Depths rest on ties or curvature")


def test_the_ruler_stays_while_depths_rest_on_ties(plain):
    marked = plain
    tie_bar_2(marked)
    before = marked.document.job
    marked.pane.ruler.stretched.emit(100.0, 3.0, False)
    marked.pane.ruler.stretched.emit(100.0, 3.0, True)
    assert marked.document.job is before
    assert marked.said.startswith("Depths rest on ties")


def test_the_ruler_pulled_past_every_permittivity_stops_at_the_last(plain, subtests):
    marked = plain
    for time_ns in [-5.0, 1e-6, 500.0]:
        with subtests.test(time_ns=time_ns):
            marked.pane.ruler.stretched.emit(100.0, time_ns, False)
            marked.pane.ruler.stretched.emit(100.0, time_ns, True)
            marked.settle()
            assert 1.0 <= marked.document.results.permittivity <= 100.0 + 1e-9
            marked.trigger("undo") if marked.document.job.zones[0].typed else None
            assert marked.document.results.permittivity == pytest.approx(7.0)


# The ledger.


def test_a_typed_permittivity_is_evidence_that_steps_aside(plain):
    marked = plain
    ledger = marked.window.ledger
    ledger.field.setFocus()
    marked.type("8.1 ± 1.6\r")
    zone = marked.document.job.zones[0]
    assert (zone.permittivity, zone.permittivity_u, zone.typed) == (8.1, 1.6, True)
    assert not marked.document.results.provisional
    tie_bar_2(marked)
    assert [row.used for row in marked.document.results.evidence if row.kind == "typed"] == [False]
    ledger.keep.click()
    assert [row.used for row in marked.document.results.evidence if row.kind == "typed"] == [True]
    assert marked.document.history.undo_words == "Keep the permittivity"


def test_a_permittivity_that_cannot_be_is_told(marked, subtests):
    for typed in ["eight", "0", "-3", "500", "8 ± 0 ± 1", "nan"]:
        with subtests.test(typed=typed):
            marked.forget()
            before = marked.document.job
            marked.window.ledger.field.setFocus()
            marked.window.ledger.field.clear()
            marked.type(typed + "\r")
            assert marked.document.job is before
            assert marked.said.startswith("Warning: ")


def test_an_emptied_permittivity_goes_back_to_the_typical_one(plain):
    marked = plain
    ledger = marked.window.ledger
    for typed in ("8.1 ± 0.05", ""):
        ledger.field.setFocus()
        ledger.field.clear()
        marked.type(typed + "\r")
    assert not marked.document.job.zones[0].typed
    assert marked.document.results.provisional
    assert marked.document.results.permittivity == pytest.approx(7.0)


def test_a_bare_permittivity_does_not_inherit_an_uncertainty(marked):
    ledger = marked.window.ledger
    for typed in ("8.1 ± 0.05", "8.3"):
        ledger.field.setFocus()
        ledger.field.clear()
        marked.type(typed + "\r")
    assert marked.document.job.zones[0].permittivity == 8.3
    assert marked.document.job.zones[0].permittivity_u == 1.5


# Units.


def test_a_unit_changes_every_length_shown(marked, subtests):
    tie_bar_2(marked)
    window = marked.window
    for unit in ["mm", "cm", "in"]:
        with subtests.test(unit=unit):
            index = ["mm", "cm", "in"].index(unit)
            window.units.setCurrentIndex(index)
            window.units.activated.emit(index)
            marked.settle()
            assert marked.document.job.unit == unit
            assert f", {unit}" in marked.pane.ruler.labelText
            assert f", {unit}" in marked.pane.distance_axis.labelText
            assert f", {unit}" in marked.pane.strip.cover_axis.labelText
            assert unit in window.ledger.antenna.text()
            tied = next(bar for bar in marked.pane.marks.picture.bars if bar.tie_label)
            assert tied.tie_label.endswith(unit)
            words, time = next(item for item in marked.tick_places().items() if item[0] != "0")
            depth_mm = float(words) * {"mm": 1.0, "cm": 10.0, "in": 25.4}[unit]
            assert marked.pane.ruler.depth_mm(time) == pytest.approx(depth_mm, abs=0.05)


def test_a_bare_number_is_in_the_unit_of_the_job(marked):
    marked.window.units.activated.emit(2)
    marked.select(marked.bar_at(260.0).id)
    marked.type("1 3/8\r")
    assert marked.bar_at(260.0).tie.depth_mm == pytest.approx(1.375 * 25.4)


def test_a_new_job_starts_in_the_unit_used_last(hand, monkeypatch):
    hand.window.units.activated.emit(2)
    answer(monkeypatch, QMessageBox.StandardButton.Discard)
    hand.trigger("new")
    assert hand.document.job.unit == "in"
    assert hand.document.job.lines == ()


# What is shown of the scan.


def picture(hand):
    """The section as it is on screen."""
    return hand.pane.grab(hand.pane.plot.sceneBoundingRect().toRect()).toImage()


@pytest.mark.parametrize("switch", ["dewow", "background"])
def test_a_switch_changes_what_is_shown_and_not_the_scan(marked, demo, switch):
    stage, covers = marked.document.stage, marked.covers()
    samples = stage.scan.block(0, stage.scan.traces).copy()
    bytes_before = (demo.parent / "deck-L1.sgy").read_bytes()
    image, before = picture(marked), marked.document.job
    marked.trigger(switch)
    assert picture(marked) != image
    assert np.array_equal(stage.scan.block(0, stage.scan.traces), samples)
    assert (demo.parent / "deck-L1.sgy").read_bytes() == bytes_before
    assert marked.covers() == covers
    marked.trigger("undo")
    assert marked.document.job is before
    assert picture(marked) == image
    recipe = marked.line.recipe
    assert marked.window.commands["dewow"].isChecked() == recipe.dewow
    assert marked.window.commands["background"].isChecked() == recipe.remove_background


def test_gain_is_one_step_and_undone(marked):
    image, before = picture(marked), marked.document.job
    marked.window.gain.setValue(12)
    marked.settle()
    assert marked.line.recipe.gain_db_per_100mm == 12.0
    assert picture(marked) != image
    marked.trigger("undo")
    assert marked.document.job is before
    assert marked.window.gain.value() == 0
    assert picture(marked) == image


def test_contrast_colours_and_invert_are_no_edits(marked):
    before, image = marked.document.job, picture(marked)
    marked.window.contrast.setValue(8)
    assert picture(marked) != image
    colours = marked.pane.scan.paint_with.colours
    marked.trigger("invert")
    assert marked.pane.scan.paint_with.colours == colours[::-1]
    marked.window.colours.setCurrentIndex(1)
    marked.window.colours.activated.emit(1)
    assert marked.pane.scan.paint_with.colours not in (colours, colours[::-1])
    assert marked.document.job is before


def test_zoom_comes_closer_and_the_whole_line_comes_back(hand):
    whole = hand.pane.box.viewRect()
    hand.trigger("zoom-in")
    closer = hand.pane.box.viewRect()
    assert closer.width() == pytest.approx(whole.width() / 1.3, rel=0.02)
    hand.trigger("zoom-out")
    hand.trigger("zoom-all")
    again = hand.pane.box.viewRect()
    assert again.getRect() == pytest.approx(whole.getRect(), rel=1e-6, abs=1e-6)
    for pane in (hand.pane.trace, hand.pane.strip):
        assert pane.box.viewRect().width() > 0
    assert hand.pane.strip.box.viewRange()[0] == pytest.approx(
        hand.pane.box.viewRange()[0], rel=0.02
    )


# Light and dark.


def test_light_and_dark_take_turns_and_are_remembered(make_window, hand, qapp):
    held = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier
    seen = []
    for _ in range(3):
        hand.press(Qt.Key.Key_L, held)
        seen.append(
            (hand.window.keeper.settings.appearance, qapp.palette().window().color().name())
        )
    assert [name for name, _ in seen] == ["light", "dark", "system"]
    assert seen[0][1].upper() == theme.LIGHT.ground
    assert seen[1][1].upper() == theme.DARK.ground
    hand.trigger("appearance")
    hand.trigger("appearance")
    again = make_window()
    assert again.keeper.settings.appearance == "dark"
    assert qapp.palette().window().color().name().upper() == theme.DARK.ground
    again.commands["appearance"].trigger()
    assert qapp.palette().window().color().name().upper() == theme.LIGHT.ground


# Closing and opening over unsaved marks.


def test_a_saved_job_closes_without_a_question(hand):
    assert hand.window.close()


def test_cancel_keeps_the_window_and_its_marks(just_marked, monkeypatch):
    asked = answer(monkeypatch, QMessageBox.StandardButton.Cancel)
    assert not just_marked.window.close()
    assert just_marked.window.isVisible()
    assert asked == ["The job has changes that are not saved."]
    just_marked.select(just_marked.bar_at(260.0).id)
    just_marked.type("35\r")
    assert just_marked.bar_at(260.0).tie.depth_mm == 35.0


def test_discard_closes_and_writes_nothing(just_marked, demo, monkeypatch):
    answer(monkeypatch, QMessageBox.StandardButton.Discard)
    before = demo.read_bytes()
    assert just_marked.window.close()
    assert demo.read_bytes() == before


def test_save_writes_and_closes(just_marked, demo, monkeypatch):
    answer(monkeypatch, QMessageBox.StandardButton.Save)
    assert just_marked.window.close()
    assert len(load_job(demo).job.line("line-1").marks) == 8


def test_a_save_that_fails_keeps_the_window_open(just_marked, demo, monkeypatch):
    answer(monkeypatch, QMessageBox.StandardButton.Save)
    just_marked.document.path = demo.parent / "none" / "demo.dwjob"
    assert not just_marked.window.close()
    assert just_marked.window.isVisible()
    assert just_marked.document.modified


def test_opening_another_job_asks_first(just_marked, demo, monkeypatch):
    asked = answer(monkeypatch, QMessageBox.StandardButton.Cancel)
    before = just_marked.document.job
    just_marked.window.keeper.open_path(demo)
    just_marked.trigger("new")
    assert len(asked) == 2
    assert just_marked.document.job is before


def test_the_title_says_which_job_and_whether_it_is_saved(just_marked):
    assert just_marked.window.windowTitle().startswith("*demo")
    just_marked.trigger("save")
    assert just_marked.window.windowTitle().startswith("demo")
    assert "deck-L1" in just_marked.window.windowTitle()


# The window as a whole.


def test_about_gives_the_cautions(window, monkeypatch):
    said = []
    monkeypatch.setattr(QMessageBox, "about", lambda *arguments: said.append(arguments[-1]))
    window.commands["about"].trigger()
    assert "does not declare any place safe to drill" in said[0]


def test_an_empty_window_offers_only_what_is_possible(window):
    enabled = {name for name, action in window.commands.actions.items() if action.isEnabled()}
    assert {"open", "new", "quit", "about", "appearance"} <= enabled
    assert not enabled & {"save", "undo", "redo", "delete", "export-image", "zoom-in", "mode-bar"}


def test_keys_and_clicks_in_an_empty_window_do_no_harm(empty_hand):
    hand = empty_hand
    for key in (Qt.Key.Key_3, Qt.Key.Key_Left, Qt.Key.Key_Delete, Qt.Key.Key_Return, Qt.Key.Key_F4):
        QTest.keyClick(hand.pane, key)
    QTest.mouseClick(hand.pane.viewport(), Qt.MouseButton.LeftButton)
    hand.pane.ruler.stretched.emit(100.0, 2.0, True)
    hand.settle()
    assert not hand.document.modified


def test_every_action_is_reachable_by_keyboard(hand):
    """Each command has a shortcut or stands in a menu."""
    in_menus, open_menus = set(), [hand.window.menuBar()]
    while open_menus:
        for action in open_menus.pop().actions():
            in_menus.add(action)
            if action.menu() is not None:
                open_menus.append(action.menu())
    for command_id, action in hand.window.commands.actions.items():
        assert action in in_menus or action.shortcut().toString(), command_id


def test_switching_lines_shows_the_other_scan(hand):
    first = hand.pane.scan.sheet
    hand.document.show_line("line-2")
    hand.settle()
    scan = open_scan(hand.line.scan)
    sheet = hand.pane.scan.sheet
    assert (sheet.samples, len(sheet.where_mm)) == (scan.samples, scan.traces)
    assert len(sheet.where_mm) != len(first.where_mm)
    assert "deck-L2" in hand.window.windowTitle()


def test_two_windows_do_not_share_a_job(hand, make_window):
    other = make_window()
    hand.click(265.0, 1.45)
    assert isinstance(other, MainWindow)
    assert other.document.job.lines == ()
