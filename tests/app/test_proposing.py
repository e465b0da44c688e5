"""What becomes of proposals, without a window: shown by their scores, accepted, rejected, dropped, kept."""

import threading
from dataclasses import replace
from datetime import datetime

import pytest
from PySide6.QtCore import QObject

from depthwright import edits
from depthwright.exports.write import export_job
from depthwright.files.jobfile import load_job, save_job
from depthwright.finding.decide import accept_bars, accept_face
from depthwright.finding.proposal import Proposals
from depthwright.job import DirectPick
from depthwright.measuring.stage import PickStage
from depthwright.results import spots
from depthwright_app import proposing
from depthwright_app.background import Background
from depthwright_app.demo import copy_demo
from depthwright_app.document import Document
from depthwright_app.job_state import Selection
from depthwright_app.proposing import Proposing
from depthwright_app.session import evaluate_with_scans

from .made_up_proposals import BARS, FACE, made_up


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """The demo job, and the pick stage of the line that is looked at."""
    job = load_job(copy_demo(tmp_path_factory.mktemp("demo") / "demo")).job
    return job, {"line-1": evaluate_with_scans(job).stages["line-1"]}


class User:
    """Asks for proposals and decides on them."""

    def __init__(self, job, stages, qtbot):
        self.qtbot, self.owner = qtbot, QObject()
        self.document, self.background = Document(self.owner), Background(self.owner)
        self.proposing = Proposing(self.document, self.background, self.owner)
        self.said, self.went = [], []
        self.document.said.connect(lambda words, _: self.said.append(words))
        self.proposing.went_to.connect(lambda one: self.went.append(one.reason))
        self.open(job, stages)

    def open(self, job, stages):
        self.document.open(job, None)
        for line_id, stage in stages.items():
            self.document.scan_arrived(line_id, stage)

    def settle(self):
        self.qtbot.waitUntil(lambda: not self.background.busy())

    def ask(self):
        self.proposing.ask()
        self.settle()

    def accept(self):
        self.proposing.decide_current(self.proposing.accept)

    def reject(self):
        self.proposing.decide_current(self.proposing.reject)

    @property
    def shown(self):
        return [one.reason for one in self.proposing.shown]

    @property
    def current(self):
        return self.proposing.current and self.proposing.current.reason

    def marks(self, kind="bar"):
        return [mark for mark in self.document.line.marks if mark.kind == kind]

    def change_antenna(self, **fields):
        antenna = self.document.job.antenna_of(self.document.line).id
        self.document.edit("Antenna", lambda job: edits.change_antenna(job, antenna, **fields))


@pytest.fixture
def user(opened, qtbot, monkeypatch):
    """A user of the demo's first line, who has not asked yet."""
    monkeypatch.setattr(proposing, "propose", lambda job, line, stage, report: made_up(stage))
    user = User(*opened, qtbot)
    yield user
    user.background.close()
    user.owner.deleteLater()


@pytest.fixture
def asked(user):
    """A user who has been proposed something and has decided nothing."""
    user.ask()
    return user


SHOWN = ["echo 1", "echo 2", "echo 4", "echo 5", FACE]


def test_what_is_found_is_said_with_what_to_do_next_and_marks_nothing(asked):
    assert asked.said[-1] == (
        "4 bars and the back face proposed. Accept what is shown, or go from one to the next with "
        "Ctrl+Right. Look at 1100 mm."
    )
    assert asked.shown == SHOWN
    assert asked.proposing.count == len(BARS) + 1
    assert asked.marks() == []
    assert not asked.document.modified


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (lambda all_: Proposals(), "Nothing to propose was found on this line."),
        (lambda all_: Proposals(all_.bars[2:3]), "Only a weak proposal here: lower the least"),
        (lambda all_: Proposals(all_.bars[2::3]), "Only weak proposals here, 2 of them: lower"),
        (lambda all_: Proposals(all_.bars[:1]), "1 bar proposed."),
        (lambda all_: Proposals(face=all_.face), "The back face proposed."),
    ],
)
def test_what_is_not_found_is_said_too(user, monkeypatch, found, words):
    monkeypatch.setattr(
        proposing, "propose", lambda job, line, stage, report: found(made_up(stage))
    )
    user.ask()
    assert user.said[-1].startswith(words)


