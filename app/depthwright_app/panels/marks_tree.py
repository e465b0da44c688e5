"""Lines and their marks as a tree; choosing one selects it everywhere."""

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent
from PySide6.QtWidgets import QHeaderView, QTreeWidget, QTreeWidgetItem, QWidget

from depthwright.job import Job, NoteMark, Tie
from depthwright.results.values import LineRows, Results
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
        self.header().setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
        self.setAccessibleName("Lines and marks")
        self.setMinimumWidth(290)
        self.setIndentation(14)
        self.setUniformRowHeights(True)
        self.currentItemChanged.connect(self._current)
        self.installEventFilter(self)
        self._filling = False

    def show_job(
        self,
        job: Job,
        results: Results,
        line_id: str,
        selection: Selection | None,
        missing: set[str],
    ) -> None:
        """Write the tree down again and point at the selection."""
        self._filling = True
        self.clear()
        current = None
        for line in job.lines:
            gone = "  (scan missing)" if line.id in missing else ""
            top = QTreeWidgetItem([line.name + gone, ""])
            top.setData(0, PLACE, line.id)
            font = QFont(self.font())
            font.setWeight(QFont.Weight.DemiBold if line.id == line_id else QFont.Weight.Normal)
            top.setFont(0, font)
            self.addTopLevelItem(top)
            if line.id == line_id and selection is None:
                current = top
            for place, words, depth in _entries(job, results.lines[line.id], line.id):
                item = QTreeWidgetItem([words, depth])
                item.setData(0, PLACE, place)
                item.setTextAlignment(1, Qt.AlignmentFlag.AlignRight)
                if results.provisional:
                    slanted = QFont(self.font())
                    slanted.setItalic(True)
                    item.setFont(1, slanted)
                top.addChild(item)
                if place == selection:
                    current = item
            top.setExpanded(True)
        if current is not None:
            self.setCurrentItem(current)
            self.scrollToItem(current)
        self._filling = False

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


def _entries(job: Job, rows: LineRows, line_id: str) -> list[tuple[Selection, str, str]]:
    """Marks in the order they lie, with what the user calls them and their depth."""
    unit = job.unit
    line = job.line(line_id)
    marks = {mark.id: mark for mark in line.marks}
    entries = []
    for bar in rows.bars:
        depth = format_interval(bar.cover.value_mm, bar.cover.expanded_mm, unit, 1)
        tied = _tied(tie_of(marks[bar.mark_id], None))
        entries.append((Selection(line_id, bar.mark_id), f"Bar {bar.number}{tied}", depth))
    for face in rows.faces:
        name = mark_words(marks[face.mark_id]).capitalize()
        for place, anchor in enumerate(face.anchors):
            depth = format_interval(anchor.depth.value_mm, anchor.depth.expanded_mm, unit, 1)
            tied = _tied(tie_of(marks[face.mark_id], place))
            words = f"{name}, anchor {place + 1}{tied}"
            entries.append((Selection(line_id, face.mark_id, place), words, depth))
    for target in rows.targets:
        depth = format_interval(target.depth.value_mm, target.depth.expanded_mm, unit, 1)
        mark = marks[target.mark_id]
        words = f"{mark_words(mark).capitalize()}{_tied(tie_of(mark, None))}"
        entries.append((Selection(line_id, target.mark_id), words, depth))
    entries.extend(
        (Selection(line_id, mark.id), f"Note: {mark.text}", "")
        for mark in line.marks
        if isinstance(mark, NoteMark)
    )
    return entries


def _tied(tie: Tie | None) -> str:
    if tie is None:
        return ""
    return "  tied" if tie.used else "  tie set aside"
