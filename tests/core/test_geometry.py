"""Where a line lies: reversed, shifted, stretched by two known positions, cropped. Marks stay."""

import csv
import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.exports.tables import bar_schedule, thickness_profile
from depthwright.exports.wording import distance_words, format_scale
from depthwright.history import History
from depthwright.job import BarMark, Job, Line
from depthwright.results.evaluate import evaluate
from depthwright.results.values import Results
from depthwright.simulate.drawn import Evidence, draw_line

ENDS = (0.0, 1200.0)
FIRSTS = st.sampled_from([0.0, 150.0, -40.0, 50_000.0])
PLACES = st.floats(-500, 2500)


BARE = draw_line(11, Evidence(ties=0, curvature=False), bars=2).job
FEW = settings(max_examples=40, deadline=None)


@pytest.fixture(scope="module")
def drawn() -> Job:
    """A line with four bars, two of them known, curvature and a back face under all."""
    return draw_line(11, Evidence(ties=2, hole=True), bars=4).job


@pytest.fixture(scope="module")
def made(drawn) -> Results:
    """Its numbers."""
    return evaluate(drawn)


@st.composite
def placed(draw: st.DrawFn) -> Job:
    """A job whose line lies anyhow."""
    first = draw(FIRSTS)
    scan = BARE.lines[0].scan.model_copy(update={"first_mm": first})
    job = edits.change_line(
        BARE, "line-1", scan=scan, distance_scale=draw(st.floats(0.2, 5)), start_mm=draw(PLACES)
    )
    if draw(st.booleans()):
        job = edits.reverse_line(job, "line-1", (first, first + draw(st.floats(-3000, 3000))))
    return job


def depths(results: Results) -> dict[str, tuple[float, float]]:
    """Depths with their standard uncertainties, mm, by mark."""
    rows = results.lines["line-1"]
    known = {row.mark_id: row.cover for row in rows.bars}
    known |= {f"anchor {place}": row.depth for place, row in enumerate(rows.faces[0].anchors)}
    return {key: (depth.value_mm, depth.u_mm) for key, depth in known.items()}


def moved(job: Job, what: int, number: float) -> Job:
    """One of the edits of a line's place, by number."""
    if what == 0:
        return edits.reverse_line(job, "line-1", ENDS)
    if what == 1:
        return edits.shift_line(job, "line-1", number)
    if what == 2:
        return edits.crop_line(job, "line-1", (number, number + 300.0))
    if what == 3:
        return edits.crop_line(job, "line-1", None)
    at = (900.0, 100.0) if job.line("line-1").reversed else (100.0, 900.0)
    return edits.stretch_line(job, "line-1", at[0], number, at[1], number + 810.0, 2.0)


EDITS = st.lists(st.tuples(st.integers(0, 4), st.floats(-900, 900)), max_size=12)


@FEW
@given(placed(), st.lists(PLACES, min_size=1, max_size=5))
def test_recorded_and_on_the_concrete_are_each_others_inverse(job, places):
    line = job.line("line-1")
    recorded = np.array(places)
    assert line.recorded_mm(line.on_concrete_mm(recorded)) == pytest.approx(recorded, abs=1e-6)
    assert line.on_concrete_mm(line.recorded_mm(recorded)) == pytest.approx(recorded, abs=1e-6)
    one_by_one = [line.on_concrete_mm(place) for place in places]
    assert line.on_concrete_mm(recorded) == pytest.approx(one_by_one, abs=1e-9)


