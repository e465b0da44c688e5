"""The quick path: click near an apex, type a known depth, Enter, and every depth answers.

Mouse and keys are real events. Truth is what the demo's scans were computed from (``truth.json``).
"""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QFileDialog

from depthwright.files.jobfile import load_job
from depthwright.files.results_block import compare_results, results_block

BACK_FACE_MM = (160.0, 166.25)
TIED_BAR_MM = 260.0


def clicks_on(tour, line, kind):
    return [
        (click["position_mm"], click["time_ns"])
        for click in tour["clicks"]
        if click["line"] == line and click["kind"] == kind
    ]


@pytest.fixture
def walked(hand, tour):
    """The first line with all its bars and its back face marked by clicks."""
    assert hand.window.marking.mode.id == "bar"
    for place in clicks_on(tour, "deck-L1", "bar"):
        hand.click(*place)
    hand.press(Qt.Key.Key_F4)
    assert hand.window.marking.mode.id == "face"
    for place in clicks_on(tour, "deck-L1", "face"):
        hand.click(*place)
    hand.press(Qt.Key.Key_F3)
    return hand


def click_on(hand, mark):
    hand.click(hand.line.on_concrete_mm(mark.position_mm), mark.time_ns)


def tie_bar_2(hand, text="35"):
    click_on(hand, hand.bar_at(TIED_BAR_MM))
    hand.type(text)
    hand.press(Qt.Key.Key_Return)


def test_each_click_marks_one_bar_and_those_along_the_back_face_one_face(
    walked, truth, tour, tour_marks
):
    bars = walked.marks("bar")
    true = [bar["position_mm"] for bar in truth["lines"]["deck-L1"]["bars"]]
    assert [bar.number for bar in bars] == list(range(1, len(true) + 1))
    for bar, position in zip(bars, true, strict=True):
        assert bar.position_mm == pytest.approx(position, abs=max(5.0, 2 * bar.position_u_mm))
    (face,) = walked.marks("face")
    assert len(face.anchors) == len(clicks_on(tour, "deck-L1", "face"))
    # A line marked beforehand stands for one marked by hand in the tests below.
    assert walked.line.marks == tour_marks


def test_clicking_a_mark_again_selects_it(marked):
    before = marked.document.job
    bar = marked.bar_at(TIED_BAR_MM)
    click_on(marked, bar)
    assert marked.document.selected == bar
    assert marked.document.job is before


def test_the_box_says_which_bar_it_ties(marked):
    click_on(marked, marked.bar_at(TIED_BAR_MM))
    marked.type("3")
    assert marked.box.isVisible()
    assert marked.box.title.text() == "Known depth of bar 2"
    assert marked.box.field.text() == "3"
    assert "1 mm" in marked.box.hint.text().replace("\u202f", " ")


def test_enter_ties_that_bar_only(marked):
    tie_bar_2(marked)
    assert not marked.box.isVisible()
    tied = [mark for mark in marked.marks("bar") if mark.tie is not None]
    assert tied == [marked.bar_at(TIED_BAR_MM)]
    assert tied[0].tie.depth_mm == 35.0
    assert tied[0].tie.plus_minus_mm == 1.0
    assert tied[0].tie.origin == "cover meter"
    (face,) = marked.marks("face")
    assert all(anchor.tie is None for anchor in face.anchors)


def test_a_tie_moves_everything_that_shows_a_depth(plain):
    marked = plain
    window = marked.window

    def shown():
        picture = marked.pane.marks.picture
        return {
            "permittivity": window.ledger.value.text(),
            "velocity": window.ledger.velocity.text(),
            "footing": window.ledger.footing.text(),
            "moved": window.ledger.moved.text(),
            "ruler": marked.tick_places()["100"],
            "ruler's label": marked.pane.ruler.labelText,
            "strip": tuple(cover.label for cover in picture.covers),
            "labels": tuple(bar.label for bar in picture.bars),
            "face": tuple(face.label for face in picture.faces),
            "message": marked.said,
        }

    covers, before = marked.covers(), shown()
    thickness = marked.rows().faces[0].median.value_mm
    tie_bar_2(marked)
    after = shown()
    assert {key for key in before if before[key] == after[key]} == set()
    moved = marked.covers()
    assert all(abs(moved[number] - covers[number]) > 0.1 for number in covers)
    assert abs(marked.rows().faces[0].median.value_mm - thickness) > 0.1


def test_the_message_strip_says_what_moved(plain):
    marked = plain
    permittivity = marked.document.results.permittivity
    face = marked.rows().faces[0].median.value_mm
    tie_bar_2(marked)
    now = marked.document.results.permittivity
    sentence = marked.said
    assert sentence.startswith(f"Permittivity {permittivity:.1f} to {now:.1f}; 7 bars; ")
    assert f"back face {face:.0f} to " in sentence
    assert marked.window.ledger.moved.text() == sentence


def test_covers_and_thickness_hold_the_truth(marked, truth):
    tie_bar_2(marked)
    rows = marked.rows()
    true = truth["lines"]["deck-L1"]["bars"]
    assert len(rows.bars) == len(true)
    for row, bar in zip(rows.bars, true, strict=True):
        assert abs(row.cover.value_mm - bar["cover_mm"]) <= row.cover.expanded_mm
    (face,) = rows.faces
    assert face.median.value_mm + face.median.expanded_mm >= BACK_FACE_MM[0]
    assert face.median.value_mm - face.median.expanded_mm <= BACK_FACE_MM[1]
    low, high = truth["lines"]["deck-L1"]["thickness_mm"]
    start, end = truth["lines"]["deck-L1"]["face_mm"]
    for anchor in face.anchors:
        along = (anchor.position.value_mm - start) / (end - start)
        expected = low + along * (high - low)
        assert abs(anchor.depth.value_mm - expected) <= anchor.depth.expanded_mm