def test_the_least_score_sweeps_them_in_and_out_and_begins_anew_with_a_search(asked):
    for least, count in ((0.0, 7), (0.7, 5), (0.71, 4), (0.87, 2), (1.0, 0)):
        asked.proposing.show_from(least)
        assert len(asked.shown) == count
        drawn = asked.proposing.picture
        assert len(drawn.bars) + (drawn.face is not None) == count
    asked.ask()
    assert asked.shown == SHOWN


def test_going_from_one_to_the_next_goes_round_the_ends(asked):
    for _ in range(6):
        asked.proposing.step(1)
    asked.proposing.step(-1)
    assert asked.went == [*SHOWN, SHOWN[0], SHOWN[-1]]


def test_deciding_goes_on_to_the_next_but_not_round_the_end(asked):
    asked.proposing.step(1)
    asked.accept()
    asked.reject()
    assert asked.current == "echo 4"
    assert asked.said[-1].startswith("1 bar rejected; 5 left to decide.")
    asked.proposing.step(1)  # passes over it
    asked.accept()
    asked.accept()
    asked.accept()
    assert asked.current is None
    assert [mark.number for mark in asked.marks()] == [1, 2]
    assert [round(mark.position_mm, -1) for mark in asked.marks()] == [90, 770]
    assert asked.shown == ["echo 4"]


def test_one_thing_is_picked_out_a_mark_or_a_proposal(asked):
    (made,) = asked.proposing.accept(asked.proposing.shown[:1])
    asked.proposing.step(1)
    asked.document.select(Selection("line-1", made))
    assert asked.current is None
    asked.proposing.step(1)
    assert asked.document.selection is None
    asked.proposing.show_from(0.99)
    assert asked.current is None


def test_accepting_all_is_one_step_and_undo_proposes_them_again(asked):
    asked.proposing.accept(asked.proposing.shown)
    assert len(asked.marks()) == 4
    assert [len(face.anchors) for face in asked.marks("face")] == [5]
    assert asked.said[-1].startswith("4 bars and the back face accepted; 2 left to decide.")
    assert asked.shown == []
    rows = asked.document.results.lines["line-1"]
    assert (len(rows.bars), len(rows.faces)) == (4, 1)
    asked.document.undo()
    assert asked.marks() == []
    assert asked.shown == SHOWN
    asked.document.redo()
    assert asked.shown == []


@pytest.fixture
def many(asked, monkeypatch):
    """A user to whom four bars are many: they are marked in the background."""
    monkeypatch.setattr(proposing, "MANY", 3)
    return asked


def test_many_are_marked_in_the_background_in_one_step_like_a_few(many):
    document, shown = many.document, many.proposing.shown
    expected = document.tried(
        lambda job: accept_face(accept_bars(job, "line-1", shown[:-1])[0], "line-1", shown[-1])[0]
    )
    assert many.proposing.accept(shown) == ()
    assert many.said[-1] == "Marking 4 bars and the back face."
    assert many.marks() == []
    many.settle()
    assert len(many.marks()) == 4
    assert many.said[-1].startswith("4 bars and the back face accepted; 2 left to decide.")
    assert document.made.permittivity == expected.permittivity
    document.undo()
    assert many.marks() == []
    assert many.shown == SHOWN


def test_asked_for_twice_they_are_marked_once(many):
    many.proposing.accept(many.proposing.shown)
    many.proposing.accept(many.proposing.shown)
    many.settle()
    assert len(many.marks()) == 4


