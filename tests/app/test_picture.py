"""What should be on screen, as plain values: compared with the depth model, without a window."""

from dataclasses import replace

import numpy as np
import pytest

from depthwright import edits
from depthwright.files.jobfile import load_job
from depthwright.job import BarMark, Tie
from depthwright.measuring.picking import Pick
from depthwright.results.evaluate import evaluate
from depthwright_app.demo import copy_demo, line_named, mark_click
from depthwright_app.picture import Picture, Run, readout, resolve
from depthwright_app.session import evaluate_with_scans

LINE = "line-1"


@pytest.fixture(scope="module")
def surveyed(tmp_path_factory, tour):
    """The demo job with all marks of its tour, nothing tied."""
    job = load_job(copy_demo(tmp_path_factory.mktemp("demo") / "copy")).job
    stages = evaluate_with_scans(job).stages
    for click in tour["clicks"]:
        job = mark_click(job, stages, click)
    return job


@pytest.fixture(scope="module")
def numbers(surveyed):
    return evaluate(surveyed)


@pytest.fixture(scope="module")
def shown(surveyed, numbers):
    return resolve(surveyed, numbers, LINE, None)


def bar_id(job, number):
    marks = job.line(LINE).marks
    return next(m.id for m in marks if isinstance(m, BarMark) and m.number == number)


def tied(job, number, depth_mm):
    tie = Tie(depth_mm=depth_mm, plus_minus_mm=1.0)
    return edits.tie_mark(job, LINE, bar_id(job, number), tie)


def test_a_bar_is_a_circle_whose_top_is_at_the_cover(numbers, shown):
    rows = numbers.lines[LINE]
    assert len(shown.bars) == len(rows.bars) == 7
    for glyph, row in zip(shown.bars, rows.bars, strict=True):
        outline = glyph.outline.places
        depth, _ = rows.model.depths(outline[:, 1], np.full(len(outline), 1e-3), bar=1.0)
        top = int(np.argmin(depth))
        assert depth[top] == pytest.approx(row.cover.value_mm, abs=0.05)
        assert outline[top, 0] == pytest.approx(row.position.value_mm, abs=0.05)
        radius = row.diameter_mm / 2
        centre = row.cover.value_mm + radius
        away = np.hypot(outline[:, 0] - row.position.value_mm, depth - centre)
        assert away == pytest.approx(np.full(len(outline), radius), abs=0.1)


def test_a_whisker_ends_at_cover_plus_and_minus_u(numbers, shown):
    rows = numbers.lines[LINE]
    for glyph, row in zip(shown.bars, rows.bars, strict=True):
        ends = row.cover.value_mm + np.array([-1, 1]) * row.cover.expanded_mm
        expected = rows.model.file_ns(np.maximum(ends, 0.0))
        assert glyph.whisker_ns == pytest.approx(tuple(expected), abs=1e-6)


def test_the_apex_of_a_bar_lies_at_its_picked_time(surveyed, shown):
    for glyph in shown.bars:
        mark = surveyed.line(LINE).mark(glyph.mark_id)
        assert glyph.time_ns == mark.time_ns
        top = min(time for _, time in glyph.outline)
        # What the crest says of the same bar moves it within the uncertainty of its pick, 25 ps or less.
        assert top == pytest.approx(mark.time_ns, abs=0.050)


def test_depths_are_provisional_until_something_speaks(surveyed, shown):
    silent = edits.change_zone(surveyed, surveyed.zones[0].id, curvature=False)
    before = resolve(silent, evaluate(silent), LINE, None)
    assert before.provisional
    assert all(bar.provisional for bar in before.bars)
    job = tied(silent, 2, 35.0)
    for picture in (shown, resolve(job, evaluate(job), LINE, None)):
        assert not picture.provisional
        assert not any(bar.provisional for bar in picture.bars)


