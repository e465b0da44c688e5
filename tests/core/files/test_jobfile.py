"""A job survives the disk: round trips, the schema, and a save that fails leaves all as it was."""

import errno
import json
import math
import os
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import hypothesis.strategies as st
import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings

from depthwright import wave
from depthwright.errors import DepthwrightError
from depthwright.files import jobfile
from depthwright.files.jobfile import (
    backup_path,
    compare_results,
    load_job,
    results_block,
    save_job,
    schema_text,
)
from depthwright.files.results_block import PROFILE_POINTS
from depthwright.job import (
    Anchor,
    Antenna,
    BarMark,
    DirectPick,
    FaceMark,
    Job,
    Line,
    NoteMark,
    ScanRef,
    TargetMark,
    Tie,
    Zone,
)
from depthwright.measuring.backface import FaceTrack
from depthwright.processing.recipe import Recipe
from depthwright.results.evaluate import evaluate
from depthwright.results.values import Results

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=timezone(timedelta(hours=1)))


def a_line(scan: str, marks: tuple = (), line_id: str = "line-1", name: str = "Wall") -> Line:
    return Line(
        id=line_id,
        name=name,
        scan=ScanRef(
            path=scan, size_bytes=3600, sha256="ab" * 32, traces=200, samples=400, dt_ns=0.02
        ),
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=1.0),
        marks=marks,
    )


def a_job(scan: str) -> Job:
    marks = (
        BarMark(id="bar-1", number=1, position_mm=100.0, position_u_mm=1.5, time_ns=1.6,
                tie=Tie(depth_mm=42.0, plus_minus_mm=1.0)),
        BarMark(id="bar-2", number=2, position_mm=250.0, position_u_mm=1.5, time_ns=1.7),
        BarMark(id="bar-3", number=3, position_mm=400.0, position_u_mm=1.5, time_ns=0.9),
        FaceMark(id="face-1", number=1, anchors=(
            Anchor(position_mm=0.0, time_ns=3.6), Anchor(position_mm=900.0, time_ns=3.7))),
        TargetMark(id="target-1", number=1, position_mm=320.0, position_u_mm=2.0, time_ns=2.2,
                   what="conduit"),
        NoteMark(id="note-1", position_mm=10.0, time_ns=2.0, text='Brackets [\n "1", 2 ]'),
    )  # fmt: skip
    return Job(
        name="Deck, bay 3 — “north” 日本",
        antennas=(Antenna(id="antenna-1", centre_frequency_ghz=1.8),),
        lines=(a_line(scan, marks),),
    )


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return a_job(str(tmp_path / "scans" / "wall.sgy"))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deck.dwjob"


