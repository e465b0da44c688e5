"""Scans that leave something open: one sheet says what was read and why, and lets it be put right."""

import json
import struct

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QDialog, QMessageBox, QPushButton

from depthwright.job import NOTHING_GIVEN, Antenna, Job
from depthwright_app import theme
from depthwright_app.dialogs.import_sheet import ImportSheet
from depthwright_app.importing import look_at

SAMPLES = 384
TRACE_BYTES = 240 + 4 * SAMPLES


@pytest.fixture
def bare(tmp_path, demo):
    """Writes the demo's line with header fields taken away, byte by byte (SEG-Y rev 1, tables 2 and 3)."""

    def write(name="bare.sgy", *, interval=16, coordinates=True, separation=True):
        data = bytearray((demo.parent / "deck-L1.sgy").read_bytes())
        data[:3200] = b" " * 3200
        data[3216:3218] = struct.pack(">H", interval)
        for start in range(3600, len(data), TRACE_BYTES):
            data[start + 116 : start + 118] = struct.pack(">H", interval)
            if not coordinates:
                data[start + 72 : start + 88] = bytes(16)
                data[start + 180 : start + 188] = bytes(8)
            if not separation:
                data[start + 36 : start + 40] = bytes(4)
        path = tmp_path / name
        path.write_bytes(bytes(data))
        return path

    return write


@pytest.fixture
def sheet_of(qtbot):
    """Opens the sheet of some files outside any window."""

    def make(*paths, job=None, cards=()):
        made = ImportSheet(None, [look_at(p) for p in paths], job or Job(), cards, theme.LIGHT)
        qtbot.addWidget(made, before_close_func=lambda sheet: sheet.done(0))
        made.show()
        return made

    return make


def fill(field, text):
    """Type into a field and leave it, as a person does."""
    field.window().activateWindow()
    QTest.qWaitForWindowActive(field.window())
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, text)
    QTest.keyClick(field, Qt.Key.Key_Tab)


def primary(sheet):
    return next(button for button in sheet.findChildren(QPushButton) if button.property("primary"))


def answer(monkeypatch, **typed):
    """Let the sheet be filled in and accepted by its main button; gives the titles of those opened."""
    opened = []

    def run(sheet):
        opened.append(sheet.windowTitle())
        sheet.show()
        for name, words in typed.items():
            fill(getattr(sheet, name), words)
        primary(sheet).click()
        return sheet.result()

    monkeypatch.setattr(ImportSheet, "exec", run)
    return opened


def choices(sheet):
    return {button.text(): button for button in sheet.readings.choices.buttons()}


def test_a_file_that_says_everything_itself_is_added_without_a_sheet(empty_hand, demo):
    empty_hand.window.keeper.open_path(demo.parent / "deck-L1.sgy")
    empty_hand.settle()
    assert empty_hand.line.name == "deck-L1"


def test_a_unit_that_was_only_inferred_is_to_be_confirmed(empty_hand, bare, monkeypatch):
    opened = answer(monkeypatch)
    empty_hand.window.keeper.open_path(bare())
    empty_hand.settle()
    assert opened == ["Add bare.sgy"]
    assert empty_hand.document.stage.scan.dt_ns == pytest.approx(0.016)
    assert empty_hand.line.scan.given.dt_ns is None


def test_a_missing_trace_spacing_is_asked_for_and_used(empty_hand, bare, monkeypatch):
    answer(monkeypatch, spacing="1/5 in")
    empty_hand.window.keeper.open_path(bare(coordinates=False))
    empty_hand.settle()
    assert empty_hand.line.scan.given.trace_spacing_mm == pytest.approx(5.08)
    assert empty_hand.document.stage.scan.trace_spacing_mm == pytest.approx(5.08)


def test_a_missing_sample_interval_may_be_given_as_the_time_window(empty_hand, bare, monkeypatch):
    answer(monkeypatch, window_ns="6.144")
    empty_hand.window.keeper.open_path(bare(interval=0))
    empty_hand.settle()
    assert empty_hand.document.stage.scan.dt_ns == pytest.approx(0.016)


def test_a_refused_sheet_adds_nothing(empty_hand, bare, monkeypatch):
    monkeypatch.setattr(ImportSheet, "exec", lambda _: QDialog.DialogCode.Rejected)
    empty_hand.window.keeper.open_path(bare(coordinates=False))
    empty_hand.settle()
    assert empty_hand.said == "Nothing was added of bare.sgy."
    assert empty_hand.document.job.lines == ()