def test_a_tie_that_is_set_aside_has_no_bracket(surveyed):
    tie = Tie(depth_mm=35.0, plus_minus_mm=1.0, set_aside="wrong bar")
    job = edits.tie_mark(surveyed, LINE, bar_id(surveyed, 2), tie)
    picture = resolve(job, evaluate(job), LINE, None)
    assert not any(bar.tie_label for bar in picture.bars)


def test_a_tied_target_carries_a_bracket(surveyed):
    pick = Pick(510.0, 1.0, 2.3)
    job, target = edits.add_target(surveyed, LINE, pick, "duct")
    job = edits.tie_mark(job, LINE, target, Tie(depth_mm=80.0, plus_minus_mm=2.0))
    picture = resolve(job, evaluate(job), LINE, None)
    (glyph,) = (point for point in picture.points if point.mark_id == target)
    assert glyph.tie_label == "80\u202fmm"
    assert glyph.surface_ns < glyph.time_ns


def test_only_the_tied_bar_carries_a_bracket(surveyed):
    job = tied(surveyed, 2, 35.0)
    picture = resolve(job, evaluate(job), LINE, None)
    labels = {bar.label.split()[0]: bar.tie_label for bar in picture.bars}
    assert labels.pop("2").startswith("35")
    assert set(labels.values()) == {""}


def test_a_bar_below_the_specified_cover_is_short_by_the_difference(surveyed):
    job = tied(edits.change_job(surveyed, specified_cover_mm=36.0), 2, 35.0)
    results = evaluate(job)
    picture = resolve(job, results, LINE, None)
    assert picture.specified_cover_mm == 36.0
    for cover, row in zip(picture.covers, results.lines[LINE].bars, strict=True):
        assert cover.cover_mm == row.cover.value_mm
        assert cover.expanded_mm == row.cover.expanded_mm
        assert cover.short_of_mm == pytest.approx(max(0.0, 36.0 - row.cover.value_mm))
    assert 0 < sum(cover.short_of_mm > 0 for cover in picture.covers) < len(picture.covers)


def test_without_a_specified_cover_nothing_is_short(surveyed):
    job = edits.change_job(surveyed, specified_cover_mm=None)
    picture = resolve(job, evaluate(job), LINE, None)
    assert picture.specified_cover_mm is None
    assert {cover.short_of_mm for cover in picture.covers} == {0.0}


def test_anchors_lie_where_they_were_clicked(surveyed, shown):
    line = surveyed.line(LINE)
    (face,) = [mark for mark in line.marks if mark.kind == "face"]
    anchors = [point for point in shown.points if point.kind == "anchor"]
    assert [(a.anchor, a.position_mm, a.time_ns) for a in anchors] == [
        (place, line.on_concrete_mm(anchor.position_mm), anchor.time_ns)
        for place, anchor in enumerate(face.anchors)
    ]


def test_the_band_of_a_back_face_lies_about_its_line(shown):
    (face,) = shown.faces
    for stretch in face.stretches:
        for (at, time), (_, upper), (_, lower) in zip(
            stretch.line, stretch.upper, stretch.lower, strict=True
        ):
            assert upper < time < lower
            assert 0 <= at <= 1200


def test_one_mark_is_selected_and_so_is_its_cover(surveyed, numbers):
    wanted = bar_id(surveyed, 4)
    picture = resolve(surveyed, numbers, LINE, (wanted, None))
    assert [glyph.mark_id for glyph in picture.glyphs if glyph.selected] == [wanted]
    assert [cover.mark_id for cover in picture.covers if cover.selected] == [wanted]


def test_one_anchor_is_selected_and_so_is_its_face(surveyed, numbers, shown):
    face = shown.faces[0].mark_id
    picture = resolve(surveyed, numbers, LINE, (face, 3))
    assert [point.anchor for point in picture.points if point.selected] == [3]
    assert picture.faces[0].selected
    assert not any(bar.selected for bar in picture.bars)


def test_pictures_of_the_same_are_equal(surveyed, numbers, shown):
    assert resolve(surveyed, numbers, LINE, None) == shown
    assert resolve(surveyed, numbers, LINE, (bar_id(surveyed, 1), None)) != shown


