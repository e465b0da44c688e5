"""Starts the program with its window."""

import sys
from pathlib import Path

from PySide6.QtWidgets import QApplication

from depthwright_app import problems
from depthwright_app.main_window import MainWindow


def run_window(paths: list[Path]) -> int:
    """Open the window, and files in it; returns the exit status."""
    app = QApplication.instance()
    if not isinstance(app, QApplication):
        app = QApplication(sys.argv[:1])
    app.setApplicationName("Depthwright")
    window = MainWindow()
    problems.watch(lambda sentence: window.document.said.emit(sentence, True))
    window.show()
    if not window.keeper.offer_recoveries():
        window.keeper.open_paths(paths)
    elif paths:
        names = ", ".join(path.name for path in paths)
        window.document.said.emit(
            f"These edits come first: {names} is not opened. Save them, then open it.", False
        )
    return app.exec()
