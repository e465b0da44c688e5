"""From marks to numbers."""

import numpy as np
import pytest

from depthwright import edits, wave
from depthwright.errors import DepthwrightError
from depthwright.intake import take_in
from depthwright.job import Job, Tie
from depthwright.measuring.picking import snap_bar, snap_face
from depthwright.results import words
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage, track_faces


@pytest.fixture(scope="module")
def marked(plain_line):
    """A job with the drawn line, its bars and its back face marked."""
    job, line_id = take_in(Job(), plain_line.scan)
    # The drawing has its antennas on the surface and the direct wave at s/c.
    job = edits.change_antenna(
        job,
        job.antennas[0].id,
        height_mm=0.0,
        direct_shift="measured",
        time_offset_ns=0.0,
        time_offset_u_ns=0.065,
    )
    stage = pick_stage(job, job.line(line_id), plain_line.scan)
    for position, cover in plain_line.bars:
        pick = snap_bar(stage, position, plain_line.echo_ns(cover))
        job, _ = edits.add_bar(job, line_id, pick)
    face = None
    for position in (50.0, 250.0, 450.0, 650.0):
        pick = snap_face(stage, position, plain_line.echo_ns(160.0))
        job, face = edits.add_anchor(job, line_id, face, pick)
    return job, {line_id: stage}


def tied(job, depth=50.0, **fields):
    tie = Tie(depth_mm=depth, plus_minus_mm=1.0, **fields)
    return edits.tie_mark(job, job.lines[0].id, "bar-1", tie)


def test_without_evidence_depths_are_provisional(marked):
    results = evaluate(marked[0])
    assert results.provisional
    assert "provisional" in words.footing(results)
    assert results.permittivity == pytest.approx(7.0)


def test_one_reading_brings_every_depth_within_its_interval(marked, plain_line):
    job, stages = marked
    results = evaluate(tied(job), track_faces(job, stages))
    rows = results.lines[job.lines[0].id]
    assert not results.provisional
    for row, (position, cover) in zip(rows.bars, plain_line.bars, strict=True):
        assert abs(row.cover.value_mm - cover) < row.cover.expanded_mm
        assert abs(row.position.value_mm - position) < row.position.expanded_mm
    face = rows.faces[0].median
    assert abs(face.value_mm - 160.0) < face.expanded_mm
    assert results.permittivity == pytest.approx(8.0, abs=2 * results.permittivity_u)
    assert rows.bars[0].cover.u_mm == pytest.approx(1.0, abs=1e-3)
    assert rows.bars[0].cover.value_mm == pytest.approx(50.0, abs=1e-6)


def test_spacing_goes_from_bar_to_bar_with_its_interval(marked):
    rows = evaluate(marked[0]).lines["line-1"].bars
    assert rows[0].spacing is None
    assert rows[1].spacing.value_mm == pytest.approx(200.0, abs=2.0)
    assert rows[1].spacing.u_mm == pytest.approx(np.hypot(np.hypot(1.3, 1.3), 2.0), rel=0.1)


def test_scale_start_and_direction_place_bars_from_the_datum(marked):
    job = edits.change_line(marked[0], "line-1", start_mm=1000.0, distance_scale=1.1)
    rows = evaluate(job).lines["line-1"].bars
    assert rows[0].position.value_mm == pytest.approx(1000 + 1.1 * 150, abs=1.5)
    assert rows[1].spacing.value_mm == pytest.approx(220, abs=2)


def test_a_typed_permittivity_steps_aside_for_a_tie_unless_it_is_kept(marked):
    job = edits.type_permittivity(marked[0], marked[0].zones[0], 5.0, 2.5)
    assert not evaluate(job).provisional
    assert evaluate(job).permittivity == pytest.approx(5.0)
    aside = evaluate(tied(job))
    assert aside.permittivity == pytest.approx(evaluate(tied(marked[0])).permittivity)
    assert not aside.evidence[-1].used
    sharper = edits.change_zone(job, "zone-1", permittivity_u=0.5, keep=True)
    kept = evaluate(tied(sharper))
    assert 5.0 < kept.permittivity < aside.permittivity
    assert kept.permittivity_u < aside.permittivity_u


def test_evidence_rows_say_what_each_alone_would_give(marked):
    job = edits.tie_mark(tied(marked[0]), "line-1", "bar-2", Tie(depth_mm=70, plus_minus_mm=1))
    rows = evaluate(job).evidence
    assert [row.mark_id for row in rows] == ["bar-1", "bar-2", ""]
    for row in rows[:2]:
        assert row.permittivity == pytest.approx(8.0, abs=2 * row.permittivity_u)
    assert "cover meter 50.0 ± 1.0" in rows[0].label


def test_a_tie_on_the_back_face_sits_at_its_anchor(marked):
    tie = Tie(depth_mm=160.0, plus_minus_mm=1.0, origin="drilled hole or core")
    job = edits.change_anchor(tied(marked[0]), "line-1", "face-1", 1, tie=tie)
    one, two = evaluate(tied(marked[0])), evaluate(job)
    rows = two.lines["line-1"].faces[0]
    assert rows.anchors[1].depth.value_mm == pytest.approx(160.0, abs=1.0)
    assert rows.median.u_mm < one.lines["line-1"].faces[0].median.u_mm


