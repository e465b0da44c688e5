"""The message strip: what happened and what to do, and the read-out under the pointer."""

import qtawesome
from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QPushButton, QWidget

from depthwright_app import theme

SHORT_MS = 300
"""Work that ends sooner shows no progress."""
TOPIC_WORDS = {
    "image": "Until this is done a long line is shown by one of every so many traces.",
    "export": "Images and tables are being written.",
    "pack": "The job is being packed.",
    "unpack": "The job is being unpacked.",
    "propose": "Bars and the back face are being looked for.",
    "accept": "What was proposed is being marked.",
    "look at files": "Files are being looked at.",
}
"""What is under way, by the topic of background work."""


class MessageStrip(QFrame):
    """The bottom of the window."""

    stop_wanted = Signal(str)
    """The topic of work that the user does not want to wait for."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("strip")
        self.icon = QLabel()
        self.message = QLabel()
        self.message.setAccessibleName("Message")
        self.message.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.message.setWordWrap(True)
        self.progress = QProgressBar()
        self.progress.setFixedWidth(160)
        self.progress.setRange(0, 100)
        self.cancel = QPushButton("Cancel")
        self.cancel.clicked.connect(self._stop)
        self.place = QLabel()
        self.place.setAccessibleName("Place under the pointer")
        self.place.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        row = QHBoxLayout(self)
        row.setContentsMargins(2 * theme.GRID, 4, 2 * theme.GRID, 4)
        row.setSpacing(theme.GRID)
        row.addWidget(self.icon)
        row.addWidget(self.message, 1)
        row.addWidget(self.progress)
        row.addWidget(self.cancel)
        row.addWidget(self.place)
        # Room for two lines of text at all times: a strip that grows resizes the section above it.
        self.setMinimumHeight(2 * self.message.fontMetrics().lineSpacing() + 2 * theme.GRID)
        self._look = theme.LIGHT
        self._under_way: dict[str, float] = {}
        self._shown_soon = QTimer(self)
        self._shown_soon.setSingleShot(True)
        self._shown_soon.setInterval(SHORT_MS)
        self._shown_soon.timeout.connect(self._show_bar)
        self._show_bar()

    def show_look(self, look: theme.Look) -> None:
        """Icons in the window's colours."""
        self._look = look

    def say(self, sentence: str, warning: bool) -> None:
        """Show a sentence; a warning carries an icon and the word."""
        if warning:
            self.icon.setPixmap(
                qtawesome.icon("fa6s.triangle-exclamation", color=self._look.text).pixmap(16, 16)
            )
        else:
            self.icon.clear()
        self.icon.setVisible(warning)
        self.message.setText(f"Warning: {sentence}" if warning else sentence)

    def show_place(self, words: str) -> None:
        """Distance, time and depth under the pointer."""
        self.place.setText(words)

    def show_progress(self, topic: str, fraction: float | None) -> None:
        """How far slow work has come, or None once it has ended; the latest begun is shown."""
        if fraction is None:
            self._under_way.pop(topic, None)
        else:
            self._under_way[topic] = fraction
        if self.progress.isVisible() or not self._under_way:
            self._show_bar()
        elif not self._shown_soon.isActive():
            self._shown_soon.start()

    def _show_bar(self) -> None:
        topic = next(reversed(self._under_way), "")
        self._shown_soon.stop()
        self.progress.setVisible(bool(topic))
        self.cancel.setVisible(bool(topic))
        if topic:
            self.progress.setValue(round(100 * self._under_way[topic]))
            self.progress.setToolTip(TOPIC_WORDS.get(topic, "Work is under way."))

    def _stop(self) -> None:
        if self._under_way:
            self.stop_wanted.emit(next(reversed(self._under_way)))
