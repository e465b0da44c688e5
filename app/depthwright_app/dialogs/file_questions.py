"""Asks for what a scan's file does not say: trace spacing, sample interval."""

from collections.abc import Sequence

from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLabel,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Need
from depthwright.job import Given
from depthwright.units import LengthUnit, parse_length_mm, parse_plain
from depthwright_app import theme


class FileQuestions(QDialog):
    """One field for each thing that is missing."""

    def __init__(
        self, parent: QWidget, name: str, sentence: str, needs: Sequence[Need], unit: LengthUnit
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"About {name}")
        self.trace_spacing_mm: float | None = None
        self.dt_ns: float | None = None
        self._unit: LengthUnit = unit
        self.spacing = QLineEdit()
        self.spacing.setPlaceholderText("5 mm")
        self.interval = QLineEdit()
        self.interval.setPlaceholderText("20")
        self.complaint = QLabel()
        self.complaint.setWordWrap(True)
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        told = QLabel(sentence)
        told.setWordWrap(True)
        told.setMinimumWidth(380)
        box.addWidget(told)
        form = QFormLayout()
        if "trace_spacing" in needs:
            form.addRow("Distance between traces", self.spacing)
        if "sample_interval" in needs:
            form.addRow("Sample interval, ps", self.interval)
        box.addLayout(form)
        box.addWidget(self.complaint)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Open | QDialogButtonBox.StandardButton.Cancel
        )
        buttons.accepted.connect(self._accept)
        buttons.rejected.connect(self.reject)
        box.addWidget(buttons)
        self._needs = needs

    def given(self, before: Given) -> Given:
        """What was said before, with what has been typed here."""
        typed = {"trace_spacing_mm": self.trace_spacing_mm, "dt_ns": self.dt_ns}
        return before.model_copy(update={k: v for k, v in typed.items() if v is not None})

    def _accept(self) -> None:
        try:
            if "trace_spacing" in self._needs:
                self.trace_spacing_mm = parse_length_mm(self.spacing.text(), self._unit)
            if "sample_interval" in self._needs:
                self.dt_ns = parse_plain(self.interval.text())[0] * 1e-3
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        if min(value for value in (self.trace_spacing_mm, self.dt_ns) if value is not None) <= 0:
            self.complaint.setText("Both are more than zero.")
            return
        self.accept()
