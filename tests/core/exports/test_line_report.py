"""One line's JSON report: what is in it, its schema, and how it is written."""

import json
import os
from dataclasses import replace
from importlib import resources
from pathlib import Path

import jsonschema
import pytest

from depthwright.errors import DepthwrightError
from depthwright.exports import line_report as module
from depthwright.exports.line_report import line_report, schema_text, write_report
from depthwright.files.readers import open_file
from depthwright.job import Tie
from depthwright.marking.chain import mark_line
from depthwright.marking.request import Request, TieAt

SAMPLES = Path(__file__).parents[3] / "sample_data"
TIES = (
    TieAt("bar", 260.0, Tie(depth_mm=35.0, plus_minus_mm=1.0)),
    TieAt("bar", 765.0, Tie(depth_mm=45.0, plus_minus_mm=1.0)),
    TieAt("face", 500.0, Tie(depth_mm=162.5, plus_minus_mm=1.0, origin="drilled hole or core")),
    TieAt("face", 700.0, Tie(depth_mm=163.5, plus_minus_mm=1.0, origin="drilled hole or core")),
)


@pytest.fixture(scope="module")
def marked():
    return mark_line(open_file(SAMPLES / "deck-L1.sgy"), Request(ties=TIES, propose=False))


@pytest.fixture(scope="module")
def report(marked):
    return made(marked)


def made(marked, **changed):
    values = {"scores": {}, "messages": marked.messages, "file": "a/deck-L1.sgy", **changed}
    return line_report(marked.job, marked.line_id, marked.results, 1200.0, **values)


def read(path):
    return json.loads(path.read_text("utf-8"))


@pytest.fixture
def written(report, tmp_path):
    path = tmp_path / "new" / "deck-L1.json"
    write_report(path, report)
    return read(path)


def test_the_published_schema_is_the_one_that_the_program_writes_by():
    published = resources.files("depthwright.exports").joinpath("line.schema.json")
    assert published.read_text(encoding="utf-8") == schema_text()
    jsonschema.Draft202012Validator.check_schema(json.loads(schema_text()))


def test_a_report_follows_the_schema_and_a_spoilt_one_does_not(written):
    validator = jsonschema.Draft202012Validator(json.loads(schema_text()))
    validator.validate(written)
    del written["bars"][0]["cover_mm"]
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(written)


def test_it_has_the_fields_that_other_programs_rely_on(written):
    assert set(written) == {"program", "line", "depth_model", "bars", "face", "messages"}
    assert set(written["line"]) == {"file", "sha256", "traces", "samples", "dt_ns", "length_mm"}
    assert set(written["depth_model"]) == {
        "permittivity", "permittivity_u", "velocity_mm_per_ns", "time_offset_ns",
        "time_offset_u_ns", "antenna_separation_mm", "antenna_height_mm", "centre_frequency_ghz",
        "parameters", "covariance", "adopted_from", "evidence",
    }  # fmt: skip
    assert set(written["bars"][0]) == {
        "number", "position_mm", "position_u_mm", "cover_mm", "cover_u_mm", "diameter_mm",
        "two_way_time_ns", "score",
    }  # fmt: skip
    assert set(written["face"][0]) == {"position_mm", "depth_mm", "depth_u_mm"}
    assert set(written["depth_model"]["evidence"][0]) == {
        "kind", "permittivity", "permittivity_u",
    }  # fmt: skip