def test_what_is_asked_for_while_others_are_marked_does_not_take_their_place(many, monkeypatch):
    monkeypatch.setattr(proposing, "MANY", 1)
    shown = many.proposing.shown
    many.proposing.accept(shown[:2])
    many.proposing.accept(shown[2:])
    assert many.said[-1] == "Proposals are still being marked. Accept these once that is done."
    many.settle()
    assert len(many.marks()) == 2
    many.proposing.accept(shown[2:])
    many.settle()
    assert len(many.marks()) == 4


def test_what_is_marked_meanwhile_is_not_marked_again(many):
    shown = many.proposing.shown
    many.proposing.accept(shown)
    many.proposing.accept(shown[:1])
    many.settle()
    assert [round(mark.position_mm) for mark in many.marks()] == [90]
    assert many.said[-1].startswith("Nothing was marked, since")


def test_an_edit_meanwhile_counts_too(many):
    many.proposing.accept(many.proposing.shown)
    many.document.edit("Job", lambda job: edits.change_job(job, name="Deck"))
    many.settle()
    assert (many.document.job.name, len(many.marks())) == ("Deck", 4)


def test_a_line_left_meanwhile_is_not_marked(many):
    many.proposing.accept(many.proposing.shown)
    many.document.show_line("line-2")
    many.settle()
    many.document.show_line("line-1")
    assert many.marks() == []
    assert many.said[-1].startswith("Nothing was marked, since")


def test_to_redo_condenses_no_crest_again(asked, monkeypatch):
    asked.proposing.accept(asked.proposing.shown)
    asked.document.undo()
    asked_for = []
    monkeypatch.setattr(
        spots, "condense", lambda crests: asked_for.extend(crests) or [None] * len(crests)
    )
    asked.document.redo()
    assert asked_for == []
    assert len(asked.marks()) == 4


def test_an_accepted_one_is_what_a_click_there_marks(asked):
    pick = asked.proposing.shown[1].pick
    asked.document.add_bar(asked.document.snap("bar", pick.position_mm, pick.time_ns))
    (clicked,) = asked.marks()
    assert "echo 2" not in asked.shown
    asked.document.undo()
    asked.proposing.accept(asked.proposing.shown[1:2])
    assert asked.marks() == [clicked]


def test_rejected_ones_stay_away_from_searches_and_over_saving_until_they_are_allowed(
    asked, opened, tmp_path
):
    asked.proposing.reject(asked.proposing.shown[:2])
    assert asked.document.modified
    asked.ask()
    assert asked.shown == SHOWN[2:]
    path = tmp_path / "job.dwjob"
    save_job(path, asked.document.job, asked.document.made, datetime(2026, 3, 14))
    asked.open(load_job(path).job, {})
    assert asked.shown == []
    asked.open(load_job(path).job, opened[1])
    asked.ask()
    assert asked.shown == SHOWN[2:]
    asked.proposing.allow_again()
    asked.settle()
    assert asked.shown == SHOWN
    asked.document.undo()
    assert asked.shown == SHOWN[2:]


def test_a_search_that_finds_only_what_is_decided_says_so(asked):
    asked.proposing.show_from(0.0)
    asked.proposing.accept(asked.proposing.shown[:3])
    asked.proposing.reject(asked.proposing.shown)
    asked.ask()
    assert asked.said[-1].startswith("All that was found is marked already or was rejected.")


def test_each_line_has_its_own(asked):
    asked.proposing.show_from(0.87)
    asked.document.show_line("line-2")
    assert asked.shown == []
    assert asked.proposing.picture.bars == ()
    asked.document.show_line("line-1")
    assert asked.shown == SHOWN[:2]


def test_other_marks_leave_them_another_antenna_or_pick_stage_takes_them_away(asked, opened):
    asked.document.add_bar(asked.document.snap("bar", 932.0, 1.55))
    assert asked.shown == SHOWN
    asked.change_antenna(separation_mm=55.0)
    assert asked.proposing.count == 0
    asked.ask()
    assert asked.shown == SHOWN
    stage = asked.document.stage
    asked.document.scan_missing("line-1", "The scan is gone.")
    assert asked.proposing.count == 0
    asked.document.scan_arrived("line-1", stage)
    assert asked.proposing.count == 0


