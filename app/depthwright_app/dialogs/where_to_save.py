"""Asks where a file is to be written; what is there already is replaced only when the user says so."""

from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget


def ask_where(
    parent: QWidget | None, title: str, start: str, filters: str, suffix: str, others: bool = False
) -> Path | None:
    """Where to write, with the suffix put on unless it is there, or another that may be; None for nowhere.

    The dialog of files asks about the name that was typed. Where a suffix makes it the name of another
    file, that one is asked about here.
    """
    name, _ = QFileDialog.getSaveFileName(parent, title, start, filters)
    typed = Path(name).suffix.lower()
    if not name or typed == suffix or (others and typed):
        return Path(name) if name else None
    path = Path(f"{name}{suffix}")
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
