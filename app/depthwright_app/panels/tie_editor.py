"""The known depth of a mark: value, uncertainty, origin, and whether it counts."""

from typing import get_args

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QWidget,
)

from depthwright import edits
from depthwright.depth.priors import SITE_LIMIT_MM, SITE_LIMIT_SHARE
from depthwright.errors import DepthwrightError
from depthwright.job import Origin, Tie
from depthwright.units import LengthUnit, format_length, from_mm, parse_length_mm
from depthwright_app import theme
from depthwright_app.wording import site_limit_mm

ORIGINS: tuple[Origin, ...] = get_args(Origin)
STANDARD, LIMITS, SITE = range(3)


NOT_POSITIVE = "A known depth and its uncertainty are more than zero."


class TieEditor(QWidget):
    """Fields of one known depth; what is left as it was shown keeps its exact value."""

    tie_typed = Signal(object)
    complained = Signal(str)
    untie_wanted = Signal()
    aside_wanted = Signal(str)
    """The reason; an empty one uses it again."""

    def __init__(
        self, tie: Tie | None, usual: Origin, unit: LengthUnit, reading_u_mm: float, is_bar: bool
    ) -> None:
        super().__init__()
        self._unit, self._tie, self._is_bar = unit, tie, is_bar
        self._reading_u_mm = reading_u_mm
        self.known = _field("Known depth of the mark", unit)
        self.spread = _field("Uncertainty of the known depth", self._number(reading_u_mm))
        self.origin = _choice("Origin of the known depth", [o.capitalize() for o in ORIGINS])
        self.kind = _choice(
            "What the uncertainty is", ["standard uncertainty", "limits", "site conditions"]
        )
        site = f"{format_length(SITE_LIMIT_MM, unit)} and {100 * SITE_LIMIT_SHARE:.0f} %"
        self.kind.setToolTip(
            "A standard uncertainty u counts as typed. Within limits all values are equally likely, so "
            f"they are divided by √3. Site conditions: limits of the greater of {site} of the reading."
        )
        self.meter = _field("Diameter set on the meter", f"not known, {unit}")
        self.reason = _field("Reason for setting it aside", "why it is set aside")
        self._fill(tie, usual)
        self._layout(tie)
        self.kind.currentIndexChanged.connect(self._follow)
        self.origin.currentIndexChanged.connect(self._follow)
        self.known.textChanged.connect(self._follow)
        for field in (self.known, self.spread, self.meter):
            field.returnPressed.connect(self._send)
        self.reason.returnPressed.connect(lambda: self.aside_wanted.emit(self.reason.text()))
        self._follow()

    def _number(self, value_mm: float) -> str:
        return f"{round(from_mm(value_mm, self._unit), 3):g}"

    def _fill(self, tie: Tie | None, usual: Origin) -> None:
        self.origin.setCurrentIndex(ORIGINS.index(tie.origin if tie else usual))
        if tie is None:
            return
        self.known.setText(self._number(tie.depth_mm))
        self.spread.setText(self._number(tie.plus_minus_mm))
        if tie.limits:
            site = abs(tie.plus_minus_mm - site_limit_mm(tie.depth_mm)) < 0.01
            self.kind.setCurrentIndex(SITE if site else LIMITS)
        if tie.meter_diameter_mm is not None:
            self.meter.setText(self._number(tie.meter_diameter_mm))
        self.reason.setText(tie.set_aside)

    def _layout(self, tie: Tie | None) -> None:
        self.form = QFormLayout(self)
        self.form.setContentsMargins(0, 0, 0, 0)
        self.form.setSpacing(theme.GRID)
        self.form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        row = QHBoxLayout()
        row.addWidget(self.known, 3)
        row.addWidget(QLabel("±"))
        row.addWidget(self.spread, 2)
        self.form.addRow("Known depth", row)
        self.form.addRow("± is", self.kind)
        self.form.addRow("From", self.origin)
        self.form.addRow("Meter set to", self.meter)
        buttons = QHBoxLayout()
        self.apply = QPushButton("Tie" if tie is None else "Change tie")
        self.apply.setProperty("primary", True)
        self.apply.clicked.connect(self._send)
        buttons.addWidget(self.apply)
        if tie is not None:
            untie = QPushButton("Untie")
            untie.clicked.connect(self.untie_wanted)
            buttons.addWidget(untie)
        buttons.addStretch()
        self.form.addRow(buttons)
        if tie is not None:
            self._layout_aside(tie)

    def _layout_aside(self, tie: Tie) -> None:
        row = QHBoxLayout()
        row.addWidget(self.reason, 1)
        button = QPushButton("Set aside" if tie.used else "Use again")
        words = self.reason.text if tie.used else str
        button.clicked.connect(lambda: self.aside_wanted.emit(words()))
        row.addWidget(button)
        self.form.addRow(row)

    def _follow(self) -> None:
        """What can be typed follows the choices; site limits follow the reading."""
        by_meter = self._is_bar and ORIGINS[self.origin.currentIndex()] == "cover meter"
        self.form.setRowVisible(self.meter, by_meter)
        site = self.kind.currentIndex() == SITE
        self.spread.setReadOnly(site)
        if not site:
            return
        try:
            reading_mm = parse_length_mm(self.known.text(), self._unit)
        except DepthwrightError:
            self.spread.clear()
            return
        self.spread.setText(self._number(site_limit_mm(reading_mm)))

    def _send(self) -> None:
        try:
            self.tie_typed.emit(self._typed())
        except DepthwrightError as problem:
            self.complained.emit(str(problem))

    def _typed(self) -> Tie:
        """The known depth as the fields stand.

        Raises
        ------
        DepthwrightError
            When they hold no known depth.
        """
        tie, kind = self._tie, self.kind.currentIndex()
        depth_mm = self._length(self.known, tie.depth_mm if tie else None)
        if kind == SITE:
            spread_mm = site_limit_mm(depth_mm)
        elif self.spread.text().strip():
            spread_mm = self._length(self.spread, tie.plus_minus_mm if tie else None)
        else:
            spread_mm = self._reading_u_mm
        return edits.known_depth(
            depth_mm=depth_mm,
            plus_minus_mm=spread_mm,
            origin=ORIGINS[self.origin.currentIndex()],
            limits=kind != STANDARD,
            meter_diameter_mm=self._meter_mm(),
            set_aside=tie.set_aside if tie else "",
        )

    def _meter_mm(self) -> float | None:
        if self.meter.isHidden() or not self.meter.text().strip():
            return None
        return self._length(self.meter, self._tie.meter_diameter_mm if self._tie else None)

    def _length(self, field: QLineEdit, shown_mm: float | None) -> float:
        text = field.text()
        if shown_mm is not None and text == self._number(shown_mm):
            return shown_mm
        if text.strip()[:1] in ("-", "−"):
            raise DepthwrightError(NOT_POSITIVE)
        length_mm = parse_length_mm(text, self._unit)
        if length_mm <= 0:
            raise DepthwrightError(
                "A bar's diameter is more than zero." if field is self.meter else NOT_POSITIVE
            )
        return length_mm


def _field(name: str, placeholder: str) -> QLineEdit:
    field = QLineEdit()
    field.setAccessibleName(name)
    field.setPlaceholderText(placeholder)
    field.setToolTip(name)
    return field


def _choice(name: str, entries: list[str]) -> QComboBox:
    choice = QComboBox()
    choice.addItems(entries)
    choice.setAccessibleName(name)
    view = choice.view()
    view.setMinimumWidth(view.sizeHintForColumn(0) + 2 * theme.GRID)
    choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    return choice
