"""The marked-up image says everything, draws marks where the depth model puts them, and is laid out."""

import io
import math
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont
from matplotlib.text import Text
from PIL import Image

from depthwright.errors import DepthwrightError
from depthwright.exports.figure import ImageStyle
from depthwright.job import BarMark, NoteMark
from depthwright.results.evaluate import evaluate
from depthwright.results.values import EvidenceRow
from depthwright.results.words import CAUTIONS, INTERVALS, footing, permittivity_words
from depthwright.scan import Scan, scan_from_array

Made = Callable[..., object]
BASELINE = Path(__file__).with_name("baseline") / "line.png"


def texts(figure: Figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]


def words(figure: Figure) -> str:
    """All text of the page in one line, as set."""
    return " ".join(text.get_text() for text in figure.texts).replace("\u00a0", " ")


def section(figure: Figure) -> matplotlib.axes.Axes:
    return next(axes for axes in figure.axes if axes.images)


def strokes(axes: matplotlib.axes.Axes) -> list[np.ndarray]:
    """Every stroke of the lines drawn, shape (points, 2): a line may hold many, with gaps between them."""
    runs = []
    for line in axes.lines:
        places = line.get_xydata()
        gaps = np.flatnonzero(np.isnan(places).any(axis=1))
        runs += [run[~np.isnan(run).any(axis=1)] for run in np.split(places, gaps)]
    return [run for run in runs if len(run)]


# What it says.


def test_it_carries_the_depth_model_and_what_it_rests_on(scene: Made, draw: Made) -> None:
    made = scene()
    said = words(draw(made))
    velocity = f"{299.792458 / math.sqrt(made.results.permittivity):.0f}"  # c, exact in the SI
    permittivity = permittivity_words(made.results)
    assert f"Permittivity {permittivity}, velocity {velocity}\u202fmm/ns." in said
    assert "Depths rest on cover meter 40.0 ± 1.0\u202fmm on bar 1" in said
    assert footing(made.results) in said
    assert "separation 40\u202fmm, height 3\u202fmm" in said
    before, u = made.results.posterior.time_zero(0)
    assert f"two-way times from {1000 * before:.0f} ± {2000 * u:.0f} ps before it" in said


def test_it_carries_what_each_piece_of_evidence_alone_would_give(scene: Made, draw: Made) -> None:
    made = scene()
    said = words(draw(made))
    known = made.results.evidence[0]
    low, high = known.interval
    assert (
        f"Bar 1: cover meter 40.0 ± 1.0\u202fmm gives {known.permittivity:.1f} ({low:.1f} to {high:.1f})"
    ) in said
    assert "Typical of concrete gives 7.0 (4.6 to 10.7); steps aside" in said
    assert "no bar's curvature counts" in said


def test_a_known_depth_that_is_set_aside_stays_on_the_page_with_its_reason(
    scene: Made, draw: Made, set_aside: Made
) -> None:
    said = words(draw(set_aside(scene(4), "bar-3", "read over the lap")))
    assert "set aside: read over the lap." in said
    assert "radar; tie set aside" in said
    assert "tie 36" not in said


def test_evidence_without_room_is_counted_with_what_is_set_aside(
    scene: Made, draw: Made, tied_throughout: Made
) -> None:
    made = tied_throughout(scene(40, specified_cover_mm=40.0), aside_every=2)
    said = words(draw(made))
    shown = sum(said.count(f"Bar {bar.number}: ") for bar in made.results.lines["line-1"].bars)
    shown_aside = said.count("set aside: wrong bar")
    left = re.search(r"… (\d+) more in the tables and the job, (\d+) of them set aside\.", said)
    assert left is not None
    assert shown + said.count("Typical of concrete gives") + int(left[1]) == 41
    assert shown_aside + int(left[2]) == 20
    assert "Depths rest on 20 known depths." in said


def test_the_bars_whose_curvature_counts_are_named(
    scene: Made, draw: Made, with_crests: Made
) -> None:
    counts = "On this line the curvature of {} counts."
    assert counts.format("bar 2") in words(draw(with_crests(scene(3), ("bar-2",))))
    both = words(draw(with_crests(scene(4), ("bar-1", "bar-3"))))
    assert counts.format("bars 1 and 3") in both
    assert "Curvature of 2 bars gives" in both
    made = with_crests(scene(2), ("bar-1", "bar-2"))
    assert counts.format("all 2 bars") in words(draw(made))


def test_curvature_that_is_switched_off_is_said(
    scene: Made, draw: Made, without_curvature: Made
) -> None:
    said = words(draw(without_curvature(scene(3))))
    assert "Curvature is switched off and does not count." in said


