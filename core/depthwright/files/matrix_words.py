"""What the words beside a matrix mean: headers of its axes, and names of numbers that are stated.

The words are common practice, no source.
"""

import math
import re
from dataclasses import dataclass
from typing import Literal

from depthwright.units import MM_PER_UNIT

Meaning = Literal["position", "time", "count", ""]
"""What the numbers of an axis are; empty where nothing says so."""

LENGTHS_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1e3,
    "in": MM_PER_UNIT["in"],
    "ft": 12 * MM_PER_UNIT["in"],
}
TIMES_NS = {"ps": 1e-3, "ns": 1.0, "µs": 1e3, "s": 1e9}

_UNIT_NAMES = {
    "millimetre": "mm", "millimeter": "mm", "centimetre": "cm", "centimeter": "cm",
    "metre": "m", "meter": "m", "inch": "in", "inche": "in", "foot": "ft", "feet": "ft",
    "picosecond": "ps", "nanosecond": "ns", "microsecond": "µs", "us": "µs", "second": "s", "sec": "s",
}  # fmt: skip
_POSITION = {"position", "positions", "pos", "distance", "distances", "dist", "x", "chainage"}
_TIME = {"time", "times", "t", "twt"}
_COUNT = {
    "trace",
    "traces",
    "scan",
    "sample",
    "samples",
    "index",
    "no",
    "nr",
    "number",
    "row",
    "column",
}
_INTERVALS = {
    "dt", "sampleinterval", "samplinginterval", "timeinterval", "timestep", "sampletime", "samplingtime",
}  # fmt: skip
_SPACINGS = {
    "dx", "tracespacing", "traceinterval", "tracedistance", "tracestep", "distancestep",
    "distanceinterval", "scanspacing",
}  # fmt: skip
_STATED = re.compile(r"^(?P<name>[^\d=:;,]*?)\s*[=:;,\t ]\s*(?P<value>[^=:;]*?)[\s;,]*$")
_NUMBER = re.compile(
    r"^\s*(?P<value>[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:e[-+]?\d+)?)(?P<rest>.*)$", re.I
)


@dataclass(frozen=True)
class Quantity:
    """A number with its unit as stated beside a matrix.

    Parameters
    ----------
    kind
        What it is.
    place
        Where it stands.
    value
        The number, positive.
    unit
        Its unit; empty where none is stated.
    """

    kind: Literal["interval", "spacing"]
    place: str
    value: float
    unit: str = ""


def axis_words(label: str) -> tuple[Meaning, str]:
    """Meaning and unit that a header such as ``position_mm`` or ``t [ns]`` gives the numbers under it."""
    words, unit = _words_and_unit(label)
    if unit and not words:  # a unit alone, as in "(ns)"
        return ("position" if unit in LENGTHS_MM else "time"), unit
    meanings: list[Meaning] = []
    if words & _POSITION:
        meanings.append("position")
    if words & _TIME:
        meanings.append("time")
    if not meanings:
        return ("count", "") if words & _COUNT else ("", "")
    if len(meanings) == 2:  # as in the corner between both axes: "time / distance"
        return "", ""
    fits = unit in (LENGTHS_MM if meanings[0] == "position" else TIMES_NS)
    return meanings[0], unit if fits else ""


def quantity(name: str, value: object, place: str, units: object = "") -> Quantity | None:
    """A number stated under a name such as ``dt_ns`` or ``trace spacing``; None if it is no such thing."""
    words, unit = _tokens(name)
    joined = "".join(words)
    kind: Literal["interval", "spacing"]
    if joined in _INTERVALS:
        kind, known = "interval", TIMES_NS
    elif joined in _SPACINGS:
        kind, known = "spacing", LENGTHS_MM
    else:
        return None
    number, rest = _number(value)
    if number is None:
        return None
    for said in (rest, str(units), unit):
        bare = said.strip(" ()[]").casefold()
        if _unit(bare) in known:
            return Quantity(kind, place, number, _unit(bare))
        if bare and said is rest:
            return None  # more than a number and its unit
    return Quantity(kind, place, number)


def stated_line(line: str, place: str) -> Quantity | None:
    """The number that a line of words states, as in ``dt = 0.02 ns`` or ``Trace spacing (mm); 5``."""
    said = _STATED.match(line.strip().strip("#%").strip())
    return None if said is None else quantity(said["name"], said["value"], place)


def _number(value: object) -> tuple[float | None, str]:
    found = _NUMBER.match(str(value))
    if found is None:
        return None, ""
    number = float(found["value"].replace(",", "."))
    if not (math.isfinite(number) and number > 0):
        return None, ""
    return number, found["rest"]


def _words_and_unit(label: str) -> tuple[set[str], str]:
    words, unit = _tokens(label)
    return set(words), unit


def _tokens(label: str) -> tuple[list[str], str]:
    """Words of a label without the unit, which is its last word if that is one."""
    words = re.findall(r"[^\W\d_]+", label.casefold())
    unit = _unit(words[-1]) if words else ""
    if not unit:
        return words, ""
    words.pop()
    if words and words[-1] == "in" and len(words) > 1:  # "distance in mm"
        words.pop()
    return words, unit


def _unit(word: str) -> str:
    word = word.replace("μ", "µ")  # casefold makes the one from the other
    word = _UNIT_NAMES.get(word.removesuffix("s") if len(word) > 3 else word, word)
    return word if word in LENGTHS_MM or word in TIMES_NS else ""
