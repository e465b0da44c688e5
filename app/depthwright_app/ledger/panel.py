"""The ledger: what speaks about the depths, as intervals on one axis, and what is adopted."""

from PySide6.QtCore import QCoreApplication, QEvent, Qt, QTimer, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from depthwright.errors import DepthwrightError
from depthwright.job import Job
from depthwright.results import words
from depthwright.results.values import Results
from depthwright.units import LengthUnit, parse_plain
from depthwright_app import theme
from depthwright_app.ledger.evidence_table import EvidenceTable
from depthwright_app.ledger.outlook_table import OutlookTable


class Ledger(QScrollArea):
    """The right side of the window."""

    permittivity_typed = Signal(float, float)
    permittivity_cleared = Signal()
    complained = Signal(str)
    keep_changed = Signal(bool)
    curvature_changed = Signal(bool)
    chosen = Signal(object)
    """The place of a known depth whose row was clicked."""
    aside_wanted = Signal(object, str)
    antenna_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setMinimumWidth(280)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inner = QFrame()
        inner.setProperty("panel", True)
        self.setWidget(inner)
        self.value = QLabel()
        self.velocity = _quiet()
        self.footing = _wrapped()
        self.evidence = EvidenceTable()
        self.outlook = OutlookTable()
        self.moved = _wrapped()
        self.antenna = _quiet()
        self.messages = _wrapped()
        self.warnings = _wrapped()
        self.warnings.setProperty("warning", True)
        self.field = QLineEdit()
        self.keep = QCheckBox("Keep it beside the others")
        self._layout(QVBoxLayout(inner))
        # What needs the outlook is written once the rest is on screen, since that takes a moment. The
        # timer is owned by this panel, so that it ends with it.
        self._later = QTimer(self, singleShot=True, interval=0)
        self._later.timeout.connect(self._show_outlook)
        self._shown: tuple[Results, LengthUnit] | None = None
        self._read_out = self.value.font()
        self.field.returnPressed.connect(self._enter)
        self.keep.clicked.connect(self.keep_changed)
        self.evidence.chosen.connect(self.chosen)
        self.evidence.aside_wanted.connect(self.aside_wanted)
        self.evidence.curvature_wanted.connect(self.curvature_changed)
        self.evidence.complained.connect(self.complained)

    def _layout(self, box: QVBoxLayout) -> None:
        box.setContentsMargins(2 * theme.GRID, 2 * theme.GRID, 2 * theme.GRID, 2 * theme.GRID)
        box.setSpacing(theme.GRID)
        box.addWidget(_heading("Permittivity adopted"))
        box.addWidget(self.value)
        box.addWidget(self.velocity)
        box.addWidget(self.footing)
        box.addWidget(self.warnings)
        box.addSpacing(theme.GRID)
        box.addWidget(_heading("Evidence"))
        box.addWidget(self.evidence)
        note = _quiet()
        note.setText(
            "Permittivity that each row alone would give, with U (k = 2). For reading: what is adopted "
            "comes from all together."
        )
        box.addWidget(note)
        box.addSpacing(theme.GRID)
        box.addWidget(_heading("What a reading would bring"))
        box.addWidget(self.outlook)
        box.addSpacing(theme.GRID)
        box.addWidget(_heading("Type a permittivity"))
        self.field.setAccessibleName("Permittivity")
        self.field.setPlaceholderText("7.0 ± 1.5")
        self.field.setToolTip(
            "Value and standard uncertainty, like 8.1 ± 0.5. Or drag the depth ruler."
        )
        box.addWidget(self.field)
        box.addWidget(self.keep)
        box.addSpacing(theme.GRID)
        box.addWidget(_heading("What moved"))
        box.addWidget(self.moved)
        box.addSpacing(theme.GRID)
        row = QHBoxLayout()
        row.addWidget(_heading("Line and antenna"))
        row.addStretch()
        change = QPushButton("Change…")
        change.setAccessibleName("Change line and antenna")
        change.clicked.connect(self.antenna_wanted)
        row.addWidget(change)
        box.addLayout(row)
        box.addWidget(self.antenna)
        box.addSpacing(theme.GRID)
        box.addWidget(self.messages)
        box.addStretch()

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self.evidence.show_look(look)

    def show_font(self, font: QFont) -> None:
        """The read-out's size follows the system's."""
        self._read_out = theme.sized(font, 1.6, QFont.Weight.Medium)
        self._set_value()

    def show_results(self, job: Job, results: Results, antenna: str, moved: str) -> None:
        """Write down other results."""
        self.velocity.setText(
            f"{results.velocity_mm_per_ns:.1f} mm/ns"
            + (", provisional" if results.provisional else "")
        )
        self.warnings.setText("\n\n".join(f"⚠ Warning: {said}" for said in results.warnings))
        self.warnings.setVisible(bool(results.warnings))
        self.evidence.show_results(job, results)
        self.moved.setText(moved or "Nothing yet.")
        self.antenna.setText(antenna)
        self.messages.setText("\n".join(f"• {message}" for message in results.messages))
        zone = job.zones[0]
        if not self.field.hasFocus():
            self.field.setText(
                f"{zone.permittivity:g} ± {zone.permittivity_u:g}" if zone.typed else ""
            )
        self.keep.setChecked(zone.keep)
        self._shown = (results, job.unit)
        self._set_value()
        self._later.start()

    def _set_value(self) -> None:
        """The permittivity, in italics while it is provisional; the label's font goes with each new look."""
        if self._shown is not None:
            results, _ = self._shown
            self._read_out.setItalic(results.provisional)
            self.value.setText(words.permittivity_words(results))
        self.value.setFont(self._read_out)

    def _show_outlook(self) -> None:
        """How good the depths are, and what a reading would bring."""
        if self._shown is not None:
            results, unit = self._shown
            self.footing.setText(words.footing(results, unit))
            self.outlook.show_outlook(results.outlook, unit)
            # Laid out at once, so that nothing moves a second time.
            QCoreApplication.sendPostedEvents(None, QEvent.Type.LayoutRequest)

    def _enter(self) -> None:
        if not self.field.text().strip():
            self.permittivity_cleared.emit()
            return
        try:
            value, spread = parse_plain(self.field.text())
        except DepthwrightError as problem:
            self.complained.emit(str(problem))
            return
        self.permittivity_typed.emit(value, spread if spread is not None else 0.0)


def _heading(text: str) -> QLabel:
    label = QLabel(text)
    label.setProperty("heading", True)
    return label


def _quiet() -> QLabel:
    label = _wrapped()
    label.setProperty("quiet", True)
    return label


def _wrapped() -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return label
