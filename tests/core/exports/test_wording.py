"""What is said of the evidence, and of whose curvature counts."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from depthwright.exports.wording import (
    curvature_words,
    evidence_word,
    footing_words,
    outlook_words,
    recipe_words,
)
from depthwright.job import DirectPick, Line, ScanRef
from depthwright.processing.recipe import NOTHING, Recipe
from depthwright.results.values import EvidenceRow
from depthwright.results.words import footing

Made = Callable[..., object]


@pytest.mark.parametrize(
    ("permittivity", "log_u", "said"),
    [
        (8.0, 0.1, "gives 8.0 (6.5 to 9.8)."),  # 8 exp(-0.2), 8 exp(0.2)
        (8.0, 0.005, "gives 8.00 (7.92 to 8.08)."),
        (2.0, 0.6, "gives 2.0 (under 1 to 6.6)."),  # 2 exp(1.2) = 6.64
        (20.0, 1.0, "gives 20.0 (2.7 to over 100)."),
        (8.0, 300.0, "gives 8.0 (under 1 to over 100)."),
        (1.0, 0.3, "needs a wave faster than in air."),
        (100.0, 0.3, "needs a wave slower than in water."),
    ],
)
def test_evidence_says_what_it_alone_gives(permittivity: float, log_u: float, said: str) -> None:
    row = EvidenceRow("tie", "bar 1: drawing 40 mm", permittivity, log_u, used=True)
    assert evidence_word(row) == f"Bar 1: drawing 40 mm {said}"


@pytest.mark.parametrize(
    ("note", "used", "ending"),
    [
        ("", True, "."),
        ("", False, "; not used."),
        ("Set aside: wrong bar.", False, "; set aside: wrong bar."),
        ("All that is known rests on it.", True, "; all that is known rests on it."),
    ],
)
def test_evidence_says_whether_it_counts(note: str, used: bool, ending: str) -> None:
    row = EvidenceRow("tie", "bar 1", 8.0, 0.1, used, note)
    assert evidence_word(row).endswith(f"(6.5 to 9.8){ending}")


def test_a_long_footing_counts_the_known_depths(scene: Made, tied_throughout: Made) -> None:
    few = tied_throughout(scene(3)).results
    assert footing_words(few, "mm") == footing(few)
    many = tied_throughout(scene(6)).results
    assert footing_words(many, "mm").startswith("Depths rest on 6 known depths. Near ")
    wordy = replace(few, adopted_from=tuple(name * 9 for name in few.adopted_from))
    assert footing_words(wordy, "mm").startswith("Depths rest on 3 known depths. Near ")


def test_curvature_is_kept_in_the_footing_when_depths_are_counted(
    scene: Made, tied_throughout: Made, with_crests: Made
) -> None:
    made = with_crests(tied_throughout(scene(6)), ("bar-2",))
    said = footing_words(made.results, "mm")
    assert said.startswith("Depths rest on 6 known depths and the curvature of 1 bar.")


def test_of_many_bars_the_curvatures_are_counted(scene: Made, with_crests: Made) -> None:
    made = with_crests(scene(12), [f"bar-{number}" for number in range(1, 11)])
    (said,) = curvature_words(made.job, made.line, made.results)
    assert said.startswith("On this line the curvature of 10 of 12 bars counts; the bar schedule")


def test_without_bars_nothing_is_said_of_curvature(scene: Made) -> None:
    made = scene(0)
    assert curvature_words(made.job, made.line, made.results) == ()


def test_the_outlook_names_what_is_known_now(scene: Made) -> None:
    made = scene(3)
    (said,) = outlook_words(made.results, "mm")
    now = next(row for row in made.results.outlook.rows if row.now)
    assert said.startswith("U of the back face by what is known: ")
    assert f"{now.what} {now.expanded_mm:.1f}\u202fmm" in said


def test_without_a_mark_there_is_no_outlook(scene: Made) -> None:
    assert outlook_words(scene(0, face=False).results, "mm") == ()


def shown(recipe: Recipe) -> str:
    scan = ScanRef(path="a.sgy", size_bytes=1, sha256="", traces=9, samples=9, dt_ns=0.02)
    direct = DirectPick(time_ns=1.0)
    line = Line(id="l", name="A", scan=scan, zone="z", antenna="a", direct=direct, recipe=recipe)
    return recipe_words(line)


def test_every_step_of_the_recipe_is_named_in_its_order() -> None:
    assert shown(NOTHING) == "Shown as recorded."
    assert shown(Recipe()) == "Shown with repair, dewow."
    band = Recipe(repair=False, dewow=False, band=True, band_low_ghz=0.5, band_high_ghz=3.0)
    assert shown(band) == "Shown with band-pass from 0.5 to 3 GHz."
    switches = {
        name: True for name, field in Recipe.model_fields.items() if field.annotation is bool
    }
    words = shown(Recipe(**(switches | {"gain_db_per_100mm": 6.0})))
    # The spared back face is a setting of its step, not a step.
    assert words.count(", ") == len(switches) - 1
    assert words.endswith("even gain, gain 6 dB per 100 mm.")
