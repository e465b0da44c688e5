"""A scan is shown before all of it has been read; hash and findings come behind, saving waits for them."""

import hashlib
import threading

import numpy as np
import pytest
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget

from depthwright import intake
from depthwright.files.jobfile import load_job
from depthwright.files.segy import read_segy, write_segy
from depthwright_app.background import Background
from depthwright_app.document import Document
from depthwright_app.job_keeper import JobKeeper


def drop(*_):
    """For answers that nobody waits for."""


def confirmed(incoming):
    """The answer of someone who finds all in order."""
    return incoming, None


class Held:
    """A document with its keeper; checks do not begin before :meth:`release`."""

    def __init__(self, document, keeper, qtbot):
        self.document, self.keeper, self.qtbot = document, keeper, qtbot
        self.heard = []
        document.said.connect(lambda words, _: self.heard.append(words))
        self._gate = threading.Event()
        self.hold()

    @property
    def said(self):
        """The last sentence for the message strip."""
        return self.heard[-1]

    def settle(self):
        self.wait(lambda: not self.keeper.background.busy())

    def hold(self):
        """Fill the turn of the checks with something that waits."""
        self._gate.clear()
        background = self.keeper.background
        background.run("gate", lambda _: self._gate.wait(20), drop, drop, behind=True)
        background.cancel("gate")

    def let_go(self):
        self._gate.set()

    def release(self):
        self.let_go()
        self.settle()

    def wait(self, until):
        self.qtbot.waitUntil(until, timeout=20_000)

    def add(self, *paths):
        """Add scans; they are shown, and their checks wait."""
        lines = len(self.document.job.lines) + len(paths)
        for path in paths:
            self.keeper.open_path(path)
        self.wait(lambda: len(self.checking) == lines)

    def open(self, path):
        self.keeper.open_path(path)
        self.wait(lambda: self.checking == [line.name for line in self.document.job.lines])

    @property
    def checking(self):
        return self.keeper.reader.being_checked

    @property
    def hashes(self):
        return [line.scan.sha256 for line in self.document.job.lines]


@pytest.fixture
def held(qtbot, tmp_path):
    window, document, background = QWidget(), Document(), Background()
    qtbot.addWidget(window)
    record, kept = tmp_path / "record.json", tmp_path / "recovery"
    keeper = JobKeeper(document, background, window, record, kept)
    held = Held(document, keeper, qtbot)
    yield held
    held.let_go()
    background.close()
    keeper.close()


@pytest.fixture
def scan(demo):
    return demo.parent / "deck-L1.sgy"


@pytest.fixture
def with_dead_traces(scan, tmp_path):
    read = read_segy(scan)
    samples = read.block(0, read.traces)
    samples[[20, 21]] = 0
    write_segy(tmp_path / "dead.sgy", samples, read.dt_ns, read.positions_mm, 40.0)
    return tmp_path / "dead.sgy"


@pytest.fixture
def save_at(tmp_path, monkeypatch):
    """Where the user says that the job is saved."""
    path = tmp_path / "held.dwjob"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path), ""))
    return path


def sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def change_last_byte(path):
    raw = bytearray(path.read_bytes())
    raw[-1] ^= 1
    path.write_bytes(raw)


def test_a_scan_is_shown_before_it_has_been_checked(held, scan):
    held.add(scan)
    assert held.document.stage is not None
    assert held.hashes == [""]
    held.release()
    assert held.hashes == [sha256(scan)]


def test_the_hash_is_no_edit(held, scan):
    held.add(scan)
    document = held.document
    document.saved = document.job
    stage = document.stage
    held.release()
    assert document.history.undo_words == "Add deck-L1.sgy"
    assert not document.modified
    assert document.stage is stage, "a picture of it would be made again"
    held.document.undo()
    assert document.job.lines == ()
    held.document.redo()
    held.settle()
    assert held.hashes == [sha256(scan)]


def test_the_hash_reaches_a_line_that_is_undone_meanwhile(held, scan):
    held.add(scan)
    held.document.undo()
    held.release()
    held.document.redo()
    held.settle()
    assert held.hashes == [sha256(scan)]
    assert held.document.stage is not None


def test_that_a_recorder_was_overdriven_is_said_at_once(held, scan, tmp_path):
    read = read_segy(scan)
    samples = read.block(0, read.traces)
    most = 0.5 * np.abs(samples).max()
    cut = np.clip(samples, -most, most)
    write_segy(tmp_path / "cut.sgy", cut, read.dt_ns, read.positions_mm, 40.0)
    held.add(scan)
    assert intake.CUT_OFF not in held.said
    held.add(tmp_path / "cut.sgy")
    assert intake.CUT_OFF in held.said


def test_what_the_check_finds_is_said_when_it_is_found(held, with_dead_traces):
    held.add(with_dead_traces)
    assert "only zeros" not in held.said
    assert "trace spacing" in held.said
    held.release()
    assert "2 of 241 traces hold only zeros." in held.said
    assert "trace spacing" in held.said


def test_saving_waits_for_the_check(held, scan, save_at):
    held.add(scan)
    held.keeper.save()
    assert held.said == ("Checking the scan of deck-L1; the job is saved when that is done.")
    assert not save_at.exists()
    assert held.document.modified
    held.release()
    assert load_job(save_at).job.lines[0].scan.sha256 == sha256(scan)
    assert held.said == f"Saved as {save_at}."
    assert not held.document.modified


