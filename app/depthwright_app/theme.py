"""Colours, sizes and palettes: one hand for every screen."""

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication

CASING = "#16181C"
BAR = "#EDCE8B"
PROPOSAL = "#A1EEF4"
FACE = "#60ADA7"
TIE = "#E74A66"
TARGET = "#AF75DF"
SELECTED = "#FFFFFF"

GRID = 8
"""Spacing inside groups, px; twice between groups, three times between sections."""


@dataclass(frozen=True)
class Look:
    """The colours of the window."""

    dark: bool
    ground: str
    panel: str
    text: str
    quiet: str
    accent: str
    on_accent: str
    hairline: str


LIGHT = Look(False, "#F6F7F9", "#FFFFFF", "#1B1E23", "#5A6270", "#0B6E99", "#FFFFFF", "#D5D9E0")
DARK = Look(True, "#1E2126", "#262A31", "#E8EAED", "#A9B0BB", "#6CC5EA", "#10222B", "#3A404A")


def system_look() -> Look:
    """Light or dark, as the system asks."""
    hints = QGuiApplication.styleHints()
    return DARK if hints.colorScheme() == Qt.ColorScheme.Dark else LIGHT


def apply(app: QApplication, look: Look) -> None:
    """Give the whole program one look; one that it has already costs nothing."""
    sheet = _sheet(look)
    if app.styleSheet() != sheet:
        app.setStyle("Fusion")
        app.setPalette(_palette(look))
        app.setStyleSheet(sheet)


def sized(font: QFont, factor: float, weight: QFont.Weight = QFont.Weight.Normal) -> QFont:
    """A font scaled from the system's: 0.85 small, 1.3 read-outs. Figures stay tabular."""
    scaled = QFont(font)
    size = font.pointSizeF() if font.pointSizeF() > 0 else 10.0
    scaled.setPointSizeF(size * factor)
    scaled.setWeight(weight)
    return scaled


def _palette(look: Look) -> QPalette:
    palette = QPalette()
    role = QPalette.ColorRole
    for which, colour in (
        (role.Window, look.ground),
        (role.Base, look.panel),
        (role.AlternateBase, look.ground),
        (role.Button, look.panel),
        (role.WindowText, look.text),
        (role.Text, look.text),
        (role.ButtonText, look.text),
        (role.ToolTipBase, look.panel),
        (role.ToolTipText, look.text),
        (role.PlaceholderText, look.quiet),
        (role.Highlight, look.accent),
        (role.HighlightedText, look.on_accent),
        (role.Link, look.accent),
        (role.Mid, look.hairline),
    ):
        palette.setColor(which, QColor(colour))
    for which in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, which, QColor(look.quiet))
    return palette


def _sheet(look: Look) -> str:
    return f"""
    QToolBar {{ border: 0; border-bottom: 1px solid {look.hairline}; spacing: 4px; padding: 4px 8px;
        background: {look.ground}; }}
    QToolBar::separator {{ background: {look.hairline}; width: 1px; margin: 4px 6px; }}
    QToolButton {{ padding: 4px 6px; border-radius: 4px; border: 1px solid transparent; }}
    QToolButton:hover {{ border-color: {look.hairline}; }}
    QToolButton:checked {{ background: {look.accent}; color: {look.on_accent}; }}
    QToolButton[fold="true"] {{ padding: 2px 6px 2px 0; }}
    QToolButton[fold="true"]:checked {{ background: transparent; color: {look.text}; }}
    QToolButton:focus {{ border-color: {look.accent}; }}
    QSplitter::handle {{ background: {look.hairline}; }}
    QTreeView {{ border: 0; background: {look.panel}; }}
    QTreeView::item {{ padding: 2px 0; }}
    QTabWidget::pane {{ border: 0; }}
    QTabBar {{ qproperty-drawBase: 0; background: {look.ground}; }}
    QTabBar::tab {{ padding: 6px 16px; color: {look.quiet}; background: {look.ground};
        border: 0; border-bottom: 2px solid transparent; }}
    QTabBar::tab:selected {{ color: {look.text}; border-bottom-color: {look.accent}; }}
    QTabBar::tab:hover {{ color: {look.text}; }}
    QTabBar::tab:focus {{ border-bottom-color: {look.text}; }}
    QLabel[quiet="true"] {{ color: {look.quiet}; }}
    QLabel[heading="true"] {{ font-weight: 600; }}
    QLabel[warning="true"] {{ border: 1px solid {look.text}; border-radius: 4px; padding: 8px; }}
    QFrame[panel="true"] {{ background: {look.panel}; }}
    EvidenceLine:focus {{ border-left: 3px solid {look.accent}; }}
    QFrame#proposals {{ border-top: 1px solid {look.hairline}; background: {look.panel}; }}
    QFrame#strip {{ border-top: 1px solid {look.hairline}; background: {look.ground}; }}
    QFrame#reading {{ background: {look.panel}; border: 2px solid {TIE}; border-radius: 6px; }}
    QPushButton {{ padding: 4px 12px; border-radius: 4px; border: 1px solid {look.hairline};
        background: {look.panel}; }}
    QPushButton:hover, QPushButton:focus {{ border-color: {look.accent}; }}
    QPushButton[primary="true"] {{ background: {look.accent}; color: {look.on_accent};
        border-color: {look.accent}; }}
    QPushButton[primary="true"]:disabled {{ background: {look.panel}; border-color: {look.hairline}; }}
    QPushButton[link="true"] {{ border: 0; padding: 0; background: transparent; color: {look.accent}; }}
    QPushButton[link="true"]:focus, QPushButton[link="true"]:hover {{ text-decoration: underline; }}
    QPushButton:disabled {{ color: {look.quiet}; }}
    QLineEdit {{ padding: 3px 6px; border: 1px solid {look.hairline}; border-radius: 4px;
        background: {look.panel}; }}
    QLineEdit:focus {{ border-color: {look.accent}; }}
    QCheckBox::indicator:unchecked {{ width: 12px; height: 12px; border: 1px solid {look.quiet};
        border-radius: 2px; background: {look.panel}; }}
    QRadioButton::indicator:unchecked {{ width: 11px; height: 11px; border: 1px solid {look.quiet};
        border-radius: 6px; background: {look.panel}; }}
    QRadioButton::indicator:checked {{ width: 5px; height: 5px; border: 4px solid {look.accent};
        border-radius: 6px; background: {look.panel}; }}
    QRadioButton:focus, QCheckBox:focus {{ text-decoration: underline; color: {look.accent}; }}
    QListWidget:focus {{ border-color: {look.accent}; }}
    QListWidget {{ border: 1px solid {look.hairline}; background: {look.panel}; }}
    QScrollArea {{ background: transparent; }}
    QScrollArea > QWidget > QLabel {{ background: transparent; }}
    QComboBox {{ combobox-popup: 0; }}
    QComboBox QAbstractItemView {{ background: {look.panel}; border: 1px solid {look.hairline};
        selection-background-color: {look.accent}; selection-color: {look.on_accent}; }}
    QDialogButtonBox {{ dialogbuttonbox-buttons-have-icons: 0; }}
    QToolTip {{ border: 1px solid {look.hairline}; padding: 4px; }}
    """
