"""Asks where a file is to be written; what is there already is replaced only when the user says so."""

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget


def ask_where(
    parent: QWidget, title: str, start: str, filters: str, suffixes: Sequence[str]
) -> Path | None:
    """Where to write, with one of the suffixes, else the first of them; None for nowhere.

    The dialog of files asks about the name that was typed. Where a suffix makes it the name of another
    file, that one is asked about here.
    """
    name, _ = QFileDialog.getSaveFileName(parent, title, start, filters)
    if not name or Path(name).suffix.lower() in suffixes:
        return Path(name) if name else None
    path = Path(f"{name}{suffixes[0]}")
    if not path.exists():
        return path
    buttons = QMessageBox.StandardButton
    answer = QMessageBox.question(
        parent,
        title,
        f"{path.name} is there already. Replace it?",
        buttons.Yes | buttons.No,
        buttons.No,
    )
    return path if answer == buttons.Yes else None
