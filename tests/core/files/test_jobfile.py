"""A job survives the disk: round trips, the schema, and a save that fails leaves all as it was."""

import errno
import json
import math
import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings

from depthwright.errors import DepthwrightError
from depthwright.files import job_reading, jobfile
from depthwright.files.jobfile import (
    VERSION,
    backup_path,
    load_job,
    save_job,
    schema_text,
)
from depthwright.files.recovery import find_recoveries, write_recovery
from depthwright.job import (
    Job,
)
from depthwright.results.evaluate import evaluate

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=timezone(timedelta(hours=1)))

Made = Callable[[str], Job]


def stored(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"))


# Round trips.


def test_a_job_comes_back_as_it_was(path: Path, job: Job) -> None:
    save_job(path, job, evaluate(job), NOW)
    loaded = load_job(path)
    assert loaded.job == job
    assert loaded.findings == ()


ADDED_LATER = {
    "lines": ("turned_mm", "taped", "crop_mm"),
    "zones": ("curvature", "keep", "medium"),
    "antennas": ("direct_shift", "separation_known"),
    "meters": ("shared",),
    "marks": ("crest", "crest_alone", "crossing_deg", "overlaps_direct"),
    "tie": ("set_aside", "meter_diameter_mm"),
}


def without_later_fields(part: object, within: str = "") -> object:
    """A part of a job file as it was written before some fields were there."""
    if isinstance(part, list):
        return [without_later_fields(each, within) for each in part]
    if not isinstance(part, dict):
        return part
    later = ADDED_LATER.get(within, ())
    return {
        key: without_later_fields(value, key) for key, value in part.items() if key not in later
    }


def test_a_job_saved_before_a_field_was_added_opens(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    data = stored(path)
    older = {**data, "job": without_later_fields(data["job"])}
    assert "crest" not in json.dumps(older)
    path.write_text(json.dumps(older), encoding="utf-8")
    loaded = load_job(path)
    assert loaded.job == job
    assert loaded.findings == ()


_spec = spec_from_file_location("drawn_jobs", Path(__file__).parents[1] / "drawn_jobs.py")
assert _spec is not None
assert _spec.loader is not None
drawn = module_from_spec(_spec)
_spec.loader.exec_module(drawn)


SCHEMA = jsonschema.Draft202012Validator(json.loads(schema_text()))


@settings(max_examples=15, deadline=None)
@given(job=drawn.JOBS)
def test_any_job_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, job: Job) -> None:
    path = tmp_path_factory.getbasetemp() / "any.dwjob"
    save_job(path, job, None, NOW)
    loaded = load_job(path)
    assert (loaded.job, loaded.findings, loaded.read_only) == (job, (), "")
    SCHEMA.validate(stored(path))
    write_recovery(path.parent / "kept", "one", job, path, loaded.stamp, NOW)
    assert find_recoveries(path.parent / "kept").found[0].job == job


def test_the_file_says_when_and_by_what_it_was_saved(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    assert datetime.fromisoformat(stored(path)["saved"]) == NOW
    assert stored(path)["format"] == "depthwright-job"
    assert stored(path)["version"] == VERSION
    assert stored(path)["program"].startswith("Depthwright ")


def test_a_time_without_a_zone_is_local(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW.replace(tzinfo=None))
    assert datetime.fromisoformat(stored(path)["saved"]).utcoffset() is not None


def test_lists_of_numbers_take_one_line(path: Path, job: Job) -> None:
    save_job(path, job, evaluate(job), NOW)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert any('"position_mm": [ 0.0, 900.0 ]' in line for line in lines)


# The schema.


def test_the_published_schema_is_up_to_date() -> None:
    published = Path(jobfile.__file__).with_name("job.schema.json")
    assert published.read_text(encoding="utf-8") == schema_text(), (
        "write schema_text() to job.schema.json"
    )


def test_a_saved_file_fits_the_schema(path: Path, job: Job) -> None:
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    save_job(path, job, evaluate(job), NOW)
    jsonschema.validate(stored(path), schema)


def test_the_schema_refuses_an_unknown_field(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    data = stored(path)
    data["job"]["lines"][0]["colour"] = "blue"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, json.loads(schema_text()))


# Paths of scans.


def test_a_scan_near_the_job_is_stored_relative(tmp_path: Path, job: Job) -> None:
    (tmp_path / "jobs").mkdir()
    path = tmp_path / "jobs" / "deck.dwjob"
    save_job(path, job, None, NOW)
    assert stored(path)["job"]["lines"][0]["scan"]["path"] == "../scans/wall.sgy"
    assert load_job(path).job == job


def test_a_scan_far_away_is_stored_absolute(tmp_path: Path, make_job: Made) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    far = str(tmp_path / "wall.sgy")
    save_job(deep / "deck.dwjob", make_job(far), None, NOW)
    assert stored(deep / "deck.dwjob")["job"]["lines"][0]["scan"]["path"] == far


def test_job_and_scans_can_move_together(tmp_path: Path, job: Job, make_job: Made) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    save_job(first / "deck.dwjob", make_job(str(first / "wall.sgy")), None, NOW)
    first.rename(second)
    scan = load_job(second / "deck.dwjob").job.lines[0].scan
    assert scan.path == str(second / "wall.sgy")


def test_a_scan_beside_the_job_stands_in_for_one_that_is_gone(tmp_path: Path, job: Job) -> None:
    save_job(tmp_path / "deck.dwjob", job, None, NOW)
    (tmp_path / "wall.sgy").write_bytes(b"")
    loaded = load_job(tmp_path / "deck.dwjob")
    assert loaded.job.lines[0].scan.path == str(tmp_path / "wall.sgy")
    assert "wall.sgy beside the job is used" in loaded.findings[0]


def test_a_path_of_another_system_stays_as_it_is(tmp_path: Path, make_job: Made) -> None:
    if os.name == "nt":
        pytest.skip("such paths are this system's own")
    foreign = r"D:\site\wall.sgy"
    save_job(tmp_path / "deck.dwjob", make_job(foreign), None, NOW)
    assert load_job(tmp_path / "deck.dwjob").job.lines[0].scan.path == foreign


def test_a_line_without_a_file_keeps_none(path: Path, make_job: Made) -> None:
    save_job(path, make_job(""), None, NOW)
    assert load_job(path).job.lines[0].scan.path == ""


# Saving.


def test_the_previous_version_is_kept(path: Path, job: Job) -> None:
    for name in ("first", "second", "third"):
        save_job(path, job.model_copy(update={"name": name}), None, NOW)
    assert load_job(path).job.name == "third"
    assert load_job(backup_path(path)).job.name == "second"


def test_the_previous_version_is_copied_where_there_are_no_links(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", refuse)
    for name in ("first", "second"):
        save_job(path, job.model_copy(update={"name": name}), None, NOW)
    assert load_job(backup_path(path)).job.name == "first"
    assert sorted(each.name for each in path.parent.iterdir()) == ["deck.dwjob", "deck.dwjob.bak"]


def test_saving_through_a_link_leaves_the_link(tmp_path: Path, job: Job) -> None:
    (tmp_path / "store").mkdir()
    link = tmp_path / "deck.dwjob"
    try:
        link.symlink_to(tmp_path / "store" / "deck.dwjob")
    except OSError:
        pytest.skip("no symbolic links here")
    save_job(link, job, None, NOW)
    assert link.is_symlink()
    assert load_job(link).job == job


def full_disk(*_: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("call", ["fsync", "replace", "link and copy"])
def test_a_full_disk_leaves_the_saved_job_and_no_debris(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    save_job(path, job, None, NOW)
    before = path.read_bytes()
    if call == "link and copy":
        monkeypatch.setattr(os, "link", full_disk)
        monkeypatch.setattr(shutil, "copy2", full_disk)
    else:
        monkeypatch.setattr(os, call, full_disk)
    with pytest.raises(DepthwrightError, match="could not be written") as caught:
        save_job(path, job.model_copy(update={"name": "newer"}), None, NOW)
    assert "room" in caught.value.hint
    assert path.read_bytes() == before
    assert [each.name for each in path.parent.iterdir()] == [path.name]


class Killed(BaseException):
    """Stands for the process being ended in the middle."""


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_being_stopped_in_the_middle_never_leaves_half_a_file(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    save_job(path, job, None, NOW)

    def stop(*_: object) -> None:
        raise Killed

    monkeypatch.setattr(os, call, stop)
    with pytest.raises(Killed):
        save_job(path, job.model_copy(update={"name": "newer"}), None, NOW)
    monkeypatch.undo()
    assert load_job(path).job == job


def test_a_folder_that_is_not_there_is_said(tmp_path: Path, job: Job) -> None:
    with pytest.raises(DepthwrightError, match="is not there"):
        save_job(tmp_path / "nowhere" / "deck.dwjob", job, None, NOW)


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path, job: Job) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(DepthwrightError, match="is not there"):
        save_job(tmp_path / "file" / "deck.dwjob", job, None, NOW)
    (tmp_path / "folder.dwjob").mkdir()
    with pytest.raises(DepthwrightError, match="is a folder"):
        save_job(tmp_path / "folder.dwjob", job, None, NOW)


def test_a_job_too_large_to_open_again_is_not_saved(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(job_reading, "MOST_BYTES", 1000)
    with pytest.raises(DepthwrightError, match="more than a job file may"):
        save_job(path, job, None, NOW)
    assert not path.exists()


def test_utc_is_a_zone_like_any_other(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW.astimezone(UTC))
    assert datetime.fromisoformat(stored(path)["saved"]) == NOW


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_and_the_file_stays(path, job, wrong):
    save_job(path, job, None, NOW)
    before = path.read_bytes()
    # What was built around validation must not become a file that nobody can open.
    broken = job.model_copy(update={"specified_cover_mm": wrong})
    with pytest.raises(DepthwrightError, match="not finite"):
        save_job(path, broken, None, NOW)
    assert path.read_bytes() == before
    save_job(path, job.model_copy(update={"name": "NaN", "note": "a\nNaN\nInfinity,"}), None, NOW)
    assert load_job(path).job.name == "NaN"


def test_a_scan_whose_name_is_no_text_is_told_and_the_file_stays(path, job):
    save_job(path, job, None, NOW)
    before = path.read_bytes()
    with pytest.raises(DepthwrightError, match="cannot be written as text"):
        save_job(path, job.model_copy(update={"name": "wall\udcff.sgy"}), None, NOW)
    assert path.read_bytes() == before
