"""The budget of a mark: what contributes to its uncertainties, each source with its share as a bar."""

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPalette
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from depthwright.units import LengthUnit
from depthwright_app import theme
from depthwright_app.budget import Budget, Part
from depthwright_app.wording import spread_words


class ShareBar(QWidget):
    """A share of a variance as a length."""

    def __init__(self, share: float) -> None:
        super().__init__()
        self._share = share
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:  # noqa: N802
        """A thin bar."""
        return QSize(60, 5)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """The share in the accent, the rest as a hairline."""
        painter = QPainter(self)
        palette = self.palette()
        painter.fillRect(QRectF(0, 2, self.width(), 1), palette.color(QPalette.ColorRole.Mid))
        accent = QColor(palette.color(QPalette.ColorRole.Highlight))
        painter.fillRect(QRectF(0, 0, max(1.0, self.width() * self._share), 5), accent)
        painter.end()


class BudgetView(QWidget):
    """Budgets under each other, with one line on how they add up."""

    def __init__(self, budgets: tuple[Budget, ...], unit: LengthUnit) -> None:
        super().__init__()
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, theme.GRID)
        box.setSpacing(theme.GRID)
        for budget in budgets:
            box.addWidget(_table(budget, unit))
        words = "Squares of the contributions add up to the square of u; U = 2u."
        box.addWidget(_label(words if budgets else "Without a depth there is no budget.", "quiet"))


def _table(budget: Budget, unit: LengthUnit) -> QWidget:
    body = QWidget()
    body.setAccessibleName(f"Budget: {budget.what}")
    grid = QGridLayout(body)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(theme.GRID)
    grid.setVerticalSpacing(1)
    grid.setColumnStretch(0, 1)
    total = f"u = {spread_words(budget.u_mm, unit)},  U = {spread_words(2 * budget.u_mm, unit)}"
    head = QHBoxLayout()
    head.addWidget(_label(budget.what, "heading"), 1)
    head.addWidget(_number(total, "heading"))
    grid.addLayout(head, 0, 0, 1, 3)
    for index, part in enumerate(budget.parts):
        _part(grid, 1 + 2 * index, part, unit)
    return body


def _part(grid: QGridLayout, row: int, part: Part, unit: LengthUnit) -> None:
    grid.addWidget(_label(f"{part.source[:1].upper()}{part.source[1:]}"), row, 0)
    grid.addWidget(_number(spread_words(part.u_mm, unit)), row, 1)
    percent = 100 * part.share
    grid.addWidget(_number(f"{percent:.0f} %" if percent >= 1 else "< 1 %", "quiet"), row, 2)
    grid.addWidget(ShareBar(part.share), row + 1, 0, 1, 3)


def _label(text: str, role: str = "") -> QLabel:
    label = QLabel(text)
    label.setWordWrap(True)
    if role:
        label.setProperty(role, True)
    return label


def _number(text: str, role: str = "") -> QLabel:
    label = _label(text, role)
    label.setWordWrap(False)
    label.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
    return label