def test_the_whole_main_job_ends_on_disk(walked, demo, tmp_path, monkeypatch):
    tie_bar_2(walked)
    target = tmp_path / "kept" / "deck.dwjob"
    target.parent.mkdir()
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(target), ""))
    walked.trigger("save-as")
    assert str(target) in walked.said
    assert not walked.document.modified

    loaded = load_job(target)
    tied = [mark for mark in loaded.job.line("line-1").marks if getattr(mark, "tie", None)]
    assert [(mark.number, mark.tie.depth_mm) for mark in tied] == [(2, 35.0)]
    assert loaded.results is not None
    job, results = walked.document.job, walked.document.results
    assert compare_results(loaded.results, results) == ""
    assert loaded.results == results_block(job, results)
    assert load_job(demo).job.line("line-1").marks == ()

    image = tmp_path / "deck.png"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(image), ""))
    walked.trigger("export-image")
    assert image.stat().st_size > 50_000
    picture = QImage(str(image))
    assert not picture.isNull()
    assert min(picture.width(), picture.height()) > 500


def test_saving_goes_back_to_the_file_it_came_from(marked, demo):
    tie_bar_2(marked)
    marked.press(Qt.Key.Key_S, Qt.KeyboardModifier.ControlModifier)
    marks = load_job(demo).job.line("line-1").marks
    assert marks == marked.line.marks


def test_a_saved_job_opens_as_it_was(marked, demo):
    tie_bar_2(marked)
    job, covers = marked.document.job, marked.covers()
    marked.trigger("save")
    marked.window.keeper.open_path(demo)
    marked.settle()
    assert marked.document.job == job
    assert marked.covers() == pytest.approx(covers, abs=1e-9)
    assert "Warning" not in marked.said


def test_undo_leads_back_to_the_job_as_opened(walked, demo):
    tie_bar_2(walked)
    done = walked.document.job
    steps = 0
    while walked.window.commands["undo"].isEnabled():
        walked.press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        steps += 1
        assert steps < 50
    assert steps == 7 + 6 + 1
    assert walked.document.job == load_job(demo).job
    assert not walked.document.modified
    assert walked.pane.marks.picture.bars == ()
    while walked.window.commands["redo"].isEnabled():
        walked.trigger("redo")
    assert walked.document.job == done


def test_esc_discards_what_was_typed(marked):
    before = marked.document.job
    click_on(marked, marked.bar_at(TIED_BAR_MM))
    marked.type("35")
    marked.press(Qt.Key.Key_Escape)
    assert not marked.box.isVisible()
    assert marked.document.job is before
    assert marked.document.selected == marked.bar_at(TIED_BAR_MM)
    marked.type("4")
    assert marked.box.field.text() == "4"


def test_a_click_elsewhere_discards_what_was_typed(marked):
    before = marked.document.job
    click_on(marked, marked.bar_at(TIED_BAR_MM))
    marked.type("35")
    click_on(marked, marked.bar_at(600.0))
    assert not marked.box.isVisible()
    assert marked.document.job is before
    assert marked.document.selected == marked.bar_at(600.0)
    marked.press(Qt.Key.Key_Return)
    assert marked.document.job is before


@pytest.mark.parametrize("where", ["tree", "ledger"])
def test_going_elsewhere_in_the_window_discards_what_was_typed(marked, where):
    before = marked.document.job
    click_on(marked, marked.bar_at(TIED_BAR_MM))
    marked.type("35")
    window = marked.window
    {"tree": window.tree, "ledger": window.ledger.field}[where].setFocus()
    assert not marked.box.isVisible()
    assert marked.document.job is before


def test_a_click_that_does_not_snap_clears_the_selection(marked):
    click_on(marked, marked.bar_at(TIED_BAR_MM))
    before = marked.document.job
    marked.click(180.0, 5.9)
    assert marked.document.selection is None
    assert marked.document.job is before
    assert "snap" in marked.said


def test_typing_with_nothing_selected_says_so(marked):
    before = marked.document.job
    marked.document.select(None)
    marked.type("3")
    assert not marked.box.isVisible()
    assert "Select a bar, a target or the back face" in marked.said
    assert marked.document.job is before


def test_a_reading_on_the_back_face_ties_the_place_clicked(marked):
    (face,) = marked.marks("face")
    click_on(marked, face.anchors[2])
    marked.type("162")
    assert marked.box.title.text() == "Known depth of back face"
    marked.press(Qt.Key.Key_Return)
    (face,) = marked.marks("face")
    assert [anchor.tie is not None for anchor in face.anchors] == [
        index == 2 for index in range(len(face.anchors))
    ]
    assert face.anchors[2].tie.origin == "drilled hole or core"


def test_a_second_reading_on_the_same_bar_replaces_the_first(marked):
    tie_bar_2(marked, "40")
    tie_bar_2(marked, "35")
    assert marked.bar_at(TIED_BAR_MM).tie.depth_mm == 35.0
    assert sum(mark.tie is not None for mark in marked.marks("bar")) == 1
