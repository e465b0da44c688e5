"""Typed settings of the recipe: what is no such value stays in its field and is complained about."""

import math
from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QLineEdit, QWidget

from depthwright.errors import DepthwrightError
from depthwright.processing.recipe import Recipe
from depthwright.units import THIN_SPACE, LengthUnit, from_mm, parse_length_mm

DECIMALS: dict[LengthUnit, int] = {"mm": 1, "cm": 2, "in": 2}
FINEST = 0.01


def limits(setting: str) -> tuple[float, float]:
    """Least and greatest value that the recipe takes for one of its settings."""
    low, high = -math.inf, math.inf
    for rule in Recipe.model_fields[setting].metadata:
        low = getattr(rule, "ge", low)
        # An open limit is kept off by the last digit shown.
        low = rule.gt + FINEST if hasattr(rule, "gt") else low
        high = getattr(rule, "le", high)
    return low, high


class NumberField(QLineEdit):
    """A number with its unit behind it; Enter or leaving the field sends it.

    Parameters
    ----------
    setting
        The recipe's field, which gives the limits.
    name
        What a screen reader says.
    suffix
        The unit, which may be typed too.
    widest
        The longest text that has to fit.
    """

    entered = Signal(object)
    """The value typed; None where an empty field stands for the usual."""
    complained = Signal(str)

    def __init__(self, setting: str, name: str, suffix: str, widest: str = "00.00 GHz") -> None:
        super().__init__()
        self.setting, self.name, self.suffix = setting, name, suffix
        self.may_be_empty = Recipe.model_fields[setting].default is None
        self._value: float | None = None
        self._tried = ""
        self.check: Callable[[float | None], object] = lambda _: None
        """Raises DepthwrightError for a value that does not go with the other settings."""
        self.setAccessibleName(name)
        self.setFixedWidth(self.fontMetrics().horizontalAdvance(widest) + 20)
        self.returnPressed.connect(self._enter)

    def show_value(self, value: float | None) -> None:
        """Write a value down; typing in progress is left alone while the value is the same."""
        if value == self._value and self.isModified():
            return
        self._value = value
        self._write()

    def _write(self) -> None:
        self.setText("" if self._value is None else self.words(self._value))
        self.setCursorPosition(0)
        self._tried = ""

    def words(self, value: float) -> str:
        """A value as it is shown."""
        return f"{round(value, 2):g}{THIN_SPACE}{self.suffix}"

    def read(self, text: str) -> float:
        """The value of what is typed; raises DepthwrightError when it is none."""
        bare = text.strip().lower().removesuffix(self.suffix.lower()).strip()
        try:
            value = float(bare.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise DepthwrightError(
                f"“{text.strip()}” is not a value in {self.suffix}.",
                f"Type it like 1.5 or 1.5 {self.suffix}.",
            )
        return value

    def _enter(self) -> None:
        if not self.isModified():
            # What is shown is rounded, so sending it would lose digits.
            return
        self._tried = self.text()
        try:
            value = self._read_checked()
        except DepthwrightError as problem:
            self.complained.emit(str(problem))
            return
        self._send(value)

    def _read_checked(self) -> float | None:
        value = None
        if self.text().strip() or not self.may_be_empty:
            value = self.read(self.text())
            low, high = limits(self.setting)
            if not low <= value <= high:
                raise DepthwrightError(
                    f"{self.name}: {self.words(value)} is out of range.",
                    f"Type {self.words(low)} to {self.words(high)}.",
                )
        self.check(value)
        return value

    def _send(self, value: float | None) -> None:
        self.setModified(False)
        before, self._value = self._value, value
        self._write()
        if value != before:
            self.entered.emit(value)

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Leaving the field enters what was typed, but complains only once about the same text."""
        super().focusOutEvent(event)
        away = event.reason() not in (
            Qt.FocusReason.ActiveWindowFocusReason,
            Qt.FocusReason.PopupFocusReason,
        )
        if away and self.text() != self._tried:
            self._enter()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Esc puts back what counts."""
        if event.key() == Qt.Key.Key_Escape and self.isModified():
            self._write()
            return
        super().keyPressEvent(event)


class LengthField(NumberField):
    """A length, shown and typed in the job's unit and sent in mm."""

    unit: LengthUnit = "mm"

    def __init__(self, setting: str, name: str) -> None:
        super().__init__(setting, name, "mm", "00000.0 mm")

    def show_unit(self, unit: LengthUnit) -> None:
        """Show and read in another unit."""
        if unit != self.unit:
            self.unit = unit
            self._write()

    def words(self, value: float) -> str:
        """A length in the unit shown."""
        shown = round(from_mm(value, self.unit), DECIMALS[self.unit])
        return f"{shown:g}{THIN_SPACE}{self.unit}"

    def read(self, text: str) -> float:
        """Millimetres of what is typed."""
        return parse_length_mm(text, self.unit)


class WheelGuard(QObject):
    """Lets the wheel scroll the panel instead of changing the control under the pointer."""

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """A wheel over a control without the keyboard goes to what is behind it."""
        if event.type() == QEvent.Type.Wheel and isinstance(watched, QWidget):
            event.ignore()
            return not watched.hasFocus()
        return False
