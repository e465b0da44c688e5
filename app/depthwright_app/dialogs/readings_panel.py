"""What the sample interval of an incoming file can mean: one choice for each reading, and the spectrum."""

import math

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QButtonGroup, QRadioButton, QVBoxLayout, QWidget

from depthwright_app import theme
from depthwright_app.dialogs.import_picture import SpectrumReadings
from depthwright_app.dialogs.import_words import quiet_label
from depthwright_app.dialogs.sheet_parts import heading
from depthwright_app.importing import Incoming

READING_PX, MOST_READINGS = 18, 6


class ReadingsPanel(QWidget):
    """The readings of the file shown; the one that is taken is chosen."""

    chosen = Signal(float)
    """The sample interval of the reading that was clicked, ns."""

    def __init__(self, look: theme.Look) -> None:
        super().__init__()
        self.heading, self.spectrum = heading(""), SpectrumReadings(look)
        self.choices = QButtonGroup(self)
        self._list = QVBoxLayout()
        self._list.setSpacing(2)
        self._list.setContentsMargins(0, 0, 0, 0)
        self._list.setAlignment(Qt.AlignmentFlag.AlignTop)
        room = QWidget()  # for the longest list: what is below stays where it is
        room.setFixedHeight(MOST_READINGS * READING_PX)
        room.setLayout(self._list)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(theme.GRID)
        caption = quiet_label("Shaded: where the pulses of antennas used on concrete lie.")
        for widget in (self.heading, room, self.spectrum, caption):
            box.addWidget(widget)

    def show_file(self, file: Incoming) -> None:
        """The readings of another file, or of the same with another interval taken."""
        for button in self.choices.buttons():
            self.choices.removeButton(button)
            button.hide()
            button.deleteLater()
        seen = file.glance
        if seen is None:
            return
        stated = any(number.value > 0 for number in seen.facts.intervals)
        told = "what its number can mean" if stated else "what usual windows give"
        self.heading.setText(f"Sample interval: {told}")
        for reading in seen.readings:
            button = QRadioButton(reading.told)
            taken = file.dt_ns is not None and math.isclose(reading.dt_ns, file.dt_ns, rel_tol=1e-6)
            button.setChecked(taken)
            button.clicked.connect(lambda _=False, dt_ns=reading.dt_ns: self.chosen.emit(dt_ns))
            self.choices.addButton(button)
            self._list.addWidget(button)
        self.spectrum.show_readings(seen.traces, seen.readings, file.dt_ns)
