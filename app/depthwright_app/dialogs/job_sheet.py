"""The sheet of the job: name, note, specified cover."""

from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLabel,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.job import Job
from depthwright.units import from_mm, parse_length_mm
from depthwright_app import theme


class JobSheet(QDialog):
    """Edits a copy; :meth:`change` gives the edit of the job once it was accepted."""

    def __init__(self, parent: QWidget, job: Job) -> None:
        super().__init__(parent)
        self.setWindowTitle("Job")
        self._unit = job.unit
        self._specified = specified = job.specified_cover_mm
        self._shown = "" if specified is None else f"{from_mm(specified, job.unit):g} {job.unit}"
        self.name = QLineEdit(job.name)
        self.note = QLineEdit(job.note)
        self.cover = QLineEdit(self._shown)
        self.cover.setPlaceholderText("none")
        for field in (self.name, self.note, self.cover):
            field.setMinimumWidth(460)
            field.setCursorPosition(0)
        self.complaint = QLabel()
        self.complaint.setWordWrap(True)
        form = QFormLayout()
        form.setSpacing(theme.GRID)
        form.addRow("Name", self.name)
        form.addRow("Note", self.note)
        form.addRow("Specified cover", self.cover)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel
        )
        buttons.accepted.connect(self._accept)
        buttons.rejected.connect(self.reject)
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        box.addLayout(form)
        box.addWidget(self.complaint)
        box.addWidget(buttons)

    def _accept(self) -> None:
        text = self.cover.text().strip()
        if text == self._shown:  # which is rounded, so what is not touched stays as it was
            self.accept()
            return
        try:
            self._specified = parse_length_mm(text, self._unit) if text else None
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        if self._specified == 0:
            self.complaint.setText("A specified cover is more than zero. Leave it empty for none.")
            return
        self.accept()

    def change(self, job: Job) -> Job:
        """The edit of the job that was accepted."""
        return edits.change_job(
            job,
            name=self.name.text().strip() or job.name,
            note=self.note.text().strip(),
            specified_cover_mm=self._specified,
        )
