"""How the line is seen: live previews, long lines, a true scale, the overview, the trace, placed lines."""

import threading

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from depthwright import edits
from depthwright.files.segy import write_segy
from depthwright.showing import levels as levels_module
from depthwright_app import viewing as viewing_module
from depthwright_app.plotting.axes import name_axis

LONGEST_WAIT_S = 60.0


def looks(hand, may_go_on=None):
    """Count the passes over the line from now on; each waits until it may go on, if that is given."""
    made = []
    make = viewing_module.make_chain

    def counted(*given):
        made.append(given)
        if may_go_on is not None:
            may_go_on.wait(LONGEST_WAIT_S)
        return make(*given)

    hand.monkeypatch.setattr(viewing_module, "make_chain", counted)
    return made


@pytest.fixture
def seen(marked, monkeypatch):
    """A hand with the first line marked."""
    marked.monkeypatch = monkeypatch
    return marked


@pytest.fixture
def long_line(empty_hand, tmp_path):
    """A hand in a job with a line of 6,000 traces, with a strong echo in trace 4,321."""
    random = np.random.default_rng(11)
    time = np.arange(200) * 0.02

    def pulse(at_ns):
        phase = (np.pi * 2.0 * (time - at_ns)) ** 2
        return (1 - 2 * phase) * np.exp(-phase)

    samples = np.tile(pulse(1.0), (6000, 1)) + 0.005 * random.standard_normal((6000, 200))
    samples[4321] += 2.0 * pulse(2.5)
    path = tmp_path / "long.sgy"
    write_segy(path, samples.astype(np.float32), 0.02, 5.0 * np.arange(6000), 40.0)
    empty_hand.window.keeper.open_path(path)
    empty_hand.settle()
    return empty_hand


# The recipe.


def test_gain_and_contrast_need_no_new_pass_over_the_line(seen):
    made = looks(seen)
    before = seen.pane.scan.paint_with
    seen.window.gain.setValue(12)
    seen.window.contrast.setValue(5)
    seen.settle()
    assert made == []
    assert not np.array_equal(seen.pane.scan.paint_with.gain, before.gain)


def test_a_preview_is_seen_and_is_no_edit(seen):
    before, levels = seen.document.job, seen.pane.scan.sheet.levels
    seen.window.viewing.preview({"envelope": True})
    QTest.qWait(60)
    seen.settle()
    assert seen.pane.scan.sheet.levels[0].values.min() >= 0
    assert seen.document.job is before
    seen.window.viewing.preview(None)
    QTest.qWait(60)
    seen.settle()
    assert np.array_equal(seen.pane.scan.sheet.levels[0].values, levels[0].values)


def test_a_tie_migrates_the_line_anew_and_does_not_move_a_pick(seen):
    seen.window.entries.change_recipe("Migrate", migrate=True)
    seen.settle()
    made = looks(seen)
    times = [mark.time_ns for mark in seen.marks("bar")]
    bar = seen.marks("bar")[1]
    seen.select(bar.id)
    seen.type("35\r")
    assert len(made) == 1
    assert [mark.time_ns for mark in seen.marks("bar")] == times


def test_what_a_step_did_stands_under_it(seen):
    seen.window.entries.change_recipe("Background", remove_background=True)
    seen.settle()
    said = seen.window.recipe_panel.rows["remove_background"].finding.text()
    assert "to spare the marked back face" in said


def test_another_line_brings_its_own_recipe_and_picture(seen):
    seen.window.entries.change_recipe("Envelope", envelope=True)
    seen.settle()
    seen.document.show_line("line-2")
    seen.settle()
    assert seen.pane.scan.sheet.levels[0].values.min() < 0
    seen.document.show_line("line-1")
    seen.settle()
    assert seen.pane.scan.sheet.levels[0].values.min() >= 0


def test_while_another_line_is_made_ready_the_old_picture_is_gone(seen):
    """Its echoes must not be marked under the other line's name."""
    seen.document.show_line("line-2")
    assert seen.pane.scan.sheet is None
    seen.settle()
    assert seen.pane.scan.sheet is not None


def test_only_the_newest_of_many_previews_is_worked_out(seen, monkeypatch):
    all_asked = threading.Event()
    made = looks(seen, all_asked)
    for high in np.linspace(2.0, 4.0, 30):
        seen.window.viewing.preview({"band": True, "band_high_ghz": float(high)})
        seen.window.viewing.show_line()
    all_asked.set()
    seen.settle()
    # Two workers had begun before all were asked for; then the newest.
    assert len(made) <= 3
    assert made[-1][1].band_high_ghz == 4.0


