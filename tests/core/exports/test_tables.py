"""The tables hold the results' numbers, what they rest on, and nothing a spreadsheet could run."""

import csv
import math
from collections.abc import Callable
from datetime import datetime

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from depthwright.exports.tables import (
    _comment,
    _safe,
    bar_schedule,
    budget_table,
    target_table,
    thickness_profile,
)
from depthwright.job import BarMark
from depthwright.results.words import CAUTIONS, INTERVALS, permittivity_words

Made = Callable[..., object]
FLAGGED = [bar_schedule, thickness_profile, target_table]
TABLES = [*FLAGGED, budget_table]


def comments(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.startswith("#")]


def rows(text: str) -> list[dict[str, str]]:
    body = [line for line in text.splitlines() if not line.startswith("#")]
    return list(csv.DictReader(body))


def test_the_schedule_holds_the_results(scene: Made, now: datetime) -> None:
    made = scene(5)
    table = rows(bar_schedule(made.job, "line-1", made.results, now))
    bars = made.results.lines["line-1"].bars
    assert [int(row["bar"]) for row in table] == [bar.number for bar in bars]
    for row, bar in zip(table, bars, strict=True):
        assert float(row["position mm"]) == pytest.approx(bar.position.value_mm, abs=0.051)
        assert float(row["U position mm"]) == pytest.approx(bar.position.expanded_mm, abs=0.051)
        assert float(row["cover mm"]) == pytest.approx(bar.cover.value_mm, abs=0.051)
        assert float(row["U cover mm"]) == pytest.approx(2 * bar.cover.u_mm, abs=0.051)
        assert float(row["two-way time ns"]) == pytest.approx(bar.two_way_ns, abs=0.00051)
        assert float(row["diameter mm"]) == bar.diameter_mm
        assert (row["spacing mm"] == "") == (bar.spacing is None)
    assert float(table[1]["spacing mm"]) == pytest.approx(180.0)
    assert table[0]["source"] == "cover meter 40.0 +/- 1.0 mm"
    assert table[1]["source"] == "radar"


def test_flags_say_what_to_mind(scene: Made, now: datetime) -> None:
    early = BarMark(id="bar-9", number=9, position_mm=560, position_u_mm=2, time_ns=0.9)
    made = scene(4, specified_cover_mm=38.0, extras=(early,))
    table = {row["bar"]: row for row in rows(bar_schedule(made.job, "line-1", made.results, now))}
    fourth = next(bar for bar in made.results.lines["line-1"].bars if bar.number == 4)
    short = 38.0 - fourth.cover.value_mm
    assert table["4"]["flags"].startswith(f"on the tail of the direct wave; {short:.1f} ")
    assert table["4"]["flags"].endswith("mm short of the specified cover")
    assert table["9"]["flags"] == "no depth"
    assert table["9"]["cover mm"] == table["9"]["U cover mm"] == ""
    assert table["2"]["flags"] == ""


@pytest.mark.parametrize("make", FLAGGED)
def test_provisional_depths_are_flagged_in_every_row(
    scene: Made, now: datetime, extras: tuple, make: Callable[..., str]
) -> None:
    made = scene(3, tied=False, extras=extras)
    table = rows(make(made.job, "line-1", made.results, now))
    assert table
    assert all("provisional" in row["flags"] for row in table)


def test_the_profile_holds_every_point(scene: Made, now: datetime) -> None:
    made = scene(2)
    face = made.results.lines["line-1"].faces[0]
    table = rows(thickness_profile(made.job, "line-1", made.results, now))
    assert len(table) == len(face.position_mm) > 50
    for row, depth, u in zip(table, face.depth_mm, face.depth_u_mm, strict=True):
        assert float(row["depth mm"]) == pytest.approx(depth, abs=0.051)
        assert float(row["U depth mm"]) == pytest.approx(2 * u, abs=0.051)


def test_the_profile_holds_its_positions_with_the_scales_uncertainty(
    scene: Made, now: datetime
) -> None:
    made = scene(2)
    table = rows(thickness_profile(made.job, "line-1", made.results, now))
    for row in (table[0], table[-1]):
        expected = 2 * made.line.distance_scale_u * float(row["position mm"])
        assert float(row["U position mm"]) == pytest.approx(expected, abs=0.06)


