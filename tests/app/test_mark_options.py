"""The options of the command line's mark: quantities with units, ties, and what they ask of a line."""

import argparse
import math
from pathlib import Path, PurePath

import pytest

from depthwright.errors import DepthwrightError
from depthwright.marking.request import Quantity
from depthwright_app.mark_options import (
    FREQUENCY,
    HEIGHT,
    PERMITTIVITY,
    SAMPLE_INTERVAL,
    SEPARATION,
    TIME_OFFSET,
    TRACE_SPACING,
    add_options,
    joined,
    parse_tie,
    read_options,
)
from depthwright_app.mark_places import relative_paths, report_paths, ties_by_line
from depthwright_app.quantities import parse_quantity

SAMPLES = Path(__file__).parents[2] / "sample_data"
WHOLE = (
    "--trace-spacing 5mm --sample-interval 20ps --antenna-separation 40mm --antenna-height 3mm "
    "--time-offset 12ps+-20ps --centre-frequency 2GHz --bar-diameter 12mm --permittivity 7+-1.5 "
    "--tie bar@150mm=24mm+-1mm --tie face@500mm=152mm+-1mm --no-proposals --job OUT.dwjob --workers 3"
)


def options(*arguments):
    parser = argparse.ArgumentParser()
    add_options(parser)
    given = joined(["L1.sgy", "--out", "DIR", *arguments])
    return read_options(parser.parse_args(given))


def refused(*arguments):
    with pytest.raises(DepthwrightError) as problem:
        options(*arguments)
    assert problem.value.hint
    return str(problem.value)


@pytest.mark.parametrize(
    ("text", "kind", "value", "u"),
    [
        ("5mm", TRACE_SPACING, 5.0, None),
        ("0.5 cm", TRACE_SPACING, 5.0, None),
        ("0,5cm", TRACE_SPACING, 5.0, None),
        ("0.005m", TRACE_SPACING, 5.0, None),
        (".5CM", TRACE_SPACING, 5.0, None),
        ("2in", TRACE_SPACING, 50.8, None),
        ("0,125in", TRACE_SPACING, 3.175, None),
        ("5,25mm", TRACE_SPACING, 5.25, None),
        ("20ps", SAMPLE_INTERVAL, 0.020, None),
        ("0.02NS", SAMPLE_INTERVAL, 0.020, None),
        ("2e-5us", SAMPLE_INTERVAL, 0.020, None),
        ("2e-5µs", SAMPLE_INTERVAL, 0.020, None),
        ("2GHz", FREQUENCY, 2.0, None),
        ("2000mhz", FREQUENCY, 2.0, None),
        ("2e9 Hz", FREQUENCY, 2.0, None),
        ("12ps+-20ps", TIME_OFFSET, 0.012, 0.020),
        ("-12ps ± 0.02ns", TIME_OFFSET, -0.012, 0.020),
        ("−12ps+/-20ps", TIME_OFFSET, -0.012, 0.020),
        ("40mm+-1mm", SEPARATION, 40.0, 1.0),
        ("4cm+-1mm", SEPARATION, 40.0, 1.0),
        ("3mm+-1mm:limits", HEIGHT, 3.0, 1 / math.sqrt(3)),
        ("7", PERMITTIVITY, 7.0, None),
        ("7+-1.5", PERMITTIVITY, 7.0, 1.5),
        ("7+-1.5:LIMITS", PERMITTIVITY, 7.0, 1.5 / math.sqrt(3)),
        ("0mm", SEPARATION, 0.0, None),
    ],
)
def test_a_quantity_is_a_number_with_its_unit(text, kind, value, u):
    typed = parse_quantity(text, kind)
    assert typed.value == pytest.approx(value, rel=1e-12)
    assert typed.u == (None if u is None else pytest.approx(u, rel=1e-12))


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("5", TRACE_SPACING, "the unit is missing (mm, cm, m, in)"),
        ("40+-1", SEPARATION, "the unit is missing"),
        ("5 furlongs", TRACE_SPACING, "“furlongs” is none of its units"),
        ("1,260mm", TRACE_SPACING, "may mean thousands or a decimal"),
        ("20mm", SAMPLE_INTERVAL, "“mm” is none of its units, ps, ns, us"),
        ("5mm+-1ps", TRACE_SPACING, "“ps” is none of its units"),
        ("-5mm", TRACE_SPACING, "between 0.01 mm and 10000 mm"),
        ("0mm", TRACE_SPACING, "between 0.01 mm and 10000 mm"),
        ("1e9mm", TRACE_SPACING, "between"),
        ("1e999mm", TRACE_SPACING, "not a number"),
        ("nanmm", TRACE_SPACING, "not a number"),
        ("20us", SAMPLE_INTERVAL, "between 0.0001 ns and 100 ns"),
        ("2kHz", FREQUENCY, "between 0.05 GHz and 20 GHz"),
        ("7mm", PERMITTIVITY, "it has no unit"),
        ("0.9", PERMITTIVITY, "between 1 and 100"),
        ("7+-0", PERMITTIVITY, "has to lie between 1e-06 and 99"),
        ("7+--1", PERMITTIVITY, "has to lie between 1e-06 and 99"),
        ("7+-1000", PERMITTIVITY, "has to lie between 1e-06 and 99"),
        ("7+-1+-1", PERMITTIVITY, "more than one +-"),
        ("7+-", PERMITTIVITY, "not a number"),
        ("", PERMITTIVITY, "not a number"),
        ("7+-1:rectangular", PERMITTIVITY, "only “limits”"),
        ("7:limits", PERMITTIVITY, "limits need a number after +-"),
        ("5" * 400 + "mm", TRACE_SPACING, "…"),
    ],
)
def test_what_is_no_quantity_is_refused_with_what_to_write(text, kind, words):
    with pytest.raises(DepthwrightError) as problem:
        parse_quantity(text, kind)
    assert words in problem.value.message
    assert len(problem.value.message) < 200
    assert problem.value.hint == f"Write it like {kind.example}."