@pytest.mark.parametrize("typed", ["five", "0", "-5"])
def test_what_is_no_spacing_is_refused_in_the_sheet(sheet_of, bare, typed):
    sheet = sheet_of(bare(coordinates=False))
    fill(sheet.spacing, typed)
    assert sheet.complaint.text()
    primary(sheet).click()
    assert sheet.result() == 0


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("interval_ps", "5e-324"),
        ("window_ns", "1e-320"),
        ("interval_ps", "1e300"),
        ("spacing", 90 * "9"),
    ],
)
def test_a_number_that_no_line_has_is_refused_in_the_sheet(sheet_of, bare, field, typed):
    sheet = sheet_of(bare(interval=0))
    fill(getattr(sheet, field), typed)
    assert "cannot be the" in sheet.complaint.text()
    assert sheet.shown.given == NOTHING_GIVEN


def test_a_line_is_not_added_while_what_was_typed_is_not_understood(sheet_of, bare):
    sheet = sheet_of(bare())
    fill(sheet.spacing, "1O mm")
    primary(sheet).click()
    assert sheet.result() == 0
    assert "1O mm" in sheet.complaint.text()
    sheet.spacing.clear()
    fill(sheet.spacing, " ")
    assert sheet.spacing.text() == "5 mm", "the file's own word"
    primary(sheet).click()
    assert sheet.result() == 1


def test_another_data_set_is_chosen_for_files_that_hold_the_same(sheet_of, tmp_path):
    h5py = pytest.importorskip("h5py")
    samples = np.random.default_rng(0).normal(size=(30, 100)).astype("f4")
    for name, sets in (("a.h5", ("x", "y")), ("b.h5", ("x",))):
        with h5py.File(tmp_path / name, "w") as file:
            for each in sets:
                file[each] = samples
    sheet = sheet_of(tmp_path / "a.h5", tmp_path / "b.h5")
    sheet.data_set.setCurrentText("y")
    sheet.data_set.activated.emit(1)
    assert [file.given.data_set for file in sheet.incoming] == ["y", ""]
    assert [file.problem for file in sheet.incoming] == ["", ""]


def test_what_is_still_open_is_named_when_the_line_is_to_be_added(sheet_of, bare):
    sheet = sheet_of(bare(coordinates=False))
    primary(sheet).click()
    assert sheet.complaint.text() == (
        "bare.sgy does not tell its trace spacing. Type what you know of it."
    )
    assert sheet.result() == 0


def test_a_scan_that_is_the_same_number_throughout_is_shown_without_a_spectrum(sheet_of, tmp_path):
    np.save(tmp_path / "flat.npy", np.ones((30, 100), np.float32))
    sheet = sheet_of(tmp_path / "flat.npy")
    assert sheet.shown.glance is not None
    assert sheet.readings.spectrum._drawn == []


def test_each_reading_of_the_interval_has_its_window_and_its_pulse(sheet_of, bare):
    sheet = sheet_of(bare())
    as_ps, rounded, as_ns, as_us = sheet.readings.choices.buttons()
    assert as_ps.isChecked()
    assert as_ps.text().startswith("16 in bytes 3217 as ps: window 6.144 ns, pulse 1.")
    assert as_ps.text().endswith("plausible")
    assert rounded.text().startswith("16 in bytes 3217 rounded from 15.625 ps: window 6 ns")
    assert as_ns.text().endswith("window too long")
    assert as_us.text().endswith("window too long")


def test_another_reading_changes_the_axes_and_every_number(sheet_of, bare):
    sheet = sheet_of(bare())
    next(b for words, b in choices(sheet).items() if "rounded" in words).click()
    assert sheet.window_ns.text() == "6"
    assert sheet.interval_ps.text() == "15.625"
    assert sheet.picture.plot.box.viewRange()[1] == pytest.approx([0.0, 6.0])
    primary(sheet).click()
    assert sheet.incoming[0].given.dt_ns == pytest.approx(0.015625)


def test_the_sheet_says_what_was_read_and_why(sheet_of, bare):
    words = sheet_of(bare(separation=False)).facts.text()
    assert "16 in bytes 3217" in words
    assert "read as picoseconds" in words
    assert "a trace spacing of 5 mm" in words
    assert "<b>Antenna separation</b> <i>not told</i>" in words


def test_a_batch_is_told_once(sheet_of, bare):
    first, second = bare("a.sgy", coordinates=False), bare("b.sgy", coordinates=False)
    sheet = sheet_of(first, second)
    assert sheet.files.item(1).text() == "b.sgy\ntrace spacing missing"
    fill(sheet.spacing, "4 mm")
    assert sheet.files.item(1).text() == "b.sgy\nready"
    assert primary(sheet).text() == "Add 2 lines"
    primary(sheet).click()
    assert [file.given.trace_spacing_mm for file in sheet.incoming] == [4.0, 4.0]