def test_a_known_depth_that_is_set_aside_is_flagged_with_its_reason(
    scene: Made, now: datetime, set_aside: Made, extras: tuple
) -> None:
    made = set_aside(scene(4), "bar-3", "read over the lap")
    table = rows(bar_schedule(made.job, "line-1", made.results, now))
    assert table[2]["source"] == "radar"
    assert table[2]["flags"] == "cover meter 61.0 +/- 1.0 mm set aside: read over the lap"
    assert table[0]["flags"] == ""
    made = set_aside(scene(2, extras=extras), "target-1", "a pipe was drilled")
    table = rows(target_table(made.job, "line-1", made.results, now))
    assert table[0]["flags"].endswith("set aside: a pipe was drilled")


def test_the_schedule_says_whose_curvature_counts(
    scene: Made, now: datetime, with_crests: Made
) -> None:
    made = with_crests(scene(3), ("bar-2",))
    table = rows(bar_schedule(made.job, "line-1", made.results, now))
    assert [row["curvature counts"] for row in table] == ["no", "yes", "no"]


# The budget.


def parts(row: dict[str, str]) -> list[float]:
    return [float(cell) for name, cell in row.items() if name.startswith("u from ") and cell]


def test_the_budget_has_a_row_for_every_measured_mark(
    scene: Made, now: datetime, extras: tuple
) -> None:
    made = scene(2, extras=extras)
    table = rows(budget_table(made.job, "line-1", made.results, now))
    assert [row["mark"] for row in table] == [
        "bar 1",
        "bar 2",
        "back face 1 anchor 1",
        "back face 1 anchor 2",
        "conduit 1",
        "unknown 2",
    ]


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_squares_of_the_parts_add_up_to_that_of_the_whole(
    scene: Made, now: datetime, with_crests: Made, unit: str
) -> None:
    made = with_crests(scene(4, face_tied=True, unit=unit), ("bar-2", "bar-3"))
    table = rows(budget_table(made.job, "line-1", made.results, now))
    covers = [bar.cover for bar in made.results.lines["line-1"].bars]
    per_unit = {"mm": 1.0, "in": 25.4}[unit]
    for row, cover in zip(table, covers, strict=False):
        assert float(row[f"u {unit}"]) == pytest.approx(cover.u_mm / per_unit, rel=0.01)
    for row in table:
        whole = math.hypot(*parts(row))
        assert whole == pytest.approx(float(row[f"u {unit}"]), rel=0.01)


def test_the_budget_of_a_tied_bar_is_its_reading(scene: Made, now: datetime) -> None:
    tied, free = rows(budget_table((made := scene(2)).job, "line-1", made.results, now))[:2]
    known = [name for name in tied if name.startswith(("u from known", "u from cover meter"))]
    reading = math.hypot(*(float(tied[name]) for name in known))
    assert reading == pytest.approx(1.0, abs=0.05)  # entered as 1.0 mm
    assert float(free["u mm"]) > 1.5


def test_a_mark_without_a_depth_has_no_budget(scene: Made, now: datetime) -> None:
    early = BarMark(id="bar-9", number=9, position_mm=560, position_u_mm=2, time_ns=0.9)
    made = scene(1, extras=(early,))
    table = {row["mark"]: row for row in rows(budget_table(made.job, "line-1", made.results, now))}
    assert table["bar 9"]["depth mm"] == table["bar 9"]["u mm"] == ""
    assert not parts(table["bar 9"])


def test_targets_are_listed(scene: Made, now: datetime, extras: tuple) -> None:
    made = scene(2, extras=extras)
    table = rows(target_table(made.job, "line-1", made.results, now))
    assert [(row["target"], row["number"]) for row in table] == [("conduit", "1"), ("unknown", "2")]
    depth = made.results.lines["line-1"].targets[0].depth.value_mm
    assert float(table[0]["depth mm"]) == pytest.approx(depth, abs=0.051)