def test_its_numbers_are_those_of_the_results(written, marked):
    results, line = marked.results, marked.line
    model, rows = written["depth_model"], results.lines[marked.line_id]
    assert written["line"]["sha256"] == line.scan.sha256
    assert (written["line"]["traces"], written["line"]["samples"]) == (241, 384)
    assert (written["line"]["dt_ns"], written["line"]["length_mm"]) == (0.016, 1200.0)
    assert model["permittivity"] == pytest.approx(results.permittivity, abs=1e-4)
    # Speed of light over the root of the permittivity.
    speed = 299.792458 / results.permittivity**0.5
    assert model["velocity_mm_per_ns"] == pytest.approx(speed, abs=1e-3)
    assert model["parameters"] == list(results.parameters)
    place = model["parameters"].index("time_offset_ns:antenna-1")
    variance = model["covariance"][place][place]
    assert model["time_offset_u_ns"] == pytest.approx(variance**0.5, abs=1e-4)
    assert len(model["covariance"]) == len(model["covariance"][0]) == len(model["parameters"])
    assert [bar["number"] for bar in written["bars"]] == [1, 2]
    for bar, row, mark in zip(written["bars"], rows.bars, line.marks, strict=False):
        assert bar["cover_mm"] == pytest.approx(row.cover.value_mm, abs=1e-4)
        assert bar["cover_u_mm"] == pytest.approx(row.cover.u_mm, abs=1e-4)
        assert bar["position_mm"] == pytest.approx(mark.position_mm, abs=1e-4)
        assert bar["position_u_mm"] == pytest.approx(mark.position_u_mm, abs=1e-4)
        assert bar["two_way_time_ns"] == pytest.approx(row.two_way_ns, abs=1e-4)
        assert bar["score"] is None
    kinds = [row["kind"] for row in model["evidence"]]
    assert kinds == [row.kind for row in results.evidence if row.used]
    assert written["messages"] == list(marked.messages)


def test_the_back_face_is_written_along_the_file_and_has_the_known_depth_where_it_is_known(written):
    face = written["face"]
    positions = [point["position_mm"] for point in face]
    assert positions == sorted(set(positions))
    assert len(positions) > 20
    tied = [point for point in face if point["position_mm"] in (500.0, 700.0)]
    assert [point["depth_u_mm"] < 1.5 for point in tied] == [True, True]
    between = [point for point in face if 520 < point["position_mm"] < 680]
    assert all(point["depth_u_mm"] > 1.5 for point in between)


def test_a_score_goes_with_its_bar(marked):
    ids = [mark.id for mark in marked.line.marks if mark.kind == "bar"]
    bars = made(marked, scores={ids[1]: 0.75}).bars
    assert [bar.score for bar in bars] == [None, 0.75]


def test_an_uncertain_trace_spacing_widens_positions_with_the_distance(marked, report):
    wide = made(marked, scale_u=0.01)
    for plain, wider in zip(report.bars, wide.bars, strict=True):
        expected = (plain.position_u_mm**2 + (0.01 * plain.position_mm) ** 2) ** 0.5
        assert wider.position_u_mm == pytest.approx(expected, abs=1e-3)


def test_the_same_line_gives_the_same_bytes(report, tmp_path):
    for name in ("one.json", "two.json"):
        write_report(tmp_path / name, report)
    assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()
    assert len((tmp_path / "one.json").read_text("utf-8").splitlines()[-1]) == 1


def test_an_earlier_report_is_replaced_and_another_file_is_not(report, tmp_path):
    path = tmp_path / "deck.json"
    write_report(path, report)
    again = report.model_copy(update={"messages": ("Other words.",)})
    write_report(path, again)
    assert read(path)["messages"] == ["Other words."]
    path.write_text('{"note": "mine"}')
    with pytest.raises(DepthwrightError, match="is there already and is no report"):
        write_report(path, report)
    assert path.read_text() == '{"note": "mine"}'


def test_a_place_where_nothing_can_be_written_is_told(report, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    with pytest.raises(DepthwrightError, match="is a file, not a folder"):
        write_report(tmp_path / "file" / "deck.json", report)

    def full(handle):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr("depthwright.files.atomic.os.fsync", full)
    with pytest.raises(DepthwrightError, match="No space left on device") as refused:
        write_report(tmp_path / "deck.json", report)
    assert "Make room" in refused.value.hint
    assert list(tmp_path.iterdir()) == [tmp_path / "file"]


def test_a_cover_that_is_not_there_is_null(marked):
    rows = marked.results.lines[marked.line_id]
    bar = replace(rows.bars[0], cover=replace(rows.bars[0].cover, value_mm=float("nan")))
    lines = {marked.line_id: replace(rows, bars=(bar,))}
    unknown = replace(marked, results=replace(marked.results, lines=lines))
    (block,) = made(unknown).bars
    assert (block.cover_mm, block.cover_u_mm) == (None, None)
    assert module.json_text(made(unknown))