def test_warnings_stand_above_the_picture(scene: Made, draw: Made, warned: Made) -> None:
    figure = draw(warned(scene(3)))
    said = [text for text in figure.texts if text.get_text().startswith("⚠ Warning: ")]
    assert len(said) == 2
    top = section(figure).get_position().y1
    assert all(text.get_position()[1] > top for text in said)


def test_the_outlook_is_left_to_the_tables(scene: Made, draw: Made) -> None:
    made = scene()
    assert made.results.outlook is not None
    assert "by what is known" not in words(draw(made))


def test_it_carries_its_source(scene: Made, draw: Made) -> None:
    made = scene()
    said = words(draw(made))
    assert f"line_a.sgy, sha256 {made.scan.sha256[:12]}…" in said
    assert "2026-03-14 09:26 +01:00 · Depthwright" in said
    assert "Line A: from north-west corner, towards the ramp" in said
    assert "Distance scale 1.000 ± 0.020; distances from north-west corner" in said
    assert "Lengths in millimetres" in said
    assert "Invented demo data" in said


@pytest.mark.parametrize("bars", [0, 3, 13])
def test_it_carries_every_caution(scene: Made, draw: Made, bars: int) -> None:
    said = words(draw(scene(bars)))
    for caution in (*CAUTIONS, INTERVALS):
        assert caution in said


def test_every_bar_has_its_number_and_interval(scene: Made, draw: Made) -> None:
    made = scene(4)
    said = [text.get_text() for text in draw(made).texts]
    for row in made.results.lines["line-1"].bars:
        assert str(row.number) in said
        assert f"{row.cover.value_mm:.0f} ± {row.cover.expanded_mm:.0f}" in said


def test_a_known_depth_stands_beside_its_bracket(scene: Made, draw: Made) -> None:
    assert "tie 40" in words(draw(scene(3)))
    made = scene(3)
    tie = made.line.marks[0].tie.model_copy(update={"depth_mm": 39.5})
    bar = made.line.marks[0].model_copy(update={"tie": tie})
    line = made.line.model_copy(update={"marks": (bar, *made.line.marks[1:])})
    job = made.job.model_copy(update={"lines": (line,)})
    assert "tie 39.5" in words(draw(replace(made, job=job, results=evaluate(job))))


def test_a_shortfall_says_by_how_much(scene: Made, draw: Made) -> None:
    made = scene(4, specified_cover_mm=40.0)
    figure = draw(made)
    said = [text.get_text().replace("\u202f", " ") for text in texts(figure)]
    cover = made.results.lines["line-1"].bars[3].cover.value_mm
    assert f"{40 - cover:.0f} mm short" in said
    assert "specified\n40 mm" in said
    hatched = [patch for axes in figure.axes for patch in axes.patches if patch.get_hatch()]
    assert len(hatched) == 2


def test_a_shortfall_below_a_millimetre_is_not_said_to_be_none(scene: Made, draw: Made) -> None:
    made = scene(1)
    cover = made.results.lines["line-1"].bars[0].cover.value_mm
    barely = scene(1, specified_cover_mm=cover + 0.3)
    assert "0.3\u202fmm short" in [text.get_text() for text in texts(draw(barely))]
    not_visibly = scene(1, specified_cover_mm=cover + 0.03)
    assert "short" not in " ".join(text.get_text() for text in texts(draw(not_visibly))).replace(
        "short mm", ""
    )


def test_without_a_specified_cover_nothing_falls_short(scene: Made, draw: Made) -> None:
    assert "short" not in " ".join(text.get_text() for text in texts(draw(scene(4))))


def test_more_than_twelve_bars_are_left_to_the_schedule(scene: Made, draw: Made) -> None:
    assert "source" in words(draw(scene(12)))
    said = words(draw(scene(13)))
    assert "13 bars: see the bar schedule of Line A." in said
    assert "source" not in said


def test_provisional_depths_are_in_italics_with_the_word(scene: Made, draw: Made) -> None:
    made = scene(3, tied=False)
    figure = draw(made)
    labels = {text.get_text(): text for text in texts(figure)}
    assert labels["Provisional depth, mm"].get_style() == "italic"
    assert labels["provisional cover mm"].get_style() == "italic"
    cover = made.results.lines["line-1"].bars[0].cover
    beside = labels[f"{cover.value_mm:.0f} ± {cover.expanded_mm:.0f}"]
    assert beside.get_style() == "italic"
    assert "provisional" not in words(draw(scene(3))).lower()


def test_targets_and_notes_are_named(scene: Made, draw: Made, extras: tuple) -> None:
    made = scene(3, extras=extras)
    figure = draw(made)
    depth = made.results.lines["line-1"].targets[0].depth.value_mm
    said = [text.get_text().replace("\u202f", " ") for text in texts(figure)]
    assert "C" in said
    assert "?" in said
    assert any(text.startswith(f"conduit 1  {depth:.0f} ± ") for text in said)
    assert "Note 1: Damp patch, see photo" in words(figure)


