"""Edits between two saves: kept after each, offered after a crash, told where they cannot be."""

import json
import os
import subprocess
import sys
import textwrap
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PySide6.QtWidgets import QFileDialog, QMessageBox, QPushButton

from depthwright.edits import change_job
from depthwright.files.jobfile import load_job, save_job, stamp
from depthwright.files.pack import pack_job
from depthwright.files.recovery import find_recoveries, write_recovery
from depthwright.job import Job
from depthwright_app.dialogs.recovery_sheet import RecoverySheet

WHEN = datetime(2026, 3, 14, 12, tzinfo=UTC)


@pytest.fixture
def kept(tmp_path):
    """What is kept by now, once the window's disk thread has written it."""

    def look(hand):
        hand.window.keeper.edits._disk.submit(lambda: None).result()
        return find_recoveries(recoveries(tmp_path)).found

    return look


def recoveries(tmp_path):
    return tmp_path / "recovery"


def rename(hand, name):
    hand.document.edit("Rename", lambda job: change_job(job, name=name))
    hand.settle()


def press(sheet, words):
    next(b for b in sheet.findChildren(QPushButton) if b.text() == words).click()
    return sheet.result()


def test_each_edit_is_kept_and_a_save_lets_go_of_it(hand, kept):
    assert kept(hand) == ()
    rename(hand, "First")
    rename(hand, "Second")
    (one,) = kept(hand)
    assert one.job == hand.document.job
    assert one.path == hand.document.path
    hand.trigger("save")
    assert kept(hand) == ()


def test_undone_to_what_is_saved_nothing_is_kept(hand, kept):
    rename(hand, "First")
    hand.document.undo()
    assert kept(hand) == ()


def test_closing_without_saving_lets_go_of_the_edits(hand, kept, tmp_path, monkeypatch):
    rename(hand, "First")
    monkeypatch.setattr(type(hand.window.keeper), "may_leave", lambda _: True)
    hand.window.close()
    assert list(recoveries(tmp_path).iterdir()) == []


CRASH = """
    import os, sys
    from pathlib import Path
    from PySide6.QtWidgets import QApplication
    app = QApplication([])
    from depthwright.edits import change_job
    from depthwright_app.main_window import MainWindow
    job, folder = Path(sys.argv[1]), Path(sys.argv[2])
    window = MainWindow(record=folder / "settings.json", recoveries=folder)
    window.keeper.open_path(job)
    window.document.edit("Rename", lambda job: change_job(job, name="Nearly lost"))
    window.keeper.edits._disk.submit(lambda: None).result()
    os.kill(os.getpid(), 9)
"""


@pytest.fixture
def crashed(demo, tmp_path):
    """A program was killed after an edit of the demo job; gives the folder of what it kept."""
    script = textwrap.dedent(CRASH)
    folder = recoveries(tmp_path)
    ended = subprocess.run(
        [sys.executable, "-c", script, str(demo), str(folder)],
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
        capture_output=True,
        check=False,
    )
    assert ended.returncode == -9, ended.stderr.decode()
    return folder


@pytest.fixture
def left(demo, tmp_path):
    """What a run that did not end well has left of the demo job; gives the folder."""
    job = change_job(load_job(demo).job, name="Nearly lost")
    write_recovery(recoveries(tmp_path), "former", job, demo, stamp(demo), WHEN)
    return recoveries(tmp_path)


def test_after_a_crash_the_edits_are_offered_and_nothing_is_lost(
    crashed, empty_hand, demo, monkeypatch
):
    seen = []

    def go_on(sheet):
        seen.append(sheet.list.item(0).text())
        return press(sheet, "Go on with them")

    monkeypatch.setattr(RecoverySheet, "exec", go_on)
    assert empty_hand.window.keeper.offer_recoveries()
    empty_hand.settle()
    assert seen[0].startswith("demo.dwjob in ")
    assert "2 lines with 0 marks, edited last on" in seen[0]
    document = empty_hand.document
    assert document.job.name == "Nearly lost"
    assert document.modified
    assert set(document.stages) == {"line-1", "line-2"}
    assert "Not saved yet" in seen[0] or document.path == demo
    empty_hand.trigger("save")
    assert load_job(demo).job.name == "Nearly lost"
    empty_hand.window.keeper.edits._disk.submit(lambda: None).result()
    assert find_recoveries(crashed).found == ()


def test_edits_that_are_not_wanted_are_deleted(left, empty_hand, monkeypatch):
    buttons = QMessageBox.StandardButton
    for answer, left_over in ((buttons.No, 1), (buttons.Yes, 0)):
        monkeypatch.setattr(QMessageBox, "question", lambda *_, answer=answer: answer)
        monkeypatch.setattr(
            RecoverySheet, "exec", lambda sheet: press(sheet, "Delete the selected…")
        )
        assert not empty_hand.window.keeper.offer_recoveries()
        assert len(find_recoveries(left).found) == left_over
    assert find_recoveries(left).found == ()


