"""What the sheets that end with Apply have in common."""

from collections.abc import Callable

from PySide6.QtWidgets import QBoxLayout, QDialog, QDialogButtonBox, QLabel


def heading(text: str) -> QLabel:
    """A heading inside a sheet."""
    label = QLabel(text)
    label.setProperty("heading", True)
    return label


def add_buttons(
    sheet: QDialog, box: QBoxLayout, accept: Callable[[], None], words: str = "Apply"
) -> None:
    """What is done with the sheet, which Enter presses too, and Cancel."""
    buttons = QDialogButtonBox(
        QDialogButtonBox.StandardButton.Apply | QDialogButtonBox.StandardButton.Cancel
    )
    apply = buttons.button(QDialogButtonBox.StandardButton.Apply)
    apply.setText(words)
    apply.setProperty("primary", True)
    apply.clicked.connect(accept)
    buttons.rejected.connect(sheet.reject)
    box.addWidget(buttons)
    # Once it is in the sheet: earlier, the sheet makes its first button the default.
    apply.setDefault(True)


def asked(sheet: QDialog) -> bool:
    """Run a sheet; whether it was accepted. It is gone once control is back in the event loop."""
    try:
        return bool(sheet.exec())
    finally:
        sheet.deleteLater()
