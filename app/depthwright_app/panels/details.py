"""The details of the selected mark: number, diameter, known depth, kind, text."""

from collections.abc import Callable
from typing import get_args

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from depthwright.job import (
    Anchor,
    BarMark,
    FaceMark,
    Mark,
    NoteMark,
    Origin,
    TargetKind,
    TargetMark,
    Tie,
)
from depthwright.units import LengthUnit, from_mm
from depthwright_app import theme
from depthwright_app.document import mark_words

ORIGINS: tuple[Origin, ...] = get_args(Origin)
KINDS: tuple[TargetKind, ...] = get_args(TargetKind)
Known = tuple[tuple[str, str], ...]
"""Pairs of a name and a value with its interval."""


class Details(QFrame):
    """Fields of one mark; each sends what was typed, as typed."""

    number_typed = Signal(str)
    diameter_typed = Signal(str)
    tie_typed = Signal(str, str, str, bool)
    """Depth, plus-minus, origin, and whether plus-minus are limits."""
    untie_wanted = Signal()
    kind_chosen = Signal(str)
    text_typed = Signal(str)
    delete_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("panel", True)
        self._box = QVBoxLayout(self)
        self._box.setContentsMargins(theme.GRID * 2, theme.GRID, theme.GRID * 2, theme.GRID * 2)
        self._body: QWidget | None = None
        self._shown: object = None

    def show_mark(
        self, mark: Mark | None, anchor: int | None, unit: LengthUnit, known: Known = ()
    ) -> None:
        """Write down another mark; typing in progress is left alone when nothing changed."""
        if self._shown == (mark, anchor, unit, known) and self._body is not None:
            return
        self._shown = (mark, anchor, unit, known)
        if self._body is not None:
            while self._box.takeAt(0) is not None:
                pass
            self._body.hide()
            self._body.deleteLater()
        self._body = self._empty() if mark is None else self._form(mark, anchor, unit, known)
        self._box.addWidget(self._body)
        self._box.addStretch()

    def _empty(self) -> QWidget:
        label = QLabel(
            "Click near an apex to mark a bar. Then type its known depth and press Enter."
        )
        label.setWordWrap(True)
        label.setProperty("quiet", True)
        return label

    def _form(self, mark: Mark, anchor: int | None, unit: LengthUnit, known: Known) -> QWidget:
        body = QWidget()
        form = QFormLayout(body)
        form.setContentsMargins(0, 0, 0, 0)
        form.setSpacing(theme.GRID)
        title = QLabel(_title(mark, anchor))
        title.setProperty("heading", True)
        form.addRow(title)
        for name, value in known:
            shown = QLabel(value)
            shown.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            form.addRow(name, shown)
        if isinstance(mark, BarMark):
            self._line(form, "Number", str(mark.number), self.number_typed.emit)
            diameter = f"{from_mm(mark.diameter_mm, unit):.4g} {unit}"
            self._line(form, "Diameter", diameter, self.diameter_typed.emit)
            self._tie(form, mark.tie, "cover meter", unit)
        elif isinstance(mark, FaceMark):
            place: Anchor = mark.anchors[anchor or 0]
            self._tie(form, place.tie, "drilled hole or core", unit)
        elif isinstance(mark, TargetMark):
            kind = QComboBox()
            kind.addItems([name.capitalize() for name in KINDS])
            kind.setCurrentIndex(KINDS.index(mark.what))
            kind.activated.connect(lambda index: self.kind_chosen.emit(KINDS[index]))
            form.addRow("Kind", kind)
        elif isinstance(mark, NoteMark):
            self._line(form, "Text", mark.text, self.text_typed.emit)
        delete = QPushButton("Delete")
        delete.clicked.connect(self.delete_wanted)
        form.addRow(delete)
        return body

    def _line(
        self, form: QFormLayout, label: str, text: str, send: Callable[[str], object]
    ) -> QLineEdit:
        field = QLineEdit(text)
        field.setAccessibleName(label)
        field.returnPressed.connect(lambda: send(field.text()))
        form.addRow(label, field)
        return field

    def _tie(self, form: QFormLayout, tie: Tie | None, usual: Origin, unit: LengthUnit) -> None:
        def number(value_mm: float) -> str:
            return f"{round(from_mm(value_mm, unit), 3):g}"

        depth = QLineEdit(number(tie.depth_mm) if tie else "")
        depth.setPlaceholderText(f"known depth, {unit}")
        depth.setAccessibleName("Known depth of the mark")
        spread = QLineEdit(number(tie.plus_minus_mm) if tie else "")
        spread.setPlaceholderText(f"± {number(1.0)} {unit}")
        spread.setAccessibleName("Uncertainty of the known depth")
        origin = QComboBox()
        origin.addItems([name.capitalize() for name in ORIGINS])
        origin.setCurrentIndex(ORIGINS.index(tie.origin if tie else usual))
        limits = QCheckBox("± are limits, not a standard uncertainty")
        limits.setChecked(tie.limits if tie else False)
        row = QHBoxLayout()
        row.addWidget(depth, 3)
        row.addWidget(QLabel("±"))
        row.addWidget(spread, 2)

        def send() -> None:
            self.tie_typed.emit(
                depth.text(), spread.text(), ORIGINS[origin.currentIndex()], limits.isChecked()
            )

        depth.returnPressed.connect(send)
        spread.returnPressed.connect(send)
        form.addRow("Tie", row)
        form.addRow("From", origin)
        form.addRow(limits)
        buttons = QHBoxLayout()
        apply = QPushButton("Tie" if tie is None else "Change tie")
        apply.setProperty("primary", True)
        apply.clicked.connect(send)
        buttons.addWidget(apply)
        if tie is not None:
            untie = QPushButton("Untie")
            untie.clicked.connect(self.untie_wanted)
            buttons.addWidget(untie)
        buttons.addStretch()
        form.addRow(buttons)


def _title(mark: Mark, anchor: int | None) -> str:
    name = mark_words(mark).capitalize()
    return f"{name}, anchor {(anchor or 0) + 1}" if isinstance(mark, FaceMark) else name