@pytest.mark.parametrize(
    ("text", "kind", "meant"),
    [
        ("40+-1mm", SEPARATION, "40mm+-1mm"),
        ("40mm +- 1", SEPARATION, "40mm+-1mm"),
        ("-12±20ps", TIME_OFFSET, "-12ps+-20ps"),
        ("3+/-1mm:limits", HEIGHT, "3mm+-1mm:limits"),
        ("2±0.1GHz", FREQUENCY, "2GHz+-0.1GHz"),
    ],
)
def test_each_number_carries_its_own_unit(text, kind, meant):
    with pytest.raises(DepthwrightError, match="one of its numbers has no unit") as problem:
        parse_quantity(text, kind)
    assert problem.value.hint == f"Write it as {meant}, if that is meant."


def test_of_a_tie_too():
    said = refused("--tie", "bar@150mm=24+-1mm")
    assert "one of its numbers has no unit. Write it as 24mm+-1mm, if that is meant." in said


def test_every_option_is_read_in_the_programs_units():
    read = options(*WHOLE.split())
    request = read.request
    assert (request.given.trace_spacing_mm, request.given.dt_ns) == (5.0, pytest.approx(0.02))
    assert request.separation_mm == Quantity(40.0, 1.0)
    assert request.height_mm == Quantity(3.0, 1.0)
    assert request.time_offset_ns == Quantity(pytest.approx(0.012), pytest.approx(0.020))
    assert (request.centre_frequency_ghz, request.bar_diameter_mm) == (2.0, 12.0)
    assert request.permittivity == Quantity(7.0, 1.5)
    assert not request.propose
    assert (read.job, read.workers, read.out) == (Path("OUT.dwjob"), 3, Path("DIR"))
    (bar, face) = (tie.at for tie in read.ties)
    assert (bar.kind, bar.position_mm, bar.tie.depth_mm, bar.tie.u_mm) == ("bar", 150, 24, 1)
    assert (face.kind, face.position_mm, face.tie.depth_mm, face.tie.u_mm) == ("face", 500, 152, 1)
    assert (bar.tie.origin, face.tie.origin) == ("cover meter", "drilled hole or core")
    assert request.remarks == ()


def test_with_nothing_given_nothing_is_asked():
    read = options()
    assert read.request == type(read.request)()
    assert (read.job, read.workers, read.ties) == (None, None, ())


def test_a_negative_quantity_is_no_option():
    assert options("--time-offset", "-12ps+-20ps").request.time_offset_ns.value == -0.012


def test_an_uncertainty_that_no_interval_takes_up_is_said():
    read = options("--sample-interval", "20ps+-1ps", "--bar-diameter", "12mm+-1mm")
    assert len(read.request.remarks) == 2
    assert "sample interval" in read.request.remarks[0]
    assert options("--trace-spacing", "5mm+-0.05mm").request.trace_spacing_share_u == (
        pytest.approx(0.01)
    )


def test_a_card_is_read_before_anything_is_done():
    assert options("--antenna-card", str(SAMPLES / "antenna_card.json")).request.card is not None
    assert "not an antenna card" in refused("--antenna-card", str(SAMPLES / "tour.json"))
    assert "none.json cannot be read" in refused("--antenna-card", "none.json")


@pytest.mark.parametrize("text", ["0", "-1", "two", "1.5", "99999", ""])
def test_workers_are_a_number_of_processes(text):
    assert "no number of processes" in refused(f"--workers={text}")


def test_a_refused_quantity_names_its_option():
    assert refused("--trace-spacing", "5").startswith("--trace-spacing: “5” cannot be")