def test_a_bar_without_a_depth_is_said(scene: Made, draw: Made) -> None:
    early = BarMark(id="bar-9", number=9, position_mm=560, position_u_mm=2, time_ns=0.9)
    said = words(draw(scene(2, extras=(early,))))
    assert "Bar 9 comes before any echo from inside the concrete: no depth." in said


def test_inches_give_sixteenths_to_tape_from(scene: Made, draw: Made) -> None:
    said = words(draw(scene(2, unit="in")))
    assert "to 1/16" in said
    assert "3 15/16" in said
    assert " mm" not in said.replace("\u202f", " ")


# Where things are.


def test_depth_ticks_stand_where_the_model_reads_those_depths(scene: Made, draw: Made) -> None:
    made = scene()
    axes = section(draw(made))
    depths = np.array([float(label.get_text()) for label in axes.get_yticklabels()])
    model = made.results.lines["line-1"].model
    np.testing.assert_allclose(axes.get_yticks(), model.file_ns(depths))
    assert len(depths) > 3
    read, _ = model.depths(np.asarray(axes.get_yticks())[1:], np.ones(len(depths) - 1), bar=1.0)
    np.testing.assert_allclose(read, depths[1:], rtol=1e-6)


def test_a_bar_is_a_circle_in_true_geometry(scene: Made) -> None:
    model = scene().results.lines["line-1"].model
    outline = model.bar_outline(300.0, 40.0, 16.0)
    depth, _ = model.depths(outline[:, 1], np.ones(len(outline)), bar=1.0)
    np.testing.assert_allclose(np.hypot(outline[:, 0] - 300.0, depth - 48.0), 8.0, rtol=1e-6)
    assert depth.min() == pytest.approx(40.0, abs=0.01)


def test_a_bar_is_drawn_at_its_place(scene: Made, draw: Made) -> None:
    made = scene(3)
    row = made.results.lines["line-1"].bars[1]
    top = made.job.lines[0].mark(row.mark_id).time_ns
    drawn = strokes(section(draw(made)))
    circles = [run for run in drawn if len(run) > 50 and np.ptp(run[:, 0]) < 20]
    assert len(circles) == 3
    places = [((run[:, 0].min() + run[:, 0].max()) / 2, run[:, 1].min()) for run in circles]
    assert any(
        x == pytest.approx(row.position.value_mm, abs=0.01) and y == pytest.approx(top, abs=1e-3)
        for x, y in places
    )


def test_marks_outside_the_record_are_not_drawn(scene: Made, draw: Made) -> None:
    far = BarMark(id="bar-9", number=9, position_mm=9000.0, position_u_mm=1.0, time_ns=2.0)
    late = NoteMark(id="note-9", position_mm=100.0, time_ns=99.0, text="below")
    with_them = section(draw(scene(2, extras=(far, late))))
    without = section(draw(scene(2)))
    assert len(strokes(with_them)) == len(strokes(without))
    assert len(with_them.texts) == len(without.texts)


def test_one_loud_trace_of_many_stays_visible(scene: Made, draw: Made) -> None:
    made = scene(1)
    data = np.tile(made.scan.block(0, 100), (200, 1))
    # A pulse, as an echo is: a single sample would be taken for a spike and repaired.
    data[12_345, 190:211] = 1000.0 * np.hanning(21)
    loud = scan_from_array(data, made.scan.dt_ns, 5.0)
    image = section(draw(type(made)(made.job, loud, made.results))).images[0].get_array()
    assert image.shape[1] <= 4000
    row, column = np.unravel_index(int(image.argmax()), image.shape)
    assert row == 200
    assert column / image.shape[1] == pytest.approx(12_345 / 20_000, abs=0.001)
    # Dewow takes a part of so wide a pulse away.
    assert image.max() > 700


def test_a_line_recorded_backwards_is_shown_from_the_datum_on(scene: Made, draw: Made) -> None:
    made = scene(2)
    scan = made.scan
    turned = Scan(
        traces=scan.traces, samples=scan.samples, dt_ns=scan.dt_ns, sha256=scan.sha256,
        positions_mm=scan.positions_mm[::-1].copy(),
        _read=lambda first, last: scan.block(0, scan.traces)[::-1][first:last],
    )  # fmt: skip
    forward = section(draw(made)).images[0].get_array()
    backward = section(draw(type(made)(made.job, turned, made.results))).images[0].get_array()
    np.testing.assert_array_equal(forward, backward)