def test_a_save_that_waited_tells_what_was_found_too(held, with_dead_traces, save_at):
    held.add(with_dead_traces)
    held.keeper.save()
    held.release()
    assert "2 of 241 traces hold only zeros." in held.said
    assert held.said.endswith(f"Saved as {save_at}.")


def test_a_save_waits_for_the_last_of_the_checks_and_has_what_was_done_meanwhile(
    held, demo, scan, save_at
):
    held.add(scan, demo.parent / "deck-L2.sgy")
    held.keeper.save()
    names = sorted(line.name for line in held.document.job.lines)
    assert sorted(held.said.split("scans of ")[1].split(";")[0].split(", ")) == names
    held.document.edit("Note", lambda job: job.model_copy(update={"note": "Rain."}))
    held.release()
    saved = load_job(save_at).job
    assert saved.note == "Rain."
    assert all(line.scan.sha256 for line in saved.lines)
    assert len(saved.lines) == 2


def test_leaving_with_save_waits_for_the_check(held, scan, save_at, monkeypatch):
    held.add(scan)
    buttons = QMessageBox.StandardButton
    monkeypatch.setattr(QMessageBox, "question", lambda *_: buttons.Save)
    QTimer.singleShot(50, held.let_go)
    assert held.keeper.may_leave()
    assert load_job(save_at).job.lines[0].scan.sha256 == sha256(scan)


def test_leaving_while_a_save_waits_asks_nothing(held, scan, save_at):
    held.add(scan)
    held.keeper.save()
    QTimer.singleShot(50, held.let_go)
    assert held.keeper.may_leave()
    assert save_at.exists()


def test_a_save_that_fails_after_all_does_not_let_the_job_go(held, scan, tmp_path, monkeypatch):
    held.add(scan)
    nowhere = tmp_path / "nowhere" / "job.dwjob"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(nowhere), ""))
    held.keeper.save()
    QTimer.singleShot(50, held.let_go)
    assert not held.keeper.may_leave()
    assert held.document.modified
    assert "nowhere is not there" in held.said


def test_an_opened_job_is_shown_before_its_scans_are_known_to_be_the_right_ones(held, demo):
    held.open(demo)
    assert set(held.document.stages) == {"line-1", "line-2"}
    held.release()
    assert set(held.document.stages) == {"line-1", "line-2"}
    assert not held.document.modified


def test_the_picture_of_another_scan_is_taken_away_and_the_marks_stay(held, demo, scan, tour_marks):
    change_last_byte(scan)
    held.open(demo)
    held.document.edit(
        "Mark all",
        lambda job: job.model_copy(
            update={"lines": (job.lines[0].model_copy(update={"marks": tour_marks}), job.lines[1])}
        ),
    )
    assert "line-1" in held.document.stages
    held.release()
    assert set(held.document.stages) == {"line-2"}
    assert (
        "deck-L1.sgy is not the scan that was added to the job: it has the same size and shape, but "
        "other samples." in held.said
    )
    assert held.document.job.line("line-1").marks == tour_marks


def test_a_file_that_changes_before_its_check_is_not_shown_and_the_job_can_be_saved(
    held, scan, save_at
):
    held.add(scan)
    held.keeper.save()
    change_last_byte(scan)
    with scan.open("ab") as file:
        file.write(b"more")
    held.release()
    assert held.document.stage is None
    assert "deck-L1.sgy has changed since it was opened." in held.said
    assert load_job(save_at).job.lines[0].scan.sha256 == ""


def test_a_check_does_not_reach_another_job(held, scan):
    held.add(scan)
    held.document.saved = held.document.job
    held.keeper.new_job()
    held.release()
    assert held.document.job.lines == ()
    assert held.document.history.undo_words == ""


def test_scans_that_come_together_share_an_antenna_when_the_files_are_silent(held, demo, tmp_path):
    """The first one's is assumed from its pulse; the second one was looked at before there was any."""
    paths = []
    for name in ("deck-L1", "deck-L2"):
        read = read_segy(demo.parent / f"{name}.sgy")
        paths.append(tmp_path / f"{name}.sgy")
        write_segy(paths[-1], read.block(0, read.traces), read.dt_ns, read.positions_mm)
    held.keeper.reader.ask = confirmed
    for path in paths:
        held.keeper.open_path(path)
    held.release()
    job = held.document.job
    assert len(job.lines) == 2
    assert len(job.antennas) == 1


def test_the_window_never_looks_for_a_direct_wave_itself(held, scan, monkeypatch):
    threads = []
    find = intake.settle_direct_wave

    def watched(*arguments, **named):
        threads.append(threading.current_thread())
        return find(*arguments, **named)

    monkeypatch.setattr(intake, "settle_direct_wave", watched)
    held.keeper.open_path(scan)
    held.release()
    assert len(held.document.job.lines) == 1
    assert threads
    assert threading.main_thread() not in threads


def test_a_scan_without_a_pulse_is_refused_with_a_sentence(held, tmp_path):
    write_segy(tmp_path / "flat.sgy", np.ones((30, 100), np.float32), 0.05, 5.0 * np.arange(30))
    held.keeper.reader.ask = confirmed
    held.keeper.open_path(tmp_path / "flat.sgy")
    held.release()
    assert "holds no pulse" in held.said
    assert held.document.job.lines == ()


def test_the_window_takes_the_picture_away_too(hand, demo, scan):
    change_last_byte(scan)
    hand.window.keeper.open_path(demo)
    hand.settle()
    assert hand.window.middle.currentWidget() is hand.window.start
    assert "is not the scan that was added" in hand.said
