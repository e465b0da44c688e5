"""The sheet that places a line: what is typed, in which order it counts, and what it says meanwhile."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QLineEdit, QMenu

from depthwright import edits
from depthwright.job import Antenna, DirectPick, Job, Line, ScanRef
from depthwright.measuring.picking import Pick
from depthwright_app.budget import budgets
from depthwright_app.dialogs.line_sheet import LineSheet
from depthwright_app.dialogs.place_sheet import PlaceSheet
from depthwright_app.wording import antenna_words, place_words

EDGES = (-2.5, 1202.5)
KNOWN = {"reads_a": "200", "true_a": "210", "reads_b": "1000", "true_b": "1018", "known_u": "2 mm"}


@pytest.fixture
def job():
    """A line of 1200 mm, 5 mm a trace, with three bars and a note."""
    scan = ScanRef(path="", size_bytes=0, sha256="0", traces=241, samples=9, dt_ns=0.02)
    line = Line(id="line-1", name="L1", scan=scan, zone="zone-1", antenna="antenna-1",
                datum="grid line B", direct=DirectPick(time_ns=1.0))  # fmt: skip
    made = edits.add_line(Job(), line, Antenna(id="antenna-1", centre_frequency_ghz=2.0))
    for position in (900.25, 150.0, 400.0):
        made, _ = edits.add_bar(made, "line-1", Pick(position, 1.0, 2.0))
    return edits.add_note(made, "line-1", 1100.0, 1.5, "Crack & stain")[0]


@pytest.fixture
def opened(job, qtbot):
    """Opens the sheet of a job with fields typed in."""

    def open_sheet(of=job, mark_mm=None, turn=None, **typed):
        sheet = PlaceSheet(None, of, of.line("line-1"), EDGES, mark_mm)
        qtbot.addWidget(sheet)
        for name, words in typed.items():
            getattr(sheet, name).setText(words)
        if turn is not None:
            sheet.turn.setChecked(turn)
        return sheet

    return open_sheet


def placed(sheet):
    """The line as accepted with the sheet's button."""
    sheet._accept()
    assert sheet.result() == QDialog.DialogCode.Accepted, sheet.complaint.text()
    return sheet.change(sheet._job).line("line-1")


@pytest.mark.parametrize("unit", ["mm", "cm", "in"])
@pytest.mark.parametrize("mark_mm", [None, 400.0])
def test_a_sheet_accepted_as_it_stands_changes_nothing(job, opened, unit, mark_mm):
    lying = edits.reverse_line(edits.change_job(job, unit=unit), "line-1", EDGES)
    lying = edits.stretch_line(lying, "line-1", 900.0, 311.1, 100.0, 1107.7, 2.0)
    for crop in (None, (123.456, 777.77), (EDGES[0], 777.77)):
        before = edits.crop_line(lying, "line-1", crop)
        sheet = opened(before, mark_mm)
        sheet._accept()
        assert sheet.result() == QDialog.DialogCode.Accepted
        assert sheet.change(before) == before


def test_two_known_positions_land_where_they_were_said_to(opened):
    line = placed(opened(**KNOWN))
    assert line.on_concrete_mm(200.0) == pytest.approx(210.0)
    assert line.on_concrete_mm(1000.0) == pytest.approx(1018.0)
    assert line.distance_scale == pytest.approx(1.01)
    assert line.distance_scale_u == pytest.approx(2 * 2**0.5 / 800)


def test_lengths_may_be_typed_in_any_unit(job, opened):
    inches = edits.change_job(job, unit="in")
    typed = {**KNOWN, "true_a": "8 1/4", "reads_a": "200 mm", "reads_b": "100 cm",
             "true_b": "1018 mm", "known_u": "1/16"}  # fmt: skip
    line = placed(opened(inches, **typed))
    assert line.on_concrete_mm(200.0) == pytest.approx(8.25 * 25.4)
    assert line.taped.u_mm == pytest.approx(25.4 / 16 / 2**0.5)


