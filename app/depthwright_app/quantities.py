"""Quantities as they are typed on the command line: a number with its unit, and how well it is known."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from depthwright.errors import DepthwrightError, shortened

LENGTHS_MM: Mapping[str, float] = {
    "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4,
}  # fmt: skip
TIMES_NS: Mapping[str, float] = {"ps": 1e-3, "ns": 1.0, "us": 1e3, "µs": 1e3, "μs": 1e3}
FREQUENCIES_GHZ: Mapping[str, float] = {"hz": 1e-9, "khz": 1e-6, "mhz": 1e-3, "ghz": 1.0}
PLAIN: Mapping[str, float] = {"": 1.0}
"""A quantity without a unit."""

_NUMBER = r"[-+−]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_PART = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\W\d_]*|[\"″])\s*")
_PLUS_MINUS = re.compile(r"\+\s*/?\s*[-−]|±")
_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2}(?:,\d{3})+(?!\d)")
LEAST_SPREAD = 1e-6
"""Smallest uncertainty, in the program's own unit: below it nothing is known of anything in concrete."""


@dataclass(frozen=True)
class Kind:
    """A kind of quantity.

    Parameters
    ----------
    name
        What it is called: "trace spacing".
    units
        What one of each unit is in the program's own, by the unit in small letters.
    least, most
        Between which it can lie, in the program's own unit.
    example
        How it is written.
    """

    name: str
    units: Mapping[str, float]
    least: float
    most: float
    example: str


@dataclass(frozen=True)
class Typed:
    """A quantity in the program's unit, with what was said of how well it is known.

    ``limits`` says that ``plus_minus`` is half the width of a rectangular distribution.
    """

    value: float
    plus_minus: float | None = None
    limits: bool = False

    @property
    def u(self) -> float | None:
        """Standard uncertainty (JCGM 100:2008, 4.3.7 for limits); None where nothing was said."""
        if self.plus_minus is None:
            return None
        return self.plus_minus / math.sqrt(3) if self.limits else self.plus_minus


def parse_quantity(text: str, kind: Kind) -> Typed:
    """A typed quantity: ``12ps``, ``12ps+-20ps``, ``7+-1.5``, ``24mm+-1mm:limits``.

    Each number carries its own unit, so that none is read in one that was not meant.

    Raises
    ------
    DepthwrightError
        When it is none, lacks its unit, or cannot be.
    """
    bare, _, ending = text.partition(":")
    if ending and ending.strip().lower() != "limits":
        raise _refused(
            text,
            kind,
            f"after the colon only “limits” can stand, not “{shortened(ending.strip())}”",
        )
    limits = bool(ending)
    parts = _PLUS_MINUS.split(bare)
    if len(parts) > 2:
        raise _refused(text, kind, "it holds more than one +-")
    if _THOUSANDS.search(bare):
        raise _refused(
            text, kind, "its comma may mean thousands or a decimal; write a point or none"
        )
    matches = [_PART.fullmatch(part) for part in parts]
    numbers = [_number(match["number"]) if match else math.nan for match in matches]
    if not all(map(math.isfinite, numbers)):
        raise _refused(text, kind, "it is not a number with its unit")
    units = [match["unit"].lower().replace("″", '"') for match in matches if match]
    factors = _factors(text, kind, units)
    value, *spread = (number * each for number, each in zip(numbers, factors, strict=True))
    if limits and not spread:
        raise _refused(text, kind, "limits need a number after +-")
    if not kind.least <= value <= kind.most:
        raise _refused(text, kind, f"it has to lie between {_ends(kind, kind.least, kind.most)}")
    widest = kind.most - kind.least
    if spread and not LEAST_SPREAD <= spread[0] <= widest:
        raise _refused(
            text, kind, f"what follows +- has to lie between {_ends(kind, LEAST_SPREAD, widest)}"
        )
    return Typed(value, spread[0] if spread else None, limits)


def _factors(text: str, kind: Kind, units: list[str]) -> list[float]:
    """What one of each number's unit is."""
    named = [unit for unit in units if unit]
    wrong = [unit for unit in named if unit not in kind.units]
    known = ", ".join(dict.fromkeys(_written(unit) for unit in kind.units if unit not in _RARE))
    if wrong and "" in kind.units:
        raise _refused(text, kind, f"it has no unit, and “{shortened(wrong[0])}” is one too many")
    if wrong:
        raise _refused(text, kind, f"“{shortened(wrong[0])}” is none of its units, {known}")
    if not named and "" not in kind.units:
        raise _refused(text, kind, f"the unit is missing ({known})")
    if len(named) < len(units) and "" not in kind.units:
        bare, ending = text.partition(":")[::2]
        parts = [part.strip() for part in _PLUS_MINUS.split(bare)]
        each = [
            part if unit else f"{part}{_written(named[0])}"
            for part, unit in zip(parts, units, strict=True)
        ]
        whole = "+-".join(each) + (f":{ending.strip()}" if ending else "")
        raise _refused(text, kind, "one of its numbers has no unit", whole)
    return [kind.units[unit] for unit in units]


_RARE = ("inch", "inches", '"', "µs", "μs")


def _written(unit: str) -> str:
    return {"hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz"}.get(unit, unit)


def _ends(kind: Kind, least: float, most: float) -> str:
    unit = _written(next(unit for unit, each in kind.units.items() if each == 1.0))
    return " and ".join(f"{end:g} {unit}".strip() for end in (least, most))


def _number(text: str) -> float:
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except (ValueError, OverflowError):
        return math.nan


def _refused(text: str, kind: Kind, why: str, whole: str = "") -> DepthwrightError:
    """What is wrong and how to write it: as it probably is meant, where that is known."""
    right = f"as {shortened(whole)}, if that is meant" if whole else f"like {kind.example}"
    return DepthwrightError(
        f"“{shortened(text.strip())}” cannot be the {kind.name}: {why}.", f"Write it {right}."
    )