def test_a_gain_that_reaches_far_leaves_no_blank_picture(seen):
    seen.window.entries.change_recipe("Gain", gain_db_per_100mm=60.0)
    seen.settle()
    assert np.isfinite(seen.pane.scan.paint_with.gain).all()


# Long lines.


def test_one_strong_trace_of_a_long_line_is_seen_from_afar(long_line):
    columns = long_line.pane.scan.sheet.levels[-1]
    assert columns.step > 1
    strongest = np.abs(columns.values[:, 120:130]).max(axis=1).argmax()
    assert strongest == 4321 // columns.step


def test_an_axis_that_is_named_anew_keeps_its_name_in_its_middle(seen):
    axis = seen.pane.distance_axis
    for words in ("mm", "a name that is longer than all the names before it"):
        name_axis(axis, words)
        middle = axis.label.sceneBoundingRect().center().x()
        assert middle == pytest.approx(axis.sceneBoundingRect().center().x(), abs=1.5)


def test_a_long_line_has_an_overview_that_follows_and_leads(long_line):
    pane = long_line.pane
    assert pane.overview.isVisible()
    beside, below = (box.sceneBoundingRect() for box in (pane.overview.box, pane.box))
    assert (beside.left(), beside.right()) == pytest.approx((below.left(), below.right()), abs=1.5)
    pane.box.setXRange(5000, 8000, padding=0)
    assert pane.overview.frame.getRegion() == pytest.approx((5000, 8000), abs=1)
    pane.overview.frame.setRegion((10_000, 12_000))
    assert pane.seen_mm == pytest.approx((10_000, 12_000), abs=1)


def test_a_short_line_has_none(seen):
    assert not seen.pane.overview.isVisible()


def test_a_line_too_long_to_keep_is_run_again_where_it_is_looked_at(long_line, monkeypatch):
    monkeypatch.setattr(levels_module, "KEPT_BYTES", 1000)
    long_line.window.entries.change_recipe("Dewow", dewow=False)
    long_line.settle()
    assert min(level.step for level in long_line.pane.scan.sheet.levels) == 4
    long_line.pane.box.setXRange(21_000, 22_000, padding=0)
    fine = lambda: min(level.step for level in long_line.pane.scan.sheet.levels) == 1  # noqa: E731
    long_line.qtbot.waitUntil(fine)
    long_line.pane.box.setXRange(2000, 3000, padding=0)
    QTest.qWait(200)
    long_line.settle()
    assert next(v for v in long_line.pane.scan.sheet.levels if v.step == 1).first < 500
    long_line.pane.box.setXRange(21_000, 22_000, padding=0)
    QTest.qWait(200)
    long_line.settle()
    detail = next(level for level in long_line.pane.scan.sheet.levels if level.step == 1)
    assert detail.first <= 4321 < detail.last
    assert np.abs(detail.values[4321 - detail.first, 120:130]).max() > 1


def test_a_previewed_step_that_is_kept_is_worked_out_for_the_whole_line(long_line):
    viewing = long_line.window.viewing
    viewing.preview({"band": True})
    viewing.show_line()
    long_line.settle()
    assert min(level.step for level in long_line.pane.scan.sheet.levels) > 1
    viewing.preview(None)
    long_line.window.entries.change_recipe("Band-pass", band=True)
    long_line.settle()
    assert min(level.step for level in long_line.pane.scan.sheet.levels) == 1


def test_the_overview_frame_stops_at_the_ends_as_wide_as_it_is(long_line):
    pane = long_line.pane
    pane.box.setXRange(1000, 5000, padding=0)
    pane.overview.frame.setRegion((-2000, 2000))
    assert pane.seen_mm == pytest.approx((-2.5, 3997.5), abs=1)


def test_who_does_not_want_to_wait_keeps_the_first_look(long_line):
    long_line.window.entries.change_recipe("Envelope", envelope=True)
    strip = long_line.window.strip
    long_line.qtbot.waitUntil(lambda: "image" in strip._under_way)
    strip.cancel.click()
    long_line.settle()
    assert long_line.said.startswith("Stopped. The picture shows one trace of every 4")
    assert long_line.pane.scan.sheet.levels[0].values.min() >= 0


# Scale.


def scale_of(hand):
    """How many times larger than distances depths are drawn, from the pixels of both."""
    pane = hand.pane
    origin = pane.box.mapViewToScene(pane.box.viewRect().topLeft())
    step = pane.box.viewRect().topLeft()
    step.setX(step.x() + 100.0)
    across = pane.box.mapViewToScene(step).x() - origin.x()
    velocity = 299.792458 / np.sqrt(hand.document.results.permittivity)
    down = pane.box.viewRect().topLeft()
    down.setY(down.y() + 200.0 / velocity)
    return (pane.box.mapViewToScene(down).y() - origin.y()) / across


