"""Files that are not what they should be: a sentence in the strip, and the window works on."""

import json
import os
import shutil

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QFileDialog

from depthwright.files.segy import read_segy, write_segy


def empty(path, demo):
    path.write_bytes(b"")


def cut_in_the_headers(path, demo):
    path.write_bytes((demo.parent / "deck-L1.sgy").read_bytes()[:3000])


def text(path, demo):
    path.write_text("Bars at 90, 260 and 425 mm.\n" * 500)


def picture(path, demo):
    image = QImage(400, 300, QImage.Format.Format_RGB32)
    image.fill(0x4080C0)
    image.save(str(path), "PNG")
    path.write_bytes(path.read_bytes() + bytes(range(256)) * 20)


def not_numbers(path, demo):
    scan = read_segy(demo.parent / "deck-L1.sgy")
    samples = scan.block(0, scan.traces).copy()
    samples[3, 100:200] = np.nan
    write_segy(path, samples, scan.dt_ns, scan.positions_mm, scan.separation_mm)


def folder(path, demo):
    path.mkdir()


def nothing(path, demo):
    """No file at all."""


def test_a_bad_scan_gives_a_sentence_and_changes_nothing(hand, demo, tmp_path, subtests):
    for make in [empty, cut_in_the_headers, text, picture, folder, nothing]:
        with subtests.test(make=make.__name__):
            hand.forget()
            path = tmp_path / make.__name__ / "bad.sgy"
            path.parent.mkdir()
            make(path, demo)
            before = hand.document.job
            hand.window.keeper.open_path(path)
            hand.settle()
            assert hand.said.startswith("Warning: ")
            assert "bad.sgy" in hand.said
            assert hand.document.job is before
            hand.click(90.0, 1.4)
            assert len(hand.marks("bar")) == 1
            hand.trigger("undo")


def test_samples_that_are_no_numbers_are_told(hand, demo, tmp_path):
    path = tmp_path / "bad.sgy"
    not_numbers(path, demo)
    hand.window.keeper.open_path(path)
    hand.settle()
    # Whether the line is refused or shown without those traces, the sentence says it.
    assert "number" in hand.said.lower() or "nan" in hand.said.lower(), hand.said
    hand.document.show_line("line-1")
    hand.settle()
    hand.click(90.0, 1.4)
    assert len(hand.marks("bar")) == 1


def test_a_cut_scan_is_told(hand, demo, tmp_path):
    path = tmp_path / "cut.sgy"
    path.write_bytes((demo.parent / "deck-L1.sgy").read_bytes()[:200_000])
    hand.window.keeper.open_path(path)
    hand.settle()
    assert (
        "cut" in hand.said.lower() or "middle" in hand.said.lower() or "whole" in hand.said.lower()
    )


def test_a_bad_job_gives_a_sentence_and_changes_nothing(hand, tmp_path, subtests):
    for contents, words in [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\xff", "not a job file"),
        (b'{"format": "depthwright-job", "ver', "not written whole"),
        (b'{"format": "something"}', "not a Depthwright job"),
        (b'{"format": "depthwright-job", "version": 99}', "newer Depthwright"),
        (b"[]", "not a Depthwright job"),
    ]:
        with subtests.test(contents=contents, words=words):
            hand.forget()
            path = tmp_path / "bad.dwjob"
            path.write_bytes(contents)
            before, where = hand.document.job, hand.document.path
            hand.window.keeper.open_path(path)
            hand.settle()
            assert hand.said.startswith("Warning: ")
            assert words in hand.said
            assert hand.document.job is before
            assert hand.document.path == where


def test_a_job_whose_known_depths_cannot_be_is_refused(marked, demo):
    marked.select(marked.bar_at(260.0).id)
    marked.type("35\r")
    marked.trigger("save")
    stored = json.loads(demo.read_text("utf-8"))
    bar = next(mark for mark in stored["job"]["lines"][0]["marks"] if mark.get("tie"))
    bar["tie"]["depth_mm"] = 5000.0
    impossible = demo.with_name("impossible.dwjob")
    impossible.write_text(json.dumps(stored), "utf-8")
    before = marked.document.job
    marked.window.keeper.open_path(impossible)
    marked.settle()
    assert marked.said.startswith("Warning: ")
    assert marked.document.job is before
    assert marked.document.path == demo


def test_saving_where_nothing_can_be_written_keeps_the_marks(just_marked, tmp_path, monkeypatch):
    before, where = just_marked.document.job, just_marked.document.path
    target = tmp_path / "no such folder" / "deck.dwjob"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(target), ""))
    just_marked.trigger("save-as")
    assert just_marked.said.startswith("Warning: ")
    assert "no such folder" in just_marked.said
    assert just_marked.document.job is before
    assert just_marked.document.path == where
    assert just_marked.document.modified


