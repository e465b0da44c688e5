"""Lines and their marks as a tree; choosing one selects it everywhere."""

from typing import NamedTuple

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent
from PySide6.QtWidgets import QHeaderView, QTreeWidget, QTreeWidgetItem, QWidget

from depthwright.job import Job, Line, NoteMark, Tie
from depthwright.results.values import Measured, Results
from depthwright.units import format_interval
from depthwright_app.document import mark_words, tie_of
from depthwright_app.job_state import Selection

PLACE = Qt.ItemDataRole.UserRole


class MarksTree(QTreeWidget):
    """What there is, with its depth."""

    chosen = Signal(object)
    line_chosen = Signal(str)
    typed = Signal(str)
    delete_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setColumnCount(2)
        self.setHeaderLabels(["Lines and marks", "Depth"])
        self.header().setStretchLastSection(False)
        self.header().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        # Fitted once all is written: it would be measured anew at every text.
        self.header().setSectionResizeMode(1, QHeaderView.ResizeMode.Fixed)
        self.setAccessibleName("Lines and marks")
        self.setMinimumWidth(230)
        self.setIndentation(14)
        self.setUniformRowHeights(True)
        self.currentItemChanged.connect(self._current)
        self.installEventFilter(self)
        self._filling = False
        self._rows: list[_Row] = []
        self._items: list[QTreeWidgetItem] = []
        self._font = ""

    def show_job(
        self,
        job: Job,
        results: Results,
        line_id: str,
        selection: Selection | None,
        missing: set[str],
    ) -> None:
        """Write down what differs, or all again when there are other marks, and point at the selection."""
        rows = [
            row
            for line in job.lines
            for row in _rows(job, results, line, line.id == line_id, line.id in missing)
        ]
        self._filling = True
        font = self.font().key()
        if font != self._font or [row.place for row in rows] != [row.place for row in self._rows]:
            self._font = font
            self._make(rows)
        else:
            for item, row, before in zip(self._items, rows, self._rows, strict=True):
                if row != before:
                    self._write(item, row)
        self._rows = rows
        wanted = line_id if selection is None else selection
        places = zip(self._items, rows, strict=True)
        current = next((item for item, row in places if row.place == wanted), None)
        self.resizeColumnToContents(1)
        if current is not None:
            self.setCurrentItem(current)
            self.scrollToItem(current)
        else:
            self.selectionModel().clear()
        self._filling = False

    def _make(self, rows: "list[_Row]") -> None:
        """All items anew; lines are on top, their marks below them."""
        self.clear()
        self._items = [QTreeWidgetItem() for _ in rows]
        tops: list[QTreeWidgetItem] = []
        for item, row in zip(self._items, rows, strict=True):
            item.setData(0, PLACE, row.place)
            self._write(item, row)
            if isinstance(row.place, str):
                tops.append(item)
            else:
                item.setTextAlignment(1, Qt.AlignmentFlag.AlignRight)
                tops[-1].addChild(item)
        self.addTopLevelItems(tops)
        for top in tops:
            top.setExpanded(True)

    def _write(self, item: QTreeWidgetItem, row: "_Row") -> None:
        item.setText(0, row.words)
        item.setText(1, row.depth)
        if isinstance(row.place, str):
            font = QFont(self.font())
            font.setWeight(QFont.Weight.DemiBold if row.emphasis else QFont.Weight.Normal)
            item.setFont(0, font)
        else:
            font = QFont(self.font())
            font.setItalic(row.emphasis)
            item.setFont(1, font)

    def _current(self, item: QTreeWidgetItem | None, _: QTreeWidgetItem | None) -> None:
        if self._filling or item is None:
            return
        place = item.data(0, PLACE)
        if isinstance(place, Selection):
            self.chosen.emit(place)
        else:
            self.line_chosen.emit(place)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """A digit starts a reading here too, instead of a search."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            text = event.text()
            if text and (text.isdecimal() or text in ".,"):
                self.typed.emit(text)
                return True
            if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
                self.delete_wanted.emit()
                return True
        return super().eventFilter(watched, event)


class _Row(NamedTuple):
    """A line (by its id) or a mark: what is written, and whether it is bold or slanted."""

    place: str | Selection
    words: str
    depth: str
    emphasis: bool


def _rows(job: Job, results: Results, line: Line, shown: bool, missing: bool) -> list[_Row]:
    """A line, then its marks in the order they lie, with what the user calls them and their depth."""
    marks = {mark.id: mark for mark in line.marks}
    found, rows = results.lines[line.id], [_line_row(line, shown, missing)]

    def add(mark_id: str, anchor: int | None, words: str, depth: Measured | None) -> None:
        place = Selection(line.id, mark_id, anchor)
        tied = _tied(tie_of(marks[mark_id], anchor))
        written = ""
        if depth is not None:
            written = format_interval(depth.value_mm, depth.expanded_mm, job.unit, 1)
        rows.append(_Row(place, f"{words}{tied}", written, results.provisional))

    for bar in found.bars:
        add(bar.mark_id, None, f"Bar {bar.number}", bar.cover)
    for face in found.faces:
        name = mark_words(marks[face.mark_id]).capitalize()
        for index, anchor in enumerate(face.anchors):
            add(face.mark_id, index, f"{name}, anchor {index + 1}", anchor.depth)
    for target in found.targets:
        add(target.mark_id, None, mark_words(marks[target.mark_id]).capitalize(), target.depth)
    for mark in line.marks:
        if isinstance(mark, NoteMark):
            add(mark.id, None, f"Note: {mark.text}", None)
    return rows


def _line_row(line: Line, shown: bool, missing: bool) -> _Row:
    return _Row(line.id, line.name + ("  (scan not shown)" if missing else ""), "", shown)


def _tied(tie: Tie | None) -> str:
    if tie is None:
        return ""
    return "  tied" if tie.used else "  tie set aside"
