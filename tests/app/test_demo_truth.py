"""The main job on the sample lines comes out right, within its own intervals.

The lines are full-wave simulations with a known truth (``sample_data/truth.json``); nothing in them was drawn
with the formula that the program inverts. No Qt here.
"""

import importlib.util
import json

import numpy as np
import pytest

from depthwright.files.antenna_card import read_card
from depthwright.files.jobfile import load_job
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import track_faces
from depthwright_app.demo import copy_demo, mark_click, sample_folder, tie_reading
from depthwright_app.session import evaluate_with_scans

TRUTH = json.loads((sample_folder() / "truth.json").read_text("utf-8"))
TOUR = json.loads((sample_folder() / "tour.json").read_text("utf-8"))
LINES = tuple(TRUTH["lines"])


@pytest.fixture(scope="module")
def marked(tmp_path_factory):
    """The demo job after the tour's clicks, its stages, and its numbers before and after the tie."""
    job = load_job(copy_demo(tmp_path_factory.mktemp("demo") / "copy")).job
    session = evaluate_with_scans(job)
    assert not session.missing
    for click in TOUR["clicks"]:
        job = mark_click(job, session.stages, click)
    tied = tie_reading(job, TOUR["tie"])
    tracks = track_faces(job, session.stages)
    return tied, evaluate(job, tracks), evaluate(tied, tracks)


def rows_of(results, job, name):
    return results.lines[next(line.id for line in job.lines if line.name == name)]


@pytest.mark.parametrize("name", LINES)
def test_covers_with_one_reading(marked, name):
    job, _, results = marked
    bars = rows_of(results, job, name).bars
    truth = TRUTH["lines"][name]["bars"]
    assert len(bars) == len(truth)
    errors = [row.cover.value_mm - bar["cover_mm"] for row, bar in zip(bars, truth, strict=True)]
    assert all(abs(e) <= row.cover.expanded_mm for e, row in zip(errors, bars, strict=True))
    assert np.mean(np.abs(errors)) < 1.5


@pytest.mark.parametrize("name", LINES)
def test_positions_and_spacings(marked, name):
    job, _, results = marked
    bars = rows_of(results, job, name).bars
    truth = [bar["position_mm"] for bar in TRUTH["lines"][name]["bars"]]
    for row, position in zip(bars, truth, strict=True):
        assert abs(row.position.value_mm - position) <= row.position.expanded_mm
    for row, spacing in zip(bars[1:], np.diff(truth), strict=True):
        assert abs(row.spacing.value_mm - spacing) <= row.spacing.expanded_mm


@pytest.mark.parametrize("name", LINES)
def test_thickness_with_one_shallow_reading(marked, name):
    job, _, results = marked
    face = rows_of(results, job, name).faces[0]
    truth = np.interp(
        face.position_mm, TRUTH["lines"][name]["face_mm"], TRUTH["lines"][name]["thickness_mm"]
    )
    assert len(face.position_mm) > 80
    assert np.mean(np.abs(face.depth_mm - truth) <= 2 * face.depth_u_mm) > 0.95
    assert abs(np.median(face.depth_mm - truth)) < 0.05 * truth.mean()


def test_the_permittivity_lies_in_its_interval(marked):
    _, before, after = marked
    for results in (before, after):
        assert not results.provisional, "the curvature of the bars speaks before any tie"
        assert abs(results.permittivity - 8.1) <= 2 * results.permittivity_u
    assert after.permittivity_u <= before.permittivity_u


def test_the_tied_bar_is_as_good_as_its_tie_and_hardly_better(marked):
    """All other evidence of its depth is several times worse than the reading, and its share is small."""
    job, _, results = marked
    row = next(row for row in rows_of(results, job, TOUR["tie"]["line"]).bars if row.tie)
    assert 0.85 < row.cover.u_mm <= 1.0
    assert abs(row.cover.value_mm - TOUR["tie"]["depth_mm"]) < 0.5


def test_a_copy_that_was_worked_on_is_kept(tmp_path):
    first = copy_demo(tmp_path / "copy")
    first.write_text(first.read_text("utf-8").replace("Footbridge", "My own"), "utf-8")
    assert "My own" in copy_demo(tmp_path / "copy").read_text("utf-8")
    (tmp_path / "copy" / "deck-L1.sgy").write_bytes(b"of an older version")
    assert copy_demo(tmp_path / "copy") == tmp_path / "copy 2" / "demo.dwjob"


def test_the_program_of_the_sample_data_makes_the_demo_job():
    """From the scans as they are: computing them again takes minutes."""
    spec = importlib.util.spec_from_file_location("make", sample_folder() / "make_sample_data.py")
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    made = make.demo_job(
        sample_folder(), read_card(sample_folder() / "antenna_card.json", "antenna-1")
    )
    kept = load_job(sample_folder() / "demo.dwjob").job
    assert made.name == kept.name
    for line, shipped in zip(made.lines, kept.lines, strict=True):
        assert line.direct == shipped.direct
        assert (line.datum, line.direction) == (shipped.datum, shipped.direction)
    assert made.antennas == kept.antennas