def test_uneven_traces_are_put_where_they_were_recorded(scene: Made, draw: Made) -> None:
    made = scene(1)
    where = np.concatenate([np.arange(100) * 1.0, 100.0 + np.arange(100) * 9.0])
    data = np.zeros((200, 320), dtype=np.float32)
    data[:100] = 1.0
    data[100:] = -1.0
    uneven = Scan(
        traces=200, samples=320, dt_ns=0.02, positions_mm=where, sha256="",
        _read=lambda first, last: data[first:last],
    )  # fmt: skip
    job = made.job.model_copy(update={"lines": (
        made.line.model_copy(update={"recipe": made.line.recipe.model_copy(
            update={"dewow": False})}),)})  # fmt: skip
    image = section(draw(type(made)(job, uneven, made.results))).images[0].get_array()
    assert (image[0] > 0).mean() == pytest.approx(100 / 991, abs=0.01)


def test_contrast_and_colours_follow_the_style(scene: Made, draw: Made) -> None:
    plain = section(draw(scene(1))).images[0]
    strong = section(draw(scene(1), ImageStyle("inferno", 2.0))).images[0]
    assert plain.get_cmap().name == "gray"
    assert strong.get_cmap().name == "inferno"
    assert strong.get_clim()[1] == pytest.approx(plain.get_clim()[1] / 2)
    turned = section(draw(scene(1), ImageStyle(inverted=True))).images[0]
    assert turned.get_cmap()(0.0) == plain.get_cmap()(1.0)


@pytest.mark.parametrize("fields", [{"colour_map": "mud"}, {"contrast": 0}, {"contrast": np.nan}])
def test_an_impossible_style_is_refused(fields: dict) -> None:
    with pytest.raises(DepthwrightError):
        ImageStyle(**fields)


def test_it_is_a_landscape_page_of_a4(scene: Made, draw: Made) -> None:
    width, height = draw(scene(1)).get_size_inches() * 25.4
    assert (width, height) == (pytest.approx(297), pytest.approx(210))  # ISO 216


def test_it_is_drawn_without_the_global_state_of_pyplot() -> None:
    code = (
        "import sys, depthwright.exports.write; sys.exit('matplotlib.pyplot' in sys.modules)"
    )  # fmt: skip
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# How it looks.


def raster(figure: Figure) -> np.ndarray:
    buffer = io.BytesIO()
    with matplotlib.rc_context({"text.hinting": "none"}):
        figure.savefig(buffer, format="png", dpi=60)
    return np.asarray(Image.open(buffer).convert("RGB"), dtype=np.int16)


def differing(one: np.ndarray, other: np.ndarray) -> float:
    """Share of pixels that differ by more than an eighth of the scale."""
    return float((np.abs(one - other).max(axis=2) > 32).mean())


TOLERANCE = 0.004


def golden(scene: Made, extras: tuple, **fields: object) -> object:
    """A scene whose words are fixed, so that only what is drawn is compared."""
    made = scene(5, extras=extras, specified_cover_mm=40.0, **fields)
    evidence = (EvidenceRow("tie", "cover meter 40.0 ± 1.0 mm", 8.0, 0.1, used=True),)
    results = replace(
        made.results,
        adopted_from=("a known depth",),
        evidence=evidence,
        outlooks={"": None, "line-1": None},
    )
    return replace(made, results=results)


def test_it_looks_as_it_did(scene: Made, draw: Made, extras: tuple, tmp_path: Path) -> None:
    assert findfont("DejaVu Sans").endswith("DejaVuSans.ttf")
    now = raster(draw(golden(scene, extras)))
    then = np.asarray(Image.open(BASELINE).convert("RGB"), dtype=np.int16)
    assert now.shape == then.shape
    if differing(now, then) > TOLERANCE:
        for name, picture in (("now", now), ("then", then), ("difference", np.abs(now - then))):
            Image.fromarray(picture.astype(np.uint8)).save(tmp_path / f"{name}.png")
        share = f"{differing(now, then):.2%} of the pixels differ"
        pytest.fail(f"{share}: if now.png in {tmp_path} is right, it is the new {BASELINE.name}")


def test_the_comparison_would_notice_a_missing_tie(scene: Made, draw: Made, extras: tuple) -> None:
    then = np.asarray(Image.open(BASELINE).convert("RGB"), dtype=np.int16)
    assert differing(raster(draw(golden(scene, extras, tied=False))), then) > TOLERANCE


def test_the_comparison_would_notice_a_moved_mark(scene: Made, draw: Made, extras: tuple) -> None:
    made = golden(scene, extras)
    line = made.line
    bar = line.marks[1].model_copy(update={"position_mm": line.marks[1].position_mm + 25})
    moved = line.model_copy(update={"marks": (line.marks[0], bar, *line.marks[2:])})
    job = made.job.model_copy(update={"lines": (moved,)})
    then = np.asarray(Image.open(BASELINE).convert("RGB"), dtype=np.int16)
    results = replace(made.results, lines=evaluate(job).lines)
    picture = raster(draw(replace(made, job=job, results=results)))
    assert differing(picture, then) > TOLERANCE
