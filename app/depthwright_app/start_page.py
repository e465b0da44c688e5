"""What stands in the middle when no section can be shown: the next step, or why there is none."""

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from depthwright_app import theme

MOST_SHOWN = 4
TEXT_PX = 520


class StartPage(QFrame):
    """A heading, a sentence, and what can be opened."""

    open_wanted = Signal()
    demo_wanted = Signal()
    recent_wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.heading = QLabel()
        self.heading.setProperty("heading", True)
        self.sentence = QLabel()
        self.sentence.setWordWrap(True)
        self.sentence.setProperty("quiet", True)
        self.open = QPushButton("Open a line or a job…")
        self.open.setProperty("primary", True)
        self.open.clicked.connect(self.open_wanted)
        self.demo = QPushButton("Open the demo job")
        self.demo.clicked.connect(self.demo_wanted)
        self.recent = QVBoxLayout()
        self.recent.setSpacing(theme.GRID // 2)
        column = QWidget()
        column.setMaximumWidth(TEXT_PX)
        box = QVBoxLayout(column)
        box.setSpacing(2 * theme.GRID)
        box.addStretch(2)
        box.addWidget(self.heading)
        box.addWidget(self.sentence)
        buttons = QHBoxLayout()
        buttons.addWidget(self.open)
        buttons.addWidget(self.demo)
        buttons.addStretch()
        box.addLayout(buttons)
        box.addLayout(self.recent)
        box.addStretch(3)
        across = QHBoxLayout(self)
        across.addStretch()
        across.addWidget(column, 100)
        across.addStretch()

    def show_start(self, recent: tuple[str, ...]) -> None:
        """Nothing is open yet."""
        self.heading.setText("Nothing is open yet")
        self.sentence.setText(
            "Open a line scan (SEG-Y, CSV, .npy or HDF5), or drop one on this window. Then click near the "
            "apex of a bar, type its known depth and press Enter."
        )
        self._buttons(visible=True, recent=recent[:MOST_SHOWN])

    def show_reason(self, heading: str, sentence: str) -> None:
        """The line is there, its scan is not (yet)."""
        self.heading.setText(heading)
        self.sentence.setText(sentence)
        self._buttons(visible=False, recent=())

    def show_look_font(self, factor: float = 1.3) -> None:
        """The heading's size follows the system's."""
        self.heading.setFont(theme.sized(self.font(), factor))

    def _buttons(self, *, visible: bool, recent: tuple[str, ...]) -> None:
        self.open.setVisible(visible)
        self.demo.setVisible(visible)
        while (item := self.recent.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.deleteLater()
        for path in recent:
            button = QPushButton(path)
            button.setFlat(True)
            button.setToolTip("Opened lately")
            button.clicked.connect(lambda _=False, chosen=path: self.recent_wanted.emit(chosen))
            self.recent.addWidget(button, alignment=Qt.AlignmentFlag.AlignLeft)
