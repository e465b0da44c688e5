"""The picture panel: the steps of the recipe in the order in which they run, and how it is drawn."""

from collections.abc import Mapping
from functools import partial
from typing import get_args

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSlider,
    QStyle,
    QVBoxLayout,
    QWidget,
)

from depthwright.errors import DepthwrightError
from depthwright.measuring.stage import PICK_STAGE
from depthwright.processing.recipe import BackgroundSource, Recipe
from depthwright.units import LengthUnit
from depthwright_app import theme
from depthwright_app.panels.display_settings import DisplaySettings
from depthwright_app.panels.recipe_fields import LengthField, NumberField, WheelGuard
from depthwright_app.panels.recipe_steps import (
    FACE_STEP,
    STEPS,
    SWITCHES,
    Settings,
    StepRow,
    beside,
    quiet,
)
from depthwright_app.panels.spectrum_plot import Floats, SpectrumPlot

SOURCES: tuple[BackgroundSource, ...] = get_args(BackgroundSource)
USUAL_GAIN_DB = 6.0
"""What switching the gain on gives when there was none, dB per 100 mm. A judgement."""
MOST_GAIN_DB = 30
"""Where the gain's slider ends, dB per 100 mm; more can be typed."""
GAIN = "gain_db_per_100mm"


class RecipePanel(QScrollArea):
    """Sets how the section is shown; it sends edits and never makes them."""

    changed = Signal(str, object)
    """Words of the edit and the recipe's fields that change."""
    previewed = Signal(object)
    """Fields while something is dragged; None when the drag ends, before any change is sent."""
    copy_wanted = Signal()
    reset_wanted = Signal()
    complained = Signal(str)
    exaggeration_chosen = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Picture settings")
        self._recipe, self._pulse_ghz = Recipe(), (0.01, 100.0)
        self._last_gain_db = USUAL_GAIN_DB
        self._previewed: dict[str, float] | None = None
        self.rows = {step.field: StepRow(step) for step in STEPS}
        self._words = {step.field: step.edit for step in SWITCHES}
        self.fields: dict[str, NumberField] = {}
        self._band_settings()
        self._background_settings()
        self._length_settings("smooth", "smooth_mm", "Over", "Smoothing length")
        self._gain_settings()
        self._length_settings("even_gain", "even_window_mm", "Window", "Even gain window")
        self.display = DisplaySettings()
        self.copy = QPushButton("Use for all lines")
        self.reset = QPushButton("Back to the usual")
        self._layout()
        self._connect()

    # Making.

    def _number(self, setting: str, name: str, suffix: str, step: str) -> NumberField:
        return self._told(NumberField(setting, name, suffix), step)

    def _length(self, setting: str, name: str, step: str) -> NumberField:
        return self._told(LengthField(setting, name), step)

    def _told(self, field: NumberField, step: str) -> NumberField:
        self.fields[field.setting] = field
        field.complained.connect(self.complained)
        field.entered.connect(
            lambda value: self._change(self._words[step], **{field.setting: value})
        )
        return field

    def _band_settings(self) -> None:
        low = self._number("band_low_ghz", "Lower edge of the band", "GHz", "band")
        high = self._number("band_high_ghz", "Upper edge of the band", "GHz", "band")
        low.check = lambda value: self._check_band(value, self._recipe.band_high_ghz)
        high.check = lambda value: self._check_band(self._recipe.band_low_ghz, value)
        for field in (low, high):
            field.setToolTip("Empty takes the edge of the pulse's own band")
        self.spectrum = SpectrumPlot()
        self.spectrum.dragging.connect(self._band_dragged)
        self.spectrum.dropped.connect(lambda edges: self._change("Band-pass", **edges))
        settings = Settings()
        settings.add("From", low)
        settings.add("To", high)
        settings.add_wide(self.spectrum)
        self.rows["band"].settle(settings)

    def _background_settings(self) -> None:
        self.source = QComboBox()
        self.source.addItems([f"{name[:1].upper()}{name[1:]}" for name in SOURCES])
        self.source.setAccessibleName("Where the background is taken from")
        self.source.activated.connect(
            lambda index: self._change("Background source", background_from=SOURCES[index])
        )
        window = self._length("background_window_mm", "Background window", "remove_background")
        self.spare = QCheckBox(FACE_STEP.words)
        self.spare.setToolTip(FACE_STEP.tip)
        self.spare.setAccessibleDescription(FACE_STEP.tip)
        self.spare.clicked.connect(lambda on: self.switch(FACE_STEP.field, on))
        settings = Settings()
        settings.add("From", self.source, wide=True)
        self._window_label = settings.add("Window", window)
        settings.add_wide(self.spare)
        self.rows["remove_background"].settle(settings)

    def _gain_settings(self) -> None:
        self.gain = QSlider(Qt.Orientation.Horizontal)
        self.gain.setRange(1, MOST_GAIN_DB)
        self.gain.setAccessibleName("Gain, dB per 100 mm")
        self.gain.setToolTip("dB per 100 mm of depth")
        self.gain.sliderMoved.connect(lambda value: self.preview_gain(float(value)))
        self.gain.sliderReleased.connect(lambda: self.enter_gain(self.gain.value()))
        self.gain.valueChanged.connect(self._gain_stepped)
        value = self._number(GAIN, "Gain in dB per 100 mm", "dB", GAIN)
        value.setToolTip("dB per 100 mm of depth")
        start = self._length("gain_from_mm", "Gain from depth", GAIN)
        settings = Settings()
        settings.add("Per 100 mm", beside(self.gain, value), wide=True)
        settings.add("From depth", start)
        self.rows[GAIN].settle(settings)

    def _length_settings(self, step: str, setting: str, label: str, name: str) -> None:
        settings = Settings()
        settings.add(label, self._length(setting, name, step))
        self.rows[step].settle(settings)

    def _layout(self) -> None:
        inner = QFrame()
        inner.setProperty("panel", True)
        self.setWidget(inner)
        self.inner = inner
        box = QVBoxLayout(inner)
        box.setContentsMargins(2 * theme.GRID, 2 * theme.GRID, 2 * theme.GRID, 2 * theme.GRID)
        box.setSpacing(theme.GRID)
        box.addWidget(_heading("Steps, in the order in which they run"))
        for row in self.rows.values():
            box.addWidget(row)
        box.addSpacing(theme.GRID)
        box.addWidget(_heading("Display"))
        box.addWidget(self.display)
        box.addSpacing(theme.GRID)
        buttons = QHBoxLayout()
        buttons.setSpacing(theme.GRID)
        for button in (self.copy, self.reset):
            buttons.addWidget(button)
        buttons.addStretch()
        box.addLayout(buttons)
        note = quiet(
            "Marks are picked on the scan band-limited, levelled and without its direct wave, "
            "whatever is shown here."
        )
        note.setToolTip(f"Stored with each mark: {PICK_STAGE}")
        box.addWidget(note)
        box.addStretch()

    def _connect(self) -> None:
        for field, row in self.rows.items():
            row.switched.connect(partial(self.switch, field))
        self.copy.setToolTip("Gives every line of the job this line's steps")
        self.reset.setToolTip("Repair and dewow only, for this line")
        self.copy.clicked.connect(self.copy_wanted)
        self.reset.clicked.connect(self.reset_wanted)
        self.display.exaggeration_chosen.connect(self.exaggeration_chosen)
        self._guard = WheelGuard(self)
        for kind in (QComboBox, QSlider):
            for control in self.inner.findChildren(kind):
                control.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
                control.installEventFilter(self._guard)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """As wide as what stands in it, with the scroll bar, whatever the font."""
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        return QSize(self.inner.minimumSizeHint().width() + bar, 120)

    # Showing.

    def show_recipe(
        self, recipe: Recipe, unit: LengthUnit, pulse_band_ghz: tuple[float, float]
    ) -> None:
        """Write down a recipe; nothing is sent."""
        self.inner.setEnabled(True)
        self._recipe, self._pulse_ghz = recipe, pulse_band_ghz
        gain_db = recipe.gain_db_per_100mm
        self._last_gain_db = gain_db or self._last_gain_db
        for switch, row in self.rows.items():
            row.show_on(bool(getattr(recipe, switch)))
        for setting, field in self.fields.items():
            if isinstance(field, LengthField):
                field.show_unit(unit)
            field.show_value(getattr(recipe, setting))
        for setting, edge in zip(("band_low_ghz", "band_high_ghz"), pulse_band_ghz, strict=True):
            self.fields[setting].setPlaceholderText(self.fields[setting].words(edge))
        self.spectrum.show_band(self._band(recipe.band_low_ghz, recipe.band_high_ghz))
        self.source.setCurrentIndex(SOURCES.index(recipe.background_from))
        moving = recipe.background_from == "moving window"
        self._window_label.setVisible(moving)
        self.fields["background_window_mm"].setVisible(moving)
        self.spare.setChecked(recipe.keep_flat_face)
        self.gain.blockSignals(True)
        self.gain.setValue(round(gain_db))
        self.gain.blockSignals(False)

    def show_findings(self, findings: Mapping[str, str]) -> None:
        """What the steps did on this line, or why they cannot, by the recipe's fields."""
        for field, row in self.rows.items():
            row.show_finding(findings.get(field, ""))

    def show_spectrum(
        self, frequencies_ghz: Floats | None, amplitude: Floats | None = None
    ) -> None:
        """Mean amplitude spectrum of the line, both of shape (frequencies,); None clears."""
        self.spectrum.show_spectrum(frequencies_ghz, amplitude)

    def show_nothing(self) -> None:
        """Without a line nothing can be set."""
        self.show_findings({})
        self.show_spectrum(None)
        self.inner.setEnabled(False)

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self.spectrum.show_look(look)

    def show_font(self, font: QFont) -> None:
        """Sizes that follow the system's."""
        self.spectrum.show_font(font)

    # Sending.

    def switch(self, field: str, on: bool) -> None:
        """Send that a step is switched, from its box or from a command."""
        value: object = on
        if field == GAIN:
            value = self._last_gain_db if on else 0.0
        self._change(self._words[field], **{field: value})

    def preview_gain(self, gain_db: float) -> None:
        """Send a gain that is being dragged, here or in the toolbar."""
        self.fields[GAIN].show_value(gain_db)
        self._preview({GAIN: gain_db})

    def enter_gain(self, position: int) -> None:
        """Send where a gain slider was left; a gain between its steps is kept if it did not move."""
        if position == min(round(self._recipe.gain_db_per_100mm), MOST_GAIN_DB):
            self.fields[GAIN].show_value(self._recipe.gain_db_per_100mm)
            self._preview(None)
            return
        self._change(self._words[GAIN], **{GAIN: float(position)})

    def _gain_stepped(self, position: int) -> None:
        if not self.gain.isSliderDown():
            self.enter_gain(position)

    def choose_exaggeration(self, value: float | None) -> None:
        """Choose as in the list, for a command."""
        self.display.show_exaggeration(value)
        self.exaggeration_chosen.emit(value)

    def _preview(self, fields: dict[str, float] | None) -> None:
        if fields != self._previewed:
            self._previewed = fields
            self.previewed.emit(fields)

    def _change(self, edit_words: str, **fields: object) -> None:
        # What was previewed ends first, so that it does not lie over the edit.
        self._preview(None)
        self.changed.emit(edit_words, fields)

    def _band(self, low: float | None, high: float | None) -> tuple[float, float]:
        """The band's edges, the pulse's own where none is set, GHz."""
        own_low, own_high = self._pulse_ghz
        return own_low if low is None else low, own_high if high is None else high

    def _check_band(self, low: float | None, high: float | None) -> None:
        low_ghz, high_ghz = self._band(low, high)
        if low_ghz >= high_ghz:
            raise DepthwrightError(
                f"A band from {low_ghz:.2f} to {high_ghz:.2f} GHz has no width.",
                "Type a lower edge that lies below the upper one.",
            )

    def _band_dragged(self, edges: dict[str, float] | None) -> None:
        recipe = self._recipe
        for setting in ("band_low_ghz", "band_high_ghz"):
            self.fields[setting].show_value((edges or {}).get(setting, getattr(recipe, setting)))
        self._preview(edges)


def _heading(text: str) -> QLabel:
    label = QLabel(text)
    label.setProperty("heading", True)
    return label