def test_inches_have_three_places_and_a_sixteenth(scene: Made, now: datetime) -> None:
    made = scene(3, unit="in")
    first = rows(bar_schedule(made.job, "line-1", made.results, now))[0]
    assert first["position in"] == "3.937"  # 100 mm
    assert first["position to 1/16 in"] == "3 15/16 in"
    assert first["diameter in"] == "0.472"  # 12 mm
    assert "position to 1/16 in" in rows(
        thickness_profile(made.job, "line-1", made.results, now)
    )[0]  # fmt: skip


def test_centimetres_have_two_places(scene: Made, now: datetime) -> None:
    made = scene(1, unit="cm")
    first = rows(bar_schedule(made.job, "line-1", made.results, now))[0]
    assert first["position cm"] == "10.00"


@pytest.mark.parametrize("make", TABLES)
def test_every_table_says_what_it_rests_on(
    scene: Made, now: datetime, extras: tuple, make: Callable[..., str]
) -> None:
    made = scene(3, extras=extras, specified_cover_mm=40.0)
    said = "\n".join(comments(make(made.job, "line-1", made.results, now)))
    for caution in (*CAUTIONS, INTERVALS):
        assert caution in said
    for words in (
        f"Permittivity {permittivity_words(made.results)}, velocity".replace("±", "+/-"),
        "Depths rest on cover meter 40.0 +/- 1.0 mm on bar 1",
        "; distances from north-west corner, towards the ramp.",
        "Made on 2026-03-14 09:26 +01:00 with Depthwright",
        "Lengths in millimetres",
        "Specified cover 40 mm.",
        "Invented demo data",
        "gives 7.0 (4.6 to 10.7); steps aside: the other evidence says more.",
        "On this line no bar's curvature counts.",
        "U of the back face by what is known: a typed or typical permittivity alone",
        made.scan.sha256,
        *made.results.messages,
    ):
        assert words in said


@pytest.mark.parametrize("make", TABLES)
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_programs_own_words_are_plain_ascii(
    scene: Made, now: datetime, extras: tuple, make: Callable[..., str], unit: str
) -> None:
    made = scene(3, extras=extras, unit=unit, specified_cover_mm=40.0)
    assert make(made.job, "line-1", made.results, now).isascii()


def test_a_users_own_letters_stay(scene: Made, now: datetime) -> None:
    made = scene(1, name="Brücke Süd 橋")
    text = bar_schedule(made.job, "line-1", made.results, now)
    assert text.splitlines()[0] == "# Bar schedule: Brücke Süd 橋"


NASTY = "=HYPERLINK(0)"


@pytest.mark.parametrize("make", TABLES)
def test_no_cell_is_a_formula_however_the_file_is_split(
    scene: Made, now: datetime, extras: tuple, make: Callable[..., str], set_aside: Made
) -> None:
    nasty = f'x,{NASTY};{NASTY}\t+1,"@1",\n{NASTY}'
    made = scene(
        3, extras=extras, name=nasty, note=nasty,
        line_fields={"datum": nasty, "direction": nasty, "name": nasty},
    )  # fmt: skip
    made = set_aside(set_aside(made, "bar-2", nasty), "target-1", nasty)
    text = make(made.job, "line-1", made.results, now)
    for delimiter in ",;\t":
        for row in csv.reader(text.splitlines(), delimiter=delimiter):
            for cell in row:
                assert not cell.lstrip().startswith(("=", "+", "@"))


@given(text=st.text())
def test_a_comment_stays_one_line(text: str) -> None:
    comment = _comment(text)
    assert len(f"# {comment}".splitlines()) == 1


@settings(max_examples=200)
@given(text=st.text())
def test_no_text_cell_starts_a_formula(text: str) -> None:
    cell = str(_safe(text))
    starts = cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert not starts or math.isfinite(float(cell))


def test_numbers_below_zero_stay_numbers(scene: Made, now: datetime) -> None:
    made = scene(1, line_fields={"start_mm": -250.0})
    assert rows(bar_schedule(made.job, "line-1", made.results, now))[0]["position mm"] == "-150.0"
