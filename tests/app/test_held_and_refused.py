"""Marks taken hold of, readings refused, previews that are not saved, numbers that follow."""

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QApplication, QFileDialog

from depthwright.files.jobfile import load_job


def test_a_mark_is_dragged_without_selecting_it_first(marked):
    bar = marked.bar_at(260.0)
    assert marked.document.selection is None
    before = marked.pane.box.viewRect()
    marked.drag((bar.position_mm, bar.time_ns), (340.0, 2.6))
    moved = marked.line.mark(bar.id)
    assert (moved.position_mm, moved.time_ns) != (bar.position_mm, bar.time_ns)
    assert marked.document.selection.mark_id == bar.id
    assert marked.pane.box.viewRect() == before


def test_a_mark_put_where_nothing_is_gets_the_uncertainty_of_a_hand(marked):
    bar = marked.bar_at(600.0)
    marked.select(bar.id)
    marked.document.place_selected(marked.document.by_hand(700.0, 0.9))
    moved = marked.line.mark(bar.id)
    assert moved.position_u_mm > 10 > bar.position_u_mm
    assert moved.overlaps_direct


def test_a_refused_reading_stays_in_its_box_with_the_reason(marked):
    marked.select(marked.bar_at(260.0).id)
    marked.type("500")
    marked.press(Qt.Key.Key_Return)
    box = marked.window.marking.box
    assert box.isVisible()
    assert box.field.text() == "500"
    assert "faster than in air" in box.hint.text()


def test_looking_elsewhere_does_not_discard_a_reading(marked, subtests):
    for reason, stays in [
        (Qt.FocusReason.ActiveWindowFocusReason, True),
        (Qt.FocusReason.PopupFocusReason, True),
        (Qt.FocusReason.MouseFocusReason, False),
    ]:
        with subtests.test(reason=reason, stays=stays):
            marked.select(marked.bar_at(260.0).id)
            marked.type("3")
            box = marked.window.marking.box
            QApplication.sendEvent(box.field, QFocusEvent(QEvent.Type.FocusOut, reason))
            assert box.isVisible() is stays
            marked.press(Qt.Key.Key_Escape)


def test_a_preview_in_progress_is_not_what_is_saved(plain, tmp_path):
    marked = plain
    marked.pane.ruler.stretched.emit(50.0, marked.document.model.file_ns(70.0).item(), False)
    assert marked.document.results.permittivity != pytest.approx(7.0, abs=0.1)
    assert marked.window.keeper._write(tmp_path / "held.dwjob")
    assert load_job(tmp_path / "held.dwjob").results.permittivity == pytest.approx(7.0)


def test_two_bars_never_have_one_number(marked):
    first, second = marked.bar_at(90.0), marked.bar_at(260.0)
    marked.select(first.id)
    marked.window.details.number_typed.emit(str(second.number))
    marked.settle()
    numbers = [bar.number for bar in marked.marks("bar")]
    assert sorted(numbers) == sorted(set(numbers))
    assert marked.line.mark(second.id).number == first.number


def test_units_are_in_the_menu_too(marked):
    marked.trigger("unit-in")
    assert marked.document.job.unit == "in"
    assert marked.window.units.currentText() == "in"


def test_the_read_out_follows_a_tie_without_the_pointer_moving(plain):
    marked = plain
    marked.window.marking.read_out.emit(400.0, 2.5)
    before = marked.window.strip.place.text()
    assert "provisional" in before
    marked.select(marked.bar_at(260.0).id)
    marked.type("35\r")
    assert "provisional" not in marked.window.strip.place.text()
    assert marked.window.strip.place.text() != before


def test_a_name_with_a_dot_keeps_the_jobs_suffix(marked, tmp_path, monkeypatch):
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "deck 1.2"), ""))
    marked.trigger("save-as")
    assert (tmp_path / "deck 1.2.dwjob").is_file()


def test_contradicting_readings_are_said_in_strip_ledger_image_and_table(marked, tmp_path):
    for position, reading in ((260.0, "35\r"), (765.0, "70\r")):
        marked.select(marked.bar_at(position).id)
        marked.type(reading)
    assert marked.said.startswith("Warning: The known depths disagree")
    assert "known depths disagree" in marked.window.ledger.warnings.text()
    marked.window.exporter.export_all(tmp_path / "out")
    marked.settle()
    table = (tmp_path / "out" / "deck-L1-bars.csv").read_text("utf-8")
    assert "Warning: The known depths disagree" in table
