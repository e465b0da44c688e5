"""The sheet that places a line: two known positions, shift, reversal, the part that is shown."""

import qtawesome
from PySide6.QtCore import Qt
from PySide6.QtGui import QPalette
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QGridLayout,
    QLabel,
    QLineEdit,
    QMenu,
    QVBoxLayout,
    QWidget,
)

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.exports.wording import crop_words, format_scale, places_mm
from depthwright.job import FaceMark, Job, Line, Mark, NoteMark, TargetMark
from depthwright.units import format_length, from_mm, parse_length_mm, parse_signed_length_mm
from depthwright_app import theme
from depthwright_app.dialogs.sheet_parts import add_buttons, heading

LONGEST_NOTE = 24
SAME_MM = 1e-6


class PlaceSheet(QDialog):
    """Edits a copy; :meth:`change` gives the edit of the job once it was accepted.

    Parameters
    ----------
    parent, job, line
        The window, and the line with its job.
    edges_mm
        Recorded positions between which the line's whole picture stands, mm.
    mark_mm
        Recorded position of the selected mark, mm, offered as the first known position.
    """

    def __init__(
        self,
        parent: QWidget | None,
        job: Job,
        line: Line,
        edges_mm: tuple[float, float],
        mark_mm: float | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"{line.name}: place along the line")
        self._job, self._line, self._edges_mm, self._unit = job, line, edges_mm, job.unit
        self._offered = _named_places(job, line)
        self._crop_mm = self._shown_crop()
        self.turn = QCheckBox("Recorded from the far end (reverse)")
        self.turn.setChecked(line.reversed)
        self.reads_a, self.true_a = self._place("First place as it reads"), _field("First lies at")
        self.reads_b, self.true_b = (
            self._place("Second place as it reads"),
            _field("Second lies at"),
        )
        self.known_u = _field("How well each of the two positions is known", "like 2 mm")
        self.known_u.setToolTip(
            "Standard uncertainty of each position: of the tape, and of finding the place in the scan."
        )
        self.shift = _field("Shift", "none")
        self.shift.setToolTip(
            "What every distance grows by; with a minus sign, what it shrinks by."
        )
        self.low, self.high = _field("Show from", "its start"), _field("Show to", "its end")
        for field, recorded_mm in zip((self.low, self.high), self._crop_mm, strict=True):
            field.setText(self._reading(recorded_mm))
        self.summary, self.complaint = _words(), _words()
        self.complaint.setProperty("warning", True)
        self._offered_first = self._offer(mark_mm)
        self._layout()
        for edit in self.findChildren(QLineEdit):
            edit.textChanged.connect(self._summarize)
        self.turn.toggled.connect(self._summarize)
        self._summarize()
        (self.true_a if self._offered_first else self.reads_a).setFocus()

    # What stands in it.

    def _place(self, name: str) -> QLineEdit:
        """A distance to type, with the line's marks to choose from."""
        field = _field(name)
        field.setToolTip("A distance as the section shows it now, or one of the marks.")
        field.setMinimumWidth(200)
        if self._offered:
            menu = QMenu(field)
            for words in self._offered:
                menu.addAction(words.replace("&", "&&")).setData(words)
            menu.triggered.connect(lambda chosen: field.setText(chosen.data()))
            colour = self.palette().color(QPalette.ColorRole.PlaceholderText)
            icon = qtawesome.icon("fa6s.chevron-down", color=colour)
            choose = field.addAction(icon, QLineEdit.ActionPosition.TrailingPosition)
            choose.setText("Choose a mark")
            choose.setToolTip("Choose a mark (Alt+Down)")
            choose.setShortcut("Alt+Down")
            choose.setShortcutContext(Qt.ShortcutContext.WidgetShortcut)
            choose.triggered.connect(
                lambda: menu.popup(field.mapToGlobal(field.rect().bottomLeft()))
            )
        return field

    def _offer(self, mark_mm: float | None) -> str:
        """Fill in the first place with the selected mark's; what then stands there."""
        if mark_mm is not None:
            named = [words for words, place in self._offered.items() if place == mark_mm]
            self.reads_a.setText(named[0] if named else self._reading(mark_mm))
        return self.reads_a.text()

    def _reading(self, recorded_mm: float | None) -> str:
        """A recorded position as the line reads now; empty for none."""
        if recorded_mm is None:
            return ""
        here = round(from_mm(self._line.on_concrete_mm(recorded_mm), self._unit), 3)
        return f"{here:.12g} {self._unit}"

    def _shown_crop(self) -> tuple[float | None, float | None]:
        """Recorded positions from and to which the line is shown; None where that is its end."""
        if self._line.crop_mm is None:
            return None, None
        low, high = sorted(self._line.crop_mm, key=self._line.on_concrete_mm)
        ends = self._edges_mm
        kept = [None if min(abs(at - end) for end in ends) < SAME_MM else at for at in (low, high)]
        return kept[0], kept[1]

    def _layout(self) -> None:
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        grid = QGridLayout()
        grid.setSpacing(theme.GRID)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        grid.addWidget(QLabel("Direction"), 0, 0)
        grid.addWidget(self.turn, 0, 1, 1, 3)
        _section(grid, 1, "Two known positions")
        datum = f"Distances from {self._line.datum}. Two places set the line's length and start."
        grid.addWidget(_quiet(datum), 2, 0, 1, 4)
        _row(grid, 3, "What now reads", self.reads_a, "lies at", self.true_a)
        _row(grid, 4, "What now reads", self.reads_b, "lies at", self.true_b)
        _row(grid, 5, "Each known to ±", self.known_u)
        _section(grid, 6, "Start and part shown")
        _row(grid, 7, "Shift by", self.shift)
        _row(grid, 8, "Show only from", self.low, "to", self.high)
        grid.addWidget(
            _quiet("Marks outside the part shown stay in the job and count."), 9, 0, 1, 4
        )
        box.addLayout(grid)
        box.addWidget(self.summary)
        box.addWidget(self.complaint)
        add_buttons(self, box, self._accept)

    # What is typed.

    def _summarize(self) -> None:
        """Say how the line would lie; while something is missing, what."""
        self.complaint.hide()
        self.summary.show()
        try:
            line = self.change(self._job).line(self._line.id)
        except DepthwrightError as problem:
            self.summary.setText(str(problem))
            return
        first_mm = line.scan.first_mm
        ends = (line.on_concrete_mm(at) for at in (first_mm, sum(self._edges_mm) - first_mm))
        low, high = sorted(ends)
        length, start, end = (format_length(at, self._unit) for at in (high - low, low, high))
        turned = ", recorded from the far end" if line.reversed else ""
        self.summary.setText(
            f"Line of {length}, from {start} to {end}{turned}; scale {format_scale(line)} (k = 2)"
            f"{crop_words(line, self._unit)}."
        )

    def _accept(self) -> None:
        try:
            self.change(self._job)
        except DepthwrightError as problem:
            self.summary.hide()
            self.complaint.setText(str(problem))
            self.complaint.show()
            return
        self.accept()

    def change(self, job: Job) -> Job:
        """The edit of the job that is typed: reversed first, then stretched, shifted, cropped.

        What a place reads is meant as the line lies now; where it lies, and the part shown, as the line
        lies afterwards. The part shown keeps to its traces where its text is left as it was.

        Raises
        ------
        DepthwrightError
            When a field holds what cannot be.
        """
        line_id = self._line.id
        if self.turn.isChecked() != self._line.reversed:
            job = edits.reverse_line(job, line_id, self._edges_mm)
        typed = (
            self.reads_b.text(),
            *(f.text() for f in (self.true_a, self.true_b, self.known_u)),
        )
        if any(map(str.strip, typed)) or self.reads_a.text() != self._offered_first:
            job = self._stretched(job)
        if self.shift.text().strip():
            by_mm = parse_signed_length_mm(self.shift.text(), self._unit)
            job = edits.shift_line(job, line_id, by_mm)
        return edits.crop_line(job, line_id, self._typed_crop(job.line(line_id)))

    def _stretched(self, job: Job) -> Job:
        texts = [self.reads_a.text(), self.reads_b.text()]
        texts += [field.text() for field in (self.true_a, self.true_b, self.known_u)]
        if not all(map(str.strip, texts)):
            raise DepthwrightError(
                "Two known positions take four distances, and how well they are known.",
                "Fill in all five, or leave all of them empty.",
            )
        true_a, true_b = (
            parse_signed_length_mm(field.text(), self._unit) for field in (self.true_a, self.true_b)
        )
        return edits.stretch_line(
            job,
            self._line.id,
            self._recorded(self.reads_a.text()),
            true_a,
            self._recorded(self.reads_b.text()),
            true_b,
            parse_length_mm(self.known_u.text(), self._unit),
        )

    def _recorded(self, text: str) -> float:
        """Recorded position of a place, by a mark's words or by what it reads now."""
        if text in self._offered:
            return self._offered[text]
        return self._line.recorded_mm(parse_signed_length_mm(text, self._unit))

    def _typed_crop(self, line: Line) -> tuple[float, float] | None:
        """Recorded positions between which the line as it lies afterwards is shown; None: all of it."""
        fields = (self.low, self.high)
        kept = [f.text() == self._reading(at) for f, at in zip(fields, self._crop_mm, strict=True)]
        if all(kept):
            return self._line.crop_mm
        least, most = sorted(line.on_concrete_mm(edge) for edge in self._edges_mm)
        low, high = least, most
        if self.low.text().strip():
            low = self._afterwards(line, self.low, self._crop_mm[0], kept[0])
        if self.high.text().strip():
            high = self._afterwards(line, self.high, self._crop_mm[1], kept[1])
        if low >= high or low >= most or high <= least:
            runs = " to ".join(format_length(at, self._unit) for at in (least, most))
            raise DepthwrightError(
                "Nothing of the line lies between these two places.", f"It runs from {runs}."
            )
        if low <= least and high >= most:
            return None
        ends = sorted(line.recorded_mm(at) for at in (max(low, least), min(high, most)))
        return ends[0], ends[1]

    def _afterwards(
        self, line: Line, field: QLineEdit, recorded_mm: float | None, kept: bool
    ) -> float:
        if kept and recorded_mm is not None:
            return line.on_concrete_mm(recorded_mm)
        return parse_signed_length_mm(field.text(), self._unit)


