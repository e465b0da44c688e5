"""Job files made to cost much are opened or refused with a sentence, before they do."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from depthwright.errors import DepthwrightError
from depthwright.files import job_reading
from depthwright.files.jobfile import load_job, save_job
from depthwright.job import Job

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)
NOTE = '{"kind":"note","id":"n%d","position_mm":0,"time_ns":0,"text":""}'


@pytest.fixture
def with_marks(path: Path, make_job: object) -> object:
    """Makes a job file whose marks are the text given."""
    save_job(path, make_job(""), None, NOW)  # type: ignore[operator]
    data = json.loads(path.read_text("utf-8"))
    data["job"]["lines"][0]["marks"] = "HERE"
    around = json.dumps(data)

    def make(marks: str) -> Path:
        path.write_text(around.replace('"HERE"', f"[{marks}]"), "utf-8")
        return path

    return make


def refused(path: Path) -> str:
    with pytest.raises(DepthwrightError) as caught:
        load_job(path)
    assert caught.value.hint.endswith(".")
    assert caught.value.message.endswith(".")
    assert len(caught.value.message) < 500
    return caught.value.message


@pytest.mark.parametrize(
    "marks",
    [
        ",".join(["{}"] * 1_000_000),
        ",".join([NOTE % 1] * 900_000),
        ",".join(["0"] * 6_100_000),
        "[" * 6_100_000 + "]" * 6_100_000,
    ],
    ids=["nothings", "notes", "numbers", "lists"],
)
def test_a_million_marks_are_refused_before_they_are_parsed(
    with_marks, marks: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = with_marks(marks)
    monkeypatch.setattr(json, "loads", lambda *_, **__: pytest.fail("it was parsed"))
    assert "holds more marks and values than a job may" in refused(path)


def test_ten_thousand_marks_open(with_marks) -> None:
    marks = load_job(with_marks(",".join(NOTE % number for number in range(10_000)))).job.lines[0]
    assert len(marks.marks) == 10_000


def test_of_ten_thousand_wrong_marks_the_first_is_told(with_marks) -> None:
    said = refused(with_marks(",".join(['{"kind":"bar"}'] * 10_000)))
    assert said == "deck.dwjob is damaged at job.lines[0].marks[0].id: field required."


@pytest.mark.parametrize("depth", [100, 900, 2000, 50_000])
def test_deep_nesting_in_a_mark(with_marks, depth: int) -> None:
    refused(with_marks("[" * depth + "]" * depth))
    refused(with_marks('{"a":' * depth + "0" + "}" * depth))


def test_a_field_with_a_name_of_a_megabyte_is_cut_in_the_sentence(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text("utf-8")
    path.write_text(text.replace('"note": ""', '"note": "", "%s": 1' % ("x" * 2**20)), "utf-8")
    assert f"job.{'x' * 40}…" in refused(path)


def test_a_field_with_half_a_character_in_its_name_can_be_said(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text("utf-8")
    path.write_text(text.replace('"note": ""', r'"note": "", "\ud83d": 1'), "utf-8")
    assert refused(path).encode("utf-8")


@pytest.mark.parametrize("number", ["1e308", "-1e308", "1e-320", "9" * 300, "0." + "0" * 300 + "1"])
def test_enormous_and_tiny_numbers_are_numbers(path: Path, job: Job, number: str) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text("utf-8")
    path.write_text(text.replace('"position_mm": 100.0', f'"position_mm": {number}'), "utf-8")
    assert load_job(path).job.lines[0].marks[0].position_mm == float(number)
    again = load_job(path).job
    save_job(path, again, None, NOW)
    assert load_job(path).job == again


@pytest.mark.parametrize("number", ["1e309", "-1e999", "9" * 400, "9" * 5000, "NaN", "1e", "0x10"])
def test_numbers_beyond_all_numbers_are_refused(path: Path, job: Job, number: str) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text("utf-8")
    path.write_text(text.replace('"position_mm": 100.0', f'"position_mm": {number}'), "utf-8")
    refused(path)


def test_counts_beyond_all_memory_are_only_counts(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    text = path.read_text("utf-8")
    path.write_text(text.replace('"traces": 200', f'"traces": {10**30}'), "utf-8")
    assert load_job(path).job.lines[0].scan.traces == 10**30


def test_a_job_with_too_many_values_to_be_opened_again_is_not_saved(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(job_reading, "MOST_OBJECTS", 10)
    with pytest.raises(DepthwrightError, match="more marks and values than a job may") as caught:
        save_job(path, job, None, NOW)
    assert caught.value.hint == "Split its lines over two jobs."
    assert not path.exists()