def test_a_mark_is_chosen_as_a_known_position_from_the_keyboard(opened, qtbot):
    sheet = opened(**KNOWN)
    menu = sheet.reads_b.findChild(QMenu)
    words = [action.data() for action in menu.actions()]
    assert words[0].startswith("Bar 2 at 150")
    assert words[-1].startswith("Note “Crack & stain” at 1100")
    with qtbot.waitActive(sheet):
        sheet.show()
        sheet.activateWindow()
    sheet.reads_b.setFocus()
    QTest.keyClick(sheet.reads_b, Qt.Key.Key_Down, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(menu.isVisible)
    menu.actions()[2].trigger()
    menu.hide()
    assert sheet.reads_b.text().startswith("Bar 1 at 900")
    assert placed(sheet).on_concrete_mm(900.25) == pytest.approx(1018.0)


def test_the_selected_mark_is_offered_and_asks_nothing_alone(job, opened):
    sheet = opened(mark_mm=400.0)
    assert sheet.reads_a.text().startswith("Bar 3 at 400")
    assert placed(sheet) == job.line("line-1")
    assert opened(mark_mm=333.3).reads_a.text() == "333.3 mm"


def test_the_line_is_reversed_before_it_is_stretched_and_shifted_after(opened):
    """What a place reads is meant as the line lies now, whatever is done to it in the same step."""
    typed = {**KNOWN, "true_a": "1018", "true_b": "210", "shift": "-10"}
    line = placed(opened(turn=True, **typed))
    assert line.reversed
    assert line.on_concrete_mm(200.0) == pytest.approx(1008.0)
    assert line.on_concrete_mm(1000.0) == pytest.approx(200.0)


def test_the_part_shown_is_of_the_line_as_it_lies_afterwards(opened):
    line = placed(opened(turn=True, shift="100", low="300", high="700"))
    assert line.crop_mm == pytest.approx((600.0, 1000.0))
    assert sorted(map(line.on_concrete_mm, line.crop_mm)) == pytest.approx([300.0, 700.0])


def test_a_part_shown_that_is_left_as_it_was_keeps_its_traces(job, opened):
    cropped = edits.crop_line(job, "line-1", (300.0, 700.0))
    assert placed(opened(cropped, shift="55", turn=True)).crop_mm == (300.0, 700.0)
    sheet = opened(cropped, shift="55", high="900")
    assert sheet.low.text() == "300 mm"
    assert placed(sheet).crop_mm == pytest.approx((300.0, 845.0))


def test_the_part_shown_may_be_open_to_either_end_or_all(job, opened):
    assert placed(opened(low="300")).crop_mm == (300.0, EDGES[1])
    assert placed(opened(high="300")).crop_mm == (EDGES[0], 300.0)
    assert placed(opened(low="-900", high="9000")).crop_mm is None
    cropped = edits.crop_line(job, "line-1", (300.0, EDGES[1]))
    sheet = opened(cropped)
    assert (sheet.low.text(), sheet.high.text()) == ("300 mm", "")
    sheet.low.clear()
    assert placed(sheet).crop_mm is None


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"true_a": "210"}, "take four distances"),
        ({"reads_a": "210"}, "take four distances"),
        ({**KNOWN, "known_u": ""}, "take four distances"),
        ({**KNOWN, "known_u": "0"}, "greater than zero"),
        ({**KNOWN, "reads_b": "200"}, "the same place"),
        ({**KNOWN, "true_b": "100"}, "reverse the line first"),
        ({**KNOWN, "true_b": "90 m"}, "is not a length"),
        ({**KNOWN, "true_b": "90000"}, "times as long as recorded"),
        ({**KNOWN, "reads_a": "Bar 77"}, "is not a length"),
        ({"shift": "a little"}, "is not a length"),
        ({"low": "700", "high": "300"}, "Nothing of the line"),
        ({"low": "1300"}, "It runs from"),
        ({"high": "-30"}, "It runs from"),
        ({"low": "here"}, "is not a length"),
    ],
)
def test_what_cannot_be_is_said_in_the_sheet_and_the_text_stays(opened, typed, words):
    sheet = opened(**typed)
    assert words in sheet.summary.text()
    sheet._accept()
    assert sheet.result() == 0
    assert words in sheet.complaint.text()
    assert sheet.complaint.isVisibleTo(sheet)
    assert {name: getattr(sheet, name).text() for name in typed} == typed
    sheet.shift.setText("1")
    assert not sheet.complaint.isVisibleTo(sheet)