def stored(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"))


# Round trips.


def test_a_job_comes_back_as_it_was(path: Path, job: Job) -> None:
    save_job(path, job, evaluate(job), NOW)
    loaded = load_job(path)
    assert loaded.job == job
    assert loaded.findings == ()


NAMES = st.text(max_size=12)
LENGTHS = st.floats(-1e7, 1e7)
POSITIVE = st.floats(1e-6, 1e6)
TIES = st.none() | st.builds(
    Tie, depth_mm=POSITIVE, plus_minus_mm=POSITIVE, limits=st.booleans(),
    origin=st.sampled_from(["cover meter", "drawing", "other"]),
)  # fmt: skip
PLACES = {"number": st.integers(1, 10**6), "position_mm": LENGTHS, "time_ns": LENGTHS}
SHARP = {**PLACES, "position_u_mm": st.floats(0, 1e3), "overlaps_direct": st.booleans()}
MARKS = st.lists(
    st.one_of(
        st.builds(BarMark, id=st.just("m"), diameter_mm=POSITIVE, tie=TIES, **SHARP),
        st.builds(TargetMark, id=st.just("m"), what=st.sampled_from(["duct", "void"]), **SHARP),
        st.builds(FaceMark, id=st.just("m"), number=st.integers(1, 9), anchors=st.lists(
            st.builds(Anchor, position_mm=LENGTHS, time_ns=LENGTHS, tie=TIES),
            min_size=1, max_size=3).map(tuple)),
        st.builds(NoteMark, id=st.just("m"), position_mm=LENGTHS, time_ns=LENGTHS, text=NAMES),
    ),
    max_size=4,
).map(lambda marks: tuple(m.model_copy(update={"id": f"m{i}"}) for i, m in enumerate(marks)))  # fmt: skip
JOBS = st.builds(
    lambda name, note, unit, cover, scale, recipe, marks, eps: Job(
        name=name, note=note, unit=unit, specified_cover_mm=cover,
        zones=(Zone(id="zone-1", permittivity=eps),),
        antennas=(Antenna(id="antenna-1", centre_frequency_ghz=1.8),),
        lines=(a_line("", marks).model_copy(update={"distance_scale": scale, "recipe": recipe}),),
    ),
    NAMES, NAMES, st.sampled_from(["mm", "cm", "in"]), st.none() | POSITIVE, st.floats(0.1, 10),
    st.builds(Recipe, gain_db_per_100mm=st.floats(0, 60)), MARKS, st.floats(1, 100),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(job=JOBS)
def test_any_job_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, job: Job) -> None:
    path = tmp_path_factory.getbasetemp() / "any.dwjob"
    save_job(path, job, None, NOW)
    assert load_job(path).job == job
    jsonschema.validate(stored(path), json.loads(schema_text()))


def test_the_file_says_when_and_by_what_it_was_saved(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW)
    assert datetime.fromisoformat(stored(path)["saved"]) == NOW
    assert stored(path)["format"] == "depthwright-job"
    assert stored(path)["version"] == 1
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


# The results block.


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
    lines = tuple(a_line("", job.lines[0].marks, f"line-{n}", f"Wall {n}") for n in range(1, 21))
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


# Paths of scans.


def test_a_scan_near_the_job_is_stored_relative(tmp_path: Path, job: Job) -> None:
    (tmp_path / "jobs").mkdir()
    path = tmp_path / "jobs" / "deck.dwjob"
    save_job(path, job, None, NOW)
    assert stored(path)["job"]["lines"][0]["scan"]["path"] == "../scans/wall.sgy"
    assert load_job(path).job == job


def test_a_scan_far_away_is_stored_absolute(tmp_path: Path) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    far = str(tmp_path / "wall.sgy")
    save_job(deep / "deck.dwjob", a_job(far), None, NOW)
    assert stored(deep / "deck.dwjob")["job"]["lines"][0]["scan"]["path"] == far


def test_job_and_scans_can_move_together(tmp_path: Path, job: Job) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    save_job(first / "deck.dwjob", a_job(str(first / "wall.sgy")), None, NOW)
    first.rename(second)
    scan = load_job(second / "deck.dwjob").job.lines[0].scan
    assert scan.path == str(second / "wall.sgy")


def test_a_scan_beside_the_job_stands_in_for_one_that_is_gone(tmp_path: Path, job: Job) -> None:
    save_job(tmp_path / "deck.dwjob", job, None, NOW)
    (tmp_path / "wall.sgy").write_bytes(b"")
    loaded = load_job(tmp_path / "deck.dwjob")
    assert loaded.job.lines[0].scan.path == str(tmp_path / "wall.sgy")
    assert "wall.sgy beside the job is used" in loaded.findings[0]


def test_a_path_of_another_system_stays_as_it_is(tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("such paths are this system's own")
    foreign = r"D:\site\wall.sgy"
    save_job(tmp_path / "deck.dwjob", a_job(foreign), None, NOW)
    assert load_job(tmp_path / "deck.dwjob").job.lines[0].scan.path == foreign


def test_a_line_without_a_file_keeps_none(path: Path) -> None:
    save_job(path, a_job(""), None, NOW)
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
        monkeypatch.setattr(jobfile.shutil, "copy2", full_disk)
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


def test_a_read_only_folder_is_said(tmp_path: Path, job: Job) -> None:
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o500)
    try:
        if os.access(folder, os.W_OK):
            pytest.skip("this user may write everywhere")
        with pytest.raises(DepthwrightError, match="could not be written"):
            save_job(folder / "deck.dwjob", job, None, NOW)
    finally:
        folder.chmod(0o700)


def test_a_job_too_large_to_open_again_is_not_saved(
    path: Path, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(jobfile, "MOST_BYTES", 1000)
    with pytest.raises(DepthwrightError, match="more than a job file may"):
        save_job(path, job, None, NOW)
    assert not path.exists()


def test_utc_is_a_zone_like_any_other(path: Path, job: Job) -> None:
    save_job(path, job, None, NOW.astimezone(UTC))
    assert datetime.fromisoformat(stored(path)["saved"]) == NOW
