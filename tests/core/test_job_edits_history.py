"""The frozen job, its edits, and undo."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.history import MOST_STATES, History
from depthwright.job import Antenna, BarMark, DirectPick, FaceMark, Job, Line, ScanRef, Tie
from depthwright.measuring.picking import Pick

ANTENNA = Antenna(id="antenna-1", centre_frequency_ghz=2.0)


def line(line_id: str = "line-1", name: str = "L1") -> Line:
    scan = ScanRef(path="a.sgy", size_bytes=1, sha256="0", traces=10, samples=10, dt_ns=0.02)
    return Line(
        id=line_id,
        name=name,
        scan=scan,
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=1.0),
    )


def job() -> Job:
    return edits.add_line(Job(), line(), ANTENNA)


def pick(position: float = 100.0, time: float = 2.0) -> Pick:
    return Pick(position, 1.5, time)


def change(state: Job, what: int, number: float) -> Job:
    """One of several edits, by number."""
    bars = [m for m in state.line("line-1").marks if isinstance(m, BarMark)]
    faces = [m for m in state.line("line-1").marks if isinstance(m, FaceMark)]
    if what == 0 or not bars:
        return edits.add_bar(state, "line-1", pick(number, 2.0))[0]
    if what == 1:
        return edits.tie_mark(state, "line-1", bars[0].id, Tie(depth_mm=number, plus_minus_mm=1))
    if what == 2:
        return edits.add_anchor(state, "line-1", faces[0].id if faces else None, pick(number, 4.0))[
            0
        ]
    if what == 3:
        return edits.delete_mark(state, "line-1", bars[-1].id)
    if what == 4:
        return edits.change_line(state, "line-1", start_mm=number)
    return edits.renumber_bars(state, "line-1")


@given(st.lists(st.tuples(st.integers(0, 5), st.floats(1, 900)), max_size=25))
def test_edits_undone_are_the_original_and_redone_the_result(sequence):
    history = History.start(job())
    states = [history.job]
    for what, number in sequence:
        before = history.job.model_copy(deep=True)
        after = change(history.job, what, number)
        assert history.job == before
        history = history.push(after, "edit")
        if after != states[-1]:
            states.append(after)
    for state in reversed(states[:-1]):
        history = history.undo()
        assert history.job == state
    assert not history.undo_words
    for state in states[1:]:
        history = history.redo()
        assert history.job == state


def test_what_is_put_right_in_every_state_is_no_step_of_undo():
    history = History.start(Job()).push(Job(name="a"), "A").push(Job(name="b"), "B").undo()
    amended = history.amend(lambda state: state.model_copy(update={"note": "right"}))
    assert amended.job == Job(name="a", note="right")
    assert (amended.undo_words, amended.redo_words) == ("A", "B")
    assert amended.redo().job == Job(name="b", note="right")
    assert amended.undo().job == Job(note="right")
    assert not amended.undo().undo_words


def test_a_new_edit_forgets_what_was_undone():
    history = History.start(Job()).push(Job(name="a"), "a").undo().push(Job(name="b"), "b")
    assert history.redo() == history
    assert history.undo_words == "b"
    assert history.undo().job == Job()


def test_an_edit_that_changes_nothing_is_no_step():
    history = History.start(job())
    assert history.push(edits.change_line(history.job, "line-1", name="L1"), "nothing") is history


def test_bars_are_numbered_and_inherit_the_last_diameter():
    state, first = edits.add_bar(job(), "line-1", pick(300.0))
    state = edits.change_mark(state, "line-1", first, diameter_mm=16.0)
    state, second = edits.add_bar(state, "line-1", pick(100.0))
    mark = state.line("line-1").mark(second)
    assert isinstance(mark, BarMark)
    assert (mark.number, mark.diameter_mm) == (2, 16.0)
    state = edits.renumber_bars(state, "line-1")
    numbers = {m.id: m.number for m in state.line("line-1").marks if isinstance(m, BarMark)}
    assert numbers == {first: 2, second: 1}


def test_anchors_stay_in_order_and_the_last_takes_the_face_with_it():
    state, face = edits.add_anchor(job(), "line-1", None, pick(300.0, 4.0))
    state, _ = edits.add_anchor(state, "line-1", face, pick(100.0, 4.1))
    mark = state.line("line-1").mark(face)
    assert isinstance(mark, FaceMark)
    assert [a.position_mm for a in mark.anchors] == [100.0, 300.0]
    state = edits.delete_anchor(state, "line-1", face, 0)
    state = edits.delete_anchor(state, "line-1", face, 0)
    assert not state.line("line-1").marks


def test_a_tie_on_a_note_is_refused():
    state, note = edits.add_note(job(), "line-1", 10.0, 1.0, "crack")
    with pytest.raises(DepthwrightError, match="A note has no depth"):
        edits.tie_mark(state, "line-1", note, Tie(depth_mm=20, plus_minus_mm=1))


@pytest.mark.parametrize(
    "fields",
    [
        {"distance_scale": 0.0},
        {"distance_scale": float("nan")},
        {"antenna": "gone"},
        {"start_mm": "x"},
    ],
)
def test_impossible_values_are_refused_with_a_sentence(fields):
    with pytest.raises(DepthwrightError):
        edits.change_line(job(), "line-1", **fields)


def test_unknown_ids_are_refused():
    with pytest.raises(DepthwrightError, match="no line"):
        edits.change_line(job(), "line-9", name="x")
    with pytest.raises(DepthwrightError, match="no mark"):
        edits.change_mark(job(), "line-1", "bar-9", number=2)


def test_the_tree_is_frozen_and_holds_no_impossible_tie():
    with pytest.raises(ValidationError):
        job().name = "other"
    for depth in (0.0, -5.0, float("inf")):
        with pytest.raises(ValidationError):
            Tie(depth_mm=depth, plus_minus_mm=1)


def test_limits_are_a_rectangular_distribution():
    """JCGM 100:2008, 4.3.7: u = a / sqrt(3); the site figure of 5 mm gives 2.9 mm."""
    assert Tie(depth_mm=30, plus_minus_mm=5, limits=True).u_mm == pytest.approx(2.887, abs=1e-3)
    assert Tie(depth_mm=30, plus_minus_mm=1).u_mm == 1


def test_removing_a_line_removes_its_antenna_when_nothing_else_uses_it():
    state = edits.add_line(job(), line("line-2", "L2"))
    state = edits.remove_line(state, "line-1")
    assert [a.id for a in state.antennas] == ["antenna-1"]
    assert not edits.remove_line(state, "line-2").antennas


def test_a_refusal_is_a_sentence_that_says_the_job_is_unchanged():
    with pytest.raises(DepthwrightError) as refused:
        edits.change_line(job(), "line-1", antenna="gone")
    assert refused.value.message == ("Line “L1” names a zone or antenna that is not there.")
    assert refused.value.hint == "The job is unchanged."
    with pytest.raises(DepthwrightError, match=r"^Permittivity has to be at least 1"):
        edits.type_permittivity(job(), job().zones[0], 0.5, 0.1)


@pytest.mark.parametrize(
    "twice",
    [
        lambda state: edits.add_line(state, line()),
        lambda state: edits.add_line(state, line("line-2", "L2"), ANTENNA),
        lambda state: edits.change_job(state, zones=state.zones * 2),
        lambda state: edits.change_job(state, meters=state.meters * 2),
    ],
    ids=["line", "antenna", "zone", "meter"],
)
def test_no_two_parts_share_an_id(twice):
    with pytest.raises(DepthwrightError, match="two parts with one id"):
        twice(job())


def test_new_ids_are_free_also_after_deleting():
    state, first = edits.add_bar(job(), "line-1", pick(100.0))
    state, second = edits.add_bar(state, "line-1", pick(200.0))
    state = edits.delete_mark(state, "line-1", first)
    assert edits.new_id(state, "bar") == first
    assert edits.new_id(edits.delete_mark(state, "line-1", second), "line") == "line-2"


def test_positions_on_the_concrete_and_as_recorded_are_each_others_inverse():
    moved = edits.change_line(job(), "line-1", start_mm=-250.0, distance_scale=1.02).lines[0]
    assert moved.on_concrete_mm(100.0) == pytest.approx(-148.0)
    assert moved.recorded_mm(moved.on_concrete_mm(433.0)) == pytest.approx(433.0)


def test_bars_are_numbered_from_the_datum_whatever_the_order_they_were_marked_in():
    state = job()
    for position in (300.0, 100.0, 200.0):
        state, _ = edits.add_bar(state, "line-1", pick(position))
    marks = edits.renumber_bars(state, "line-1").line("line-1").marks
    assert [(m.position_mm, m.number) for m in marks if isinstance(m, BarMark)] == [
        (300.0, 3),
        (100.0, 1),
        (200.0, 2),
    ]


def test_a_second_anchor_at_one_place_replaces_the_first():
    state, face = edits.add_anchor(job(), "line-1", None, pick(100.0, 4.0))
    state, again = edits.add_anchor(state, "line-1", face, pick(100.0, 4.2))
    mark = state.line("line-1").mark(face)
    assert isinstance(mark, FaceMark)
    assert again == face
    assert [a.time_ns for a in mark.anchors] == [4.2]


def test_anchors_belong_to_a_back_face_only():
    state, bar = edits.add_bar(job(), "line-1", pick())
    with pytest.raises(DepthwrightError, match="back face"):
        edits.add_anchor(state, "line-1", bar, pick())


def test_the_history_forgets_the_oldest_states_only():
    history = History.start(Job(name="0"))
    for number in range(1, 2 * MOST_STATES):
        history = history.push(Job(name=str(number)), f"name {number}")
    assert len(history.steps) == MOST_STATES
    assert history.job.name == str(2 * MOST_STATES - 1)
    for _ in range(2 * MOST_STATES):
        history = history.undo()
    assert history.job.name == str(MOST_STATES)
    assert history.undo_words == ""
    assert history.redo_words == f"name {MOST_STATES + 1}"


def test_a_number_that_another_bar_has_is_swapped():
    state, first = edits.add_bar(job(), "line-1", pick(100.0))
    state, second = edits.add_bar(state, "line-1", pick(200.0))
    state = edits.number_bar(state, "line-1", first, 2)
    numbers = {m.id: m.number for m in state.line("line-1").marks if isinstance(m, BarMark)}
    assert numbers == {first: 2, second: 1}
    state = edits.number_bar(state, "line-1", first, 7)
    assert [m.number for m in state.line("line-1").marks if isinstance(m, BarMark)] == [7, 1]


def test_a_second_click_on_a_trace_moves_its_anchor_and_keeps_its_tie():
    state, face = edits.add_anchor(job(), "line-1", None, pick(300.0, 4.0))
    state = edits.change_anchor(state, "line-1", face, 0, tie=Tie(depth_mm=160, plus_minus_mm=1))
    state, _ = edits.add_anchor(state, "line-1", face, pick(300.0, 4.1))
    (anchor,) = state.line("line-1").mark(face).anchors
    assert anchor.time_ns == 4.1
    assert anchor.tie is not None


def test_the_distance_scale_stretches_from_the_first_trace():
    state = edits.change_line(
        job(),
        "line-1",
        scan=job().lines[0].scan.model_copy(update={"first_mm": 50_000.0}),
        distance_scale=1.1,
        start_mm=-50_000.0,
    )
    moved = state.lines[0]
    assert moved.on_concrete_mm(50_000.0) == pytest.approx(0.0)
    assert moved.on_concrete_mm(51_000.0) == pytest.approx(1100.0)
    assert moved.recorded_mm(moved.on_concrete_mm(50_433.0)) == pytest.approx(50_433.0)
