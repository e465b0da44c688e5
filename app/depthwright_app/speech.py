"""What is said in the message strip, and what of it goes when another line is shown."""

from PySide6.QtCore import QObject, Signal

from depthwright.errors import DepthwrightError


class Speech(QObject):
    """Whoever has something to say to the user."""

    said = Signal(str, bool)
    """A sentence for the message strip; True for a warning."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._is_here = False
        self.asides: list[str] = []
        """What followed from an edit, to be said with what it did."""
        self.said.connect(self._said_anything)

    def say_here(self, sentence: str, warning: bool = False) -> None:
        """Say what is about the line shown, and goes with it unless something else was said since."""
        self.said.emit(sentence, warning)
        self._is_here = True

    def tell(self, fault: BaseException, here: bool = False) -> None:
        """Say what was not possible; a fault that nobody expects goes on to whoever logs it."""
        if not isinstance(fault, DepthwrightError):
            raise fault
        if here:
            self.say_here(str(fault), True)
        else:
            self.said.emit(str(fault), True)

    def leave_line(self) -> None:
        """Another line is about to be shown: what was said of this one goes."""
        if self._is_here:
            self.said.emit("", False)

    def _said_anything(self) -> None:
        self._is_here = False