def test_exporting_an_image_where_nothing_can_be_written(marked, tmp_path, monkeypatch):
    names = {"no such folder/deck.png": "The folder ", "deck.bmp": "deck.bmp"}
    for name, told in names.items():
        target = tmp_path / name
        monkeypatch.setattr(
            QFileDialog, "getSaveFileName", lambda *_, target=target: (str(target), "")
        )
        marked.trigger("export-image")
        assert marked.said.startswith(f"Warning: {told}")
        assert not target.exists()


def test_exporting_everything_onto_a_file(marked, tmp_path, monkeypatch):
    target = tmp_path / "taken"
    target.write_text("here already")
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_: str(target))
    marked.trigger("export-all")
    assert marked.said.startswith("Warning: ")
    assert target.read_text() == "here already"


def test_a_dialog_closed_without_a_name_does_nothing(just_marked, monkeypatch):
    before = just_marked.said
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: ("", ""))
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_: "")
    monkeypatch.setattr(QFileDialog, "getOpenFileNames", lambda *_: ([], ""))
    for command_id in ("save-as", "export-image", "export-all", "open"):
        just_marked.trigger(command_id)
    assert just_marked.said == before


def test_a_scan_that_is_gone_leaves_its_marks(just_marked, demo):
    just_marked.trigger("save")
    marks = just_marked.line.marks
    (demo.parent / "deck-L1.sgy").unlink()
    just_marked.window.keeper.open_path(demo)
    just_marked.settle()
    assert "deck-L1.sgy is not at" in just_marked.document.missing["line-1"]
    assert just_marked.line.marks == marks
    assert "scan not shown" in just_marked.window.tree.topLevelItem(0).text(0)
    assert len(just_marked.pane.marks.picture.bars) == 7
    just_marked.select(marks[1].id)
    just_marked.type("35")
    just_marked.press(Qt.Key.Key_Return)
    assert just_marked.line.mark(marks[1].id).tie.depth_mm == 35.0


def test_a_missing_scan_is_told_once_and_not_at_every_undo(plain, demo):
    marked = plain
    marked.trigger("save")
    (demo.parent / "deck-L2.sgy").unlink()
    marked.window.keeper.open_path(demo)
    marked.settle()
    assert "deck-L2.sgy is not at" in marked.said
    marked.select(marked.bar_at(260.0).id)
    marked.type("35\r")
    for command_id in ("undo", "redo"):
        marked.trigger(command_id)
        assert marked.said.startswith("Permittivity ")


def test_a_scan_that_was_changed_leaves_its_marks(just_marked, demo):
    just_marked.trigger("save")
    marks = just_marked.line.marks
    scan = demo.parent / "deck-L1.sgy"
    data = bytearray(scan.read_bytes())
    data[-1] ^= 1
    scan.write_bytes(bytes(data))
    just_marked.window.keeper.open_path(demo)
    just_marked.settle()
    assert "is not the scan that was added" in just_marked.said
    assert just_marked.line.marks == marks


def test_a_scan_that_fails_while_it_is_shown_gives_a_sentence(marked, demo):
    os.truncate(demo.parent / "deck-L1.sgy", 1000)
    marked.trigger("dewow")
    assert marked.said.startswith("Warning: ")
    assert marked.document.job.line("line-1").marks


def test_a_line_with_one_trace_opens(empty_hand, demo, tmp_path):
    scan = read_segy(demo.parent / "deck-L1.sgy")
    path = tmp_path / "one.sgy"
    write_segy(path, scan.block(40, 41), scan.dt_ns, scan.positions_mm[40:41], 40.0)
    empty_hand.window.keeper.open_path(path)
    empty_hand.settle()
    assert empty_hand.document.stage.scan.traces == 1
    empty_hand.click(0.0, 1.5)
    empty_hand.trigger("zoom-all")
    assert empty_hand.window.isVisible()


def test_dropped_files_are_opened(empty_hand, demo):
    from PySide6.QtCore import QMimeData, QPointF, QUrl
    from PySide6.QtGui import QDropEvent

    shutil.copyfile(demo.parent / "deck-L2.sgy", demo.parent / "other.sgy")
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(demo.parent / "other.sgy"))])
    event = QDropEvent(
        QPointF(10, 10),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    empty_hand.window.dropEvent(event)
    empty_hand.settle()
    assert [line.name for line in empty_hand.document.job.lines] == ["other"]
