"""The document: one step per edit, nothing half done, signals when something changed."""

from dataclasses import replace

import pytest

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import load_job
from depthwright.files.scans import open_scan
from depthwright.job import Job, Tie
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage, track, track_faces
from depthwright_app import job_state
from depthwright_app.demo import copy_demo
from depthwright_app.document import Document, Selection

LINE = "line-1"


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """The demo job and its pick stages."""
    path = copy_demo(tmp_path_factory.mktemp("demo") / "copy")
    job = load_job(path).job
    stages = {line.id: pick_stage(job, line, open_scan(line.scan)) for line in job.lines}
    return path, job, stages


@pytest.fixture
def document(qapp, loaded):
    path, job, stages = loaded
    made = Document()
    made.open(job, path)
    for line_id, stage in stages.items():
        made.scan_arrived(line_id, stage)
    return made


@pytest.fixture
def heard(document):
    """Names of the signals in the order they came."""
    names = []
    document.job_changed.connect(lambda *_: names.append("job"))
    document.selection_changed.connect(lambda: names.append("selection"))
    document.line_changed.connect(lambda: names.append("line"))
    document.said.connect(lambda sentence, warning: names.append((sentence, warning)))
    return names


def mark_bar(document, position_mm, time_ns):
    document.add_bar(document.snap("bar", position_mm, time_ns))


def mark_face(document, *positions_mm):
    for position in positions_mm:
        document.add_anchor(document.snap("face", position, 3.85))


def test_a_new_document_is_empty_and_unmodified(qapp):
    document = Document()
    assert document.job == Job()
    assert not document.modified
    assert document.line is document.stage is document.model is document.selected is None
    document.undo()
    document.redo()
    assert document.job == Job()


def test_a_mark_is_selected_and_is_one_step(document):
    before = document.job
    mark_bar(document, 265.0, 1.45)
    assert document.selected == document.line.marks[0]
    assert document.history.undo_words == "Mark a bar"
    assert document.modified
    document.undo()
    assert document.job is before
    assert document.selection is None
    assert not document.modified


def test_the_same_bar_is_not_marked_twice(document):
    mark_bar(document, 265.0, 1.45)
    mark_bar(document, 430.0, 1.55)
    before = document.job
    mark_bar(document, 258.0, 1.42)
    assert document.job is before
    assert document.selected.number == 1


def test_results_follow_every_edit(document):
    mark_bar(document, 265.0, 1.45)
    mark_face(document, 180.0, 510.0)
    stages = document.stages
    for _ in range(2):
        expected = evaluate(document.job, track_faces(document.job, stages))
        now = document.results
        assert now.permittivity == pytest.approx(expected.permittivity)
        assert now.lines[LINE].faces[0].median == expected.lines[LINE].faces[0].median
        assert now.lines[LINE].bars == expected.lines[LINE].bars
        document.select(Selection(LINE, document.line.marks[0].id))
        document.tie_selected(Tie(depth_mm=35.0, plus_minus_mm=1.0))


def test_an_edit_that_cannot_be_changes_nothing_and_says_why(document, heard):
    mark_bar(document, 265.0, 1.45)
    job, results, history = document.job, document.results, document.history
    heard.clear()
    assert not document.tie_selected(Tie(depth_mm=5000.0, plus_minus_mm=1.0))
    assert document.job is job
    assert document.results is results
    assert document.history is history
    ((sentence, warning),) = heard
    assert warning
    assert "faster than in air" in sentence


def test_an_edit_that_changes_nothing_is_no_step(document):
    history = document.history
    assert document.edit("Nothing", lambda job: edits.change_job(job, name=job.name))
    assert document.history == history


def test_a_preview_shows_numbers_and_leaves_the_job(document):
    mark_bar(document, 265.0, 1.45)
    job, before = document.job, document.results
    zone = job.zones[0]
    document.preview(lambda job: edits.type_permittivity(job, zone, 9.0, 0.01))
    assert document.job is job
    assert document.results.permittivity == pytest.approx(9.0, abs=0.01)
    assert before.permittivity != pytest.approx(9.0, abs=0.1)
    document.preview(None)
    assert document.results.permittivity == before.permittivity
    assert document.history.undo_words == "Mark a bar"


