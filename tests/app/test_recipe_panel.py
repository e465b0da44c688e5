"""The picture panel: what is clicked, typed and dragged is sent once; what is shown is never sent."""

import itertools

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QSlider

from depthwright.processing.recipe import Recipe
from depthwright_app import theme
from depthwright_app.panels.recipe_panel import GAIN, RecipePanel
from depthwright_app.panels.recipe_steps import STEPS

PULSE = (0.4, 3.6)
EVERYTHING = Recipe(
    band=True,
    align=True,
    remove_direct=True,
    remove_background=True,
    background_from="moving window",
    smooth=True,
    migrate=True,
    envelope=True,
    gain_db_per_100mm=8.0,
    even_gain=True,
)


class Panel:
    """A shown panel and all that it sent."""

    def __init__(self):
        self.panel = RecipePanel()
        self.panel.show_look(theme.LIGHT)
        self.edits, self.previews, self.complaints = [], [], []
        self.panel.changed.connect(lambda words, fields: self.edits.append((words, fields)))
        self.panel.previewed.connect(self.previews.append)
        self.panel.complained.connect(self.complaints.append)
        self.panel.show()

    def fresh(self, recipe):
        """Another line's recipe, nothing sent yet."""
        self.panel.resize(330, 860)
        self.panel.activateWindow()
        QApplication.processEvents()
        self.panel.copy.setFocus()
        self.panel.show_nothing()
        for sent in (self.edits, self.previews, self.complaints):
            sent.clear()
        return self.show(recipe)

    def show(self, recipe, unit="mm"):
        self.panel.show_recipe(recipe, unit, PULSE)
        QApplication.processEvents()
        return self

    def spectrum(self):
        frequencies = np.linspace(0.0, 10.0, 201)
        self.panel.show_spectrum(frequencies, np.exp(-((frequencies - 1.6) ** 2)))
        QApplication.processEvents()

    def field(self, setting):
        return self.panel.fields[setting]

    def type(self, setting, text, key=Qt.Key.Key_Return):
        field = self.field(setting)
        field.setFocus()
        field.selectAll()
        QTest.keyClick(field, Qt.Key.Key_Delete)
        QTest.keyClicks(field, text)
        QTest.keyClick(field, key)

    def click(self, box):
        # On the sign itself: beside a short label there is nothing to click.
        QTest.mouseClick(box, Qt.MouseButton.LeftButton, pos=QPoint(8, box.height() // 2))


@pytest.fixture(scope="module")
def made(qapp):
    made = Panel()
    yield made
    made.panel.close()
    made.panel.deleteLater()


@pytest.fixture
def usual(made):
    return made.fresh(Recipe())


@pytest.fixture
def full(made):
    return made.fresh(EVERYTHING)


# Showing.


@pytest.mark.parametrize("unit", ["mm", "cm", "in"])
def test_showing_sends_nothing(usual, unit):
    usual.show(EVERYTHING, unit)
    usual.spectrum()
    usual.panel.show_findings({"repair": "3 dead traces filled."})
    usual.show(Recipe(), unit)
    usual.panel.show_nothing()
    assert not usual.edits
    assert not usual.previews
    assert not usual.complaints


def test_steps_stand_in_the_order_in_which_they_run(full):
    tops = [full.panel.rows[step.field].y() for step in STEPS]
    assert tops == sorted(tops)
    in_recipe = [name for name in Recipe.model_fields if name in full.panel.rows]
    assert [step.field for step in STEPS] == in_recipe


def test_settings_show_only_while_their_step_is_on(full):
    steps = ("band", "remove_background", "smooth", GAIN, "even_gain")
    assert all(full.panel.rows[name].settings.isVisible() for name in steps)
    full.show(Recipe())
    assert not any(full.panel.rows[name].settings.isVisible() for name in steps)


def test_the_window_of_the_background_shows_only_where_it_counts(full):
    assert full.field("background_window_mm").isVisible()
    full.show(EVERYTHING.model_copy(update={"background_from": "whole line"}))
    assert not full.field("background_window_mm").isVisible()
    assert full.panel.spare.isVisible()


def test_a_finding_stands_under_its_step_and_goes(full):
    row = full.panel.rows["remove_background"]
    full.panel.show_findings({"remove_background": "Kept below 121 mm."})
    assert row.finding.isVisible()
    assert row.finding.text() == "Kept below 121 mm."
    full.panel.show_findings({})
    assert not row.finding.isVisible()


def test_without_a_line_nothing_can_be_set(full):
    full.panel.show_nothing()
    full.click(full.panel.rows["dewow"].box)
    assert not full.edits
    assert not full.panel.rows["dewow"].box.isEnabled()
    full.show(Recipe())
    full.click(full.panel.rows["dewow"].box)
    assert full.edits == [("Dewow", {"dewow": False})]


def test_it_fits_a_narrow_column(full):
    full.spectrum()
    full.panel.show_findings({"remove_direct": "No trace of this line is free of bars. " * 3})
    full.panel.resize(330, 400)
    QApplication.processEvents()
    assert full.panel.verticalScrollBar().isVisible()
    assert full.panel.inner.width() <= full.panel.viewport().width()
    assert full.panel.minimumSizeHint().width() <= 330


def test_every_control_is_reached_by_tab_and_has_a_name(full):
    kinds = (QAbstractButton, QComboBox, QLineEdit, QSlider)
    controls = {
        control
        for control in full.panel.inner.findChildren(object)
        if isinstance(control, kinds) and control.isVisible()
    }
    assert len(controls) > 25
    for control in controls:
        name = control.accessibleName() or (
            control.text() if isinstance(control, QAbstractButton) else ""
        )
        assert name, control
    full.panel.rows["repair"].box.setFocus()
    reached, heights = set(), []
    for _ in range(len(controls)):
        now = QApplication.focusWidget()
        reached.add(now)
        heights.append(now.mapTo(full.panel.inner, now.rect().center()).y())
        QTest.keyClick(now, Qt.Key.Key_Tab)
    assert reached == controls
    assert all(later >= before - 4 for before, later in itertools.pairwise(heights))


# Switching.


@pytest.mark.parametrize("step", [step for step in STEPS if step.field != GAIN])
def test_a_click_switches_its_step(usual, step):
    was = getattr(Recipe(), step.field)
    usual.click(usual.panel.rows[step.field].box)
    assert usual.edits == [(step.edit, {step.field: not was})]


def test_space_switches_too(usual):
    box = usual.panel.rows["migrate"].box
    box.setFocus()
    QTest.keyClick(box, Qt.Key.Key_Space)
    assert usual.edits == [("Migration", {"migrate": True})]


def test_the_gain_switches_on_with_what_it_had(usual):
    box = usual.panel.rows[GAIN].box
    usual.show(Recipe(gain_db_per_100mm=11.0))
    usual.click(box)
    usual.show(Recipe())
    usual.click(box)
    assert [fields[GAIN] for _, fields in usual.edits] == [0.0, 11.0]


def test_the_first_gain_is_a_usual_one(qapp):
    new = Panel().show(Recipe())
    new.click(new.panel.rows[GAIN].box)
    assert new.edits == [("Gain", {GAIN: 6.0})]
    new.panel.deleteLater()


def test_the_source_and_the_face_are_chosen(full):
    full.panel.source.setFocus()
    QTest.keyClick(full.panel.source, Qt.Key.Key_Down)
    full.click(full.panel.spare)
    assert [fields for _, fields in full.edits] == [
        {"background_from": "bar-free traces"},
        {"keep_flat_face": False},
    ]


# Typing.


@pytest.mark.parametrize(
    ("setting", "unit", "text", "value"),
    [
        ("smooth_mm", "mm", "25", 25.0),
        ("smooth_mm", "in", "1", 25.4),
        ("smooth_mm", "in", "3/4", 19.05),
        ("background_window_mm", "cm", "30", 300.0),
        ("background_window_mm", "mm", "2,5 in", 63.5),
        ("even_window_mm", "in", "50 mm", 50.0),
        ("gain_from_mm", "mm", "40 mm", 40.0),
        (GAIN, "mm", "12.5", 12.5),
        (GAIN, "mm", "40 dB", 40.0),
        ("band_low_ghz", "mm", "0,8 ghz", 0.8),
        ("band_high_ghz", "mm", "2.2", 2.2),
    ],
)
def test_settings_are_typed_in_the_unit_shown(full, setting, unit, text, value):
    full.show(EVERYTHING, unit)
    full.type(setting, text)
    ((_, fields),) = full.edits
    assert fields == {setting: pytest.approx(value)}
    assert not full.complaints


def test_lengths_are_shown_in_the_unit_of_the_job(full):
    shown = {unit: full.show(EVERYTHING, unit).field("smooth_mm").text() for unit in ("mm", "in")}
    assert shown == {"mm": "10\u202fmm", "in": "0.39\u202fin"}


@pytest.mark.parametrize("text", ["wide", "", "0.2", "900", "-5"])
def test_what_is_no_length_stays_and_is_said_once(full, text):
    full.type("smooth_mm", text)
    full.panel.copy.setFocus()
    full.show(EVERYTHING)
    assert full.field("smooth_mm").text() == text
    assert not full.edits
    (said,) = full.complaints
    assert "Type" in said
    full.type("smooth_mm", "20")
    assert full.edits == [("Smoothing", {"smooth_mm": 20.0})]


def test_leaving_a_field_enters_it_and_escape_puts_it_back(full):
    full.type("smooth_mm", "30", Qt.Key.Key_Tab)
    assert full.edits == [("Smoothing", {"smooth_mm": 30.0})]
    full.show(EVERYTHING.model_copy(update={"smooth_mm": 30.0}))
    full.type("smooth_mm", "99", Qt.Key.Key_Escape)
    full.panel.copy.setFocus()
    assert full.field("smooth_mm").text() == "30\u202fmm"
    assert len(full.edits) == 1


def test_a_length_that_was_only_looked_at_keeps_its_digits(full):
    full.show(EVERYTHING.model_copy(update={"smooth_mm": 10.0}), "in")
    full.field("smooth_mm").setFocus()
    QTest.keyClick(full.field("smooth_mm"), Qt.Key.Key_Return)
    full.panel.copy.setFocus()
    assert not full.edits


def test_an_empty_edge_is_the_pulses_own(full):
    full.show(EVERYTHING.model_copy(update={"band_low_ghz": 0.9}))
    assert full.field("band_low_ghz").text() == "0.9\u202fGHz"
    full.type("band_low_ghz", "")
    assert full.edits == [("Band-pass", {"band_low_ghz": None})]
    assert full.field("band_low_ghz").placeholderText() == "0.4\u202fGHz"


def test_a_band_without_a_width_is_refused_also_against_the_pulses_own_edge(full):
    full.type("band_low_ghz", "3.7")
    assert not full.edits
    assert "3.70 to 3.60 GHz has no width" in full.complaints[0]
    full.type("band_high_ghz", "0.3")
    assert not full.edits
    assert len(full.complaints) == 2


# Dragging.


def drag(view, *places):
    """Drag with the left button from place to place."""
    # The plot learns what lies under the pointer before a button goes down.
    QTest.mouseMove(view, places[0])
    QTest.qWait(10)
    QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=places[0])
    for start, end in itertools.pairwise(places):
        for part in (0.5, 1.0):
            at = start + (end - start) * part
            moved = QMouseEvent(
                QEvent.Type.MouseMove,
                QPointF(at),
                QPointF(view.mapToGlobal(at)),
                Qt.MouseButton.NoButton,
                Qt.MouseButton.LeftButton,
                Qt.KeyboardModifier.NoModifier,
            )
            QApplication.sendEvent(view, moved)
            QTest.qWait(20)
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=places[-1])


