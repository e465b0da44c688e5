"""Job files of newer and earlier programs, and those that may not be written to, say so and lose nothing."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import VERSION, backup_path, load_job, save_job
from depthwright.job import Job
from depthwright.results.evaluate import evaluate

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)

Change = Callable[[dict[str, Any]], object]


def rewrite(path: Path, change: Change) -> None:
    data = json.loads(path.read_text(encoding="utf-8"))
    change(data)
    path.write_text(json.dumps(data), encoding="utf-8")


def as_newer(path: Path, change: Change = lambda _: None) -> None:
    """Make it a file of the next version."""
    rewrite(path, lambda data: data.update(version=VERSION + 1, program="Depthwright 9.1.0"))
    rewrite(path, change)


# A newer program's.


@pytest.fixture
def newer(path: Path, job: Job) -> Path:
    """A job file with fields at every depth that this version does not know."""
    save_job(path, job, evaluate(job), NOW)

    def unknown(data: dict[str, Any]) -> None:
        data["wings"] = [1, {"a": 2}]
        data["job"]["weather"] = "fair"
        data["job"]["lines"][0]["wheel"] = {"turns": 3}
        for mark in data["job"]["lines"][0]["marks"]:
            mark["wings"] = None
        data["job"]["lines"][0]["marks"][0]["bar"] = "as a kind is called"
        data["job"]["lines"][0]["marks"][0]["tie"]["by"] = "hand"
        data["results"]["more"] = 1

    as_newer(path, unknown)
    return path


def test_what_this_version_knows_is_opened(newer: Path, job: Job) -> None:
    assert load_job(newer).job == job


def test_it_says_that_it_is_only_to_be_read_and_what_to_do(newer: Path) -> None:
    assert load_job(newer).read_only == (
        "deck.dwjob was saved by a newer Depthwright (Depthwright 9.1.0) and is opened to be read. "
        "Save it under another name to go on; that keeps only what this version knows."
    )


def test_it_says_what_was_left_out(newer: Path) -> None:
    assert load_job(newer).findings == (
        "Left out: job.lines[0].marks[0].tie.by, job.lines[0].marks[0].wings, "
        "job.lines[0].marks[0].bar and 8 more.",
    )


def test_it_is_never_saved_over(newer: Path) -> None:
    before, loaded = newer.read_bytes(), load_job(newer)
    with pytest.raises(DepthwrightError, match="by a newer Depthwright") as caught:
        save_job(newer, loaded.job, None, NOW, expected=loaded.stamp)
    assert caught.value.hint == "Save under another name."
    assert newer.read_bytes() == before
    assert [each.name for each in newer.parent.iterdir()] == ["deck.dwjob"]


def test_saved_under_another_name_it_is_a_job_of_this_version(newer: Path, job: Job) -> None:
    other = newer.with_name("other.dwjob")
    save_job(other, load_job(newer).job, None, NOW)
    again = load_job(other)
    assert (again.job, again.read_only, again.findings) == (job, "", ())


def test_one_with_nothing_unknown_in_it_leaves_nothing_out(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    as_newer(path)
    loaded = load_job(path)
    assert (loaded.job, loaded.findings) == (job, ())
    assert loaded.read_only


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda job: job["lines"][0]["marks"][0].update(kind="wave"), "job.lines[0].marks[0]"),
        (lambda job: job["lines"][0]["marks"][0].update(time_ns="1"), "marks[0].time_ns"),
        (lambda job: job["lines"][0].pop("direct"), "job.lines[0].direct"),
        (lambda job: job.update(unit="ell", wings=1), "job.unit"),
        (lambda job: job.update(lines={}), "job.lines"),
    ],
)
def test_what_cannot_be_understood_is_refused_by_its_place(
    newer: Path, change: Change, place: str
) -> None:
    rewrite(newer, lambda data: change(data["job"]))
    with pytest.raises(DepthwrightError) as caught:
        load_job(newer)
    assert "by a newer Depthwright (Depthwright 9.1.0), and this one does not" in str(caught.value)
    assert place in caught.value.message
    assert caught.value.hint == "Open it with the newer program."


def test_an_unknown_field_in_a_file_of_this_version_is_damage(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    rewrite(path, lambda data: data["job"].update(wings=1))
    with pytest.raises(DepthwrightError, match=r"is damaged at job\.wings"):
        load_job(path)


# An earlier program's.


@pytest.fixture
def earlier(path: Path, job: Job) -> Path:
    """A job file of version 1."""
    save_job(path, job, None, NOW)

    def back(data: dict[str, Any]) -> None:
        data.update(version=1, program="Depthwright 0.0.9")
        for line in data["job"]["lines"]:
            del line["scan"]["given"]
            line["scan"].update(given_dt_ns=None, given_trace_spacing_mm=2.5)

    rewrite(path, back)
    return path


def test_it_is_brought_up_to_date_and_says_so(earlier: Path) -> None:
    loaded = load_job(earlier)
    assert loaded.job.lines[0].scan.given.trace_spacing_mm == 2.5
    assert loaded.read_only == ""
    assert loaded.findings == (
        "deck.dwjob was saved by an earlier Depthwright (Depthwright 0.0.9) and was brought up to "
        "date. The first save over it keeps it as it is now under the name deck.version-1.dwjob.",
    )


def test_the_first_save_keeps_it_under_a_name_of_its_own(earlier: Path) -> None:
    before = earlier.read_bytes()
    job = load_job(earlier).job
    for _ in range(3):
        save_job(earlier, job, None, NOW)
    kept = earlier.with_name("deck.version-1.dwjob")
    assert kept.read_bytes() == before
    assert sorted(each.name for each in earlier.parent.iterdir()) == [
        "deck.dwjob",
        "deck.dwjob.bak",
        "deck.version-1.dwjob",
    ]
    assert load_job(kept).job == load_job(earlier).job == job


def test_the_usual_previous_version_is_kept_besides(earlier: Path) -> None:
    before = earlier.read_bytes()
    save_job(earlier, load_job(earlier).job, None, NOW)
    assert backup_path(earlier).read_bytes() == before


def test_another_file_of_that_name_is_never_overwritten(earlier: Path) -> None:
    before = earlier.read_bytes()
    for name in ("deck.version-1.dwjob", "deck.version-1-2.dwjob"):
        earlier.with_name(name).write_bytes(b"of the user")
    assert "under the name deck.version-1-3.dwjob." in load_job(earlier).findings[0]
    save_job(earlier, load_job(earlier).job, None, NOW)
    assert earlier.with_name("deck.version-1.dwjob").read_bytes() == b"of the user"
    assert earlier.with_name("deck.version-1-2.dwjob").read_bytes() == b"of the user"
    assert earlier.with_name("deck.version-1-3.dwjob").read_bytes() == before


def test_one_that_was_kept_already_is_not_kept_twice(earlier: Path) -> None:
    raw = earlier.read_bytes()
    for _ in range(2):
        earlier.write_bytes(raw)
        save_job(earlier, load_job(earlier).job, None, NOW)
    assert sorted(each.name for each in earlier.parent.glob("*version*")) == [
        "deck.version-1.dwjob"
    ]


def test_a_job_file_of_another_job_saved_over_is_kept_as_well(earlier: Path, job: Job) -> None:
    """Saving under the name of a file that was never opened here."""
    before = earlier.read_bytes()
    save_job(earlier, job, None, NOW)
    assert earlier.with_name("deck.version-1.dwjob").read_bytes() == before


def test_what_is_no_job_file_is_kept_as_the_previous_version_only(path: Path, job: Job) -> None:
    path.write_bytes(b'{"version": 1, "format": "of somebody else"}')
    save_job(path, job, None, NOW)
    assert sorted(each.name for each in path.parent.iterdir()) == ["deck.dwjob", "deck.dwjob.bak"]


# One that may not be written to.


@pytest.fixture
def protected(open_folder: Path, nobody: None, make_job: Callable[[str], Job]) -> Path:
    """A job file of a user who may do no more than the modes of files say."""
    path = open_folder / "deck.dwjob"
    save_job(path, make_job(""), None, NOW)
    return path


def test_a_protected_file_says_so(protected: Path) -> None:
    protected.chmod(0o444)
    assert load_job(protected).read_only == (
        "deck.dwjob may not be written to. Save the job under another name or in another folder."
    )


def test_a_protected_folder_says_so(protected: Path) -> None:
    protected.parent.chmod(0o555)
    assert load_job(protected).read_only == (
        "The folder mine may not be written to. Save the job under another name or in another folder."
    )


def test_one_that_may_be_written_to_says_nothing(protected: Path) -> None:
    assert load_job(protected).read_only == ""


def test_one_that_may_not_be_read_is_refused(protected: Path) -> None:
    protected.chmod(0o000)
    with pytest.raises(DepthwrightError, match="could not be read") as caught:
        load_job(protected)
    assert "Check that you may read it" in caught.value.hint