def test_edits_put_off_are_offered_again(left, empty_hand, monkeypatch):
    monkeypatch.setattr(RecoverySheet, "exec", lambda sheet: press(sheet, "Decide later"))
    assert not empty_hand.window.keeper.offer_recoveries()
    assert len(empty_hand.window.keeper.edits.left().found) == 1


def test_edits_of_a_window_that_still_runs_are_not_offered(hand, kept, make_window):
    rename(hand, "First")
    assert len(kept(hand)) == 1
    assert make_window().keeper.edits.left().found == ()


def test_a_job_that_was_changed_after_the_crash_is_not_saved_over(
    left, empty_hand, demo, tmp_path, monkeypatch
):
    other = load_job(demo)
    save_job(demo, change_job(other.job, name="Somebody else's"), None, WHEN)
    monkeypatch.setattr(RecoverySheet, "exec", lambda sheet: press(sheet, "Go on with them"))
    empty_hand.window.keeper.offer_recoveries()
    empty_hand.settle()
    monkeypatch.setattr(
        QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "mine.dwjob"), "")
    )
    empty_hand.trigger("save")
    assert load_job(demo).job.name == "Somebody else's"
    assert load_job(tmp_path / "mine.dwjob").job.name == "Nearly lost"


def test_where_edits_cannot_be_kept_that_is_said_once(hand, tmp_path):
    keeper = hand.window.keeper
    recoveries(tmp_path).write_text("a file where the folder should be")
    said = []
    keeper.document.said.connect(lambda words, warning: said.append(words))
    rename(hand, "First")
    rename(hand, "Second")
    keeper.edits._disk.submit(lambda: None).result()
    hand.settle()
    assert len([words for words in said if words.startswith("Edits are not kept")]) == 1
    assert hand.document.job.name == "Second"


def test_a_job_that_somebody_else_saved_meanwhile_is_not_overwritten(hand, demo, monkeypatch):
    rename(hand, "Mine")
    other = load_job(demo)
    save_job(demo, change_job(other.job, name="Theirs"), None, WHEN)
    hand.trigger("save")
    assert "was changed by another program" in hand.said
    assert load_job(demo).job.name == "Theirs"
    assert hand.document.modified


def test_the_second_window_on_a_job_is_told(hand, demo, make_window, tmp_path, monkeypatch):
    second = make_window()
    second.keeper.open_path(demo)
    assert "demo.dwjob is open in another window" in second.strip.message.text()
    monkeypatch.setattr(
        QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "copy.dwjob"), "")
    )
    second.document.edit("Rename", lambda job: change_job(job, name="Second window's"))
    assert second.keeper.save()
    assert load_job(demo).job.name != "Second window's"
    assert second.document.path == tmp_path / "copy.dwjob"


def test_a_link_to_a_job_that_is_open_in_another_window_is_that_job(
    hand, demo, make_window, tmp_path
):
    link = tmp_path / "by-link.dwjob"
    try:
        link.symlink_to(demo)
    except OSError:
        pytest.skip("no links here")
    second = make_window()
    second.keeper.open_path(link)
    assert "by-link.dwjob is open in another window" in second.strip.message.text()


def test_once_the_other_window_has_let_go_the_job_is_saved_where_it_is(hand, demo, make_window):
    second = make_window()
    second.keeper.open_path(demo)
    hand.window.keeper.new_job()
    second.document.edit("Rename", lambda job: change_job(job, name="Second window's"))
    assert second.keeper.save()
    assert load_job(demo).job.name == "Second window's"
    hand.window.keeper.open_path(demo)
    assert "demo.dwjob is open in another window" in hand.said


def test_who_saves_over_a_job_that_is_open_in_another_window_is_told(
    hand, demo, make_window, monkeypatch
):
    second = make_window()
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(demo), ""))
    second.document.edit("Rename", lambda job: change_job(job, name="Over it"))
    assert second.keeper.save()
    said = second.strip.message.text()
    assert said.startswith(f"Warning: Saved as {demo}. demo.dwjob is open in another window")
    rename(hand, "Mine")
    hand.trigger("save")
    assert "was changed by another program" in hand.said


def test_a_job_is_free_again_once_its_window_has_closed(hand, demo, make_window):
    hand.window.close()
    second = make_window()
    second.keeper.open_path(demo)
    assert "open in another window" not in second.strip.message.text()
    assert list(demo.parent.glob(".*.lock")) == [demo.with_name(".demo.dwjob.lock")]