@pytest.mark.parametrize(
    "fields", [{"distance_scale": 1.02}, {"direct": DirectPick(time_ns=0.05)}, {"name": "L1"}]
)
def test_they_go_with_a_sentence_once_the_search_would_go_by_something_else(asked, fields):
    asked.document.edit("Line", lambda job: edits.change_line(job, "line-1", **fields))
    if "name" in fields:
        assert asked.shown == SHOWN
        return
    assert asked.proposing.count == 0
    assert asked.proposing.picture.bars == ()
    assert asked.said[-1].endswith(
        "What the proposals rested on has changed: F5 looks for them again."
    )
    asked.document.undo()
    assert asked.proposing.count == 0
    asked.ask()
    assert asked.shown == SHOWN


def test_that_they_went_is_said_once_and_only_with_the_edit_that_took_them(asked, opened):
    asked.change_antenna(separation_mm=55.0)
    assert sum("rested on" in words for words in asked.said) == 1
    asked.change_antenna(separation_mm=56.0)
    assert sum("rested on" in words for words in asked.said) == 1
    asked.ask()
    asked.open(*opened)
    asked.document.add_bar(asked.document.snap("bar", 260.0, 1.48))
    assert sum("rested on" in words for words in asked.said) == 1


def test_where_the_line_lies_only_moves_them_with_it(asked):
    before = [glyph.position_mm for glyph in asked.proposing.picture.bars]
    asked.document.edit("Shift", lambda job: edits.shift_line(job, "line-1", 500.0))
    after = [glyph.position_mm for glyph in asked.proposing.picture.bars]
    assert after == pytest.approx([place + 500.0 for place in before])
    assert asked.shown == SHOWN


@pytest.fixture
def waiting(user, monkeypatch):
    """A user whose search goes on until the event that is given beside is set."""
    go = threading.Event()

    def slow(job, line, stage, report):
        assert go.wait(10)
        return made_up(stage)

    monkeypatch.setattr(proposing, "propose", slow)
    return user, go


@pytest.mark.parametrize(
    "meanwhile", ["another line", "another antenna", "another scale", "another job", "line removed"]
)
def test_an_answer_for_what_is_not_there_any_more_is_dropped(waiting, opened, meanwhile):
    user, go = waiting
    user.proposing.ask()
    if meanwhile == "another line":
        user.document.show_line("line-2")
    elif meanwhile == "another antenna":
        user.change_antenna(separation_mm=55.0)
    elif meanwhile == "another scale":
        user.document.edit(
            "Scale", lambda job: edits.change_line(job, "line-1", distance_scale=1.1)
        )
    elif meanwhile == "another job":
        user.open(opened[0], {})
    else:
        user.document.edit("Remove", lambda job: edits.remove_line(job, "line-1"))
    go.set()
    user.settle()
    if meanwhile == "line removed":
        user.document.undo()
    user.document.show_line("line-1")
    assert user.proposing.count == 0
    assert "proposed" not in user.said[-1]


def test_marks_that_come_and_go_meanwhile_leave_a_search_to_its_end(waiting):
    user, go = waiting
    user.document.add_bar(user.document.snap("bar", 260.0, 1.48))
    user.proposing.ask()
    user.document.undo()
    user.document.add_bar(user.document.snap("bar", 90.0, 1.42))
    go.set()
    user.settle()
    assert user.shown == SHOWN[1:]
    assert len(user.marks()) == 1


def test_what_lies_outside_the_part_of_the_line_that_is_shown_is_not_proposed(asked):
    asked.document.edit("Crop", lambda job: edits.crop_line(job, "line-1", (200.0, 700.0)))
    assert asked.shown == ["echo 2", "echo 4", FACE]


