"""The sheets of line, antenna and job: one step each, nothing touched that was not typed."""

import json

import pytest
from PySide6.QtWidgets import QDialog, QFileDialog, QLabel

from depthwright.edits import change_antenna, change_zone
from depthwright.files.antenna_card import read_card
from depthwright_app.dialogs.job_sheet import MEDIA, JobSheet
from depthwright_app.dialogs.line_sheet import SHIFTS, LineSheet
from depthwright_app.dialogs.place_sheet import PlaceSheet


def fill(monkeypatch, kind, **typed):
    """Let a sheet be filled in and accepted as with its button; gives the sheets."""
    opened = []

    def run(sheet):
        opened.append(sheet)
        for field, words in typed.items():
            getattr(sheet, field).setText(words)
        sheet._accept()
        return sheet.result()

    monkeypatch.setattr(kind, "exec", run)
    return opened


def test_the_line_sheet_changes_line_and_antenna_in_one_step(marked, monkeypatch):
    before, covers = marked.document.job, marked.covers()
    fill(
        monkeypatch,
        LineSheet,
        name="deck-A",
        datum="north kerb",
        start="-30 mm",
        scale="1.01 ± 0.003",
        separation="50 mm",
        offset="40 ± 25",
    )
    marked.trigger("line-sheet")
    line = marked.line
    assert (line.name, line.datum, line.start_mm) == ("deck-A", "north kerb", -30.0)
    assert (line.distance_scale, line.distance_scale_u) == (1.01, 0.003)
    antenna = marked.document.job.antenna_of(line)
    assert antenna.separation_mm == 50.0
    assert antenna.time_offset_ns == pytest.approx(0.040)
    assert antenna.time_offset_u_ns == pytest.approx(0.025)
    assert marked.covers() != covers
    assert "deck-A" in marked.window.windowTitle()
    marked.trigger("undo")
    assert marked.document.job is before


def test_a_line_is_placed_in_one_step_and_its_depths_do_not_move(marked, monkeypatch):
    before, covers = marked.document.job, marked.covers()
    marks = marked.line.marks

    def run(sheet):
        sheet.turn.setChecked(True)
        sheet.shift.setText("100 mm")
        sheet.low.setText("200")
        sheet._accept()
        return sheet.result()

    monkeypatch.setattr(PlaceSheet, "exec", run)
    marked.trigger("place")
    assert marked.line.reversed
    assert marked.line.start_mm == 100.0
    assert marked.line.crop_mm is not None
    assert marked.line.marks == marks
    assert marked.covers() == pytest.approx(covers)
    positions = [row.position.value_mm for row in marked.rows().bars]
    assert positions == sorted(positions)
    marked.trigger("undo")
    assert marked.document.job is before


def test_separation_and_height_carry_their_standard_uncertainties(marked, monkeypatch):
    covers = {row.number: row.cover.u_mm for row in marked.rows().bars}
    fill(monkeypatch, LineSheet, separation="42 ± 3 mm", antenna_height="3 ± 1.5 mm")
    marked.trigger("line-sheet")
    antenna = marked.document.job.antenna_of(marked.line)
    assert (antenna.separation_mm, antenna.separation_u_mm) == (42.0, 3.0)
    assert (antenna.height_mm, antenna.height_u_mm) == (3.0, 1.5)
    assert antenna.separation_known
    assert all(row.cover.u_mm > covers[row.number] for row in marked.rows().bars)
    shown = marked.window.ledger.antenna.text()
    assert "separation 42.0 ± 6.0\u202fmm" in shown
    assert "3.0 ± 3.0\u202fmm above the surface" in shown
    sheet = LineSheet(marked.window, marked.document.job, marked.line)
    assert (sheet.separation.text(), sheet.antenna_height.text()) == ("42 ± 3 mm", "3 ± 1.5 mm")


def test_a_bare_separation_keeps_its_uncertainty(marked, monkeypatch):
    fill(monkeypatch, LineSheet, separation="42 ± 3 mm")
    marked.trigger("line-sheet")
    fill(monkeypatch, LineSheet, separation="45")
    marked.trigger("line-sheet")
    antenna = marked.document.job.antenna_of(marked.line)
    assert (antenna.separation_mm, antenna.separation_u_mm) == (45.0, 3.0)


def test_a_separation_that_nobody_said_shows_how_open_it_is(marked, monkeypatch):
    antenna = marked.document.job.antennas[0]
    marked.document.edit(
        "Forget it",
        lambda job: change_antenna(job, antenna.id, separation_known=False, separation_u_mm=1.0),
    )
    opened = fill(monkeypatch, LineSheet)
    marked.trigger("line-sheet")
    assert opened[0].separation.text() == "40 ± 10 mm"
    assert not marked.document.job.antennas[0].separation_known
    assert "40 ± 20\u202fmm" in marked.window.ledger.antenna.text()
    fill(monkeypatch, LineSheet, separation="38 mm")
    marked.trigger("line-sheet")
    now = marked.document.job.antennas[0]
    assert (now.separation_mm, now.separation_u_mm, now.separation_known) == (38.0, 1.0, True)