def test_a_job_of_a_newer_program_opens_and_is_saved_under_another_name_only(
    empty_hand, demo, tmp_path, monkeypatch
):
    stored = json.loads(demo.read_text("utf-8"))
    demo.write_text(json.dumps({**stored, "version": 99, "weather": "dry"}), "utf-8")
    empty_hand.window.keeper.open_path(demo)
    empty_hand.settle()
    assert "newer Depthwright" in empty_hand.said or empty_hand.window.keeper.read_only
    monkeypatch.setattr(
        QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "older.dwjob"), "")
    )
    empty_hand.trigger("save")
    assert json.loads(demo.read_text("utf-8"))["version"] == 99
    assert load_job(tmp_path / "older.dwjob").job.lines


def test_a_scan_that_was_moved_is_found_again(hand, demo, monkeypatch):
    hand.trigger("save")
    away = demo.parent / "raw" / "day 1"
    away.mkdir(parents=True)
    (demo.parent / "deck-L1.sgy").rename(away / "renamed.sgy")
    hand.window.keeper.open_path(demo)
    hand.settle()
    assert set(hand.document.stages) == {"line-1", "line-2"}
    assert hand.line.scan.path == str(away / "renamed.sgy")
    assert not hand.document.modified


def test_a_job_is_packed_and_opened_from_its_pack(just_marked, tmp_path, make_window, monkeypatch):
    just_marked.document.show_line("line-2")
    just_marked.trigger("remove-line")
    pack = tmp_path / "hand-over.zip"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(pack), ""))
    just_marked.trigger("pack")
    assert just_marked.said == f"Packed as {pack}."
    other = make_window()
    other.keeper.open_path(pack)
    just_marked.qtbot.waitUntil(lambda: not other.background.busy(), timeout=20_000)
    assert other.document.path.parent == tmp_path / "hand-over"
    assert set(other.document.stages) == {"line-1"}
    assert other.document.job.line("line-1").marks == just_marked.line.marks
    assert any(Path(tmp_path / "hand-over" / "exports").iterdir())


def test_what_is_no_pack_gives_a_sentence(empty_hand, tmp_path):
    bad = tmp_path / "bad.zip"
    bad.write_bytes(b"PK nothing")
    empty_hand.window.keeper.open_path(bad)
    empty_hand.settle()
    assert "bad.zip" in empty_hand.said
    assert empty_hand.document.job.lines == ()


def test_a_lock_of_another_machine_says_how_to_let_go_of_it(empty_hand, demo):
    # As QLockFile writes it: process, program, machine.
    demo.with_name(".demo.dwjob.lock").write_text("4242\ndepthwright\nsite-laptop\n\n\n")
    empty_hand.window.keeper.open_path(demo)
    empty_hand.settle()
    assert "open in another window on site-laptop" in empty_hand.said
    assert "delete .demo.dwjob.lock beside it" in empty_hand.said


def test_recovered_edits_count_as_not_saved_whatever_they_are(left, empty_hand, demo, tmp_path):
    write_recovery(recoveries(tmp_path), "empty", Job(), None, "", WHEN)
    keeper = empty_hand.window.keeper
    recovery = next(one for one in keeper.edits.left().found if one.key == "empty")
    assert keeper.recover(recovery)
    assert empty_hand.document.modified


def test_the_version_before_the_last_save_opens_and_is_saved_under_another_name(
    hand, demo, make_window, tmp_path, monkeypatch
):
    rename(hand, "Newer")
    hand.trigger("save")
    second = make_window()
    second.keeper.open_path(demo.with_name("demo.dwjob.bak"))
    assert second.document.job.name != "Newer"
    assert "the version before the last save" in second.strip.message.text()
    proposed = []

    def ask(*arguments):
        proposed.append(arguments[2])
        return str(tmp_path / "former.dwjob"), ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", ask)
    assert second.keeper.save()
    assert proposed == [str(demo.with_name("demo-copy.dwjob"))]
    assert load_job(tmp_path / "former.dwjob").job.lines


def test_a_pack_beside_which_nothing_can_be_written_is_unpacked_where_the_user_says(
    empty_hand, demo, tmp_path, monkeypatch
):
    pack_job(tmp_path / "disc.zip", load_job(demo).job, None, WHEN)
    keeper, elsewhere = empty_hand.window.keeper, tmp_path / "elsewhere"
    elsewhere.mkdir()
    with monkeypatch.context() as patched:
        patched.setattr(os, "access", lambda *_: False)
        patched.setattr(QFileDialog, "getExistingDirectory", lambda *_: str(elsewhere))
        keeper.open_path(tmp_path / "disc.zip")
    empty_hand.settle()
    assert empty_hand.document.path.parent == elsewhere / "disc"
