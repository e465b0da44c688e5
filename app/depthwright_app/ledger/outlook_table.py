"""What a reading would bring: the uncertainty of the deepest depth with each further reading."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLabel, QVBoxLayout, QWidget

from depthwright.results.values import Outlook
from depthwright.units import LengthUnit, format_interval
from depthwright_app import theme
from depthwright_app.wording import spread_words, unbroken


class OutlookTable(QWidget):
    """A small table; the row of what is known now stands out."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shown: tuple[Outlook | None, LengthUnit] | None = None
        self._box = QVBoxLayout(self)
        self._box.setContentsMargins(0, 0, 0, 0)
        self._body: QWidget | None = None

    def show_outlook(self, outlook: Outlook | None, unit: LengthUnit) -> None:
        """Write down another outlook."""
        if (outlook, unit) == self._shown:
            return
        self._shown = (outlook, unit)
        if self._body is not None:
            self._box.removeWidget(self._body)
            self._body.hide()
            self._body.deleteLater()
        self._body = _empty() if outlook is None else _table(outlook, unit)
        self._box.addWidget(self._body)

    def words(self) -> list[tuple[str, str]]:
        """What the table says, row by row."""
        labels = [] if self._body is None else self._body.findChildren(QLabel)
        texts = [label.text() for label in labels]
        return list(zip(texts[::2], texts[1::2], strict=True)) if len(texts) > 1 else []


def _empty() -> QWidget:
    return _label("Mark a bar or the back face to see it.", quiet=True)


def _table(outlook: Outlook, unit: LengthUnit) -> QWidget:
    body = QWidget()
    grid = QGridLayout(body)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(2 * theme.GRID)
    grid.setVerticalSpacing(4)
    grid.setColumnStretch(0, 1)
    now = next(row.expanded_mm for row in outlook.rows if row.now)
    deep = format_interval(outlook.deep.value_mm, now, unit)
    rows = [(f"For {outlook.deep_label}, now {unbroken(deep)}", "U (k = 2)", False)]
    rows += [(row.what, spread_words(row.expanded_mm, unit), row.now) for row in outlook.rows]
    for index, (what, spread, now) in enumerate(rows):
        left = _label(f"{what[:1].upper()}{what[1:]}", quiet=not now)
        right = _label(spread, quiet=not now)
        right.setWordWrap(False)
        right.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
        for label in (left, right):
            label.setProperty("heading", now)
        grid.addWidget(left, index, 0)
        grid.addWidget(right, index, 1)
    return body


def _label(text: str, quiet: bool) -> QLabel:
    label = QLabel(text)
    label.setWordWrap(True)
    label.setProperty("quiet", quiet)
    return label
