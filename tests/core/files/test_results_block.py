"""What a job came to is stored for anyone to read, and compared when it is opened again."""

import json
import math
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from depthwright import wave
from depthwright.files.jobfile import load_job, save_job
from depthwright.files.results_block import PROFILE_POINTS, compare_results, results_block
from depthwright.job import Job, Tie, Zone
from depthwright.measuring.backface import FaceTrack
from depthwright.results.evaluate import evaluate
from depthwright.results.values import Results

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=timezone(timedelta(hours=1)))


def stored(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"))


def test_the_results_can_be_read_without_the_program(path: Path, job: Job) -> None:
    results = evaluate(job)
    save_job(path, job, results, NOW)
    block = stored(path)["results"]
    rows = results.lines["line-1"]
    assert block["coverage_factor"] == 2
    assert "k = 2" in block["intervals"]
    assert any("not declare any place safe" in caution for caution in block["cautions"])
    bar, line = block["lines"][0]["bars"][1], block["lines"][0]
    assert bar["cover"]["value_mm"] == pytest.approx(rows.bars[1].cover.value_mm, abs=1e-4)
    assert bar["cover"]["u_mm"] == pytest.approx(rows.bars[1].cover.u_mm, abs=1e-4)
    assert bar["cover"]["expanded_mm"] == pytest.approx(2 * rows.bars[1].cover.u_mm, abs=2e-4)
    assert line["bars"][0]["tie"] == {"depth_mm": 42.0, "u_mm": 1.0, "origin": "cover meter"}
    assert line["targets"][0]["what"] == "conduit"
    assert line["faces"][0]["profile"]["position_mm"] == [0.0, 900.0]


def test_the_unknowns_that_all_depths_share_are_stored(path: Path, job: Job) -> None:
    results = evaluate(job)
    save_job(path, job, results, NOW)
    shared = stored(path)["results"]["unknowns"]
    assert shared["names"] == list(results.parameters)
    np.testing.assert_allclose(shared["values"], results.posterior.theta, rtol=1e-5)
    np.testing.assert_allclose(shared["covariance"], results.covariance, rtol=1e-5, atol=1e-300)
    assert all(value == float(f"{value:.6g}") for row in shared["covariance"] for value in row)


def test_the_permittivity_follows_from_the_stored_unknowns(path: Path, job: Job) -> None:
    save_job(path, job, evaluate(job), NOW)
    block = stored(path)["results"]
    place = block["unknowns"]["names"].index("ln_permittivity:zone-1")
    permittivity = math.exp(block["unknowns"]["values"][place])
    u = permittivity * math.sqrt(block["unknowns"]["covariance"][place][place])
    model = block["lines"][0]["depth_model"]
    assert model["permittivity"] == pytest.approx(permittivity, abs=1e-3)
    assert model["permittivity_u"] == pytest.approx(u, abs=1e-3)
    assert block["permittivity_expanded"] == pytest.approx(2 * u, abs=1e-3)


def test_time_zero_and_its_uncertainty_are_stored_per_line(path: Path, job: Job) -> None:
    results = evaluate(job)
    save_job(path, job, results, NOW)
    stored_line = stored(path)["results"]["lines"][0]
    model = stored_line["depth_model"]
    before, u = results.posterior.time_zero(0)
    assert model["time_zero_ns"] == pytest.approx(1.0 - before, abs=1e-4)
    assert model["time_zero_u_ns"] == pytest.approx(u, abs=1e-4)
    assert 0 < model["time_zero_u_ns"] < 0.2


def test_evidence_is_stored_with_its_interval_and_what_sets_it_aside(path: Path, job: Job) -> None:
    line = job.lines[0]
    aside = Tie(depth_mm=61.0, plus_minus_mm=1.0, set_aside="read over the wrong bar")
    target = line.marks[4].model_copy(update={"tie": Tie(depth_mm=80.0, plus_minus_mm=4.0)})
    second = line.marks[1].model_copy(update={"tie": aside})
    marks = (line.marks[0], second, *line.marks[2:4], target, line.marks[5])
    job = job.model_copy(update={"lines": (line.model_copy(update={"marks": marks}),)})
    save_job(path, job, evaluate(job), NOW)
    block = stored(path)["results"]
    rows = {row["mark"]: row for row in block["evidence"]}
    assert [rows[mark]["used"] for mark in ("bar-1", "bar-2", "target-1")] == [True, False, True]
    assert rows["bar-2"]["note"] == "Set aside: read over the wrong bar."
    assert rows["bar-2"]["line"] == "line-1"
    assert rows[""]["kind"] == "typed"
    for row in block["evidence"]:
        spread = math.exp(2 * row["log_u"])
        assert row["low"] == pytest.approx(row["permittivity"] / spread, rel=1e-3)
        assert row["high"] == pytest.approx(row["permittivity"] * spread, rel=1e-3)
    assert block["lines"][0]["bars"][1]["tie"] is None
    assert block["lines"][0]["targets"][0]["tie"]["depth_mm"] == 80.0


def test_the_outlook_is_stored(path: Path, job: Job) -> None:
    results = evaluate(job)
    save_job(path, job, results, NOW)
    outlook = stored(path)["results"]["outlook"]
    assert outlook["deep_label"] == results.outlook.deep_label == "the back face"
    assert outlook["deep"]["value_mm"] == pytest.approx(results.outlook.deep.value_mm, abs=1e-4)
    assert [row["now"] for row in outlook["rows"]].count(True) == 1
    assert len(outlook["rows"]) == len(results.outlook.rows)


def test_warnings_and_messages_stand_apart(path: Path, job: Job) -> None:
    antenna = job.antennas[0].model_copy(update={"separation_known": False})
    job = job.model_copy(update={"antennas": (antenna,)})
    save_job(path, job, evaluate(job), NOW)
    block = stored(path)["results"]
    assert any("is assumed" in warning for warning in block["warnings"])
    assert any("Bar 3 on Wall" in message for message in block["messages"])


def crested(job: Job, mark_id: str, cover_mm: float, permittivity: float) -> Job:
    """The job with a crest picked on one of its bars, as rays would give it."""
    away = np.linspace(-90, 90, 19)
    slant = np.hypot(cover_mm + 6, away) - 6
    arrival = wave.travel_time(slant, permittivity, 40.0, 3.0).time_ns
    line = job.lines[0]
    bar = line.mark(mark_id)
    crest = np.column_stack([bar.position_mm + away, bar.time_ns + arrival - arrival.min()])
    with_crest = bar.model_copy(update={"crest": tuple(map(tuple, crest.tolist()))})
    marks = tuple(with_crest if mark.id == mark_id else mark for mark in line.marks)
    return job.model_copy(update={"lines": (line.model_copy(update={"marks": marks}),)})


def test_every_bar_says_whether_its_curvature_counted(job: Job) -> None:
    results = evaluate(crested(job, "bar-2", cover_mm=51.0, permittivity=6.0))
    assert any(row.kind == "curvature" for row in results.evidence)
    bars = results_block(job, results).lines[0].bars
    assert [bar.curvature for bar in bars] == [False, True, False]


def test_a_long_line_of_unknowns_stays_a_small_file(tmp_path: Path, job: Job) -> None:
    line = job.lines[0]
    lines = tuple(
        line.model_copy(
            update={
                "id": f"line-{n}",
                "marks": tuple(m.model_copy(update={"id": f"{m.id}-{n}"}) for m in line.marks),
            }
        )
        for n in range(1, 21)
    )
    large = job.model_copy(update={"lines": lines})
    results = evaluate(large)
    save_job(tmp_path / "large.dwjob", large, results, NOW)
    assert len(results.parameters) > 60
    assert (tmp_path / "large.dwjob").stat().st_size < 400_000


def test_a_depth_that_does_not_exist_is_null(path: Path, job: Job) -> None:
    save_job(path, job, evaluate(job), NOW)
    cover = stored(path)["results"]["lines"][0]["bars"][2]["cover"]
    assert cover == {"value_mm": None, "u_mm": None, "expanded_mm": None}


def test_a_long_profile_is_thinned_and_says_so(job: Job) -> None:
    many = 12_345
    track = FaceTrack(np.linspace(0, 900, many), np.full(many, 3.6))
    face = results_block(job, evaluate(job, {"face-1": track})).lines[0].faces[0]
    assert face.tracked_points == many
    assert 0.5 * PROFILE_POINTS < len(face.profile.depth_mm) <= PROFILE_POINTS


# Comparing.


def test_the_same_results_compare_as_the_same(path: Path, job: Job) -> None:
    save_job(path, job, evaluate(job), NOW)
    loaded = load_job(path)
    assert loaded.results is not None
    assert compare_results(loaded.results, evaluate(loaded.job)) == ""


def test_a_changed_result_is_named(job: Job) -> None:
    block = results_block(job, evaluate(job))
    bar = block.lines[0].bars[1]
    cover = bar.cover.model_copy(update={"value_mm": 99.0})
    bars = (block.lines[0].bars[0], bar.model_copy(update={"cover": cover}), block.lines[0].bars[2])
    line = block.lines[0].model_copy(update={"bars": bars})
    sentence = compare_results(block.model_copy(update={"lines": (line,)}), evaluate(job))
    assert "cover of bar 2 on Wall 99.00 mm then" in sentence
    assert "more" not in sentence


def test_another_permittivity_is_named_first(job: Job) -> None:
    other = job.model_copy(update={"zones": (Zone(id="zone-1", permittivity=4.0, keep=True),)})
    sentence = compare_results(results_block(job, evaluate(job)), evaluate(other))
    assert "differ from those stored with Depthwright" in sentence
    assert sentence.index("permittivity") < sentence.index("bar 1")
    assert "more" in sentence


def with_tracked(job: Job, points: int, time_ns: float) -> Results:
    track = FaceTrack(np.linspace(0, 900, points), np.full(points, time_ns))
    return evaluate(job, {"face-1": track})


def test_a_moved_median_is_named(job: Job) -> None:
    block = results_block(job, with_tracked(job, 200, 3.6))
    sentence = compare_results(block, with_tracked(job, 200, 3.5))
    assert "median of back face 1 on Wall" in sentence


def test_a_median_is_not_compared_with_that_of_a_face_tracked_otherwise(job: Job) -> None:
    block = results_block(job, with_tracked(job, 200, 3.6))
    assert compare_results(block, with_tracked(job, 201, 3.5)) == ""
    assert compare_results(block, evaluate(job)) == ""


def test_a_changed_spacing_is_named(job: Job) -> None:
    block = results_block(job, evaluate(job))
    first, second, third = block.lines[0].bars
    spacing = second.spacing.model_copy(update={"value_mm": 151.0})
    bars = (first, second.model_copy(update={"spacing": spacing}), third)
    line = block.lines[0].model_copy(update={"bars": bars})
    sentence = compare_results(block.model_copy(update={"lines": (line,)}), evaluate(job))
    assert "spacing before bar 2 on Wall 151.00 mm then, 150.00 mm now" in sentence


def test_a_mark_that_came_or_went_is_named(job: Job) -> None:
    line = job.lines[0]
    fewer = job.model_copy(
        update={"lines": (line.model_copy(update={"marks": line.marks[:2]}),)}
    )  # fmt: skip
    gone = compare_results(results_block(job, evaluate(job)), evaluate(fewer))
    assert "no longer there" in gone
    came = compare_results(results_block(fewer, evaluate(fewer)), evaluate(job))
    assert "not stored" in came