def test_a_tie_on_one_line_moves_the_other_lines_of_the_zone(marked, plain_line):
    job, line_id = take_in(marked[0], plain_line.scan)
    stage = pick_stage(job, job.line(line_id), plain_line.scan)
    pick = snap_bar(stage, 350.0, plain_line.echo_ns(70.0))
    job, _ = edits.add_bar(job, line_id, pick)
    before, after = evaluate(job), evaluate(tied(job))
    assert len(job.antennas) == 1
    cover = after.lines[line_id].bars[0].cover
    assert before.lines[line_id].bars[0].cover.value_mm != pytest.approx(cover.value_mm, abs=1)
    assert abs(cover.value_mm - 70.0) < cover.expanded_mm


def test_what_moved_is_said_in_one_line(marked):
    before, after = evaluate(marked[0]), evaluate(tied(marked[0]))
    said = words.what_moved(before, after, "mm")
    assert said.startswith("Permittivity 7.0 to ")
    assert "3 bars" in said
    assert "back face" in said
    assert words.what_moved(before, before, "mm") == ""


def test_a_bar_before_any_echo_has_no_depth_and_a_sentence(marked):
    job = edits.change_mark(marked[0], "line-1", "bar-2", time_ns=0.2)
    results = evaluate(tied(job))
    row = next(row for row in results.lines["line-1"].bars if row.mark_id == "bar-2")
    assert np.isnan(row.cover.value_mm)
    assert any("Bar 2" in message and "before any echo" in message for message in results.messages)


def test_an_unusual_permittivity_is_pointed_out(marked):
    results = evaluate(tied(marked[0], depth=20.0))
    assert any("unusual for concrete" in warning for warning in results.warnings)


def test_a_tie_against_physics_is_refused(marked):
    with pytest.raises(DepthwrightError, match="faster than in air"):
        evaluate(tied(marked[0], depth=400.0))


def test_the_ruler_undoes_the_depths(marked):
    model = evaluate(tied(marked[0])).lines["line-1"].model
    depths = np.array([10.0, 50.0, 160.0])
    times = model.file_ns(depths)
    assert model.depths(times, np.full(3, 0.01), bar=1.0)[0] == pytest.approx(depths, abs=1e-6)


def test_dragging_the_ruler_finds_the_permittivity(marked):
    job = edits.change_antenna(marked[0], "antenna-1", time_offset_u_ns=0.001)
    model = evaluate(job).lines["line-1"].model
    wanted = model.permittivity_for(50.0, job.line("line-1").marks[0].time_ns)
    # The drawing has the bar at its ray; the model expects it 15 ps before.
    assert wanted == pytest.approx(8.0, abs=0.35)


def test_an_empty_job_evaluates():
    assert evaluate(Job()).lines == {}


def test_known_depths_that_contradict_each_other_are_named(marked):
    """Bars of true 50 and 70 mm, told 50 and 110."""
    fitting = edits.tie_mark(tied(marked[0]), "line-1", "bar-2", Tie(depth_mm=70, plus_minus_mm=1))
    assert not any("disagree" in warning for warning in evaluate(fitting).warnings)
    job = edits.tie_mark(tied(marked[0]), "line-1", "bar-2", Tie(depth_mm=110, plus_minus_mm=1))
    said = evaluate(job).warnings[0]
    assert "disagree" in said
    assert "bar 1" in said
    assert "bar 2" in said


def test_an_assumed_separation_is_said(marked):
    job = edits.change_antenna(marked[0], "antenna-1", separation_known=False)
    assert any("separation of 40" in warning for warning in evaluate(job).warnings)
    assert not any("separation of" in warning for warning in evaluate(marked[0]).warnings)


def test_position_intervals_grow_from_the_first_trace(marked):
    scan = marked[0].lines[0].scan.model_copy(update={"first_mm": 150.0})
    job = edits.change_line(marked[0], "line-1", scan=scan)
    near, far = (row.position.u_mm for row in evaluate(job).lines["line-1"].bars[:2])
    assert near == pytest.approx(1.3, abs=0.2)
    assert far == pytest.approx(np.hypot(1.3, 2.0), abs=0.2)


def test_the_printed_time_belongs_to_the_printed_cover(marked):
    results = evaluate(tied(marked[0], depth=52.0))
    row = results.lines["line-1"].bars[1]
    travelled = wave.travel_time(row.cover.value_mm, results.permittivity, 40.0).time_ns
    assert row.two_way_ns == pytest.approx(float(travelled), abs=1e-6)


def test_marks_on_the_direct_waves_tail_share_one_sentence(marked):
    job = marked[0]
    for bar in ("bar-1", "bar-3"):
        job = edits.change_mark(job, "line-1", bar, overlaps_direct=True)
    (said,) = [m for m in evaluate(job).messages if "tail" in m]
    assert said.startswith("Bar 1 and Bar 3 on")
