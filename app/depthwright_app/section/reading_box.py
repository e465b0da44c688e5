"""The small box at a mark that takes a known depth: digits, Enter."""

from PySide6.QtCore import QEvent, QObject, QPoint, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QLineEdit, QVBoxLayout, QWidget

from depthwright_app import theme

_ELSEWHERE = (Qt.FocusReason.ActiveWindowFocusReason, Qt.FocusReason.PopupFocusReason)
"""Looking the reading up in another window, or the field's own menu, does not discard it."""

WIDEST_PX = 320


class ReadingBox(QFrame):
    """Says what it ties, takes a length, and gives it on Enter; Esc or a click elsewhere discards."""

    entered = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("reading")
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.title = QLabel()
        self.title.setProperty("heading", True)
        self.field = QLineEdit()
        self.field.setObjectName("reading field")
        self.field.setAccessibleName("Known depth")
        self.field.setMinimumWidth(120)
        self.unit = QLabel()
        self.hint = QLabel()
        self.hint.setProperty("quiet", True)
        self.hint.setWordWrap(True)
        self._at = QPoint()
        row = QHBoxLayout()
        row.addWidget(self.field)
        row.addWidget(self.unit)
        box = QVBoxLayout(self)
        box.setContentsMargins(theme.GRID, theme.GRID, theme.GRID, theme.GRID)
        box.setSpacing(4)
        box.addWidget(self.title)
        box.addLayout(row)
        box.addWidget(self.hint)
        self.field.returnPressed.connect(self._enter)
        self.field.installEventFilter(self)
        self.hide()

    def ask(self, at: QPoint, title: str, hint: str, unit: str, first: str) -> None:
        """Open beside a place of the parent with the digit that was typed."""
        self.title.setText(title)
        self.hint.setText(hint)
        self.unit.setText(unit)
        self.field.setText(first)
        self._at = at
        self._place()
        self.show()
        self.raise_()
        self.field.setFocus()
        self.field.deselect()
        self.field.end(False)

    def discard(self) -> None:
        """Close without a word."""
        if self.isVisible():
            self.hide()
            parent = self.parentWidget()
            if parent is not None:
                parent.setFocus()

    def complain(self, sentence: str) -> None:
        """Stay open and say what is wrong with the text."""
        self.hint.setText(sentence)
        self._place()

    def _place(self) -> None:
        """Beside the mark, inside the parent; as wide as its words want, up to a point."""
        parent = self.parentWidget()
        assert parent is not None
        words = self.hint.fontMetrics().horizontalAdvance(self.hint.text())
        self.hint.setFixedWidth(min(words + 4, WIDEST_PX))
        self.adjustSize()
        left = min(max(self._at.x() + 20, 4), parent.width() - self.width() - 4)
        top = min(max(self._at.y() - self.height() // 2, 4), parent.height() - self.height() - 4)
        self.move(left, top)

    def _enter(self) -> None:
        self.entered.emit(self.field.text())

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Esc discards; leaving the field discards."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            if event.key() == Qt.Key.Key_Escape:
                self.discard()
                return True
        elif (
            isinstance(event, QFocusEvent)
            and event.type() == QEvent.Type.FocusOut
            and event.reason() not in _ELSEWHERE
        ):
            self.hide()
        return super().eventFilter(watched, event)