@FEW
@given(placed(), st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_a_line_reversed_twice_is_the_line(job, low, high):
    if job.line("line-1").reversed:
        job = edits.reverse_line(job, "line-1", (low, high))
    once = edits.reverse_line(job, "line-1", (low, high))
    assert once.line("line-1").reversed
    assert edits.reverse_line(once, "line-1", (low, high)) == job


def test_a_reversed_line_covers_the_same_stretch_from_its_other_end(drawn):
    straight = drawn.line("line-1")
    turned = edits.reverse_line(drawn, "line-1", ENDS).line("line-1")
    ends = straight.on_concrete_mm(np.array(ENDS))
    assert turned.on_concrete_mm(np.array(ENDS)) == pytest.approx(ends[::-1])


@FEW
@given(EDITS)
def test_moves_of_a_line_undone_are_the_original_and_leave_scan_and_marks_alone(sequence):
    start = BARE
    history, states = History.start(start), [start]
    for what, number in sequence:
        history = history.push(moved(history.job, what, number), "move")
        line = history.job.line("line-1")
        assert line.marks == start.line("line-1").marks
        assert line.scan == start.line("line-1").scan
        if history.job != states[-1]:
            states.append(history.job)
    for state in reversed(states[:-1]):
        history = history.undo()
        assert history.job == state
    assert not history.undo_words


@FEW
@given(placed(), st.tuples(PLACES, PLACES), PLACES, st.floats(0.101, 9.9), st.floats(0.1, 20))
def test_two_known_positions_land_where_they_were_said_to(job, recorded, at, scale, known_u):
    assume(abs(recorded[1] - recorded[0]) > 1)
    turn = -1 if job.line("line-1").reversed else 1
    true = (at, at + turn * scale * (recorded[1] - recorded[0]))
    stretched = edits.stretch_line(
        job, "line-1", recorded[0], true[0], recorded[1], true[1], known_u
    )
    line = stretched.line("line-1")
    assert line.on_concrete_mm(np.array(recorded)) == pytest.approx(np.array(true), abs=1e-5)


@FEW
@given(st.booleans(), st.floats(-0.5, 1.5), st.floats(0.5, 5), st.floats(0.9, 1.1))
def test_known_positions_leave_open_what_a_straight_line_through_two_points_does(
    turned, share, known_u, scale
):
    """A line through two points of one u: u² ((1 - t)² + t²) at the share t between them, which is the
    law of propagation (JCGM 100:2008, 5.1.2) with (1 - t) and t as sensitivities."""
    job = BARE
    a, b = 100.0, 1100.0
    if turned:
        job = edits.reverse_line(job, "line-1", ENDS)
        a, b = b, a
    job = edits.stretch_line(job, "line-1", a, 40.0, b, 40.0 + 1000.0 * scale, known_u)
    line = job.line("line-1")
    expected = known_u * math.hypot(1 - share, share)
    assert line.place_u_mm(a + share * (b - a)) == pytest.approx(expected, rel=1e-9)
    assert line.place_u_mm(a, 3.0) == pytest.approx(math.hypot(known_u, 3.0 * scale), rel=1e-9)


def test_without_known_positions_the_scale_is_open_from_the_end_that_is_counted_from(drawn):
    line = drawn.line("line-1")
    u = line.distance_scale_u
    assert line.place_u_mm(300.0) == pytest.approx(300.0 * u)
    turned = edits.reverse_line(drawn, "line-1", ENDS).line("line-1")
    assert turned.place_u_mm(300.0) == pytest.approx(900.0 * u)
    assert turned.place_u_mm(1200.0) == 0.0
    assert turned.from_fixed_mm(np.array([1200.0, 0.0])).tolist() == [0.0, 1200.0]


def test_known_positions_do_not_hold_a_line_that_is_then_counted_from_its_other_end(drawn):
    known = edits.stretch_line(drawn, "line-1", 100.0, 100.0, 900.0, 908.0, 2.0)
    turned = edits.reverse_line(known, "line-1", ENDS)
    line = turned.line("line-1")
    assert line.distance_scale == pytest.approx(1.01)
    assert line.place_u_mm(1200.0) == 0.0
    assert line.place_u_mm(0.0) == pytest.approx(1200.0 * line.distance_scale_u)
    assert edits.reverse_line(turned, "line-1", ENDS) == known


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ((300.0, 10.0, 300.0, 400.0), "the same place"),
        ((100.0, 50.0, 900.0, 50.0), "the same place"),
        ((100.0, 900.0, 900.0, 100.0), "reverse the line first"),
        ((100.0, 0.0, 200.0, 2000.0), "20 times as long"),
        ((100.0, 0.0, 1100.0, 50.0), "0.05 times as long"),
    ],
)
def test_two_positions_that_cannot_be_are_refused_with_a_sentence(drawn, places, words):
    with pytest.raises(DepthwrightError, match=words):
        edits.stretch_line(drawn, "line-1", *places, 2.0)


def test_positions_in_the_other_order_fit_once_the_line_is_reversed(drawn):
    turned = edits.reverse_line(drawn, "line-1", ENDS)
    line = edits.stretch_line(turned, "line-1", 100.0, 900.0, 900.0, 100.0, 2.0).line("line-1")
    assert line.distance_scale == pytest.approx(1.0)
    assert line.on_concrete_mm(100.0) == pytest.approx(900.0)


@pytest.mark.parametrize("known_u", [0.0, -1.0, float("nan")])
def test_nothing_is_known_exactly(drawn, known_u):
    with pytest.raises(DepthwrightError, match="greater than zero"):
        edits.stretch_line(drawn, "line-1", 100.0, 0.0, 900.0, 800.0, known_u)


@pytest.mark.parametrize("crop", [(300.0, 300.0), (300.0, 200.0), (float("nan"), 3.0)])
def test_a_crop_that_shows_nothing_is_refused(drawn, crop):
    with pytest.raises(DepthwrightError):
        edits.crop_line(drawn, "line-1", crop)
    with pytest.raises(ValidationError):
        Line.model_validate({**dict(drawn.line("line-1")), "crop_mm": crop})


def test_a_crop_says_what_it_shows(drawn):
    line = edits.crop_line(drawn, "line-1", (200.0, 700.0)).line("line-1")
    assert [line.shows(at) for at in (199.0, 200.0, 700.0, 701.0)] == [False, True, True, False]
    assert drawn.line("line-1").shows(-1e9)


