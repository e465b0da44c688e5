"""All evidence on one axis, with the adopted interval as a band through every row."""

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QVBoxLayout, QWidget

from depthwright.job import Job
from depthwright.results.values import Results
from depthwright_app import theme
from depthwright_app.ledger.evidence_row import EDGE_PX, EvidenceLine, along
from depthwright_app.ledger.items import Item, axis_range, evidence_items

MOST_TICKS = 8


class EvidenceTable(QWidget):
    """Rows of evidence with their intervals (U, k = 2) on one permittivity axis."""

    chosen = Signal(object)
    aside_wanted = Signal(object, str)
    curvature_wanted = Signal(bool)
    complained = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Evidence about the permittivity")
        self.lines: list[EvidenceLine] = []
        self.items: tuple[Item, ...] = ()
        self._shown = (1.0, 2.0)
        self._look = theme.LIGHT
        self._box = QVBoxLayout(self)
        self._box.setSpacing(0)

    def show_results(self, job: Job, results: Results) -> None:
        """Write down other rows; rows that stay keep what is being typed in them."""
        items = evidence_items(job, results)
        if items == self.items:
            return
        keys = [item.key for item in items]
        if keys != [item.key for item in self.items]:
            self._make_lines(items)
        self.items, self._shown = items, axis_range(items)
        for line, item in zip(self.lines, items, strict=True):
            line.show_item(item, self._shown)
        self._box.setContentsMargins(0, 0, 0, self._axis_px())
        self.update()

    def _make_lines(self, items: tuple[Item, ...]) -> None:
        for old in self.lines:
            self._box.removeWidget(old)
            old.hide()
            old.deleteLater()
        self.lines = [EvidenceLine(item) for item in items]
        for line in self.lines:
            line.show_look(self._look)
            line.chosen.connect(self.chosen)
            line.aside_wanted.connect(self.aside_wanted)
            line.curvature_wanted.connect(self.curvature_wanted)
            line.complained.connect(self.complained)
            self._box.addWidget(line)

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self._look = look
        for line in self.lines:
            line.show_look(look)
        self.update()

    def _axis_px(self) -> int:
        return QFontMetrics(self.font()).height() + theme.GRID

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """The adopted interval behind the rows, and the axis under them."""
        if not self.items:
            return
        painter = QPainter(self)
        bottom = self.height() - self._axis_px()
        adopted = self.items[-1].interval
        assert adopted is not None
        low, high = (along(end, self._shown, self.width()) for end in adopted)
        tint = QColor(self._look.accent)
        tint.setAlpha(36)
        painter.fillRect(QRectF(low, 0, high - low, bottom), tint)
        self._axis(painter, bottom)
        painter.end()

    def _axis(self, painter: QPainter, top: int) -> None:
        painter.setPen(QPen(QColor(self._look.hairline), 1))
        painter.drawLine(EDGE_PX, top, self.width() - EDGE_PX, top)
        painter.setPen(QColor(self._look.quiet))
        painter.setFont(theme.sized(self.font(), 0.85))
        for value in ticks(*self._shown):
            where = along(value, self._shown, self.width())
            painter.drawLine(round(where), top, round(where), top + 4)
            words = f"{value:g}"
            wide = painter.fontMetrics().horizontalAdvance(words) + 2
            left = min(max(where - wide / 2, 0.0), self.width() - wide)
            box = QRectF(left, top + 4, wide, self._axis_px() - 4)
            painter.drawText(box, Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop, words)


def ticks(low: float, high: float) -> list[float]:
    """Round permittivities between two ends."""
    step = next(s for s in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50) if (high - low) / s <= MOST_TICKS)
    first = -int(-low // step)
    return [round(step * n, 6) for n in range(first, int(high // step) + 1)]
