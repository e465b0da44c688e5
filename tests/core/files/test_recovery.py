"""Edits survive a crash: what is kept after each of them, found again, and let go of."""

import json
import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from depthwright.errors import DepthwrightError
from depthwright.files import recovery
from depthwright.files.jobfile import VERSION, ChangedOnDisk, load_job, save_job, stamp
from depthwright.files.recovery import (
    discard_recovery,
    find_recoveries,
    recovery_path,
    write_recovery,
)
from depthwright.job import Job

NOW = datetime(2026, 3, 14, 14, 32, tzinfo=UTC)


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """The folder of the user's recovery files; not there yet."""
    return tmp_path / "data" / "recovery"


def test_what_was_kept_is_found_whole(kept: Path, path: Path, job: Job) -> None:
    mark = save_job(path, Job(), None, NOW)
    written = write_recovery(kept, "first", job, path, mark, NOW)
    (found,) = find_recoveries(kept).found
    assert (found.job, found.path, found.started_from) == (job, path, mark)
    assert (found.file, found.key, found.written) == (written, "first", NOW)
    assert found.program.startswith("Depthwright ")


def test_it_says_in_words_what_it_is(kept: Path, path: Path, job: Job) -> None:
    write_recovery(kept, "first", job, path, "", NOW)
    write_recovery(kept, "second", Job(name="Wall"), None, "", NOW - timedelta(hours=1))
    of_deck, of_none = find_recoveries(kept).found
    when = NOW.astimezone()
    told = f"edited last on {when:%Y-%m-%d} at {when:%H:%M}"
    assert of_deck.words == f"deck.dwjob in {path.parent}: 1 line with 6 marks, {told}"
    assert of_none.words.startswith("Wall (never saved): 0 lines with 0 marks, edited last on")


def test_the_newest_comes_first_whatever_the_order_of_the_files(kept: Path, job: Job) -> None:
    for hours, key in ((2, "b"), (3, "a"), (1, "c")):
        write_recovery(kept, key, job, None, "", NOW + timedelta(hours=hours))
    assert [each.key for each in find_recoveries(kept).found] == ["a", "b", "c"]


def test_each_edit_replaces_the_one_before(kept: Path, job: Job) -> None:
    for name in ("one", "two", "three"):
        write_recovery(kept, "first", job.model_copy(update={"name": name}), None, "", NOW)
    assert [each.job.name for each in find_recoveries(kept).found] == ["three"]
    assert [each.name for each in kept.iterdir()] == ["first.dwrecovery"]


def test_without_a_folder_there_is_nothing(kept: Path) -> None:
    assert find_recoveries(kept).found == ()


