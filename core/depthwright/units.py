"""Lengths as people type and read them: mm, cm and inches in, millimetres inside.

Numbers follow JCGM 100:2008, 7.2.6: the uncertainty carries two significant figures in tables
(one beside marks) and the value is rounded to match.
"""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Literal, get_args

from depthwright.errors import DepthwrightError

LengthUnit = Literal["mm", "cm", "in"]

LENGTH_UNITS: tuple[LengthUnit, ...] = get_args(LengthUnit)
MM_PER_UNIT: dict[LengthUnit, float] = {"mm": 1.0, "cm": 10.0, "in": 25.4}
"""International inch of 25.4 mm exactly (agreement of 1959)."""

_UNIT_WORDS: dict[str, LengthUnit] = {
    "mm": "mm",
    "cm": "cm",
    "in": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "″": "in",
}
_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d*)?|[.,]\d+)"
_LENGTH = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[a-zA-Z\"″]*)\s*")
_PLUS_MINUS = re.compile(r"\+\s*/?\s*[-−]|±")

THIN_SPACE = "\u202f"


@dataclass(frozen=True)
class Reading:
    """A typed known depth: its value and, when typed, its uncertainty, both mm."""

    value_mm: float
    plus_minus_mm: float | None


def parse_length_mm(text: str, unit: LengthUnit = "mm") -> float:
    """Millimetres of a typed length.

    Understands ``23``, ``23 mm``, ``2.3 cm``, ``0.9 in``, ``7/8 in``, ``1 1/4 in`` and a decimal
    comma; a bare number is in ``unit``.

    Raises
    ------
    DepthwrightError
        When the text is no length.
    """
    match = _LENGTH.fullmatch(text)
    word = match["unit"].lower() if match else ""
    if match is None or (word and word not in _UNIT_WORDS):
        raise DepthwrightError(
            f"“{text.strip()}” is not a length.", "Type it like 23, 23 mm, 0.9 in or 7/8 in."
        )
    chosen = _UNIT_WORDS[word] if word else unit
    return _number(match["number"], text) * MM_PER_UNIT[chosen]


def parse_signed_length_mm(text: str, unit: LengthUnit = "mm") -> float:
    """A typed length that may lie on the other side: ``-30 mm``."""
    bare = text.strip()
    negative = bare[:1] in ("-", "−")
    length_mm = parse_length_mm(bare[1:] if negative else bare, unit)
    return -length_mm if negative else length_mm


def parse_reading(text: str, unit: LengthUnit = "mm") -> Reading:
    """A typed reading with an optional uncertainty: ``23``, ``7/8 in``, ``23 ± 1 mm``.

    A unit typed once, behind either number, holds for both.
    """
    parts = _PLUS_MINUS.split(text)
    if len(parts) == 1:
        return Reading(parse_length_mm(text, unit), None)
    if len(parts) > 2:
        raise DepthwrightError(f"“{text.strip()}” holds more than one ±.", "Type it like 23 ± 1.")
    value_text, spread_text = parts
    spread_mm = parse_length_mm(spread_text, _typed_unit(value_text) or unit)
    if spread_mm <= 0:
        raise DepthwrightError(
            "An uncertainty has to be greater than zero.", "Type it like 23 ± 1."
        )
    return Reading(parse_length_mm(value_text, _typed_unit(spread_text) or unit), spread_mm)


def parse_plain(text: str) -> tuple[float, float | None]:
    """A typed number without a unit, with an optional uncertainty: ``8.1``, ``8.1 ± 0.5``."""
    parts = [part.strip().replace(",", ".") for part in _PLUS_MINUS.split(text)]
    try:
        value, *spread = (float(part) for part in parts)
    except ValueError:
        value, spread = math.nan, []
    if not all(math.isfinite(number) for number in (value, *spread)) or len(spread) > 1:
        raise DepthwrightError(
            f"“{text.strip()}” is not a number.", "Type it like 8.1 or 8.1 ± 0.5."
        )
    if spread and spread[0] <= 0:
        raise DepthwrightError(
            "An uncertainty has to be greater than zero.", "Type it like 8.1 ± 0.5."
        )
    return value, spread[0] if spread else None