def place(plot, frequency_ghz):
    scene = plot.plot.box.mapViewToScene(QPointF(frequency_ghz, -30.0))
    return plot.mapFromScene(scene)


def test_an_edge_dragged_in_the_plot_previews_and_then_changes_only_itself(full):
    full.spectrum()
    plot = full.panel.spectrum
    drag(plot.viewport(), place(plot, 3.6), place(plot, 2.5))
    ((words, fields),) = full.edits
    assert words == "Band-pass"
    assert fields == {"band_high_ghz": pytest.approx(2.5, abs=0.05)}
    assert len(full.previews) >= 2
    assert full.previews[-2:] == [fields, None]
    assert full.field("band_high_ghz").text().startswith("2.")


def test_the_band_dragged_at_its_middle_moves_both_edges(full):
    full.spectrum()
    plot = full.panel.spectrum
    drag(plot.viewport(), place(plot, 1.5), place(plot, 1.9))
    ((_, fields),) = full.edits
    assert fields["band_low_ghz"] == pytest.approx(0.8, abs=0.05)
    assert fields["band_high_ghz"] == pytest.approx(4.0, abs=0.05)


def test_an_edge_dragged_and_brought_back_changes_nothing(full):
    full.spectrum()
    plot = full.panel.spectrum
    edge, far = place(plot, 3.6), place(plot, 2.5)
    drag(plot.viewport(), edge, far, edge)
    assert not full.edits
    assert any(full.previews)
    assert full.previews[-1] is None
    assert full.field("band_high_ghz").text() == ""