@pytest.mark.parametrize("source", ["computed", "measured"])
def test_where_the_direct_waves_shift_comes_from_is_chosen(marked, monkeypatch, source):
    def run(sheet):
        sheet.shift.setCurrentText(SHIFTS[source])
        sheet._accept()
        return sheet.result()

    monkeypatch.setattr(LineSheet, "exec", run)
    marked.trigger("line-sheet")
    assert marked.document.job.antenna_of(marked.line).direct_shift == source
    held = "all of the direct wave's shift" in marked.window.ledger.antenna.text()
    assert held == (source == "measured")


def test_a_line_sheet_accepted_as_it_stands_changes_nothing(marked, monkeypatch, subtests):
    for unit in ["mm", "cm", "in"]:
        with subtests.test(unit=unit):
            marked.window.units.activated.emit(["mm", "cm", "in"].index(unit))
            before = marked.document.job
            opened = fill(monkeypatch, LineSheet)
            marked.trigger("line-sheet")
            assert opened
            assert opened[0].complaint.text() == ""
            assert marked.document.job == before


def test_a_job_sheet_accepted_as_it_stands_changes_nothing(marked, monkeypatch, subtests):
    for unit in ["mm", "cm", "in"]:
        with subtests.test(unit=unit):
            marked.window.units.activated.emit(["mm", "cm", "in"].index(unit))
            before = marked.document.job
            assert before.specified_cover_mm == 35.0
            fill(monkeypatch, JobSheet)
            marked.trigger("job-sheet")
            assert marked.document.job == before


def test_the_line_sheet_stays_open_and_says_what_cannot_be(marked, monkeypatch, subtests):
    for field, typed in [
        ("start", "somewhere"),
        ("scale", "0"),
        ("scale", "-1"),
        ("scale", "one"),
        ("direct", "early"),
        ("separation", ""),
        ("separation", "-4 mm"),
        ("separation", "40 ± 0"),
        ("separation", "40 ± -1"),
        ("antenna_height", "3 ± high"),
        ("antenna_height", "high"),
        ("frequency", "0"),
        ("offset", "40 ± 0"),
        ("offset", "40 ± -5"),
    ]:
        with subtests.test(field=field, typed=typed):
            before = marked.document.job
            opened = fill(monkeypatch, LineSheet, **{field: typed})
            marked.trigger("line-sheet")
            assert opened[0].complaint.text()
            assert opened[0].result() == 0
            assert marked.document.job is before


def test_a_direct_wave_typed_by_hand_moves_every_depth(marked, monkeypatch):
    covers = marked.covers()
    fill(monkeypatch, LineSheet, direct=f"{marked.line.direct.time_ns - 0.05:.3f}")
    marked.trigger("line-sheet")
    assert marked.line.direct.time_u_ns > 0.004
    assert all(marked.covers()[number] > covers[number] for number in covers)


@pytest.mark.parametrize(("field", "typed"), [("direct", "1.5"), ("frequency", "1.2")])
def test_the_pick_stage_follows_the_sheet_and_its_undo(marked, monkeypatch, field, typed):
    before = marked.document.stage.direct
    fill(monkeypatch, LineSheet, **{field: typed})
    marked.trigger("line-sheet")
    assert marked.document.stage.direct != before
    marked.trigger("undo")
    after = marked.document.stage.direct
    assert (after.time_ns, after.centre_frequency_ghz) == (
        before.time_ns,
        before.centre_frequency_ghz,
    )
    marked.trigger("redo")
    assert marked.document.stage.direct != before


def test_the_job_sheet_changes_name_note_and_specified_cover(marked, monkeypatch):
    fill(monkeypatch, JobSheet, name="North deck", note="after repair", cover="1 1/2 in")
    marked.trigger("job-sheet")
    job = marked.document.job
    assert (job.name, job.note) == ("North deck", "after repair")
    assert job.specified_cover_mm == pytest.approx(38.1)
    assert marked.pane.marks.picture.specified_cover_mm == pytest.approx(38.1)
    fill(monkeypatch, JobSheet, cover="")
    marked.trigger("job-sheet")
    assert marked.document.job.specified_cover_mm is None


def test_the_job_sheet_refuses_a_cover_that_cannot_be(marked, monkeypatch, subtests):
    for typed in ["thick", "0", "-35"]:
        with subtests.test(typed=typed):
            before = marked.document.job
            opened = fill(monkeypatch, JobSheet, cover=typed)
            marked.trigger("job-sheet")
            assert opened[0].complaint.text()
            assert marked.document.job is before


def test_the_job_sheet_says_how_good_the_meter_is(marked, monkeypatch):
    marked.document.edit("Off", lambda job: change_zone(job, job.zones[0].id, curvature=False))
    opened = fill(monkeypatch, JobSheet, reading="2 mm", shared="80 %")
    marked.trigger("job-sheet")
    meter = marked.document.job.meters[0]
    assert (meter.reading_u_mm, meter.shared) == (2.0, 0.8)
    words = [label.text() for label in opened[0].findChildren(QLabel)]
    assert "Of a reading's variance, shared by all readings" in words
    marked.select(marked.bar_at(260.0).id)
    marked.type("3")
    assert "± 2\u202fmm unless typed" in marked.box.hint.text()
    marked.type("5\r")
    assert marked.bar_at(260.0).tie.plus_minus_mm == 2.0