def _typed_unit(text: str) -> LengthUnit | None:
    match = _LENGTH.fullmatch(text)
    return _UNIT_WORDS.get(match["unit"].lower()) if match else None


def _number(number: str, text: str) -> float:
    try:
        return float(sum(Fraction(part.replace(",", ".")) for part in number.split()))
    except ZeroDivisionError:
        raise DepthwrightError(
            f"“{text.strip()}” divides by zero.", "Type it like 7/8 in."
        ) from None
    except OverflowError:
        raise DepthwrightError(
            f"“{text.strip()[:12]}…” is too long for a length.", "Type it like 23 mm."
        ) from None


def from_mm(value_mm: float, unit: LengthUnit) -> float:
    """A length in the unit it is shown in."""
    return value_mm / MM_PER_UNIT[unit]


def format_length(value_mm: float, unit: LengthUnit, decimals: int | None = None) -> str:
    """A bare length with its unit: ``1250 mm``, ``49.21 in``."""
    places = {"mm": 0, "cm": 1, "in": 2}[unit] if decimals is None else decimals
    return f"{_fixed(from_mm(value_mm, unit), places)}{THIN_SPACE}{unit}"


def format_interval(
    value_mm: float, expanded_mm: float, unit: LengthUnit, figures: int = 2, with_unit: bool = True
) -> str:
    """A value with its expanded uncertainty: ``24.3 ± 2.1 mm``.

    ``figures`` is the number of significant figures of the uncertainty: two in tables, one
    beside marks. Digits stop at 0.1 mm (0.01 in), and at whole millimetres above (0.1 in, 0.1 cm).
    """
    if not math.isfinite(value_mm):
        return "—"
    shown = _interval(value_mm, expanded_mm, unit, figures)
    return f"{shown}{THIN_SPACE}{unit}" if with_unit else shown


@lru_cache(maxsize=8192)  # The same bars stand in several panes, and are written at every edit.
def _interval(value_mm: float, expanded_mm: float, unit: LengthUnit, figures: int) -> str:
    value, spread = from_mm(value_mm, unit), from_mm(expanded_mm, unit)
    finest, coarsest = {"mm": (1, 0), "cm": (2, 1), "in": (2, 1)}[unit]
    places = max(_places(spread, figures, finest), coarsest)
    return f"{_fixed(value, places)} ± {_fixed(spread, places)}"


def format_plain(value: float, spread: float, figures: int = 2) -> str:
    """A bare number with its expanded uncertainty, as for a permittivity: ``8.1 ± 0.4``."""
    places = _places(spread, figures, 2)
    return f"{_fixed(value, places)} ± {_fixed(spread, places)}"


def nearest_sixteenth(value_mm: float) -> str:
    """Inches to the nearest 1/16, for whoever tapes it: ``7 3/16 in``."""
    sixteenths = round(from_mm(value_mm, "in") * 16)
    sign = "−" if sixteenths < 0 else ""
    whole, part = divmod(abs(sixteenths), 16)
    fraction = Fraction(part, 16)
    pieces = [str(whole)] if whole or not part else []
    if part:
        pieces.append(f"{fraction.numerator}/{fraction.denominator}")
    return f"{sign}{' '.join(pieces)}{THIN_SPACE}in"


def _places(spread: float, figures: int, most: int) -> int:
    if not math.isfinite(spread) or spread <= 0:
        return most
    # Rounded first, since 0.996 to one figure is 1, which has no decimal.
    exponent = int(f"{spread:.{figures - 1}e}".split("e")[1])
    return min(most, max(0, figures - 1 - exponent))


def _fixed(value: float, places: int) -> str:
    return f"{value:z.{places}f}".replace("-", "−")