def _named_places(job: Job, line: Line) -> dict[str, float]:
    """Recorded positions of a line's marks by words like ``Bar 3 at 548 mm``, from the datum on."""
    places = {
        f"{_name(mark)} at {format_length(line.on_concrete_mm(at), job.unit)}": at
        for mark in line.marks
        for at in places_mm(mark)
    }
    return dict(sorted(places.items(), key=lambda place: line.on_concrete_mm(place[1])))


def _name(mark: Mark) -> str:
    if isinstance(mark, NoteMark):
        short = mark.text[:LONGEST_NOTE] + ("…" if len(mark.text) > LONGEST_NOTE else "")
        return f"Note “{short}”"
    if isinstance(mark, FaceMark):
        return "Back face anchor"
    if isinstance(mark, TargetMark):
        return f"{mark.what.capitalize()} {mark.number}"
    return f"Bar {mark.number}"


def _row(
    grid: QGridLayout,
    row: int,
    label: str,
    field: QWidget,
    joint: str = "",
    second: QWidget | None = None,
) -> None:
    grid.addWidget(QLabel(label), row, 0)
    grid.addWidget(field, row, 1)
    if second is not None:
        grid.addWidget(QLabel(joint), row, 2)
        grid.addWidget(second, row, 3)


def _section(grid: QGridLayout, row: int, text: str) -> None:
    grid.addWidget(heading(text), row, 0, 1, 4, Qt.AlignmentFlag.AlignBottom)
    grid.setRowMinimumHeight(row, 4 * theme.GRID)


def _field(name: str, empty: str = "") -> QLineEdit:
    field = QLineEdit()
    field.setAccessibleName(name)
    field.setPlaceholderText(empty)
    field.setMinimumWidth(140)
    return field


def _quiet(text: str) -> QLabel:
    label = QLabel(text)
    label.setProperty("quiet", True)
    label.setWordWrap(True)
    return label


def _words() -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setMinimumHeight(2 * label.fontMetrics().lineSpacing())
    return label