def test_on_a_turned_line_they_are_in_the_order_of_their_distances(asked):
    ends = asked.document.stage.scan.edges_mm
    asked.document.edit("Turn", lambda job: edits.reverse_line(job, "line-1", ends))
    assert asked.shown == [*reversed(SHOWN[:-1]), FACE]
    asked.proposing.accept(asked.proposing.shown)
    first = min(asked.marks(), key=lambda mark: mark.number)
    assert first.position_mm == pytest.approx(765, abs=3)


def test_those_in_view_are_told_by_their_apexes_and_any_part_of_the_back_face(asked):
    def within(*seen):
        return [one.reason for one in asked.proposing.within(seen)]

    assert within(0.0, 1200.0, 0.0, 8.0) == SHOWN
    assert within(200.0, 650.0, 1.0, 3.0) == ["echo 2", "echo 4"]
    assert within(250.0, 300.0, 3.0, 8.0) == [FACE]
    assert within(1100.0, 1200.0, 0.0, 8.0) == []


def test_the_words_on_the_current_one_name_its_reason_its_score_and_its_depth(asked):
    assert asked.proposing.current_words == ("", "", False)
    asked.proposing.step(1)
    told, depth, provisional = asked.proposing.current_words
    assert told.startswith("Bar at 90")
    assert told.endswith("echo 1 · score 0.95")
    cover = asked.document.model.read_at(asked.proposing.current.pick.time_ns)
    assert depth.startswith(f"cover {cover.value_mm:.0f}")
    assert provisional
    asked.proposing.step(-2)  # round the beginning to the one before the last
    asked.proposing.step(1)
    told, depth, _ = asked.proposing.current_words
    assert told == f"Back face through 5 anchors: {FACE} · score 0.80"
    asked.accept()
    median = asked.document.results.lines["line-1"].faces[0].median
    assert depth.startswith(f"thickness {median.value_mm:.0f}")


def test_no_long_line_is_followed_just_to_tell_the_thickness(asked, monkeypatch):
    monkeypatch.setattr(proposing, "MOST_TRIED", asked.document.stage.scan.traces - 1)
    asked.proposing.step(-1)
    assert asked.current == FACE
    assert asked.proposing.current_words[1] == ""
    monkeypatch.setattr(proposing, "MOST_TRIED", asked.document.stage.scan.traces)
    assert asked.proposing.current_words[1].startswith("thickness ")


def test_the_thickness_is_told_anew_for_a_stage_that_was_read_anew(asked):
    asked.proposing.step(-1)
    before = asked.proposing.current_words
    stage = asked.document.stage
    asked.document.scan_missing("line-1", "The scan is gone.")
    direct = replace(stage.direct, wavelet=stage.direct.wavelet.copy())
    asked.document.scan_arrived("line-1", PickStage(stage.scan, direct))
    asked.ask()
    asked.proposing.step(-1)
    assert asked.proposing.current_words == before


def test_nothing_that_is_handed_on_holds_a_proposal(asked, tmp_path):
    document, written = asked.document, []
    document.edit("Remove", lambda job: edits.remove_line(job, "line-2"))
    asked.proposing.accept(asked.proposing.shown[:1])
    for name in ("with", "without"):
        assert bool(asked.proposing.count) == (name == "with")
        when = datetime(2026, 3, 14)
        export_job(document.job, document.stages, document.made, tmp_path / name, when, ())
        save_job(tmp_path / f"{name}.dwjob", document.job, document.made, when)
        files = [path.read_bytes() for path in sorted((tmp_path / name).iterdir())]
        written.append((files, (tmp_path / f"{name}.dwjob").read_bytes()))
        asked.proposing.put_away()
    assert written[0] == written[1]
    assert not any(b"echo 2" in text for text in (*written[0][0], written[0][1]))


def test_put_away_is_no_decision(asked):
    asked.proposing.put_away()
    assert asked.shown == []
    assert not asked.document.modified
    asked.ask()
    assert asked.shown == SHOWN