def test_a_preview_that_cannot_be_leaves_what_is(document):
    mark_bar(document, 265.0, 1.45)
    before = document.results
    zone = document.job.zones[0]
    document.preview(lambda job: edits.type_permittivity(job, zone, 500.0, 1.0))
    assert document.results is before


def test_a_selected_mark_that_is_undone_is_no_longer_selected(document, heard):
    mark_bar(document, 265.0, 1.45)
    document.undo()
    assert document.selected is None
    assert heard.count("selection") == 2


def test_an_anchor_that_goes_leaves_nothing_selected(document):
    """The next digit must not tie a mark that nobody chose."""
    mark_face(document, 180.0, 510.0, 850.0)
    assert document.selection.anchor == 2
    document.undo()
    assert document.selection is None


def test_anchors_keep_their_order_along_the_line(document):
    mark_face(document, 850.0, 180.0, 510.0)
    (face,) = document.line.marks
    assert [anchor.position_mm for anchor in face.anchors] == [180.0, 510.0, 850.0]
    assert document.selection.anchor == 1


def test_an_anchor_moved_onto_another_stays_selected(document):
    mark_face(document, 180.0, 510.0, 850.0)
    document.select(Selection(LINE, document.line.marks[0].id, 1))
    assert document.place_selected(document.by_hand(180.0, 3.9))
    place = document.selected.anchors[document.selection.anchor]
    assert (place.position_mm, place.time_ns) == (180.0, 3.9)
    assert document.place_selected(document.by_hand(900.0, 3.9))
    place = document.selected.anchors[document.selection.anchor]
    assert (place.position_mm, place.time_ns) == (900.0, 3.9)
    assert sorted(a.position_mm for a in document.selected.anchors) == [180.0, 850.0, 900.0]


def test_a_tie_needs_a_mark(document, heard):
    document.select(None)
    heard.clear()
    assert not document.tie_selected(Tie(depth_mm=35.0, plus_minus_mm=1.0))
    assert heard == [("Select the mark that was measured, then type its known depth.", True)]


def test_saving_makes_the_present_state_the_one_on_disk(document, tmp_path):
    mark_bar(document, 265.0, 1.45)
    document.mark_saved(tmp_path / "kept.dwjob")
    assert not document.modified
    assert document.path == tmp_path / "kept.dwjob"
    document.undo()
    assert document.modified
    document.redo()
    assert not document.modified


def test_opening_another_job_forgets_everything_of_the_first(document, heard):
    mark_bar(document, 265.0, 1.45)
    document.open(Job(), None)
    assert document.stages == {}
    assert document.selection is None
    assert document.path is None
    assert document.moved_words == ""
    assert not document.modified
    assert document.history.undo_words == ""
    assert {"job", "line", "selection"} <= {name for name in heard if isinstance(name, str)}


def test_a_job_that_cannot_be_is_not_opened_by_half(document, loaded):
    path = loaded[0]
    mark_bar(document, 265.0, 1.45)
    before = (document.job, document.results, document.path, dict(document.stages))
    line = document.line
    impossible = edits.tie_mark(
        document.job, LINE, line.marks[0].id, Tie(depth_mm=5000.0, plus_minus_mm=1.0)
    )
    with pytest.raises(DepthwrightError):
        document.open(impossible, path.with_name("other.dwjob"))
    assert (document.job, document.results, document.path, document.stages) == before


def test_selecting_a_mark_shows_its_line(document, heard):
    mark_bar(document, 265.0, 1.45)
    bar = document.selection
    document.show_line("line-2")
    heard.clear()
    document.select(bar)
    assert document.line_id == LINE
    assert heard == ["line", "selection"]
    document.select(bar)
    assert heard == ["line", "selection"]


def test_a_scan_that_cannot_be_read_is_told_and_remembered(document, heard):
    document.scan_missing(LINE, "deck-L1.sgy is gone.")
    assert document.missing == {LINE: "deck-L1.sgy is gone."}
    assert ("deck-L1.sgy is gone.", True) in heard
    assert "line" in heard


