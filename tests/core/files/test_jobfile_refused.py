"""What is no job file is refused with a sentence that says what it is and what to do."""

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from depthwright.errors import DepthwrightError
from depthwright.files import jobfile
from depthwright.files.jobfile import load_job, save_job
from depthwright.job import Antenna, BarMark, DirectPick, Job, Line, ScanRef
from depthwright.results.evaluate import evaluate

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A saved job with one bar."""
    bar = BarMark(id="bar-1", number=1, position_mm=1.0, position_u_mm=1.0, time_ns=1.6)
    job = Job(
        antennas=(Antenna(id="antenna-1", centre_frequency_ghz=1.8),),
        lines=(
            Line(
                id="line-1",
                name="Wall",
                scan=ScanRef(
                    path="", size_bytes=0, sha256="", traces=200, samples=400, dt_ns=0.02
                ),
                zone="zone-1",
                antenna="antenna-1",
                direct=DirectPick(time_ns=1.0),
                marks=(bar,),
            ),
        ),
    )  # fmt: skip
    saved = tmp_path / "deck.dwjob"
    save_job(saved, job, evaluate(job), NOW)
    return saved


def refused(path: Path) -> DepthwrightError:
    with pytest.raises(DepthwrightError) as caught:
        load_job(path)
    assert caught.value.message.endswith(".")
    assert caught.value.hint.endswith(".")
    return caught.value


def rewrite(path: Path, **fields: object) -> dict:
    data = {**json.loads(path.read_text(encoding="utf-8")), **fields}
    path.write_text(json.dumps(data), encoding="utf-8")
    return data


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert refused(tmp_path / "gone.dwjob").message == "gone.dwjob is not there."


def test_a_folder(tmp_path: Path) -> None:
    assert "is a folder" in refused(tmp_path).message


def test_a_file_below_a_file(path: Path) -> None:
    assert "could not be read" in refused(path / "deck.dwjob").message


def test_an_empty_file(path: Path) -> None:
    path.write_bytes(b" \n")
    assert refused(path).message == "deck.dwjob is empty."


@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.99])
def test_a_file_cut_off_in_the_middle(path: Path, share: float) -> None:
    raw = path.read_bytes().rstrip()
    path.write_bytes(raw[: int(share * len(raw))])
    assert "ends in the middle" in refused(path).message


def test_every_cut_is_refused_as_the_expected_error(path: Path) -> None:
    raw = path.read_bytes().rstrip()
    for length in range(0, len(raw), 97):
        path.write_bytes(raw[:length])
        refused(path)


def test_the_kept_version_is_offered_when_it_is_there(path: Path) -> None:
    save_job(path, load_job(path).job, None, NOW)
    path.write_bytes(path.read_bytes()[:400])
    assert refused(path).hint == "Open deck.dwjob.bak, the version before the last save."


@pytest.mark.parametrize("raw", [b"distance,time\n1,2\n", b"\xff\xfe\x00\x01", b"{]"])
def test_a_file_that_is_not_json(path: Path, raw: bytes) -> None:
    path.write_bytes(raw)
    assert "is not a job file" in refused(path).message


@pytest.mark.parametrize("text", ["[1, 2]", '{"format": "recipe"}', "null", "3", '{"a": 1}'])
def test_json_of_something_else(path: Path, text: str) -> None:
    path.write_text(text)
    assert refused(path).message == "deck.dwjob is JSON, but not a Depthwright job."


def test_a_file_of_a_newer_program(path: Path) -> None:
    rewrite(path, version=jobfile.VERSION + 1, program="Depthwright 9.1.0", job=[1])
    problem = refused(path)
    assert "saved by a newer Depthwright (Depthwright 9.1.0)" in problem.message
    assert problem.hint == "Open it with the newer program."


@pytest.mark.parametrize("version", [0, -1, "1", 1.5, True, None])
def test_a_version_that_is_none(path: Path, version: object) -> None:
    rewrite(path, version=version)
    assert "at version" in refused(path).message


def test_a_wrong_type_is_named_by_its_place(path: Path) -> None:
    data = rewrite(path)
    data["job"]["lines"][0]["marks"][0]["time_ns"] = "1.6"
    rewrite(path, job=data["job"])
    message = refused(path).message
    assert "job.lines[0].marks[0].time_ns: input should be a valid number" in message


def test_a_field_that_is_missing_is_named_by_its_place(path: Path) -> None:
    data = rewrite(path)
    del data["job"]["lines"][0]["marks"][0]["time_ns"]
    rewrite(path, job=data["job"])
    assert "job.lines[0].marks[0].time_ns: field required" in refused(path).message


def test_a_reference_to_nothing_is_said(path: Path) -> None:
    data = rewrite(path)
    data["job"]["lines"][0]["zone"] = "zone-9"
    rewrite(path, job=data["job"])
    assert "names a zone or antenna that is not there" in refused(path).message


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999", "9" * 5000])
def test_a_number_that_cannot_be(path: Path, word: str) -> None:
    text = path.read_text(encoding="utf-8").replace('"time_ns": 1.6', f'"time_ns": {word}', 1)
    assert word in text
    path.write_text(text, encoding="utf-8")
    refused(path)


def test_deep_nesting(path: Path) -> None:
    path.write_text("[" * 200_000)
    assert "nested too deeply" in refused(path).message


def test_deep_nesting_inside_a_job(path: Path) -> None:
    nest = "[" * 900 + "]" * 900
    text = path.read_text(encoding="utf-8").replace('"note": ""', f'"note": {nest}', 1)
    path.write_text(text, encoding="utf-8")
    refused(path)


def test_half_of_a_character_in_a_text(path: Path) -> None:
    text = path.read_text(encoding="utf-8").replace('"note": ""', r'"note": "\ud800"', 1)
    path.write_text(text, encoding="utf-8")
    refused(path)


def test_a_huge_file_is_refused_unread(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    os.truncate(path, jobfile.MOST_BYTES + 1)
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("the file was read"))
    assert "more than a job file may" in refused(path).message


def test_damaged_results_do_not_cost_the_job(path: Path) -> None:
    data = rewrite(path)
    del data["results"]["lines"][0]["bars"]
    rewrite(path, results=data["results"])
    loaded = load_job(path)
    assert loaded.job.lines[0].marks[0].id == "bar-1"
    assert loaded.results is None
    assert loaded.findings == ("The stored results are damaged; they are computed again.",)


@pytest.mark.parametrize(("form", "age"), [(None, "an older"), (1, "an older"), (9, "a newer")])
def test_results_of_another_form_do_not_cost_the_job(path: Path, form: int, age: str) -> None:
    results = rewrite(path)["results"]
    del results["form"], results["unknowns"], results["evidence"][0]["kind"]
    rewrite(path, results={**results, "form": form} if form else results)
    loaded = load_job(path)
    assert loaded.job.lines[0].marks[0].id == "bar-1"
    assert loaded.results is None
    said = f"The stored results are of {age} form; they are computed again."
    assert loaded.findings == (said,)


@pytest.mark.parametrize("results", [3, "none", [], {}])
def test_results_that_are_none_do_not_cost_the_job(path: Path, results: object) -> None:
    rewrite(path, results=results)
    assert load_job(path).results is None


def test_a_file_without_results_opens(path: Path) -> None:
    data = rewrite(path)
    del data["results"]
    path.write_text(json.dumps(data), encoding="utf-8")
    assert load_job(path).results is None


def test_a_byte_order_mark_does_no_harm(path: Path) -> None:
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_job(path).job.lines[0].name == "Wall"


def test_what_a_file_holds_is_not_quoted_at_length(path: Path) -> None:
    data = json.loads(path.read_text(encoding="utf-8"))
    data["job"]["lines"][0]["marks"][0]["kind"] = 3000 * "x"
    rewrite(path, job=data["job"])
    message = refused(path).message
    assert "job.lines[0].marks[0]" in message
    assert len(message) < 300