def test_the_plot_shows_decibels_below_the_strongest_frequency(full):
    frequencies = np.array([0.0, 1.0, 2.0, 3.0])
    full.panel.show_spectrum(frequencies, np.array([0.0, 10.0, 1.0, 0.1]))
    _, level_db = full.panel.spectrum.curve.getData()
    assert level_db == pytest.approx([-60.0, 0.0, -20.0, -40.0])
    full.panel.show_spectrum(None)
    assert not full.panel.spectrum.isVisible()


def test_the_gain_is_previewed_while_it_is_dragged_and_entered_once(full):
    slider = full.panel.gain
    slider.setSliderDown(True)
    for position in (9, 12, 15):
        slider.setSliderPosition(position)
        assert full.previews[-1] == {GAIN: float(position)}
        assert full.field(GAIN).text() == f"{position}\u202fdB"
    assert not full.edits
    slider.setSliderDown(False)
    assert full.edits == [("Gain", {GAIN: 15.0})]


def test_a_gain_between_the_sliders_steps_survives_a_touch(full):
    full.show(EVERYTHING.model_copy(update={GAIN: 8.4}))
    full.panel.gain.setSliderDown(True)
    full.panel.gain.setSliderDown(False)
    assert not full.edits
    assert not full.previews
    assert full.field(GAIN).text() == "8.4\u202fdB"


def test_the_arrow_keys_step_the_gain(full):
    full.panel.gain.setFocus()
    QTest.keyClick(full.panel.gain, Qt.Key.Key_Right)
    assert full.edits == [("Gain", {GAIN: 9.0})]


# The rest of the panel.


def test_the_buttons_ask(full):
    asked = []
    full.panel.copy_wanted.connect(lambda: asked.append("copy"))
    full.panel.reset_wanted.connect(lambda: asked.append("reset"))
    full.panel.copy.click()
    full.panel.reset.click()
    assert asked == ["copy", "reset"]
    assert not full.edits


def test_an_exaggeration_is_chosen_and_is_no_edit(full):
    chosen = []
    full.panel.exaggeration_chosen.connect(chosen.append)
    combo = full.panel.display.exaggeration
    combo.setFocus()
    for _ in range(2):
        QTest.keyClick(combo, Qt.Key.Key_Down)
    QTest.keyClick(combo, Qt.Key.Key_Home)
    assert chosen == [1.0, 2.0, None]
    full.panel.display.show_exaggeration(10.0)
    assert combo.currentText() == "10:1"
    assert len(chosen) == 3
    assert not full.edits
