"""The sheet of incoming files: what each says, what was made of it and why; to confirm or to correct.

One sheet serves a whole batch. Nothing is read here but on request: a file is looked at before.
"""

from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QMessageBox,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from depthwright.depth.priors import ANTENNA_SEPARATION_MM
from depthwright.errors import DepthwrightError
from depthwright.files.antenna_card import read_card
from depthwright.files.facts import FileFacts
from depthwright.job import Antenna, Job
from depthwright.units import format_length, from_mm
from depthwright_app import theme
from depthwright_app.dialogs.import_picture import SmallPicture
from depthwright_app.dialogs.import_words import (
    antenna_choice,
    facts_html,
    quiet_label,
)
from depthwright_app.dialogs.line_sheet import CARD_FILTER
from depthwright_app.dialogs.readings_panel import ReadingsPanel
from depthwright_app.dialogs.sheet_parts import add_buttons, heading
from depthwright_app.importing import Incoming, interval_ns, spacing_mm, told

LIST_PX, LEFT_PX, RIGHT_PX, HEIGHT_PX = 200, 400, 525, 640
AS_READ = "As the file says"


class ImportSheet(QDialog):
    """Shows incoming files; once accepted, :attr:`incoming` holds them with what was said of each.

    Parameters
    ----------
    incoming
        The files, at least one.
    job
        The job they go into.
    cards
        Antenna cards used lately.
    look
        The window's colours.
    """

    def __init__(
        self,
        parent: QWidget | None,
        incoming: Sequence[Incoming],
        job: Job,
        cards: Sequence[Path],
        look: theme.Look,
    ) -> None:
        super().__init__(parent)
        self.incoming = list(incoming)
        self.card_used: Path | None = None
        self._unit, self._look = job.unit, look
        self._antennas: list[tuple[str, Antenna | Path | None]] = [(AS_READ, None)]
        self._antennas += [(antenna_choice(a, job), a) for a in reversed(job.antennas)]
        self._antennas += [(f"Card {path.stem}", path) for path in cards]
        self.setWindowTitle(
            f"Add {incoming[0].path.name}" if len(incoming) == 1 else f"Add {len(incoming)} scans"
        )
        self._as_they_came = list(incoming)
        self._make_fields()
        self._place()
        self.resize(self.minimumSizeHint().width(), HEIGHT_PX)
        self.files.setCurrentRow(next((i for i, f in enumerate(incoming) if not f.problem), 0))
        self._point_at_what_is_open()

    # What it is made of.

    def _make_fields(self) -> None:
        self.files = QListWidget()
        self.files.setAccessibleName("Files")
        self.files.addItems(["" for _ in self.incoming])
        self.files.currentRowChanged.connect(lambda _: self._show())
        self.picture = SmallPicture(self._unit, self._look)
        self.readings = ReadingsPanel(self._look)
        self.readings.chosen.connect(lambda dt_ns: self._say(dt_ns=dt_ns))
        self.facts = QLabel()
        self.facts.setTextFormat(Qt.TextFormat.RichText)
        self.facts.setWordWrap(True)
        self.facts.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.facts.setAccessibleName("What the file says")
        self.facts.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.window_ns = _field("Time window, ns", self._type_window)
        self.interval_ps = _field("Sample interval, ps", self._type_interval)
        self.spacing = _field("Distance between traces", self._type_spacing)
        self.length = quiet_label("")
        self.antenna_note = quiet_label("")
        self.traces_in = QComboBox()
        self.traces_in.addItems(["rows", "columns"])
        self.traces_in.setAccessibleName("Traces are the matrix's")
        self.traces_in.activated.connect(
            lambda _: self._say(traces_in=self.traces_in.currentText())
        )
        self.data_set = QComboBox()
        self.data_set.setAccessibleName("Data set")
        self.data_set.activated.connect(lambda _: self._say(data_set=self.data_set.currentText()))
        self.antenna = QComboBox()
        self.antenna.setAccessibleName("Antenna")
        self.antenna.addItems([words for words, _ in self._antennas])
        self.antenna.currentIndexChanged.connect(lambda _: self._show_antenna())
        self.card = QPushButton("Load a card…")
        self.card.setAutoDefault(False)
        self.card.clicked.connect(self._ask_card)
        self.for_all = QCheckBox("Also for the other files, where they say the same or nothing")
        self.for_all.setChecked(True)
        self.complaint = QLabel()
        self.complaint.setWordWrap(True)

    def _place(self) -> None:
        across = QHBoxLayout()
        across.setSpacing(2 * theme.GRID)
        if len(self.incoming) > 1:
            self.files.setFixedWidth(LIST_PX)
            self.files.setWordWrap(True)
            self.files.setSpacing(theme.GRID // 2)
            across.addWidget(self.files)
        across.addLayout(self._left())
        self.right = QWidget()
        self.right.setLayout(self._right())
        across.addWidget(self.right)
        box = QVBoxLayout(self)
        box.setContentsMargins(*(4 * (3 * theme.GRID,)))
        box.setSpacing(2 * theme.GRID)
        box.addLayout(across)
        box.addWidget(self.complaint)
        many = len([file for file in self.incoming if not file.problem])
        add_buttons(self, box, self._accept, f"Add {many} lines" if many > 1 else "Add the line")

    def _left(self) -> QVBoxLayout:
        left = QVBoxLayout()
        left.setSpacing(theme.GRID)
        scroll = QScrollArea()
        scroll.setWidget(self.facts)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setMinimumHeight(180)
        for widget in (
            self.picture,
            heading("What the file says, and what was made of it"),
            scroll,
        ):
            widget.setMinimumWidth(LEFT_PX)
            left.addWidget(widget)
        return left

    def _right(self) -> QVBoxLayout:
        right = QVBoxLayout()
        right.setSpacing(theme.GRID)
        right.setContentsMargins(0, 0, 0, 0)
        self.readings.setMinimumWidth(RIGHT_PX)
        right.addWidget(self.readings)
        form = QFormLayout()
        form.setSpacing(theme.GRID)
        form.addRow("Time window, ns", self.window_ns)
        form.addRow("or sample interval, ps", self.interval_ps)
        form.addRow("Distance between traces", self.spacing)
        form.addRow("", self.length)
        self.traces_row = QLabel("Traces are the matrix's")
        form.addRow(self.traces_row, self.traces_in)
        self.data_row = QLabel("Data set")
        form.addRow(self.data_row, self.data_set)
        antenna = QHBoxLayout()
        antenna.addWidget(self.antenna, 1)
        antenna.addWidget(self.card)
        form.addRow("Antenna", antenna)
        form.addRow(self.antenna_note)
        right.addLayout(form)
        if len(self.incoming) > 1:
            right.addWidget(self.for_all)
        right.addStretch()
        return right

    # What it shows.

    @property
    def shown(self) -> Incoming:
        """The file whose facts are shown."""
        return self.incoming[max(self.files.currentRow(), 0)]

    def _show(self) -> None:
        """Everything anew, from what is known of the file shown."""
        for row, file in enumerate(self.incoming):
            self.files.item(row).setText(f"{file.path.name}\n{file.state_words}")
        file = self.shown
        self._show_numbers(file)
        self._show_seen(file)
        self._show_antenna()
        self.complaint.setText("")

    def _show_numbers(self, file: Incoming) -> None:
        dt_ns, spacing_mm = file.dt_ns, file.spacing_mm
        window_ns = None if dt_ns is None else file.samples * dt_ns
        self.window_ns.setText("" if window_ns is None else f"{window_ns:.6g}")
        self.interval_ps.setText("" if dt_ns is None else f"{1e3 * dt_ns:.6g}")
        self.spacing.setText("" if spacing_mm is None else self._length(spacing_mm))
        self.length.setText(self._length_words(file))

    def _show_antenna(self) -> None:
        """Whether the antenna that is chosen leaves the separation open."""
        seen = self.shown.glance
        told = seen is None or seen.scan.separation_mm is not None
        own = self._antennas[self.antenna.currentIndex()][1] is None
        assumed = format_length(ANTENNA_SEPARATION_MM, self._unit)
        served = len(self._antennas) > 1 and "the job's antenna of this frequency serves, else "
        self.antenna_note.setText(
            f"Separation not told: {served or ''}{assumed} is assumed. Load a card, or type it later "
            "(Ctrl+L)."
            if own and not told
            else ""
        )

    def _show_seen(self, file: Incoming) -> None:
        seen = file.glance
        self.picture.setVisible(seen is not None)
        self.right.setVisible(seen is not None)
        self.readings.show_file(file)
        if seen is None:
            self.facts.setText(escape(file.problem))
        else:
            dt_ns = file.dt_ns
            window_ns = None if dt_ns is None else file.samples * dt_ns
            self.picture.show_traces(seen.traces, file.length_mm, window_ns)
            self.facts.setText(facts_html(seen.facts.rows, self._look))
        self._show_matrix(None if seen is None else seen.facts)

    def _show_matrix(self, facts: FileFacts | None) -> None:
        """What only a matrix leaves open: how it lies, and which of several it is."""
        is_matrix = facts is not None and facts.traces_in is not None
        self.traces_row.setVisible(is_matrix)
        self.traces_in.setVisible(is_matrix)
        if facts is not None and facts.traces_in is not None:
            self.traces_in.setCurrentText(facts.traces_in)
        sets = facts.data_sets if facts else ()
        self.data_row.setVisible(len(sets) > 1)
        self.data_set.setVisible(len(sets) > 1)
        if [self.data_set.itemText(i) for i in range(self.data_set.count())] != list(sets):
            self.data_set.clear()
            self.data_set.addItems(list(sets))
        self.data_set.setCurrentIndex(0)  # the one that is read

    def _length(self, value_mm: float) -> str:
        return f"{round(from_mm(value_mm, self._unit), 4):.8g} {self._unit}"

    def _length_words(self, file: Incoming) -> str:
        if file.glance is None or file.length_mm is None:
            return "Type it like 5 mm."
        return f"{file.glance.scan.traces} traces, a line of {format_length(file.length_mm, self._unit)}"

    # What is said in it.

    def _say(self, **changes: object) -> None:
        """Something is said of the file shown, and of others like it if that is wanted.

        A file that cannot be read that way stays as it was.
        """
        refused, shown = [], self.shown
        for row, file in enumerate(self.incoming):
            like = self.for_all.isChecked() and all(
                file.is_told_with(shown, name) for name in changes
            )
            if file is shown or like:
                said = told(file, file.given.model_copy(update=changes))
                if said.problem:
                    refused.append(said.problem)
                else:
                    self.incoming[row] = said
        self._show()
        self.complaint.setText(" ".join(refused))

    def _type_window(self) -> None:
        samples = self.shown.samples
        self._typed(self.window_ns, "dt_ns", lambda text: interval_ns(text, 1.0 / samples))

    def _type_interval(self) -> None:
        self._typed(self.interval_ps, "dt_ns", lambda text: interval_ns(text, 1e-3))

    def _type_spacing(self) -> None:
        self._typed(self.spacing, "trace_spacing_mm", lambda text: spacing_mm(text, self._unit))

    def _typed(self, field: QLineEdit, name: str, read: Callable[[str], float]) -> None:
        """What was typed is said; with nothing in the field, the file's own word counts again."""
        text = field.text().strip()
        try:
            value = read(text) if text else None
        except DepthwrightError as problem:
            field.setModified(True)  # it is still to be heard before a line is added
            self.complaint.setText(str(problem))
            return
        self._say(**{name: value})

    def _ask_card(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Antenna card", "", CARD_FILTER)
        if name:
            self.load_card(Path(name))

    def load_card(self, path: Path) -> None:
        """Choose the antenna of a card."""
        try:
            card = read_card(path, "card")
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        self.complaint.setText("")
        self._antennas.append((f"Card {path.stem}: {card.name}", path))
        self.antenna.addItem(self._antennas[-1][0])
        self.antenna.setCurrentIndex(len(self._antennas) - 1)

    def _point_at_what_is_open(self) -> None:
        """The keyboard goes to the first field that has to be filled in."""
        file = self.shown
        if file.open_words:
            (self.window_ns if file.dt_ns is None else self.spacing).setFocus()

    def reject(self) -> None:
        """What was said of several files is not put away by a single key."""
        buttons = QMessageBox.StandardButton
        if len(self.incoming) > 1 and self.incoming != self._as_they_came:
            sure = QMessageBox.question(
                self, "Scans not added", "What you said of these files is forgotten then."
            )
            if sure != buttons.Yes:
                return
        super().reject()

    def _accept(self) -> None:
        # What stands in a field that was not left has not been heard yet.
        for field in (self.window_ns, self.interval_ps, self.spacing):
            if field.isModified():
                field.editingFinished.emit()
                if self.complaint.text():
                    return
        for row, file in enumerate(self.incoming):
            if file.open_words:
                self.files.setCurrentRow(row)
                self._show()
                self.complaint.setText(
                    f"{file.path.name} does not tell its {file.open_words}. Type what you know of it."
                )
                self._point_at_what_is_open()
                return
        try:
            self.chosen_antenna()
        except DepthwrightError as problem:
            self.complaint.setText(str(problem))
            return
        self.accept()

    def chosen_antenna(self) -> Antenna | None:
        """The antenna that was chosen; None for what the files say.

        Raises
        ------
        DepthwrightError
            When its card cannot be read.
        """
        _, chosen = self._antennas[self.antenna.currentIndex()]
        if isinstance(chosen, Path):
            self.card_used = chosen
            return read_card(chosen, "card")
        return chosen


def _field(name: str, heard: Callable[[], None]) -> QLineEdit:
    """A field that is heard once something else than what it showed has been typed."""
    field = QLineEdit()
    field.setAccessibleName(name)

    def finished() -> None:
        if field.isModified():
            field.setModified(False)
            heard()

    field.editingFinished.connect(finished)
    return field