def test_one_file_of_a_batch_may_be_told_otherwise(sheet_of, bare):
    sheet = sheet_of(bare("a.sgy"), bare("b.sgy"))
    sheet.for_all.setChecked(False)
    sheet.files.setCurrentRow(1)
    fill(sheet.spacing, "4 mm")
    assert [file.given.trace_spacing_mm for file in sheet.incoming] == [None, 4.0]


def test_a_batch_is_added_whole_and_what_cannot_be_read_is_said(
    empty_hand, bare, tmp_path, monkeypatch
):
    answer(monkeypatch, spacing="4 mm")
    bad = tmp_path / "bad.sgy"
    bad.write_bytes(b"nothing of the kind")
    empty_hand.window.keeper.open_paths([bare("a.sgy", coordinates=False), bad, bare("c.sgy")])
    empty_hand.settle()
    assert sorted(line.name for line in empty_hand.document.job.lines) == ["a", "c"]
    given = {line.name: line.scan.given.trace_spacing_mm for line in empty_hand.document.job.lines}
    assert given == {"a": 4.0, "c": None}, "what a file says itself stays"


def test_an_antenna_card_goes_with_every_line_of_a_batch(empty_hand, bare, tmp_path, monkeypatch):
    card = tmp_path / "hand-held.json"
    card.write_text(
        json.dumps(
            {"name": "Hand-held (invented)", "separation_mm": 55.0, "centre_frequency_ghz": 1.9}
        )
    )

    def run(sheet):
        sheet.load_card(card)
        primary(sheet).click()
        return sheet.result()

    monkeypatch.setattr(ImportSheet, "exec", run)
    empty_hand.window.keeper.open_paths([bare("a.sgy", separation=False), bare("b.sgy")])
    empty_hand.settle()
    job = empty_hand.document.job
    assert [antenna.name for antenna in job.antennas] == ["Hand-held (invented)"]
    assert {line.antenna for line in job.lines} == {job.antennas[0].id}
    assert empty_hand.window.keeper.settings.cards == (str(card),)


def test_an_antenna_of_the_job_may_be_chosen(sheet_of, bare):
    antenna = Antenna(id="antenna-1", name="Own", separation_mm=60.0, centre_frequency_ghz=1.6)
    sheet = sheet_of(bare(separation=False), job=Job(antennas=(antenna,)))
    assert "Separation not told" in sheet.antenna_note.text()
    sheet.antenna.setCurrentIndex(1)
    assert sheet.antenna.currentText().startswith("Own, separation 60")
    assert sheet.antenna_note.text() == ""
    assert sheet.chosen_antenna() == antenna


def test_a_file_that_is_no_card_is_refused_in_the_sheet(sheet_of, bare, tmp_path):
    sheet = sheet_of(bare())
    wrong = tmp_path / "wrong.json"
    wrong.write_text("[1, 2]")
    sheet.load_card(wrong)
    assert "is not an antenna card" in sheet.complaint.text()


def test_the_small_picture_shows_the_line_in_its_place(sheet_of, bare):
    sheet = sheet_of(bare())
    assert sheet.picture.plot.box.viewRange()[0] == pytest.approx([0.0, 1200.0])
    assert np.isfinite(sheet.picture._image.image).all()


def test_what_is_said_of_one_file_leaves_alone_what_another_says_itself(sheet_of, bare):
    sheet = sheet_of(bare("a.sgy"), bare("b.sgy", interval=0), bare("c.sgy"))
    sheet.files.setCurrentRow(1)
    fill(sheet.window_ns, "12")
    assert [file.given.dt_ns for file in sheet.incoming] == [None, pytest.approx(12 / 384), None]
    sheet.files.setCurrentRow(0)
    fill(sheet.window_ns, "6")
    expected = [6 / 384, 12 / 384, 6 / 384]
    assert [file.dt_ns for file in sheet.incoming] == pytest.approx(expected, rel=1e-6)


def test_what_was_said_of_a_batch_is_not_put_away_by_one_key(sheet_of, bare, monkeypatch):
    sheet = sheet_of(bare("a.sgy"), bare("b.sgy"))
    sheet.reject()
    assert sheet.isHidden(), "nothing was said yet"
    sheet.show()
    fill(sheet.spacing, "4 mm")
    answers = [QMessageBox.StandardButton.No, QMessageBox.StandardButton.Yes]
    monkeypatch.setattr(QMessageBox, "question", lambda *_: answers.pop(0))
    QTest.keyClick(sheet, Qt.Key.Key_Escape)
    assert sheet.isVisible()
    QTest.keyClick(sheet, Qt.Key.Key_Escape)
    assert sheet.isHidden()
    assert answers == []