def test_the_summary_follows_the_typing(opened):
    sheet = opened()
    assert sheet.summary.text() == (
        "Line of 1200\u202fmm, from 0\u202fmm to 1200\u202fmm; scale 1.000 ± 0.020 (k = 2)."
    )
    sheet.shift.setText("-30")
    assert "from −30\u202fmm to 1170\u202fmm;" in sheet.summary.text()
    sheet.turn.setChecked(True)
    assert ", recorded from the far end;" in sheet.summary.text()
    sheet.low.setText("500")
    assert sheet.summary.text().endswith(
        "; shown from 500\u202fmm to 1172\u202fmm; 2 marks lie outside."
    )


def test_every_field_has_a_name_and_is_reached_by_tab(opened, qtbot):
    sheet = opened()
    sheet.show()
    fields = sheet.findChildren(QLineEdit)
    assert len(fields) == 8
    assert all(field.accessibleName() for field in fields)
    reached = set()
    for _ in range(14):
        QTest.keyClick(QApplication.focusWidget() or sheet, Qt.Key.Key_Tab)
        reached.add(sheet.focusWidget())
    assert {*fields, sheet.turn} <= reached


# What the other sheets and words say of such a line.


def test_the_line_sheet_names_the_trace_that_is_held(job, qtbot):
    lying = edits.change_line(edits.reverse_line(job, "line-1", EDGES), "line-1", start_mm=40.0)
    scan = lying.line("line-1").scan.model_copy(update={"first_mm": 100.0})
    lying = edits.change_line(lying, "line-1", scan=scan)
    sheet = LineSheet(None, lying, lying.line("line-1"))
    qtbot.addWidget(sheet)
    assert sheet.start.accessibleName() == "Datum to last trace"
    assert sheet.start.text() == "140 mm"
    sheet.start.setText("0")
    sheet._accept()
    line = sheet.change(lying).line("line-1")
    assert line.on_concrete_mm(sum(EDGES) - 100.0) == pytest.approx(0.0)


def test_a_scale_typed_by_hand_takes_the_place_of_known_positions(job, qtbot):
    known = edits.stretch_line(job, "line-1", 200.0, 210.0, 1000.0, 1018.3, 2.0)
    for typed, stays in ((None, True), ("1.02 ± 0.01", False)):
        sheet = LineSheet(None, known, known.line("line-1"))
        qtbot.addWidget(sheet)
        assert sheet.scale.text() == "1.01038 ± 0.0035"
        if typed:
            sheet.scale.setText(typed)
        sheet._accept()
        line = sheet.change(known).line("line-1")
        assert (line.taped is not None) == stays
        assert (line == known.line("line-1")) == stays


def test_what_is_open_about_a_place_follows_the_known_positions(job):
    known = edits.stretch_line(job, "line-1", 200.0, 200.0, 1000.0, 1000.0, 2.0)
    line = known.line("line-1")
    assert place_words(line, 200.0, "mm") == "200.0 ± 4.0\u202fmm"
    assert place_words(line, 600.0, "mm") == "600.0 ± 2.8\u202fmm"


def test_the_budget_of_a_place_names_the_known_positions(job):
    class NoDepths:
        def budget_of(self, *_):
            return ()

    known = edits.stretch_line(job, "line-1", 200.0, 200.0, 1000.0, 1000.0, 2.0)
    (place,) = budgets(known, NoDepths(), "line-1", "bar-1", None)
    assert {part.source for part in place.parts} == {
        "pick along the line",
        "distance scale",
        "known positions",
    }
    assert sum(part.u_mm**2 for part in place.parts) == pytest.approx(place.u_mm**2)


def test_the_ledgers_words_say_that_a_line_was_recorded_from_the_far_end(job):
    turned = edits.reverse_line(job, "line-1", EDGES)
    said = antenna_words(turned, turned.line("line-1"))
    assert said.startswith("L1: from grid line B, recorded from the far end.")
    named = edits.change_line(turned, "line-1", direction="towards C")
    said = antenna_words(named, named.line("line-1"))
    assert "grid line B, towards C, recorded from the far end." in said
