"""The ledger: what speaks about the depths, as intervals on one axis, and what is adopted."""

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from depthwright.errors import DepthwrightError
from depthwright.job import Job
from depthwright.results import words
from depthwright.results.values import EvidenceRow, Results
from depthwright.units import format_plain, parse_plain
from depthwright_app import theme


@dataclass(frozen=True)
class _Span:
    label: str
    middle: float
    expanded: float
    used: bool
    adopted: bool


class EvidenceAxis(QWidget):
    """Rows of evidence with their intervals (U, k = 2) on one permittivity axis."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._spans: tuple[_Span, ...] = ()
        self._look = theme.LIGHT
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Evidence about the permittivity")

    def show_results(self, results: Results) -> None:
        """Draw other rows."""
        rows = [_span(row) for row in results.evidence]
        adopted = _Span(
            "Adopted", results.permittivity, 2 * results.permittivity_u, used=True, adopted=True
        )
        self._spans = (*rows, adopted)
        self.setToolTip(
            "\n".join(f"{s.label}: {format_plain(s.middle, s.expanded)}" for s in self._spans)
        )
        self.updateGeometry()
        self.update()

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self._look = look
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        """Two text lines a row, and the axis."""
        return QSize(220, len(self._spans) * self._row_px() + self._axis_px())

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """As high as the rows need."""
        return self.sizeHint()

    def _row_px(self) -> int:
        return 2 * QFontMetrics(self.font()).height() + theme.GRID

    def _axis_px(self) -> int:
        return QFontMetrics(self.font()).height() + theme.GRID

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """One row per piece of evidence, the adopted interval as a band through all."""
        if not self._spans:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        low, high = self._range()
        adopted = self._spans[-1]
        band = QRectF(
            self._at(max(adopted.middle - adopted.expanded, low), low, high),
            0,
            0,
            self.height() - self._axis_px(),
        )
        band.setRight(self._at(min(adopted.middle + adopted.expanded, high), low, high))
        tint = QColor(self._look.accent)
        tint.setAlpha(40)
        painter.fillRect(band, tint)
        for index, span in enumerate(self._spans):
            self._row(painter, span, index * self._row_px(), low, high)
        self._axis(painter, low, high)
        painter.end()

    def _range(self) -> tuple[float, float]:
        low = min(span.middle - span.expanded for span in self._spans)
        high = max(span.middle + span.expanded for span in self._spans)
        return max(1.0, low - 0.5), min(100.0, high + 0.5)

    def _at(self, value: float, low: float, high: float) -> float:
        inner = self.width() - 2 * theme.GRID
        return theme.GRID + inner * (value - low) / (high - low)

    def _row(self, painter: QPainter, span: _Span, top: int, low: float, high: float) -> None:
        metrics = QFontMetrics(self.font())
        font = QFont(self.font())
        font.setWeight(QFont.Weight.DemiBold if span.adopted else QFont.Weight.Normal)
        painter.setFont(font)
        painter.setPen(QColor(self._look.text if span.used else self._look.quiet))
        value = format_plain(span.middle, span.expanded)
        width = self.width() - 2 * theme.GRID
        value_px = QFontMetrics(font).horizontalAdvance(value)
        label = span.label if span.used else f"{span.label} (set aside)"
        label = metrics.elidedText(
            label, Qt.TextElideMode.ElideRight, width - value_px - 2 * theme.GRID
        )
        base = top + metrics.ascent() + 2
        painter.drawText(theme.GRID, base, label)
        painter.drawText(self.width() - theme.GRID - value_px, base, value)
        middle = top + metrics.height() + metrics.height() / 2
        colour = QColor(self._look.accent if span.adopted else self._look.text)
        if not span.used:
            colour = QColor(self._look.quiet)
        style = Qt.PenStyle.SolidLine if span.used else Qt.PenStyle.DotLine
        painter.setPen(QPen(colour, 2.5 if span.adopted else 1.5, style))
        left = self._at(max(span.middle - span.expanded, low), low, high)
        right = self._at(min(span.middle + span.expanded, high), low, high)
        painter.drawLine(QPointF(left, middle), QPointF(right, middle))
        painter.setBrush(colour)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawEllipse(QPointF(self._at(span.middle, low, high), middle), 4, 4)

    def _axis(self, painter: QPainter, low: float, high: float) -> None:
        top = self.height() - self._axis_px()
        painter.setPen(QPen(QColor(self._look.hairline), 1))
        painter.drawLine(theme.GRID, top, self.width() - theme.GRID, top)
        painter.setPen(QColor(self._look.quiet))
        painter.setFont(theme.sized(self.font(), 0.85))
        step = next(step for step in (1, 2, 5, 10, 20, 50) if (high - low) / step <= 8)
        for value in range(-(-int(low + 1) // step) * step, int(high) + 1, step):
            where = self._at(value, low, high)
            painter.drawLine(QPointF(where, top), QPointF(where, top + 4))
            box = QRectF(where - 15, top + 4, 30, self._axis_px() - 4)
            painter.drawText(
                box, Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop, str(value)
            )


def _span(row: EvidenceRow) -> _Span:
    return _Span(row.label, row.permittivity, 2 * row.permittivity_u, row.used, adopted=False)


class Ledger(QScrollArea):
    """The right side of the window."""

    permittivity_typed = Signal(float, float)
    permittivity_cleared = Signal()
    complained = Signal(str)
    keep_changed = Signal(bool)
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
        self.axis = EvidenceAxis()
        self.moved = _wrapped()
        self.antenna = _quiet()
        self.messages = _wrapped()
        self.warnings = _wrapped()
        self.warnings.setProperty("warning", True)
        self.field = QLineEdit()
        self.keep = QCheckBox("Keep it as evidence beside ties")
        self._layout(QVBoxLayout(inner))
        self.field.returnPressed.connect(self._enter)
        self.keep.clicked.connect(self.keep_changed)

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
        box.addWidget(self.axis)
        note = _quiet()
        note.setText(
            "Each row alone, with U (k = 2): twice the standard uncertainty that is typed. For reading; "
            "depths come from all together."
        )
        box.addWidget(note)
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
        self.axis.show_look(look)

    def show_font(self, font: QFont) -> None:
        """The read-out's size follows the system's."""
        self.value.setFont(theme.sized(font, 1.6, QFont.Weight.Medium))

    def show_results(self, job: Job, results: Results, antenna: str, moved: str) -> None:
        """Write down other results."""
        self.value.setText(words.permittivity_words(results))
        font = self.value.font()
        font.setItalic(results.provisional)
        self.value.setFont(font)
        self.velocity.setText(
            f"{results.velocity_mm_per_ns:.1f} mm/ns"
            + (", provisional" if results.provisional else "")
        )
        self.footing.setText(words.footing(results, job.unit))
        self.warnings.setText("\n\n".join(f"⚠ Warning: {said}" for said in results.warnings))
        self.warnings.setVisible(bool(results.warnings))
        self.axis.show_results(results)
        self.moved.setText(moved or "Nothing yet.")
        self.antenna.setText(antenna)
        self.messages.setText("\n".join(f"• {message}" for message in results.messages))
        zone = job.zones[0]
        if not self.field.hasFocus():
            self.field.setText(
                f"{zone.permittivity:g} ± {zone.permittivity_u:g}" if zone.typed else ""
            )
        self.keep.setChecked(zone.keep)

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
