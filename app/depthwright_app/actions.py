"""All commands of the window in one table: id, words, shortcut, icon, when, and what they call.

No shortcut is a bare printable key, Return, Space or Delete: typing is always a reading.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import qtawesome
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget

from depthwright_app import theme

Call = Callable[..., object]
When = Callable[[], bool]


def _always() -> bool:
    return True


@dataclass(frozen=True)
class Command:
    """One command."""

    id: str
    words: str
    call: Call
    shortcut: str = ""
    icon: str = ""
    tip: str = ""
    checkable: bool = False
    when: When = _always


class Commands:
    """The table made into actions that belong to a window."""

    def __init__(self, window: QWidget, table: Sequence[Command]) -> None:
        self._table = {command.id: command for command in table}
        self.actions: Mapping[str, QAction] = {
            command.id: _action(window, command) for command in table
        }

    def __getitem__(self, command_id: str) -> QAction:
        return self.actions[command_id]

    def refresh(self) -> None:
        """Enable what is possible now."""
        for command_id, action in self.actions.items():
            action.setEnabled(self._table[command_id].when())

    def show_look(self, look: theme.Look) -> None:
        """Icons in the window's colours."""
        for command_id, action in self.actions.items():
            name = self._table[command_id].icon
            if name:
                action.setIcon(
                    qtawesome.icon(
                        name, color=look.text, color_on=look.on_accent, color_disabled=look.quiet
                    )
                )


def _action(window: QWidget, command: Command) -> QAction:
    action = QAction(command.words, window)
    action.setObjectName(command.id)
    action.setCheckable(command.checkable)
    if command.shortcut:
        action.setShortcut(QKeySequence(command.shortcut))
    keys = f" ({QKeySequence(command.shortcut).toString(QKeySequence.SequenceFormat.NativeText)})"
    action.setToolTip((command.tip or command.words) + (keys if command.shortcut else ""))
    action.triggered.connect(command.call)
    window.addAction(action)
    return action
