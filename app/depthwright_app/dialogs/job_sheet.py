"""The sheet of the job: name, note, specified cover, medium, cover meter."""

from PySide6.QtWidgets import (
    QComboBox,
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
from depthwright.job import Job, Medium
from depthwright.units import from_mm, parse_length_mm, parse_plain
from depthwright_app import theme

MEDIA: dict[Medium, str] = {"concrete": "concrete", "other": "other (no typical permittivity)"}


class JobSheet(QDialog):
    """Edits a copy; :meth:`change` gives the edit of the job once it was accepted."""

    def __init__(self, parent: QWidget, job: Job) -> None:
        super().__init__(parent)
        self.setWindowTitle("Job")
        self._job, self._unit = job, job.unit
        meter, specified = job.meters[0], job.specified_cover_mm
        self._shown_cover = "" if specified is None else self._length(specified)
        self._shown_reading = self._length(meter.reading_u_mm)
        self._shown_shared = f"{100 * meter.shared:g} %"
        self.name, self.note = _field(job.name), _field(job.note)
        self.cover = _field(self._shown_cover)
        self.cover.setPlaceholderText("none")
        self.medium = QComboBox()
        self.medium.addItems(list(MEDIA.values()))
        self.medium.setCurrentIndex(list(MEDIA).index(job.zones[0].medium))
        self.medium.setAccessibleName("Medium")
        self.reading = _field(self._shown_reading)
        self.reading.setAccessibleName("Standard uncertainty of a reading")
        self.shared = _field(self._shown_shared)
        self.shared.setAccessibleName("Shared by all readings")
        self.complaint = QLabel()
        self.complaint.setWordWrap(True)
        self._layout()

    def _length(self, value_mm: float) -> str:
        return f"{from_mm(value_mm, self._unit):g} {self._unit}"

    def _layout(self) -> None:
        form, meter = QFormLayout(), QFormLayout()
        form.addRow("Name", self.name)
        form.addRow("Note", self.note)
        form.addRow("Specified cover", self.cover)
        form.addRow("Medium", self.medium)
        meter.addRow("Standard uncertainty of a reading", self.reading)
        meter.addRow("Of a reading's variance, shared by all readings", self.shared)
        words = QLabel(
            "What all readings share, such as the meter's setting or its last check, does not average "
            "out over several bars."
        )
        words.setWordWrap(True)
        words.setProperty("quiet", True)
        heading = QLabel("Cover meter")
        heading.setProperty("heading", True)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel
        )
        buttons.accepted.connect(self._accept)
        buttons.rejected.connect(self.reject)
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        for layout in (form, meter):
            layout.setSpacing(theme.GRID)
        box.addLayout(form)
        box.addWidget(heading)
        box.addLayout(meter)
        box.addWidget(words)
        box.addWidget(self.complaint)
        box.addWidget(buttons)

    def _accept(self) -> None:
        try:
            self.change(self._job)
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        self.accept()

    def _typed_cover_mm(self) -> float | None:
        text = self.cover.text().strip()
        if text == self._shown_cover:  # which is rounded, so what is not touched stays as it was
            return self._job.specified_cover_mm
        cover_mm = parse_length_mm(text, self._unit) if text else None
        if cover_mm == 0:
            raise DepthwrightError(
                "A specified cover is more than zero.", "Leave it empty for none."
            )
        return cover_mm

    def _typed_reading_mm(self) -> float:
        if self.reading.text() == self._shown_reading:
            return self._job.meters[0].reading_u_mm
        reading_u_mm = parse_length_mm(self.reading.text(), self._unit)
        if reading_u_mm == 0:
            raise DepthwrightError("No reading is exact.", "Type its uncertainty, like 1 mm.")
        return reading_u_mm

    def _typed_shared(self) -> float:
        if self.shared.text() == self._shown_shared:
            return self._job.meters[0].shared
        percent = parse_plain(self.shared.text().strip().removesuffix("%"))[0]
        if not 0 <= percent < 100:
            raise DepthwrightError(
                "The shared part of a reading's variance is from 0 to less than 100 %.",
                "Type it like 50 %.",
            )
        return percent / 100

    def change(self, job: Job) -> Job:
        """The edit of the job that was accepted.

        Raises
        ------
        DepthwrightError
            When a field holds what cannot be.
        """
        meter = job.meters[0].model_copy(
            update={"reading_u_mm": self._typed_reading_mm(), "shared": self._typed_shared()}
        )
        changed = edits.change_job(
            job,
            name=self.name.text().strip() or job.name,
            note=self.note.text().strip(),
            specified_cover_mm=self._typed_cover_mm(),
            meters=(meter, *job.meters[1:]),
        )
        medium = list(MEDIA)[self.medium.currentIndex()]
        return edits.change_zone(changed, job.zones[0].id, medium=medium)


def _field(text: str) -> QLineEdit:
    field = QLineEdit(text)
    field.setMinimumWidth(380)
    field.setCursorPosition(0)
    return field