def test_another_medium_is_not_measured_by_what_is_usual_for_concrete(marked, monkeypatch):
    def run(sheet):
        sheet.medium.setCurrentText(MEDIA["other"])
        sheet._accept()
        return sheet.result()

    monkeypatch.setattr(JobSheet, "exec", run)
    marked.trigger("job-sheet")
    assert marked.document.job.zones[0].medium == "other"
    titles = [line.title.text() for line in marked.window.ledger.evidence.lines]
    assert "Typical of the medium" in titles
    marked.trigger("undo")
    assert marked.document.job.zones[0].medium == "concrete"


def test_the_job_sheet_refuses_a_meter_that_cannot_be(marked, monkeypatch, subtests):
    for field, typed in [
        ("reading", "0"),
        ("reading", "-1"),
        ("reading", "good"),
        ("reading", ""),
        ("shared", "100"),
        ("shared", "-1"),
        ("shared", "half"),
        ("shared", ""),
    ]:
        with subtests.test(field=field, typed=typed):
            before = marked.document.job
            opened = fill(monkeypatch, JobSheet, **{field: typed})
            marked.trigger("job-sheet")
            assert opened[0].complaint.text()
            assert marked.document.job is before


@pytest.fixture
def sheet(hand, qtbot):
    made = LineSheet(hand.window, hand.document.job, hand.line)
    qtbot.addWidget(made)
    return made


def test_an_antenna_card_fills_the_sheet(sheet, tmp_path, monkeypatch):
    card = {
        "name": "Card (invented)",
        "separation_mm": 55.0,
        "centre_frequency_ghz": 1.6,
        "height_mm": 3.0,
        "time_offset_ns": 0.02,
        "time_offset_u_ns": 0.01,
        "source": "made for this test",
    }
    path = tmp_path / "card.json"
    path.write_text(json.dumps(card))
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(path), ""))
    sheet._ask_card()
    sheet._accept()
    antenna = sheet.change(sheet._job).antenna_of(sheet._line)
    assert "separation is 55 mm, this line's was 40 mm" in sheet.complaint.text()
    assert {name: getattr(antenna, name) for name in card} == pytest.approx(card)


def test_the_card_of_the_demo_fits(sheet, demo):
    sheet.load_card(demo.parent / "antenna_card.json")
    assert sheet.complaint.text() == ""


def test_what_is_no_antenna_card_is_refused(sheet, tmp_path, subtests):
    for contents in [b"", b"[]", b"7", b"null", b"{", b'{"separation_mm": 40}', b"\xff\xfe\x00"]:
        with subtests.test(contents=contents):
            sheet.complaint.clear()
            path = tmp_path / "card.json"
            path.write_bytes(contents)
            shown = sheet.separation.text()
            sheet.load_card(path)
            assert "not an antenna card" in sheet.complaint.text()
            assert sheet.separation.text() == shown


def test_a_card_with_a_value_that_cannot_be_is_refused(sheet, demo, tmp_path, subtests):
    for field, value in [("centre_frequency_ghz", -1), ("separation_mm", "wide"), ("speed", 3)]:
        with subtests.test(field=field, value=value):
            sheet.complaint.clear()
            card = json.loads((demo.parent / "antenna_card.json").read_text())
            path = tmp_path / "card.json"
            path.write_text(json.dumps({**card, field: value}))
            sheet.load_card(path)
            assert "card.json" in sheet.complaint.text()


def test_a_card_that_is_not_there_is_told(sheet, tmp_path):
    sheet.load_card(tmp_path / "none.json")
    assert "none.json cannot be read" in sheet.complaint.text()


def test_an_antenna_is_saved_as_a_card_and_offered_for_the_next_scans(hand, tmp_path, monkeypatch):
    path = tmp_path / "own.json"

    def run(sheet):
        sheet.separation.setText("55 ± 1 mm")
        sheet.save_card(path)
        return QDialog.DialogCode.Rejected

    monkeypatch.setattr(LineSheet, "exec", run)
    hand.trigger("line-sheet")
    assert hand.document.job.antennas[0].separation_mm == 40.0
    assert read_card(path, "any").separation_mm == 55.0
    assert hand.window.keeper.settings.cards == (str(path),)


def test_a_card_that_cannot_be_written_is_told_in_the_sheet(hand, tmp_path, monkeypatch):
    told = []

    def run(sheet):
        sheet.save_card(tmp_path / "none" / "own.json")
        told.append(sheet.complaint.text())
        return QDialog.DialogCode.Rejected

    monkeypatch.setattr(LineSheet, "exec", run)
    hand.trigger("line-sheet")
    assert "is not there" in told[0]
    assert hand.window.keeper.settings.cards == ()
