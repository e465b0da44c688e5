"""The steps of the recipe as rows: a switch, its few settings while it is on, and what it did."""

from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from depthwright_app import theme

INDENT_PX = 3 * theme.GRID


@dataclass(frozen=True)
class Step:
    """One step of the recipe: its field, what the row says, what undo says, and why one uses it."""

    field: str
    words: str
    edit: str
    tip: str

    @property
    def command(self) -> str:
        """The id of the command that switches it."""
        return COMMANDS.get(self.field, self.field.replace("_", "-"))


COMMANDS = {"remove_background": "background", "gain_db_per_100mm": "gain"}
"""Ids of commands that are shorter than their field."""

STEPS = (
    Step(
        "repair",
        "Repair dead traces and spikes",
        "Repair",
        "Fills dead traces and spikes from their neighbours",
    ),
    Step("dewow", "Dewow", "Dewow", "Takes away offset and slow drift"),
    Step("band", "Band-pass", "Band-pass", "Keeps a band of frequencies; moves nothing in time"),
    Step(
        "align",
        "Level the direct wave",
        "Levelling",
        "Moves each trace in time so that the direct wave is level",
    ),
    Step(
        "remove_direct",
        "Remove the direct wave",
        "Direct-wave removal",
        "Subtracts the direct wave as learnt from traces without bars",
    ),
    Step(
        "remove_background",
        "Remove background",
        "Background removal",
        "Subtracts what the traces share: ringing, the direct wave, level layers",
    ),
    Step(
        "smooth",
        "Smooth along the line",
        "Smoothing",
        "Averages neighbouring traces; the steep flanks of hyperbolas fade first",
    ),
    Step(
        "migrate", "Migrate", "Migration", "Collapses hyperbolas with the depth model of the ledger"
    ),
    Step("envelope", "Envelope", "Envelope", "Shows how strong the wave is instead of its swing"),
    Step("gain_db_per_100mm", "Gain", "Gain", "Raises what lies deeper"),
    Step(
        "even_gain",
        "Even gain",
        "Even gain",
        "Brings every depth to the same strength; strength no longer tells anything",
    ),
)
"""All steps, in the order in which they run."""

FACE_STEP = Step(
    "keep_flat_face",
    "Spare a flat back face",
    "Sparing the back face",
    "Leaves alone what looks like a flat back face, which all traces share too",
)
"""A switch inside the background step."""

SWITCHES = tuple(
    switch
    for step in STEPS
    for switch in ((step, FACE_STEP) if step.field == "remove_background" else (step,))
)


class StepRow(QWidget):
    """A step: its switch, under it what belongs to it."""

    switched = Signal(bool)

    def __init__(self, step: Step) -> None:
        super().__init__()
        self.step = step
        self.box = QCheckBox(step.words)
        self.box.setToolTip(step.tip)
        self.box.setAccessibleDescription(step.tip)
        self.box.clicked.connect(self.switched)
        self.settings: Settings | None = None
        self.finding = quiet("")
        self.finding.setContentsMargins(INDENT_PX, 0, 0, 0)
        self.finding.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(theme.GRID // 2)
        self._column.addWidget(self.box)
        self._column.addWidget(self.finding)
        self.finding.hide()

    def settle(self, settings: "Settings") -> None:
        """Give the step its settings."""
        self.settings = settings
        settings.hide()
        self._column.insertWidget(1, settings)

    def show_on(self, on: bool) -> None:
        """The switch as it stands, its settings only while it is on."""
        self.box.setChecked(on)
        if self.settings is not None:
            self.settings.setVisible(on)

    def show_finding(self, sentence: str) -> None:
        """What the step did on this line, or why it cannot; an empty sentence says nothing."""
        self.finding.setText(sentence)
        self.finding.setVisible(bool(sentence))


class Settings(QWidget):
    """Labels on the left, fields in one column on the right."""

    def __init__(self, indent_px: int = INDENT_PX) -> None:
        super().__init__()
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(indent_px, 0, 0, theme.GRID // 2)
        self._grid.setHorizontalSpacing(theme.GRID)
        self._grid.setVerticalSpacing(theme.GRID)
        self._grid.setColumnMinimumWidth(0, 13 * theme.GRID - indent_px)
        self._grid.setColumnStretch(1, 1)

    def add(self, label: str, field: QWidget, wide: bool = False) -> QLabel:
        """A field behind its label; a wide one takes what room there is."""
        row = self._grid.rowCount()
        named = QLabel(label)
        named.setProperty("quiet", True)
        named.setBuddy(field)
        self._grid.addWidget(named, row, 0)
        if wide:
            self._grid.addWidget(field, row, 1)
        else:
            self._grid.addWidget(field, row, 1, Qt.AlignmentFlag.AlignLeft)
        return named

    def add_wide(self, widget: QWidget) -> None:
        """A row of its own over the whole width."""
        self._grid.addWidget(widget, self._grid.rowCount(), 0, 1, -1)


def beside(*parts: QWidget) -> QWidget:
    """Widgets next to each other as one; the first has the label's shortcut."""
    body = QWidget()
    row = QHBoxLayout(body)
    row.setContentsMargins(0, 0, 0, 0)
    row.setSpacing(theme.GRID)
    for part in parts:
        row.addWidget(part)
    body.setFocusProxy(parts[0])
    return body


def quiet(text: str) -> QLabel:
    """A label in quiet text that wraps."""
    label = QLabel(text)
    label.setWordWrap(True)
    label.setProperty("quiet", True)
    return label