@pytest.mark.parametrize(
    ("text", "name", "kind", "position_mm", "depth_mm", "u_mm"),
    [
        ("bar@150mm=24mm+-1mm", "", "bar", 150.0, 24.0, 1.0),
        ("BAR@15cm=24mm+-0.5mm", "", "bar", 150.0, 24.0, 0.5),
        ("bar@-0.15m=24mm", "", "bar", -150.0, 24.0, 1.0),
        ("face@0.5m=152mm+-3mm:limits", "", "face", 500.0, 152.0, 3 / math.sqrt(3)),
        ("deck-L1:bar@150mm=24mm", "deck-L1", "bar", 150.0, 24.0, 1.0),
        ("C:x:bar@150mm=24mm", "C:x", "bar", 150.0, 24.0, 1.0),
    ],
)
def test_a_tie_is_a_depth_at_a_place(text, name, kind, position_mm, depth_mm, u_mm):
    tie = parse_tie(text)
    assert tie.name == name
    assert (tie.at.kind, tie.at.position_mm, tie.at.tie.depth_mm) == (kind, position_mm, depth_mm)
    assert tie.at.tie.u_mm == pytest.approx(u_mm)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("24mm", "is no tie"),
        ("duct@150mm=24mm", "is no tie"),
        ("bar@150mm", "is no tie"),
        ("bar@150=24mm", "cannot be the position of a tie: the unit is missing"),
        ("bar@150mm=24", "cannot be the depth of a tie: the unit is missing"),
        ("bar@150mm+-2mm=24mm", "the position takes no uncertainty"),
        ("bar@150mm=0mm", "between"),
        ("bar@150mm=-24mm", "between"),
    ],
)
def test_what_is_no_tie_is_refused(text, words):
    said = refused("--tie", text)
    assert words in said
    assert "bar@150mm=24mm+-1mm" in said


def paths(*names):
    return [PurePath(name) for name in names]


def test_with_several_files_a_tie_names_its_line():
    lines = paths("a/L1.sgy", "a/L2.sgy", "b/L2.sgy")
    ties = [parse_tie(f"{name}:bar@150mm=24mm") for name in ("L1", "b/L2", "a/L2.sgy")]
    assert ties_by_line(ties, lines) == [(ties[0],), (ties[2],), (ties[1],)]
    assert ties_by_line([parse_tie("bar@1mm=24mm")], lines[:1]) == [(parse_tie("bar@1mm=24mm"),)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("bar@150mm=24mm", "does not say on which of the 2 lines it is. Write"),
        ("L3:bar@150mm=24mm", "names “L3”, and no file given has that name"),
        ("L2:bar@150mm=24mm", "means 2 files of the name L2"),
    ],
)
def test_a_tie_that_means_no_line_is_refused(text, words):
    with pytest.raises(DepthwrightError) as problem:
        ties_by_line([parse_tie(text)], paths("a/L2.sgy", "b/L2.sgy"))
    assert words in str(problem.value)


def test_a_file_beside_a_folder_with_its_like_is_named_by_its_path():
    lines = paths("L1.sgy", "sub/L1.sgy")
    with pytest.raises(DepthwrightError) as problem:
        ties_by_line([parse_tie("L1:bar@150mm=24mm")], lines)
    assert "./L1:bar@" in problem.value.hint
    tie = parse_tie("./L1:bar@150mm=24mm")
    assert ties_by_line([tie], lines) == [(tie,), ()]


def test_reports_lie_where_their_files_do(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    inside = [Path("a/L1.sgy"), Path("a/b/L1.sgy"), Path("./L2.csv"), Path("c/../L3.npy")]
    relative = list(relative_paths(inside).values())
    assert report_paths(relative) == paths("a/L1.json", "a/b/L1.json", "L2.json", "L3.json")


def test_files_from_elsewhere_lie_relative_to_the_folder_they_share(tmp_path, monkeypatch):
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    away = [tmp_path / "in" / "a" / "L1.sgy", Path("../in/b/L1.sgy")]
    assert list(relative_paths(away).values()) == paths("a/L1.sgy", "b/L1.sgy")
    assert list(relative_paths(away[:1]).values()) == paths("L1.sgy")


def test_a_file_given_twice_is_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given = [Path("a/L1.sgy"), tmp_path / "a" / "L1.sgy", Path("a/../a/L1.sgy")]
    assert len(relative_paths(given)) == 1


def test_the_present_folder_has_a_place_too_until_it_is_refused_as_a_folder():
    assert report_paths([PurePath("."), PurePath("a.sgy")]) == [
        PurePath(".json"),
        PurePath("a.json"),
    ]
    tie = parse_tie("a:bar@1mm=2mm")
    assert ties_by_line([tie], [PurePath("."), PurePath("a.sgy")]) == [(), (tie,)]


def test_no_two_reports_have_one_name():
    assert report_paths(paths("L1.sgy", "L1.csv", "L2.sgy")) == paths(
        "L1.sgy.json", "L1.csv.json", "L2.json"
    )
    three = report_paths(paths("L1.sgy", "L1.csv", "L1.sgy.txt"))
    assert len(set(three)) == 3
    assert report_paths(paths("L1")) == paths("L1.json")
