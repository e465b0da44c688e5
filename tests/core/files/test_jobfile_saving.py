"""A save never loses what was there: not another program's changes, not a protected file."""

import errno
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.atomic import replacing
from depthwright.files.jobfile import ChangedOnDisk, load_job, save_job, stamp
from depthwright.job import Job

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


# Somebody else's changes.


def test_the_stamp_of_a_file_is_that_of_its_contents(path: Path, job: Job) -> None:
    assert stamp(path) == ""
    saved = save_job(path, job, None, NOW)
    assert saved == stamp(path) == load_job(path).stamp
    path.touch()
    assert stamp(path) == saved
    other = save_job(path, job.model_copy(update={"name": "other"}), None, NOW)
    assert other != saved


def test_one_save_after_the_other_expects_what_the_last_has_left(path: Path, job: Job) -> None:
    last = save_job(path, job, None, NOW, expected="")
    for name in ("a", "b", "c"):
        last = save_job(path, job.model_copy(update={"name": name}), None, NOW, expected=last)
    assert load_job(path).job.name == "c"


def test_a_file_changed_by_somebody_else_is_not_overwritten(path: Path, job: Job) -> None:
    mine = save_job(path, job, None, NOW)
    save_job(path, job.model_copy(update={"name": "theirs"}), None, NOW)
    before = names(path.parent)
    with pytest.raises(
        ChangedOnDisk, match=r"deck\.dwjob was changed by another program"
    ) as caught:
        save_job(path, job, None, NOW, expected=mine)
    assert "Save under another name to keep both" in caught.value.hint
    assert load_job(path).job.name == "theirs"
    assert names(path.parent) == before
    save_job(path, job, None, NOW)
    assert load_job(path).job == job


def test_a_file_that_came_where_there_was_none_is_not_overwritten(path: Path, job: Job) -> None:
    path.write_bytes(b"")
    with pytest.raises(ChangedOnDisk):
        save_job(path, job, None, NOW, expected="")


def test_a_file_that_is_gone_is_simply_written_again(path: Path, job: Job) -> None:
    mine = save_job(path, job, None, NOW)
    path.unlink()
    assert save_job(path, job, None, NOW, expected=mine) == mine


# Places that cannot be written to.


def refused(path: Path, job: Job, why: str) -> DepthwrightError:
    with pytest.raises(DepthwrightError, match=why) as caught:
        save_job(path, job, None, NOW)
    assert caught.value.hint.endswith(".")
    return caught.value


def test_a_pipe_is_no_place_for_a_job(tmp_path: Path, job: Job) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    os.mkfifo(tmp_path / "pipe.dwjob")
    refused(tmp_path / "pipe.dwjob", job, "is not a file")
    with pytest.raises(DepthwrightError, match="is not a file"):
        load_job(tmp_path / "pipe.dwjob")


def test_a_device_is_not_replaced_by_a_file(job: Job) -> None:
    if not os.path.exists("/dev/null"):
        pytest.skip("no such device here")
    refused(Path("/dev/null"), job, "is not a file")
    assert not os.path.isfile("/dev/null")


def test_links_that_lead_round_in_a_circle(tmp_path: Path, job: Job) -> None:
    (tmp_path / "a.dwjob").symlink_to(tmp_path / "b.dwjob")
    (tmp_path / "b.dwjob").symlink_to(tmp_path / "a.dwjob")
    refused(tmp_path / "a.dwjob", job, "link that leads nowhere")
    assert (tmp_path / "a.dwjob").is_symlink()


def test_a_link_into_a_folder_that_has_gone(tmp_path: Path, job: Job) -> None:
    (tmp_path / "a.dwjob").symlink_to(tmp_path / "gone" / "a.dwjob")
    refused(tmp_path / "a.dwjob", job, "is not there")


@pytest.mark.parametrize("name", ["x" * 250 + ".dwjob", "a\0b.dwjob"])
def test_a_name_that_cannot_be(tmp_path: Path, job: Job, name: str) -> None:
    with pytest.raises(DepthwrightError):
        save_job(tmp_path / name, job, None, NOW)
    with pytest.raises(DepthwrightError):
        load_job(tmp_path / name)