@pytest.mark.parametrize(
    "move",
    [
        lambda job: edits.reverse_line(job, "line-1", ENDS),
        lambda job: edits.shift_line(job, "line-1", -730.0),
        lambda job: edits.crop_line(job, "line-1", (310.0, 500.0)),
    ],
    ids=["reversed", "shifted", "cropped"],
)
def test_depths_and_evidence_do_not_feel_where_a_line_lies(drawn, made, move):
    # A crest that came out otherwise would not be among those at hand, and be condensed anew.
    before, after = made, evaluate(move(drawn), curvatures=made.curvatures)
    assert after.curvatures == before.curvatures
    assert after.permittivity == pytest.approx(before.permittivity, rel=1e-12)
    assert after.permittivity_u == pytest.approx(before.permittivity_u, rel=1e-12)
    assert depths(after) == {
        key: pytest.approx(row, rel=1e-12) for key, row in depths(before).items()
    }
    assert after.curved == before.curved
    assert len(before.curved) > 2


def test_a_reversed_lines_bars_come_in_the_other_order_with_the_same_spacings(drawn, made):
    rows = made.lines["line-1"].bars
    turned = edits.reverse_line(drawn, "line-1", ENDS)
    again = evaluate(turned, curvatures=made.curvatures).lines["line-1"].bars
    assert [row.mark_id for row in again] == [row.mark_id for row in rows[::-1]]
    assert [row.spacing for row in again[1:]] == [row.spacing for row in rows[:0:-1]]
    assert all(
        now.position.value_mm == pytest.approx(1200.0 - was.position.value_mm)
        for now, was in zip(again[::-1], rows, strict=True)
    )


def test_bars_are_numbered_from_the_datum_on_a_reversed_line_too(drawn):
    turned = edits.renumber_bars(edits.reverse_line(drawn, "line-1", ENDS), "line-1")
    bars = [mark for mark in turned.line("line-1").marks if isinstance(mark, BarMark)]
    bars.sort(key=lambda bar: bar.number)
    places = [bar.position_mm for bar in bars]
    assert places == sorted(places, reverse=True)


def test_a_back_faces_points_follow_one_another_from_the_datum():
    rows = evaluate(BARE).lines["line-1"].faces[0]
    turned = evaluate(edits.reverse_line(BARE, "line-1", ENDS)).lines["line-1"].faces[0]
    assert len(set(turned.depth_mm)) > 1
    assert np.all(np.diff(turned.position_mm) > 0)
    assert turned.position_mm == pytest.approx(1200.0 - rows.position_mm[::-1])
    assert turned.depth_mm == pytest.approx(rows.depth_mm[::-1])


def test_a_stretched_line_changes_depths_through_the_lateral_scale_only():
    """A crest 2 % wider means a wave 2 % faster, so a permittivity 4 % lower where only it counts."""
    loose = draw_line(3, Evidence(ties=0), bars=2).job
    wider = edits.stretch_line(loose, "line-1", 100.0, 500.0, 250.0, 653.0, 2.0)
    before, after = (
        next(row for row in evaluate(job).evidence if row.kind == "curvature")
        for job in (loose, wider)
    )
    assert after.permittivity / before.permittivity == pytest.approx(0.96, abs=0.015)


# What exports say of it.


def test_exports_say_which_way_distances_go_and_what_is_shown(drawn):
    line = drawn.line("line-1")
    assert "start of the line, as scanned." in distance_words(drawn, line)
    turned = edits.reverse_line(drawn, "line-1", ENDS)
    said = distance_words(turned, turned.line("line-1"))
    assert said.endswith("start of the line, recorded from the far end.")
    moved_too = edits.shift_line(turned, "line-1", 35.0)
    said = distance_words(moved_too, moved_too.line("line-1"))
    assert said.endswith("recorded from the far end; last trace at 35\u202fmm.")
    cropped = edits.crop_line(moved_too, "line-1", (200.0, 700.0))
    said = distance_words(cropped, cropped.line("line-1"))
    assert said.endswith("; shown from 535\u202fmm to 1035\u202fmm; 2 marks lie outside.")


def test_tables_hold_marks_outside_the_part_shown_and_say_so(drawn, made):
    cropped = edits.crop_line(drawn, "line-1", (200.0, 700.0))
    results = evaluate(cropped, curvatures=made.curvatures)
    text = bar_schedule(cropped, "line-1", results, datetime(2026, 3, 14, tzinfo=UTC))
    rows = list(csv.DictReader(row for row in text.splitlines() if not row.startswith("#")))
    outside = {row["bar"] for row in rows if "outside the part shown" in row["flags"]}
    assert len(rows) == 4
    assert outside == {"1", "4"}
    profile = thickness_profile(cropped, "line-1", results, datetime(2026, 3, 14, tzinfo=UTC))
    assert profile.count("outside the part shown") == 1


@pytest.mark.parametrize(
    ("u", "words"),
    [(0.01, "1.010 ± 0.020"), (0.002, "1.0103 ± 0.0040"), (0.00011, "1.01031 ± 0.00022"),
     (0.0, "1.010 ± 0.000")],
)  # fmt: skip
def test_a_scale_never_reads_as_exact_when_it_is_not(drawn, u, words):
    """Two figures of the uncertainty, the value rounded to match (JCGM 100:2008, 7.2.6)."""
    changed = edits.change_line(drawn, "line-1", distance_scale=1.010312, distance_scale_u=u)
    assert format_scale(changed.line("line-1")) == words
