"""What is under way when the user begins something else: nothing is given up without a word."""

import threading

import pytest
from PySide6.QtWidgets import QMessageBox

from depthwright.edits import change_job
from depthwright.files import pack
from depthwright_app import exporter


@pytest.fixture(autouse=True)
def _no_exports(monkeypatch):
    """A pack without its images and tables, which take their time."""
    monkeypatch.setattr(exporter, "export_job", lambda *_, **__: [])


@pytest.fixture
def slow_pack(monkeypatch):
    """Packing waits until it is let go of."""
    go, pack_job = threading.Event(), pack.pack_job

    def wait(*arguments):
        assert go.wait(20)
        return pack_job(*arguments)

    monkeypatch.setattr(exporter, "pack_job", wait)
    return go


def test_a_pack_is_written_although_another_job_is_opened(hand, demo, tmp_path, slow_pack):
    hand.window.exporter.pack(tmp_path / "hand-over.zip")
    hand.window.keeper.new_job()
    slow_pack.set()
    hand.settle()
    assert hand.document.job.lines == ()
    assert (tmp_path / "hand-over.zip").exists()
    assert hand.said == f"Packed as {tmp_path / 'hand-over.zip'}."


def test_a_second_pack_does_not_take_the_place_of_the_first(hand, tmp_path, slow_pack):
    hand.window.exporter.pack(tmp_path / "first.zip")
    hand.window.exporter.pack(tmp_path / "second.zip")
    assert "still being written" in hand.said
    slow_pack.set()
    hand.settle()
    assert (tmp_path / "first.zip").exists()
    assert not (tmp_path / "second.zip").exists()


def test_scans_that_come_while_others_are_looked_at_are_added_too(empty_hand, demo):
    for name in ("deck-L1.sgy", "deck-L2.sgy"):
        empty_hand.window.keeper.open_path(demo.parent / name)
    empty_hand.settle()
    assert sorted(line.name for line in empty_hand.document.job.lines) == ["deck-L1", "deck-L2"]


def test_a_window_does_not_give_up_a_pack_unasked(hand, tmp_path, slow_pack, monkeypatch):
    answers = [QMessageBox.StandardButton.No]
    monkeypatch.setattr(QMessageBox, "question", lambda *_: answers.pop())
    hand.window.exporter.pack(tmp_path / "hand-over.zip")
    assert not hand.window.close()
    slow_pack.set()
    hand.settle()
    assert answers == []
    assert (tmp_path / "hand-over.zip").exists()
    assert hand.window.close()


def test_where_a_pack_went_is_said_although_its_job_is_not_opened(hand, tmp_path, monkeypatch):
    hand.window.exporter.pack(tmp_path / "hand-over.zip")
    hand.settle()
    hand.window.keeper.open_path(tmp_path / "hand-over.zip")
    hand.document.edit("Rename", lambda job: change_job(job, name="Meanwhile"))
    monkeypatch.setattr(QMessageBox, "question", lambda *_: QMessageBox.StandardButton.Cancel)
    hand.settle()
    assert hand.document.job.name == "Meanwhile"
    assert hand.said == f"Unpacked to {tmp_path / 'hand-over'}."