@pytest.mark.parametrize(("line_id", "told"), [(LINE, "line"), ("line-2", "job")])
def test_a_scan_that_arrives_is_told_once_and_moves_no_number_without_a_back_face(
    document, heard, loaded, line_id, told
):
    mark_bar(document, 265.0, 1.45)
    heard.clear()
    covers = document.made.lines[LINE].bars
    document.scan_arrived(line_id, loaded[2][line_id])
    assert heard == [told]
    assert document.made.lines[LINE].bars is covers


def test_a_back_face_is_followed_once_its_scan_has_arrived(qapp, document, loaded):
    mark_face(document, 200.0, 800.0)
    waiting = Document()
    waiting.open(document.job, None)
    # Between the anchors alone until then.
    assert len(waiting.made.lines[LINE].faces[0].time_ns) < 10
    waiting.scan_arrived(LINE, loaded[2][LINE])
    followed, wanted = (held.made.lines[LINE].faces[0] for held in (waiting, document))
    assert len(followed.time_ns) > 50
    assert followed.time_ns.tolist() == wanted.time_ns.tolist()


def test_what_moved_is_said_once_per_edit(document, heard):
    mark_bar(document, 265.0, 1.45)
    mark_bar(document, 430.0, 1.55)
    zone = document.job.zones[0]
    document.edit("Off", lambda job: edits.change_zone(job, zone.id, curvature=False))
    heard.clear()
    document.tie_selected(Tie(depth_mm=40.0, plus_minus_mm=1.0))
    told = [name for name in heard if not isinstance(name, str)]
    assert told == [(document.moved_words, False)]
    assert document.moved_words.startswith("Permittivity 7.0 to ")


# What is worked out on another thread.


def test_a_face_followed_on_a_scan_that_was_read_anew_meanwhile_is_followed_again(
    document, monkeypatch
):
    pick = document.snap("face", 500.0, 3.85)
    anew = replace(document.stage)
    followed = []

    def follow(stage, face):
        followed.append(stage)
        if len(followed) == 1:
            document.scan_arrived(LINE, anew)
        return track(stage, face)

    def change(job):
        return edits.add_anchor(job, LINE, None, pick)[0]

    monkeypatch.setattr(job_state, "track", follow)
    assert document.edit_worked_out("Mark", change, "", document.working_out(change)())
    assert followed[0] is not anew
    assert followed[-1] is anew


# What is said.


def test_what_is_said_of_a_line_goes_with_it(document, heard):
    mark_bar(document, 260.0, 1.48)
    assert "marked" in heard[-1][0]
    document.show_line(document.line_id)
    assert "marked" in heard[-1][0]
    document.show_line("line-2")
    assert heard[-2:] == [("", False), "line"]
    document.show_line("line-1")
    assert heard[-2:] == ["line", "line"]


def test_a_refused_depth_goes_with_its_line(document, heard):
    mark_bar(document, 260.0, 1.48)
    document.tie_selected(Tie(depth_mm=3500.0, plus_minus_mm=1.0))
    assert "faster than in air" in heard[-1][0]
    document.show_line("line-2")
    assert ("", False) in heard[-3:]


def test_what_is_not_about_a_line_stays(document, heard):
    mark_bar(document, 260.0, 1.48)
    document.said.emit("The job could not be saved.", True)
    document.show_line("line-2")
    assert ("", False) not in heard
    document.tell(DepthwrightError("The images could not be written."))
    document.show_line("line-1")
    assert ("", False) not in heard
    document.tell(DepthwrightError("This line has no direct wave."), here=True)
    document.show_line("line-2")
    assert heard[-2:] == [("", False), "line"]


def test_a_warning_that_the_known_depths_disagree_stays(document, heard):
    for place, time, depth in ((260.0, 1.48, 35.0), (765.0, 1.66, 60.0)):
        mark_bar(document, place, time)
        document.tie_selected(Tie(depth_mm=depth, plus_minus_mm=0.5))
    assert heard[-1][1]
    document.show_line("line-2")
    assert ("", False) not in heard
