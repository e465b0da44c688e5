"""Any edits in any order: undone they are the job they began with, redone the one they led to."""

from contextlib import suppress
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from depthwright.errors import DepthwrightError
from depthwright.history import History
from depthwright.job import Job

_spec = spec_from_file_location("drawn_jobs", Path(__file__).with_name("drawn_jobs.py"))
assert _spec is not None
assert _spec.loader is not None
drawn = module_from_spec(_spec)
_spec.loader.exec_module(drawn)

ONE_LINE = Job(antennas=(drawn.AN_ANTENNA,), lines=(drawn.a_line("line-1"),))
SEQUENCES = st.lists(drawn.STEPS, max_size=25)
Steps = list[tuple[str, int, float, float]]


def walked(start: Job, steps: Steps) -> tuple[History, list[Job]]:
    """The history of all edits that are not refused, and the states they led to."""
    history, states = History.start(start), [start]
    for step in steps:
        before = history.job.model_dump_json()
        after = history.job
        with suppress(DepthwrightError):
            after = drawn.edited(history.job, step)
        assert history.job.model_dump_json() == before
        history = history.push(after, step[0])
        if after != states[-1]:
            states.append(after)
    return history, states


def goes_back_and_forth(start: Job, steps: Steps) -> None:
    history, states = walked(start, steps)
    end = history
    for state in reversed(states[:-1]):
        history = history.undo()
        assert history.job == state
    assert (history.job, history.undo_words) == (start, "")
    assert history.undo() == history
    for state in states[1:]:
        history = history.redo()
        assert history.job == state
    assert history == end
    assert history.redo() == history


@settings(max_examples=60, deadline=None)
@given(steps=SEQUENCES)
def test_on_a_job_of_one_line(steps: Steps) -> None:
    goes_back_and_forth(ONE_LINE, steps)


@settings(max_examples=10, deadline=None)
@given(start=drawn.JOBS, steps=SEQUENCES)
def test_on_any_job(start: Job, steps: Steps) -> None:
    goes_back_and_forth(start, steps)


@settings(max_examples=25, deadline=None)
@given(steps=SEQUENCES)
def test_every_state_is_a_whole_job(steps: Steps) -> None:
    for state in walked(ONE_LINE, steps)[1]:
        assert Job.model_validate_json(state.model_dump_json(), strict=True) == state


@settings(max_examples=40, deadline=None)
@given(steps=st.lists(drawn.STEPS, min_size=1, max_size=12), back=st.integers(1, 6))
def test_a_new_edit_after_undo_forgets_only_what_was_undone(steps: Steps, back: int) -> None:
    history, states = walked(ONE_LINE, steps)
    for _ in range(back):
        history = history.undo()
    kept = states[: max(1, len(states) - back)]
    history = history.push(history.job.model_copy(update={"note": "new"}), "note")
    assert history.redo() == history
    for state in reversed(kept):
        history = history.undo()
        assert history.job == state


@pytest.mark.parametrize("name", drawn.NAMES)
def test_every_edit_that_is_drawn_changes_something_at_times(name: str) -> None:
    """What is drawn above would prove little if one of the edits never came to anything."""
    job = ONE_LINE
    for step in (
        ("bar", 0, 50.0, 2.0),
        ("anchor", 0, 9.0, 4.0),
        ("bar", 1, 5.0, 2.0),
        ("tie", 0, 9.0, 1.0),
    ):
        job = drawn.edited(job, step)
    job = job.model_copy(update={"zones": (job.zones[0].model_copy(update={"permittivity": 9.0}),)})
    made = []
    for which, one, two in ((0, 7.0, 8.0), (1, 7.0, 8.0), (3, 40.0, 90.0), (0, 30.0, 60.0)):
        try:
            made.append(drawn.edited(job, (name, which, one, two)))
        except DepthwrightError:
            continue
    assert any(each != job for each in made), name
