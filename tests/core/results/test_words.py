"""What the numbers say, in sentences."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import depthwright
from depthwright import edits
from depthwright.job import Tie
from depthwright.results import words
from depthwright.results.evaluate import evaluate

TIE = Tie(depth_mm=50.0, plus_minus_mm=1.0)


def tied(job):
    return edits.tie_mark(job, "line-1", "bar-1", TIE)


def test_what_a_tie_moved_is_said_in_one_line(known_job):
    said = words.what_moved(evaluate(known_job()), evaluate(tied(known_job())), "mm")
    assert said == "Permittivity 7.0 to 8.0; 3 bars; back face 171 to 160 ± 14\u202fmm."


def test_it_is_said_in_the_unit_of_the_job(known_job):
    said = words.what_moved(evaluate(known_job()), evaluate(tied(known_job())), "in")
    assert said == "Permittivity 7.0 to 8.0; 3 bars; back face 6.7 to 6.3 ± 0.6\u202fin."


def test_nothing_moved_is_said_by_nothing(known_job):
    results = evaluate(known_job())
    assert words.what_moved(results, results, "mm") == ""


def test_intervals_that_narrow_are_said_where_no_value_moves(known_job):
    vague = evaluate(
        edits.tie_mark(
            known_job(), "line-1", "bar-1", TIE.model_copy(update={"plus_minus_mm": 3.0})
        )
    )
    said = words.what_moved(vague, evaluate(tied(known_job())), "mm")
    assert said.startswith("Permittivity 8.0, ± ")
    assert "3 bar intervals" in said
    assert "; back face ± " in said


def test_a_bar_without_a_depth_has_not_moved(known_job):
    job = edits.change_mark(known_job(), "line-1", "bar-2", time_ns=0.2)
    before, after = evaluate(job), evaluate(tied(job))
    assert words.what_moved(before, before, "mm") == ""
    assert "2 bars" in words.what_moved(before, after, "mm")


def test_one_bar_is_not_bars(known_job):
    job = known_job(covers=(50.0,), slab_mm=None)
    assert words.what_moved(evaluate(job), evaluate(tied(job)), "mm").endswith("; 1 bar.")


def test_marks_that_are_new_or_gone_have_not_moved(known_job):
    more = tied(known_job())
    fewer = edits.delete_mark(more, "line-1", "bar-3")
    assert words.what_moved(evaluate(more), evaluate(fewer), "mm") == ""
    assert words.what_moved(evaluate(fewer), evaluate(more), "mm") == ""


def test_the_footing_is_provisional_until_something_is_known(known_job):
    assert words.footing(evaluate(known_job())).startswith("Depths are provisional")


def test_the_footing_names_every_source(known_job):
    job = tied(known_job())
    hole = Tie(depth_mm=160.0, plus_minus_mm=2.0, limits=True, origin="drilled hole or core")
    job = edits.change_anchor(job, "line-1", "face-1", 1, tie=hole)
    job = edits.change_zone(job, "zone-1", typed=True, keep=True)
    said = words.footing(evaluate(job))
    for part in (
        "cover meter 50.0 ± 1.0\u202fmm on bar 1",
        "drilled hole or core 160.0 ± 2.0\u202fmm as limits on back face",
        "typed permittivity",
    ):
        assert part in said


def test_a_typed_permittivity_is_a_footing(known_job):
    job = edits.type_permittivity(known_job(), known_job().zones[0], 8.0, 0.5)
    assert words.footing(evaluate(job)).startswith("Depths rest on typed permittivity 8.0 ± 1.0.")


def test_the_footing_tells_a_site_engineer_how_good_depths_are_and_what_would_help(known_job):
    """Computed from the job: other numbers, another sentence."""
    said = words.footing(evaluate(tied(known_job())))
    assert said == (
        "Depths rest on cover meter 50.0 ± 1.0\u202fmm on bar 1. Near 30\u202fmm they are good to "
        "3\u202fmm, at the back face (160\u202fmm) to 14\u202fmm; a hole or core to the back face would "
        "bring that to 5\u202fmm."
    )
    no_bars = evaluate(
        edits.type_permittivity(known_job(covers=()), known_job().zones[0], 8.0, 0.5)
    )
    assert "they are good to 11\u202fmm" in words.footing(no_bars)


def test_a_permittivity_is_written_with_its_expanded_uncertainty(known_job):
    job = edits.type_permittivity(known_job(), known_job().zones[0], 8.0, 0.5)
    assert words.permittivity_words(evaluate(job)) == "8.0 ± 1.0"


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, "L1: from start of the line, as scanned"),
        (
            {"datum": "grid A1", "direction": "towards B1", "distance_scale": 1.02},
            "L1: from grid A1, towards B1, distances times 1.0200",
        ),
    ],
)
def test_a_lines_title_says_where_to_tape_from(known_job, fields, expected):
    job = edits.change_line(known_job(), "line-1", **fields)
    assert words.line_title(job, "line-1") == expected


def test_the_cautions_send_the_reader_to_a_qualified_person():
    said = " ".join(words.CAUTIONS)
    for part in (
        "estimates",
        "Absence of a mark",
        "post-tensioning",
        "qualified person",
        "not declare",
    ):
        assert part in said


IN_ONE_PLACE_ONLY = re.compile(
    r"--[a-z]|\b(undo|clear it|click|press|button|menu|tab|type an?|typed,|set .* aside)\b", re.I
)
"""What can be done in the window alone, or on the command line alone."""


@pytest.mark.parametrize("room", ["depth", "finding", "marking", "measuring", "results"])
def test_what_numbers_say_is_true_in_the_window_and_on_the_command_line(room):
    folder = Path(depthwright.__file__).parent / room
    said = [words for file in folder.glob("*.py") for words in sentences(file)]
    assert said
    assert [words for words in said if IN_ONE_PLACE_ONLY.search(words)] == []


def sentences(file: Path) -> Iterator[str]:
    """The texts with words in a module's code, not its docstrings."""
    tree = ast.parse(file.read_text("utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    texts = (node for node in ast.walk(tree) if isinstance(node, ast.Constant))
    for node in texts:
        if isinstance(node.value, str) and " " in node.value and id(node) not in alone:
            yield node.value