def test_a_true_scale_stays_true_through_zoom_and_resize(seen):
    seen.trigger("exaggeration-1:1")
    assert scale_of(seen) == pytest.approx(1.0, rel=0.02)
    seen.trigger("zoom-in")
    seen.window.resize(1200, 820)
    seen.settle()
    assert scale_of(seen) == pytest.approx(1.0, rel=0.02)
    assert "true scale" in seen.pane.distance_axis.labelText
    seen.trigger("exaggeration-fill")
    assert seen.pane.box.viewRange()[0][1] > 1000


def test_a_true_scale_follows_the_permittivity(seen):
    seen.trigger("exaggeration-2:1")
    bar = seen.marks("bar")[1]
    seen.select(bar.id)
    seen.type("35\r")
    assert scale_of(seen) == pytest.approx(2.0, rel=0.02)


# The trace and the read-out.


def hover(hand, position_mm, time_ns):
    hand.pane.hovered.emit(position_mm, time_ns)
    hand.settle()


def test_the_trace_follows_the_pointer_until_it_is_pinned(hand):
    hover(hand, 300.0, 2.0)
    assert hand.pane.trace.place_mm == 300.0
    hand.trigger("pin-trace")
    hover(hand, 600.0, 2.0)
    assert hand.pane.trace.place_mm == 300.0
    assert hand.pane.trace_line.value() == pytest.approx(300.0)
    hand.trigger("pin-trace")
    hover(hand, 600.0, 2.0)
    assert hand.pane.trace.place_mm == 600.0


def test_the_read_out_gives_place_time_depth_and_strength(hand):
    hover(hand, 300.0, 2.0)
    said = hand.window.strip.place.text()
    assert "300" in said
    assert " ns " in said
    assert "±" in said
    assert "dB" in said


# A line that is placed.


def ends(hand):
    positions = hand.document.stage.scan.positions_mm
    return float(positions[0]), float(positions[-1])


def test_a_reversed_line_is_drawn_the_other_way_and_marks_stay_on_their_echoes(seen):
    shown = seen.pane.scan.sheet
    bar = seen.marks("bar")[0]
    seen.document.edit("Reverse", lambda job: edits.reverse_line(job, "line-1", ends(seen)))
    seen.settle()
    sheet = seen.pane.scan.sheet
    assert np.array_equal(sheet.where_mm, shown.where_mm[::-1])
    assert sheet.levels is shown.levels
    glyph = next(glyph for glyph in seen.pane.marks.picture.bars if glyph.mark_id == bar.id)
    assert glyph.position_mm == pytest.approx(1200.0 - bar.position_mm, abs=1.0)


def test_a_bar_is_marked_on_a_reversed_line_where_it_is_clicked(hand):
    hand.document.edit("Reverse", lambda job: edits.reverse_line(job, "line-1", ends(hand)))
    hand.settle()
    zero = hand.document.model.zero_ns
    hand.click(1200.0 - 260.0, zero + 0.8)
    assert hand.marks("bar")[0].position_mm == pytest.approx(260.0, abs=8.0)


def test_the_right_arrow_moves_a_mark_to_the_right_on_a_reversed_line_too(seen):
    seen.document.edit("Reverse", lambda job: edits.reverse_line(job, "line-1", ends(seen)))
    seen.settle()
    bar = seen.marks("bar")[1]
    seen.select(bar.id)
    before = seen.line.on_concrete_mm(bar.position_mm)
    seen.press(Qt.Key.Key_Right)
    after = seen.line.on_concrete_mm(seen.line.mark(bar.id).position_mm)
    assert after == pytest.approx(before + 5.0, abs=0.1)


def test_nothing_is_marked_where_a_cropped_line_is_not_shown(seen):
    seen.document.edit("Crop", lambda job: edits.crop_line(job, "line-1", (200.0, 700.0)))
    seen.settle()
    seen.trigger("exaggeration-1:1")
    seen.pane.box.setXRange(500, 1000, padding=0)
    count = len(seen.line.marks)
    seen.click(870.0, seen.document.model.zero_ns + 1.0)
    assert len(seen.line.marks) == count


def test_a_cropped_line_shows_its_part_and_keeps_all_marks(seen):
    covers = seen.covers()
    seen.document.edit("Crop", lambda job: edits.crop_line(job, "line-1", (200.0, 700.0)))
    seen.settle()
    assert seen.pane.scan.sheet.edges_mm == pytest.approx((200.0, 700.0))
    assert seen.pane.box.viewRange()[0] == pytest.approx([200.0, 700.0], abs=1.0)
    assert seen.covers() == covers
    seen.trigger("undo")
    assert seen.pane.scan.sheet.edges_mm == pytest.approx((-2.5, 1202.5))