def test_pictures_of_other_outlines_differ(shown):
    """Only what is drawn anew may be passed over: a moved outline alone makes another picture."""
    bar = shown.bars[0]
    same = replace(bar, outline=Run(bar.outline.places.copy()))
    moved = replace(bar, outline=Run(bar.outline.places + 1e-9))
    assert replace(shown, bars=(same, *shown.bars[1:])) == shown
    assert replace(shown, bars=(moved, *shown.bars[1:])) != shown


def test_targets_and_notes_carry_their_words(surveyed):
    job, _ = edits.add_note(surveyed, "line-2", 400.0, 5.0, "joint")
    picture = resolve(job, evaluate(job), "line-2", None)
    points = {point.kind: point for point in picture.points if point.kind != "anchor"}
    assert points["target"].label.startswith("C1 ")
    assert points["note"].label == "joint"
    assert (points["note"].position_mm, points["note"].time_ns) == (400.0, 5.0)


def test_positions_are_those_on_the_concrete(surveyed):
    line = line_named(surveyed, "deck-L1")
    job = edits.change_line(surveyed, line.id, start_mm=250.0, distance_scale=1.02)
    picture = resolve(job, evaluate(job), LINE, None)
    for glyph in picture.bars:
        recorded = line.mark(glyph.mark_id).position_mm
        assert glyph.position_mm == pytest.approx(250.0 + 1.02 * recorded)


@pytest.mark.parametrize(("unit", "per_mm"), [("mm", 1.0), ("cm", 0.1), ("in", 1 / 25.4)])
def test_labels_are_in_the_unit_of_the_job(surveyed, unit, per_mm):
    job = edits.change_job(surveyed, unit=unit)
    results = evaluate(job)
    picture = resolve(job, results, LINE, None)
    for glyph, row in zip(picture.bars, results.lines[LINE].bars, strict=True):
        number, value, *_ = glyph.label.split()
        assert int(number) == row.number
        rounding = {"mm": 1.0, "cm": 0.1, "in": 0.1}[unit]
        assert float(value) == pytest.approx(row.cover.value_mm * per_mm, abs=rounding / 2 + 1e-9)


def test_a_depth_that_cannot_be_has_no_circle(surveyed):
    line = surveyed.line(LINE)
    early = Pick(500.0, 2.0, line.direct.time_ns - 0.3)
    job, mark_id = edits.add_bar(surveyed, LINE, early)
    picture = resolve(job, evaluate(job), LINE, None)
    glyph = next(bar for bar in picture.bars if bar.mark_id == mark_id)
    assert not glyph.outline
    assert "—" in glyph.label
    assert mark_id not in {cover.mark_id for cover in picture.covers}


def test_a_line_that_is_not_there_has_an_empty_picture(surveyed, numbers):
    assert resolve(surveyed, numbers, "line-9", None) == Picture()


def test_the_read_out_of_a_bar_gives_cover_spacing_and_time(surveyed, numbers):
    said = dict(readout(surveyed, numbers, LINE, bar_id(surveyed, 2), None))
    row = next(row for row in numbers.lines[LINE].bars if row.number == 2)
    assert said["Cover"].split()[0] in (
        f"{row.cover.value_mm:.0f}",
        f"{row.cover.value_mm:.1f}",
    )
    for name in ("Cover", "Position", "Spacing"):
        assert " ± " in said[name]
    assert float(said["Spacing"].split()[0]) == pytest.approx(170.0, abs=10.0)
    assert said["Two-way time"] == f"{row.two_way_ns:.2f} ns"


def test_the_picture_knows_no_qt(surveyed, numbers, shown):
    plain = (str, int, float, bool, tuple, Run, type(None))
    for glyph in (*shown.bars, *shown.points, *shown.covers):
        assert all(isinstance(value, plain) for value in vars(glyph).values())
    assert replace(shown, provisional=True) != shown
