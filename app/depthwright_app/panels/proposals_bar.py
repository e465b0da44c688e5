"""The row of proposals under the section, there only while there are any."""

import html
from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QSlider,
    QWidget,
)

from depthwright_app import theme

STEPS = 100
"""Steps of the slider from score 0 to 1."""
NO_CURRENT = (
    "Ctrl+Right and Ctrl+Left go from one to the next; Ctrl+Up accepts, Ctrl+Down rejects it."
)


@dataclass(frozen=True)
class Offer:
    """What the row says: how many are shown, from which score on, and about the current one.

    ``depth`` is the one that the current proposal would have, and whether it is provisional.
    """

    count: int
    shown: int
    least: float
    current: str = ""
    depth: str = ""
    provisional: bool = False


class ProposalsBar(QFrame):
    """Two lines: the current proposal, and all of them. Its buttons are the commands."""

    least_chosen = Signal(float)

    def __init__(self, actions: Mapping[str, QAction], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("proposals")
        self.setAccessibleName("Proposals")
        self._actions = actions
        self.told = QLabel()
        self.told.setAccessibleName("Current proposal")
        self.told.setWordWrap(True)
        self.told.setTextFormat(Qt.TextFormat.RichText)
        self.told.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        # Room for two lines of text, so that the section keeps its size from one to the next.
        self.told.setMinimumHeight(2 * self.told.fontMetrics().lineSpacing())
        self.told.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.least = QSlider(Qt.Orientation.Horizontal)
        self.least.setRange(0, STEPS)
        self.least.setPageStep(5)
        self.least.setFixedWidth(140)
        self.least.setAccessibleName("Least score")
        self.least.setToolTip(
            "Proposals that score less are not shown, and not accepted with the rest"
        )
        self.least.valueChanged.connect(lambda value: self.least_chosen.emit(value / STEPS))
        self.score, self.count = QLabel(), QLabel()
        self.score.setAccessibleName("Score")
        self.count.setAccessibleName("Proposals shown")
        self._lay_out()
        self.hide()

    def _lay_out(self) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(2 * theme.GRID, theme.GRID // 2, 2 * theme.GRID, theme.GRID // 2)
        grid.setHorizontalSpacing(theme.GRID)
        grid.setVerticalSpacing(theme.GRID // 2)
        grid.setColumnStretch(0, 1)
        one = _row(self._button("previous"), self._button("next"))
        one.addWidget(self.told, 1)
        grid.addLayout(one, 0, 0)
        label = QLabel("Least score")
        label.setProperty("quiet", True)
        many = _row(label, self.least, self.score, self.count)
        many.addStretch(1)
        grid.addLayout(many, 1, 0)
        accept = self._button("accept")
        accept.setProperty("primary", True)
        for place, button in {(0, 2): accept, (0, 3): self._button("reject")}.items():
            grid.addWidget(button, *place)
        for column, name in enumerate(("accept-in-view", "accept-shown", "reject-shown"), start=1):
            grid.addWidget(self._button(name), 1, column)
        grid.addWidget(self._button("put-away"), 0, 4)

    def _button(self, name: str) -> QPushButton:
        return _button(self._actions[f"proposal-{name}"])

    def show_offer(self, offer: Offer | None) -> None:
        """Write down what there is; the row goes with the last proposal."""
        self.setVisible(offer is not None)
        if offer is None:
            return
        self.least.blockSignals(True)
        self.least.setValue(round(offer.least * STEPS))
        self.least.blockSignals(False)
        self.score.setText(f"{offer.least:.2f}")
        self.count.setText(f"{offer.shown} of {offer.count} shown")
        written = html.escape(offer.depth)
        depth = f"<i>{written}, provisional</i>" if offer.provisional else written
        parts = (html.escape(offer.current or NO_CURRENT), *([depth] if offer.depth else []))
        self.told.setText(" · ".join(parts))
        self.told.setEnabled(bool(offer.current))


def _row(*widgets: QWidget) -> QHBoxLayout:
    row = QHBoxLayout()
    row.setSpacing(theme.GRID)
    for widget in widgets:
        row.addWidget(widget)
    return row


def _button(action: QAction) -> QPushButton:
    """A button that is a command: its words, its tip, and whether it is possible."""
    button = QPushButton()
    button.setAutoDefault(False)
    # A click leaves the keyboard where it was, mostly in the section; Tab comes here.
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    button.setIconSize(QSize(16, 16))

    def follow() -> None:
        button.setText(action.iconText() if action.icon().isNull() else "")
        button.setIcon(action.icon())
        button.setToolTip(action.toolTip())
        button.setAccessibleName(action.text())
        button.setEnabled(action.isEnabled())
        button.setVisible(action.isVisible())

    action.changed.connect(follow)
    follow()
    button.clicked.connect(action.trigger)
    return button
