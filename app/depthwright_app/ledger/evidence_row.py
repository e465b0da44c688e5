"""One row of the ledger: words and value, the interval under them, and what can be switched."""

from PySide6.QtCore import QEvent, QObject, QPointF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from depthwright_app import theme
from depthwright_app.ledger.items import Item
from depthwright_app.wording import NO_REASON, unbroken

Range = tuple[float, float]
EDGE_PX = 4
"""Room beside the axis for markers at its ends."""


def along(value: float, shown: Range, width: int) -> float:
    """Pixels of a permittivity on an axis of some width; beyond its ends, the end."""
    low, high = shown
    part = (min(max(value, low), high) - low) / (high - low)
    return EDGE_PX + (width - 2 * EDGE_PX) * part


class IntervalBar(QWidget):
    """An interval with its middle: filled when it counts, hollow and dotted when not."""

    def __init__(self) -> None:
        super().__init__()
        self._item: Item | None = None
        self._shown: Range = (1.0, 2.0)
        self.look = theme.LIGHT
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:  # noqa: N802
        """As high as its marker."""
        return QSize(120, 2 * theme.GRID)

    def show_item(self, item: Item, shown: Range) -> None:
        """Draw another interval."""
        self._item, self._shown = item, shown
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Line, ends, marker."""
        item = self._item
        if item is None or item.interval is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colour = self._colour(item)
        style = Qt.PenStyle.SolidLine if item.used else Qt.PenStyle.DotLine
        painter.setPen(QPen(colour, 2.5 if item.kind == "adopted" else 1.5, style))
        height = self.height() / 2
        ends = [along(end, self._shown, self.width()) for end in item.interval]
        painter.drawLine(QPointF(ends[0], height), QPointF(ends[1], height))
        painter.setPen(QPen(colour, 1.5))
        for end, value, way in zip(ends, item.interval, (-1, 1), strict=True):
            inside = self._shown[0] <= value <= self._shown[1]
            self._end(painter, QPointF(end, height), 0 if inside else way)
        if self._shown[0] <= item.middle <= self._shown[1]:
            self._marker(painter, item, colour, height)
        painter.end()

    def _colour(self, item: Item) -> QColor:
        if item.kind == "adopted":
            return QColor(self.look.accent)
        return QColor(self.look.text if item.used else self.look.quiet)

    def _end(self, painter: QPainter, at: QPointF, way: int) -> None:
        """A stop, or an arrow where the interval goes on beyond the axis."""
        if way == 0:
            painter.drawLine(at - QPointF(0, 4), at + QPointF(0, 4))
            return
        for up in (-4, 4):
            painter.drawLine(at, at + QPointF(-5 * way, up))

    def _marker(self, painter: QPainter, item: Item, colour: QColor, height: float) -> None:
        at = QPointF(along(item.middle, self._shown, self.width()), height)
        painter.setBrush(colour if item.used else QColor(self.look.panel))
        if item.kind == "focusing":
            painter.setBrush(QColor(self.look.panel))
            steps = ((0, -6), (6, 0), (0, 6), (-6, 0))
            painter.drawPolygon(QPolygonF([at + QPointF(*step) for step in steps]))
        else:
            painter.drawEllipse(at, 4.0, 4.0)


class EvidenceLine(QFrame):
    """A row. One of a tie selects its mark when it is clicked, or by Enter."""

    chosen = Signal(object)
    aside_wanted = Signal(object, str)
    """The place of the known depth and the reason; an empty reason uses it again."""
    curvature_wanted = Signal(bool)
    complained = Signal(str)

    def __init__(self, item: Item) -> None:
        super().__init__()
        self.item = item
        self.title, self.detail, self.note = _text(), _text("quiet"), _text("quiet")
        self.value = QLabel()
        self.value.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
        self.bar = IntervalBar()
        self.action = QPushButton()
        self.action.setProperty("link", True)
        self.action.setCursor(Qt.CursorShape.PointingHandCursor)
        self.count = QCheckBox("Counts")
        self.reason = QLineEdit()
        self.reason.setPlaceholderText("Why it is set aside, then Enter")
        self.reason.setAccessibleName("Reason for setting it aside")
        self.reason.hide()
        if item.kind == "adopted":
            self.title.setProperty("heading", True)
            self.value.setProperty("heading", True)
        if item.place is not None:
            self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            self.setCursor(Qt.CursorShape.PointingHandCursor)
        self._layout()
        self.action.clicked.connect(self._act)
        self.count.clicked.connect(self.curvature_wanted)
        self.reason.returnPressed.connect(self._give_reason)
        self.reason.installEventFilter(self)

    def _layout(self) -> None:
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 6, 0, 6)
        box.setSpacing(2)
        for left, right in (
            (self.title, (self.value,)),
            (self.detail, (self.action, self.count)),
        ):
            row = QHBoxLayout()
            row.setSpacing(theme.GRID)
            row.addWidget(left, 1)
            for widget in right:
                row.addWidget(widget, 0, Qt.AlignmentFlag.AlignTop)
            box.addLayout(row)
        box.addWidget(self.bar)
        box.addWidget(self.note)
        box.addWidget(self.reason)

    def show_item(self, item: Item, shown: Range) -> None:
        """Write down the row as it is now; a reason being typed stays."""
        self.item = item
        self.title.setText(item.title)
        self.detail.setText(unbroken(item.detail))
        self.value.setText(item.value)
        for label in (self.title, self.value):
            label.setEnabled(item.used)
        self.bar.show_item(item, shown)
        self.bar.setVisible(item.interval is not None)
        self.note.setText("" if item.used else item.note)
        self.note.setVisible(bool(self.note.text()))
        self.setToolTip(item.note)
        said = (item.title, item.detail, item.value, "" if item.used else "not counted", item.note)
        self.setAccessibleName(", ".join(part for part in said if part))
        self._show_switch(item)

    def _show_switch(self, item: Item) -> None:
        tie = item.switch in ("set aside", "use again")
        self.action.setVisible(tie)
        self.action.setText("Set aside…" if item.switch == "set aside" else "Use again")
        self.action.setAccessibleName(f"{self.action.text()} {item.title}")
        self.count.setVisible(item.kind == "curvature")
        self.count.setAccessibleName("Curvature counts")
        self.count.setChecked(item.switch == "curvature off")
        self.detail.setVisible(bool(item.detail) or bool(item.switch))
        if item.switch != "set aside":
            self.reason.hide()

    def show_look(self, look: theme.Look) -> None:
        """Pens for a light or a dark window."""
        self.bar.look = look
        self.bar.update()

    def _act(self) -> None:
        if self.item.switch == "use again":
            self.aside_wanted.emit(self.item.place, "")
            return
        self.reason.clear()
        self.reason.setVisible(not self.reason.isVisible())
        self.reason.setFocus()

    def _give_reason(self) -> None:
        if not self.reason.text().strip():
            self.complained.emit(NO_REASON)
            return
        self.aside_wanted.emit(self.item.place, self.reason.text().strip())

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Esc in the reason puts it away."""
        escaped = (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.KeyPress
            and event.key() == Qt.Key.Key_Escape
        )
        if escaped:
            self.reason.hide()
            return True
        return super().eventFilter(watched, event)

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """A click selects the mark that was measured."""
        if event.button() == Qt.MouseButton.LeftButton and self.item.place is not None:
            self.chosen.emit(self.item.place)
        else:
            super().mousePressEvent(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Enter selects it too."""
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and self.item.place is not None:
            self.chosen.emit(self.item.place)
        else:
            super().keyPressEvent(event)


def _text(role: str = "") -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    if role:
        label.setProperty(role, True)
    return label
