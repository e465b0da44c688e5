"""The details of the selected mark: what is known of it and its budget, its fields, its known depth."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import get_args

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QFormLayout,
    QFrame,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from depthwright.job import BarMark, FaceMark, Mark, NoteMark, TargetKind, TargetMark
from depthwright.units import LengthUnit, from_mm
from depthwright_app import theme
from depthwright_app.budget import Budget
from depthwright_app.document import USUAL_ORIGIN, mark_words, tie_of
from depthwright_app.panels.budget_view import BudgetView
from depthwright_app.panels.tie_editor import TieEditor

KINDS: tuple[TargetKind, ...] = get_args(TargetKind)


@dataclass(frozen=True)
class Shown:
    """What the panel shows: a mark (with its anchor), and pairs of a name and a value with its interval."""

    mark: Mark
    anchor: int | None
    unit: LengthUnit
    known: tuple[tuple[str, str], ...] = ()
    budgets: tuple[Budget, ...] = ()
    reading_u_mm: float = 1.0


class Details(QScrollArea):
    """Fields of one mark; each sends what was typed, as typed."""

    number_typed = Signal(str)
    diameter_typed = Signal(str)
    crossing_typed = Signal(str)
    tie_typed = Signal(object)
    untie_wanted = Signal()
    aside_wanted = Signal(str)
    complained = Signal(str)
    kind_chosen = Signal(str)
    text_typed = Signal(str)
    delete_wanted = Signal()
    budget_wanted = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inner = QFrame()
        inner.setProperty("panel", True)
        self.setWidget(inner)
        self._box = QVBoxLayout(inner)
        self._box.setContentsMargins(theme.GRID * 2, theme.GRID, theme.GRID * 2, theme.GRID * 2)
        self._body: QWidget | None = None
        self._shown: Shown | None = None
        self.budget_open = False
        """Whether the budget is unfolded; it stays so from mark to mark."""

    def show_mark(self, shown: Shown | None) -> None:
        """Write down another mark; typing in progress is left alone when nothing changed."""
        if self._shown == shown and self._body is not None:
            return
        before = self._shown
        same = bool(shown and before) and _place(shown) == _place(before)
        held = self._held() if same else ""
        self._shown = shown
        if self._body is not None:
            while self._box.takeAt(0) is not None:
                pass
            self._body.hide()
            self._body.deleteLater()
        self._body = self._empty() if shown is None else self._form(shown)
        self._box.addWidget(self._body)
        self._box.addStretch()
        if not same:
            self.verticalScrollBar().setValue(0)
        elif held:
            self._hold(held)

    def _held(self) -> str:
        """The name of the field that the keyboard is in, if it is one of these."""
        inside = self.focusWidget()
        return inside.accessibleName() if inside is not None and inside.hasFocus() else ""

    def _hold(self, name: str) -> None:
        """Give the keyboard back to the field of that name, written anew."""
        assert self._body is not None
        fields = self._body.findChildren(QWidget)
        field = next((field for field in fields if field.accessibleName() == name), None)
        if field is not None:
            field.setFocus()

    def unfold_budget(self, unfold: bool) -> None:
        """Show or hide the budget: the window gives it on request, since it costs a moment."""
        self.budget_open = unfold
        self.budget_wanted.emit(unfold)

    def _empty(self) -> QWidget:
        label = QLabel(
            "Click near an apex to mark a bar. Then type its known depth and press Enter."
        )
        label.setWordWrap(True)
        label.setProperty("quiet", True)
        return label

    def _form(self, shown: Shown) -> QWidget:
        body, mark, unit = QWidget(), shown.mark, shown.unit
        form = QFormLayout(body)
        form.setContentsMargins(0, 0, 0, 0)
        form.setSpacing(theme.GRID)
        title = QLabel(_title(mark, shown.anchor))
        title.setProperty("heading", True)
        form.addRow(title)
        for name, value in shown.known:
            written = QLabel(value)
            written.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            form.addRow(name, written)
        if not isinstance(mark, NoteMark):
            self._budget(form, shown)
            form.addRow(self._tie(shown))
        self._own_fields(form, mark, unit)
        delete = QPushButton("Delete")
        delete.clicked.connect(self.delete_wanted)
        form.addRow(delete)
        return body

    def _own_fields(self, form: QFormLayout, mark: Mark, unit: LengthUnit) -> None:
        """What only this kind of mark has."""
        if isinstance(mark, BarMark):
            self._line(form, "Number", str(mark.number), self.number_typed.emit)
            diameter = f"{from_mm(mark.diameter_mm, unit):.4g} {unit}"
            self._line(form, "Diameter", diameter, self.diameter_typed.emit)
            crossing = self._line(
                form, "Crossing angle", f"{mark.crossing_deg:g}°", self.crossing_typed.emit
            )
            crossing.setToolTip("Between the bar and the line, 20 to 90 degrees; 90 is square")
        elif isinstance(mark, TargetMark):
            self._kind(form, mark)
        elif isinstance(mark, NoteMark):
            self._line(form, "Text", mark.text, self.text_typed.emit)

    def _budget(self, form: QFormLayout, shown: Shown) -> None:
        fold = QToolButton()
        fold.setText("Budget")
        fold.setToolTip("What contributes to the uncertainties, and how much")
        fold.setAccessibleName("Budget")
        fold.setCheckable(True)
        fold.setChecked(self.budget_open)
        fold.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        fold.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        fold.setArrowType(Qt.ArrowType.DownArrow if self.budget_open else Qt.ArrowType.RightArrow)
        fold.setProperty("fold", True)
        fold.clicked.connect(self.unfold_budget)
        form.addRow(fold)
        if self.budget_open:
            form.addRow(BudgetView(shown.budgets, shown.unit))

    def _kind(self, form: QFormLayout, mark: TargetMark) -> None:
        kind = QComboBox()
        kind.setAccessibleName("Kind")
        kind.addItems([name.capitalize() for name in KINDS])
        kind.setCurrentIndex(KINDS.index(mark.what))
        kind.activated.connect(lambda index: self.kind_chosen.emit(KINDS[index]))
        form.addRow("Kind", kind)

    def _line(
        self, form: QFormLayout, label: str, text: str, send: Callable[[str], object]
    ) -> QLineEdit:
        field = QLineEdit(text)
        field.setAccessibleName(label)
        field.returnPressed.connect(lambda: send(field.text()))
        form.addRow(label, field)
        return field

    def _tie(self, shown: Shown) -> TieEditor:
        mark = shown.mark
        editor = TieEditor(
            tie_of(mark, shown.anchor),
            USUAL_ORIGIN[mark.kind],
            shown.unit,
            shown.reading_u_mm,
            isinstance(mark, BarMark),
        )
        editor.tie_typed.connect(self.tie_typed)
        editor.complained.connect(self.complained)
        editor.untie_wanted.connect(self.untie_wanted)
        editor.aside_wanted.connect(self.aside_wanted)
        return editor


def _place(shown: Shown | None) -> tuple[str, int | None] | None:
    return (shown.mark.id, shown.anchor) if shown else None


def _title(mark: Mark, anchor: int | None) -> str:
    name = mark_words(mark)
    name = f"{name[:1].upper()}{name[1:]}"
    return f"{name}, anchor {(anchor or 0) + 1}" if isinstance(mark, FaceMark) else name
