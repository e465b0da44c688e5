"""Offers edits that a former run has left: go on with them, delete them, or decide later."""

from collections.abc import Callable

from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QMessageBox,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from depthwright.errors import DepthwrightError
from depthwright.files.recovery import Recoveries, Recovery
from depthwright_app import theme

WIDTH_PX = 560


class RecoverySheet(QDialog):
    """Once accepted, :attr:`chosen` is what to go on with; what is closed otherwise is offered again.

    Parameters
    ----------
    left
        What was left, at least one that can be gone on with; of what cannot, its sentences.
    forget
        Deletes one; may raise :class:`DepthwrightError`.
    """

    def __init__(
        self, parent: QWidget, left: Recoveries, forget: Callable[[Recovery], None]
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Edits that were not saved")
        self.chosen: Recovery | None = None
        self._found, self._forget = list(left.found), forget
        told = QLabel("The program ended before these edits were saved. They are still here.")
        told.setWordWrap(True)
        self.list = QListWidget()
        self.list.setAccessibleName("Edits that were not saved")
        self.list.setWordWrap(True)
        self.list.setSpacing(theme.GRID // 2)
        for recovery in left.found:
            what = recovery.origin_words()
            self.list.addItem(f"{recovery.words}\n{what}" if what else recovery.words)
        self.list.setCurrentRow(0)
        self.complaint = QLabel(" ".join(left.findings))
        self.complaint.setWordWrap(True)
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        for widget in (told, self.list, self.complaint):
            box.addWidget(widget)
        box.addLayout(self._buttons())
        self.resize(WIDTH_PX, self.sizeHint().height())

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        delete, later = QPushButton("Delete the selected…"), QPushButton("Decide later")
        go_on = QPushButton("Go on with them")
        go_on.setProperty("primary", True)
        go_on.setDefault(True)
        delete.clicked.connect(self._delete)
        later.clicked.connect(self.reject)
        go_on.clicked.connect(self._go_on)
        for button in (delete, later):
            button.setAutoDefault(False)
        row.addWidget(delete)
        row.addStretch()
        row.addWidget(later)
        row.addWidget(go_on)
        return row

    def _go_on(self) -> None:
        self.chosen = self._found[self.list.currentRow()]
        self.accept()

    def _delete(self) -> None:
        row = self.list.currentRow()
        sure = QMessageBox.question(
            self, "Delete edits", f"These edits are gone then.\n\n{self._found[row].words}"
        )
        if sure != QMessageBox.StandardButton.Yes:
            return
        try:
            self._forget(self._found[row])
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        del self._found[row]
        self.list.takeItem(row)
        if not self._found:
            self.reject()