def test_paths_of_scans_hold_from_anywhere(
    kept: Path, tmp_path: Path, make_job: Callable[[str], Job], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_recovery(kept, "first", make_job("scans/wall.sgy"), None, "", NOW)
    (found,) = find_recoveries(kept).found
    assert found.job.lines[0].scan.path == str(tmp_path / "scans" / "wall.sgy")


# After the crash.


def test_saved_where_it_came_from_the_edits_are_the_job(kept: Path, path: Path, job: Job) -> None:
    before = save_job(path, Job(), None, NOW)
    write_recovery(kept, "first", job, path, before, NOW)
    (found,) = find_recoveries(kept).found
    assert found.origin_words() == ""
    assert found.path is not None
    save_job(found.path, found.job, None, NOW, expected=found.started_from)
    discard_recovery(kept, found.key)
    assert load_job(path).job == job
    assert list(kept.iterdir()) == []


def test_a_job_file_changed_since_is_told_and_not_overwritten(
    kept: Path, path: Path, job: Job
) -> None:
    write_recovery(kept, "first", job, path, save_job(path, Job(), None, NOW), NOW)
    save_job(path, Job(name="of somebody else"), None, NOW)
    (found,) = find_recoveries(kept).found
    assert "was changed after these edits began" in found.origin_words()
    with pytest.raises(ChangedOnDisk):
        save_job(path, found.job, None, NOW, expected=found.started_from)
    assert load_job(path).job.name == "of somebody else"


def test_a_job_file_that_is_gone_is_told(kept: Path, path: Path, job: Job) -> None:
    write_recovery(kept, "first", job, path, save_job(path, job, None, NOW), NOW)
    path.unlink()
    (found,) = find_recoveries(kept).found
    assert "is not where it was" in found.origin_words()
    assert stamp(path) == ""


def test_what_is_let_go_of_is_gone_and_only_that(kept: Path, job: Job) -> None:
    for key in ("first", "second"):
        write_recovery(kept, key, job, None, "", NOW)
    discard_recovery(kept, "first")
    discard_recovery(kept, "first")
    assert [each.key for each in find_recoveries(kept).found] == ["second"]


# What cannot be used.


@pytest.mark.parametrize(
    "raw",
    [b"", b"{", b"\xff\xfe", b"[]", b'{"format": "depthwright-job"}', b"[" * 100_000],
    ids=["empty", "cut", "bytes", "list", "job", "deep"],
)
def test_what_is_no_recovery_is_put_aside_and_told(kept: Path, job: Job, raw: bytes) -> None:
    write_recovery(kept, "good", job, None, "", NOW)
    recovery_path(kept, "bad").write_bytes(raw)
    left = find_recoveries(kept)
    assert [each.key for each in left.found] == ["good"]
    (said,) = left.findings
    aside = kept / "bad.dwrecovery.unreadable-1"
    assert said.startswith("Edits that were not saved could not be read. bad.dwrecovery ")
    assert said.endswith(f"It was put aside as {aside}.")
    assert aside.read_bytes() == raw
    assert find_recoveries(kept).findings == ()


def test_a_second_one_put_aside_takes_no_place_from_the_first(kept: Path) -> None:
    kept.mkdir(parents=True)
    for raw in (b"1", b"2"):
        recovery_path(kept, "bad").write_bytes(raw)
        find_recoveries(kept)
    assert sorted(each.read_bytes() for each in kept.iterdir()) == [b"1", b"2"]


def test_every_cut_is_put_aside(kept: Path, job: Job) -> None:
    raw = write_recovery(kept, "cut", job, None, "", NOW).read_bytes()
    for length in range(0, len(raw), 211):
        recovery_path(kept, "cut").write_bytes(raw[:length])
        left = find_recoveries(kept)
        assert (left.found, len(left.findings)) == ((), 1)


def rewrite(file: Path, **fields: object) -> None:
    file.write_text(json.dumps({**json.loads(file.read_text("utf-8")), **fields}), "utf-8")


def test_one_of_a_newer_program_stays_where_it_is(kept: Path, job: Job) -> None:
    file = write_recovery(kept, "first", job, None, "", NOW)
    rewrite(file, version=VERSION + 1, program="Depthwright 9.1.0")
    left = find_recoveries(kept)
    assert left.found == ()
    assert "left by a newer Depthwright (Depthwright 9.1.0)" in left.findings[0]
    assert file.exists()


def test_one_of_an_earlier_program_is_brought_up_to_date(kept: Path, job: Job) -> None:
    file = write_recovery(kept, "first", job, None, "", NOW)
    data = json.loads(file.read_text("utf-8"))
    del data["job"]["lines"][0]["scan"]["given"]
    data["job"]["lines"][0]["scan"]["given_dt_ns"] = 0.05
    rewrite(file, version=1, job=data["job"])
    (found,) = find_recoveries(kept).found
    assert found.job.lines[0].scan.given.dt_ns == 0.05
    assert found.job.lines[0].marks == job.lines[0].marks


def test_other_files_in_the_folder_are_left_alone(kept: Path, job: Job) -> None:
    write_recovery(kept, "first", job, None, "", NOW)
    (kept / "first.lock").write_bytes(b"x")
    (kept / "notes.txt").write_bytes(b"x")
    assert len(find_recoveries(kept).found) == 1
    assert len(list(kept.iterdir())) == 3


def test_a_pipe_and_a_folder_are_told_and_make_nobody_wait(kept: Path, job: Job) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    write_recovery(kept, "first", job, None, "", NOW)
    os.mkfifo(recovery_path(kept, "pipe"))
    recovery_path(kept, "folder").mkdir()
    left = find_recoveries(kept)
    assert [each.key for each in left.found] == ["first"]
    assert len(left.findings) == 2


def test_only_so_many_are_read(kept: Path, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recovery, "MOST_LOOKED_AT", 3)
    for number in range(5):
        write_recovery(kept, f"k{number}", job, None, "", NOW + timedelta(hours=number))
        os.utime(recovery_path(kept, f"k{number}"), (number, number))
    assert [each.key for each in find_recoveries(kept).found] == ["k4", "k3", "k2"]


@pytest.mark.parametrize("key", ["", "../x", "a/b", "a" * 65, "a.b"])
def test_a_key_is_a_plain_word(kept: Path, key: str) -> None:
    with pytest.raises(ValueError, match="is no key"):
        recovery_path(kept, key)


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path, job: Job) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(DepthwrightError, match="could not be written") as caught:
        write_recovery(tmp_path / "file" / "below", "first", job, None, "", NOW)
    assert caught.value.hint
