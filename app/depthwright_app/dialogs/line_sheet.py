"""The sheet of a line and its antenna: datum, direction, scale; separation, height, time offset."""

import math
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.files.antenna_card import read_card, write_card
from depthwright.job import Antenna, DirectPick, DirectShiftSource, Job, Line
from depthwright.units import (
    from_mm,
    parse_plain,
    parse_reading,
    parse_signed_length_mm,
)
from depthwright_app import theme
from depthwright_app.dialogs.sheet_parts import add_buttons, heading
from depthwright_app.dialogs.where_to_save import ask_where
from depthwright_app.wording import separation_u_mm

CARD_FILTER = "Antenna card (*.json)"
STANDARD = "With its standard uncertainty, like 40 ± 1 mm"
SHIFTS: dict[DirectShiftSource, str] = {
    "computed": "computed for a dipole pair",
    "measured": "held by the time offset, as measured for a card",
}


class LineSheet(QDialog):
    """Edits a copy; :meth:`change` gives the edit of the job once it was accepted."""

    def __init__(self, parent: QWidget, job: Job, line: Line) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"{line.name}: line and antenna")
        self._job, self._line = job, line
        self._antenna = job.antenna_of(line)
        self._unit = job.unit
        self._start_mm = line.start_mm + _held_mm(line)
        self._shown = self._antenna
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        box.addWidget(heading("Line"))
        box.addLayout(self._line_form())
        box.addWidget(heading("Antenna (all lines recorded with it follow)"))
        box.addLayout(self._antenna_form())
        box.addLayout(self._card_buttons())
        self.complaint = QLabel()
        self.complaint.setWordWrap(True)
        box.addWidget(self.complaint)
        add_buttons(self, box, self._accept)
        self.card_used: Path | None = None
        """The card that was loaded or saved last."""
        self.change_line: dict[str, Any] = {}
        self.change_antenna: dict[str, Any] = {}

    def _card_buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(theme.GRID)
        for words, call in (
            ("Load an antenna card…", self._ask_card),
            ("Save as an antenna card…", self._ask_save_card),
        ):
            button = QPushButton(words)
            button.setAutoDefault(False)
            button.clicked.connect(call)
            row.addWidget(button, 1)
        return row

    def _line_form(self) -> QFormLayout:
        line = self._line
        form = QFormLayout()
        form.setSpacing(theme.GRID)
        self.name = _field(form, "Name", line.name)
        self.datum = _field(
            form, "Datum", line.datum, "What a coring crew tapes from, like grid line B"
        )
        self.direction = _field(form, "Direction", line.direction, "Like: towards grid line C")
        self.start = _field(form, _start_label(line), self._length(self._start_mm))
        self.scale = _field(
            form,
            "Distance scale",
            _scale_words(line),
            "True distance over recorded distance, with its standard uncertainty",
        )
        self.direct = _field(
            form,
            "Direct wave, ns in the file",
            f"{line.direct.time_ns:.3f}",
            "Envelope maximum of the direct wave; the clock of every echo",
        )
        return form

    def _antenna_form(self) -> QFormLayout:
        form = QFormLayout()
        form.setSpacing(theme.GRID)
        self.antenna_name = _field(form, "Name", "")
        self.separation = _field(form, "Separation", "", STANDARD)
        self.antenna_height = _field(form, "Height above the surface", "", STANDARD)
        self.frequency = _field(form, "Centre frequency, GHz", "")
        self.offset = _field(
            form,
            "Time offset, ps",
            "",
            "How much later the direct wave's maximum comes than s/c and, where it is computed, its shift; "
            "with its standard uncertainty",
        )
        self.shift = QComboBox()
        self.shift.addItems(list(SHIFTS.values()))
        self.shift.setAccessibleName("Direct wave's shift")
        self.shift.setToolTip(
            "Close to the concrete the direct wave does not come at s/c. The shift is computed for a pair "
            "of dipoles, or the time offset holds all of it, as when it was measured on bare concrete."
        )
        form.addRow("Direct wave's shift", self.shift)
        self.source_words = QLabel()
        self.source_words.setWordWrap(True)
        self.source_words.setProperty("quiet", True)
        form.addRow(self.source_words)
        self._show_antenna(self._antenna)
        return form

    def _show_antenna(self, antenna: Antenna) -> None:
        self.antenna_name.setText(antenna.name)
        self.separation.setText(self._spread(antenna.separation_mm, separation_u_mm(antenna)))
        self.antenna_height.setText(self._spread(antenna.height_mm, antenna.height_u_mm))
        self.shift.setCurrentIndex(list(SHIFTS).index(antenna.direct_shift))
        self.frequency.setText(f"{antenna.centre_frequency_ghz:g}")
        self.offset.setText(_offset_words(antenna))
        self._shown = antenna
        self.source_words.setText(f"Source: {antenna.source}")

    def _length(self, value_mm: float) -> str:
        return f"{round(from_mm(value_mm, self._unit), 3):.12g} {self._unit}"

    def _spread(self, value_mm: float, u_mm: float) -> str:
        """``40 ± 1 mm``; bare where it is exact."""
        if u_mm == 0:
            return self._length(value_mm)
        return f"{round(from_mm(value_mm, self._unit), 3):.12g} ± {self._length(u_mm)}"

    def _ask_card(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Antenna card", "", CARD_FILTER)
        if name:
            self.load_card(Path(name))

    def _ask_save_card(self) -> None:
        start = f"{self.antenna_name.text()}.json"
        path = ask_where(self, "Save as an antenna card", start, CARD_FILTER, ".json")
        if path is not None:
            self.save_card(path)

    def save_card(self, path: Path) -> None:
        """Keep the antenna as its fields stand for other jobs."""
        try:
            changed = edits.change_antenna(self._job, self._antenna.id, **self._typed_antenna())
            write_card(path, changed.antenna_of(self._line))
            self.card_used = path
            self.complaint.setText(f"Saved as {path}. The sheet of incoming scans offers it.")
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))

    def load_card(self, path: Path) -> None:
        """Fill the antenna's fields from a card."""
        try:
            card = read_card(path, self._antenna.id)
            self.card_used = path
            self._show_antenna(card)
            self.complaint.setText(self._against_scan(card))
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))

    def _against_scan(self, card: Antenna) -> str:
        """A word when a card is not of the antenna that the line was recorded with."""
        now = self._antenna
        if not now.separation_known or abs(card.separation_mm - now.separation_mm) < 0.5:
            return ""
        return (
            f"The card's separation is {self._length(card.separation_mm)}, this line's was "
            f"{self._length(now.separation_mm)}. Apply it only if the card is of this antenna."
        )

    def _accept(self) -> None:
        try:
            self.change_line = self._typed_line()
            self.change_antenna = self._typed_antenna()
            self.change(self._job)
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        self.accept()

    def _typed_line(self) -> dict[str, Any]:
        line = self._line
        scale, scale_u, taped = line.distance_scale, line.distance_scale_u, line.taped
        if self.scale.text() != _scale_words(line):
            scale, typed_u = parse_plain(self.scale.text())
            scale_u = scale_u if typed_u is None else typed_u
            taped = None  # the two known positions do not hold the line any more
        time_ns = parse_plain(self.direct.text())[0]
        moved = abs(time_ns - line.direct.time_ns) > 5e-4
        return {
            "name": self.name.text().strip() or line.name,
            "datum": self.datum.text().strip() or line.datum,
            "direction": self.direction.text().strip() or line.direction,
            "start_mm": self._typed_start_mm(),
            "distance_scale": scale,
            "distance_scale_u": scale_u,
            "taped": taped,
            "direct": DirectPick(time_ns=time_ns, time_u_ns=line.scan.dt_ns / math.sqrt(12))
            if moved
            else line.direct,
        }

    def _typed_start_mm(self) -> float:
        if self.start.text() == self._length(self._start_mm):
            return self._line.start_mm
        return parse_signed_length_mm(self.start.text(), self._unit) - _held_mm(self._line)

    def _typed_antenna(self) -> dict[str, Any]:
        shown = self._shown
        offset_ns, offset_u_ns = shown.time_offset_ns, shown.time_offset_u_ns
        if self.offset.text() != _offset_words(shown):
            offset, spread = parse_plain(self.offset.text())
            offset_ns = offset * 1e-3
            offset_u_ns = offset_u_ns if spread is None else spread * 1e-3
        separation, separation_u = self._typed_spread(
            self.separation, shown.separation_mm, separation_u_mm(shown), shown.separation_u_mm
        )
        height, height_u = self._typed_spread(
            self.antenna_height, shown.height_mm, shown.height_u_mm, shown.height_u_mm
        )
        frequency = shown.centre_frequency_ghz
        if self.frequency.text() != f"{frequency:g}":
            frequency = parse_plain(self.frequency.text())[0]
        return {
            "name": self.antenna_name.text().strip() or self._antenna.name,
            "separation_mm": separation,
            "separation_u_mm": separation_u,
            "separation_known": shown.separation_known
            or self.separation.text() != self._spread(shown.separation_mm, separation_u_mm(shown)),
            "height_mm": height,
            "height_u_mm": height_u,
            "direct_shift": list(SHIFTS)[self.shift.currentIndex()],
            "centre_frequency_ghz": frequency,
            "time_offset_ns": offset_ns,
            "time_offset_u_ns": offset_u_ns,
            "source": shown.source,
        }

    def _typed_spread(
        self, field: QLineEdit, shown_mm: float, shown_u_mm: float, own_u_mm: float
    ) -> tuple[float, float]:
        """What is typed with its standard uncertainty; one that is not typed stays as it is."""
        if field.text() == self._spread(shown_mm, shown_u_mm):
            return shown_mm, own_u_mm
        reading = parse_reading(field.text(), self._unit)
        spread_mm = reading.plus_minus_mm
        return reading.value_mm, own_u_mm if spread_mm is None else spread_mm

    def change(self, job: Job) -> Job:
        """The edit of the job that was accepted."""
        changed = edits.change_line(job, self._line.id, **self.change_line)
        return edits.change_antenna(changed, self._antenna.id, **self.change_antenna)


def _scale_words(line: Line) -> str:
    return f"{line.distance_scale:.6g} ± {line.distance_scale_u:.2g}"


def _start_label(line: Line) -> str:
    return "Datum to last trace" if line.reversed else "Datum to trace zero"


def _held_mm(line: Line) -> float:
    """From where a line starts to the trace that its sheet names, mm: zero as recorded, or the last one."""
    return line.scan.first_mm if line.reversed else 0.0


def _offset_words(antenna: Antenna) -> str:
    return f"{1e3 * antenna.time_offset_ns:g} ± {1e3 * antenna.time_offset_u_ns:g}"


def _field(form: QFormLayout, label: str, text: str, tip: str = "") -> QLineEdit:
    field = QLineEdit(text)
    field.setMinimumWidth(260)
    field.setAccessibleName(label)
    field.setToolTip(tip)
    form.addRow(label, field)
    return field