def test_a_protected_file_stays_as_it_is(
    open_folder: Path, nobody: None, make_job: Callable[[str], Job]
) -> None:
    path = open_folder / "deck.dwjob"
    save_job(path, make_job(""), None, NOW)
    path.chmod(0o444)
    before = path.read_bytes()
    problem = refused(path, make_job(""), "is protected from being written to")
    assert "Save under another name" in problem.hint
    assert path.read_bytes() == before
    assert names(open_folder) == ["deck.dwjob"]


def test_a_protected_folder_stays_as_it_is(
    open_folder: Path, nobody: None, make_job: Callable[[str], Job]
) -> None:
    path = open_folder / "deck.dwjob"
    save_job(path, make_job(""), None, NOW)
    before = path.read_bytes()
    open_folder.chmod(0o555)
    problem = refused(path, make_job(""), "could not be written: Permission denied")
    assert "Choose a folder that you may write to" in problem.hint
    assert path.read_bytes() == before
    assert names(open_folder) == ["deck.dwjob"]


def test_the_rights_of_a_file_stay(path: Path, job: Job) -> None:
    if os.name == "nt":
        pytest.skip("no modes of files here")
    save_job(path, job, None, NOW)
    path.chmod(0o640)
    save_job(path, job, None, NOW)
    assert path.stat().st_mode & 0o777 == 0o640


# What killed saves leave.


def test_what_a_killed_save_left_is_cleared_away_and_nothing_else(path: Path, job: Job) -> None:
    ours = f".deck.dwjob.{'0' * 32}.part"
    others = [".deck.dwjob.part", f".other.dwjob.{'0' * 32}.part", "deck.dwjob.part", ".hidden"]
    for name in (ours, *others):
        (path.parent / name).write_bytes(b"x")
    save_job(path, job, None, NOW)
    assert names(path.parent) == sorted([*others, "deck.dwjob"])


def test_every_writer_clears_away_what_it_left(tmp_path: Path) -> None:
    left = tmp_path / f".a [1].csv.{'f' * 32}.part"
    left.write_bytes(b"x")
    with replacing(tmp_path / "a [1].csv") as file:
        file.write(b"1")
    assert names(tmp_path) == ["a [1].csv"]


def test_a_folder_that_cannot_be_brought_to_the_disk_is_no_failure(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    true_open = os.open

    def refuse(place: object, flags: int, *more: object, **rest: object) -> int:
        if os.path.isdir(place):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        return true_open(place, flags, *more, **rest)

    monkeypatch.setattr(os, "open", refuse)
    save_job(path, job, None, NOW)
    assert load_job(path).job == job


# Paths of scans that a job may not name.


@pytest.mark.parametrize(
    ("scan", "why"),
    [
        ("../../../wall.sgy", "climbs 3 folders out"),
        ("a/../../../../../wall.sgy", "climbs 4 folders out"),
        (r"..\..\..\wall.sgy", "climbs 3 folders out"),
        ("a\\u0000b", "NUL"),
        ("x" * 300, "too long"),
        ("a/" * 3000, "too long"),
        ("\\\\\\\\.\\\\COM1", "names a device"),
    ],
)
def test_a_path_that_is_not_followed(path: Path, job: Job, scan: str, why: str) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text(encoding="utf-8")
    stored = scan if "\\u0000" in scan or "\\\\" in scan else scan.replace("\\", "\\\\")
    path.write_text(text.replace("scans/wall.sgy", stored), encoding="utf-8")
    with pytest.raises(
        DepthwrightError, match="names a scan by a path that is not followed"
    ) as got:
        load_job(path)
    assert why in got.value.message
    assert got.value.hint


@pytest.mark.parametrize("scan", ["../../wall.sgy", "/dev/zero", "/proc/self/mem", "a/../../b.sgy"])
def test_a_path_that_is_the_users_own_is_followed(path: Path, job: Job, scan: str) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("scans/wall.sgy", scan), encoding="utf-8")
    found = load_job(path).job.lines[0].scan.path
    assert found == os.path.abspath(path.parent / scan)
    with pytest.raises(DepthwrightError):
        load_job(path, inside=True)
