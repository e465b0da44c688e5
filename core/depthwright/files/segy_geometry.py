"""What the numbers in SEG-Y headers mean for a radar line on concrete: time, place, separation.

The standard was made for seismic work: its interval field counts microseconds and its coordinates
metres or feet, too coarse for radar, so exporters put other units there and do not say which. The unit is
inferred from what is plausible on concrete. Pure functions on header values; they read no file.

The plausible ranges are common practice, no source.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact, Stated
from depthwright.files.segy_headers import Record, commonest

Floats = NDArray[np.float64]

WINDOW_NS = (2.0, 60.0)
_STEP_MM = (0.5, 100.0)
_STATED_STEP_MM = (0.05, 1000.0)
_SEPARATION_MM = (5, 500)
_FARTHEST_START_MM = 1e6
_ROUND_WINDOW_NS = 5.0
_ROUND_INTERVAL_PS = 5.0

_PER_NS = {"picoseconds": 1e3, "nanoseconds": 1.0, "microseconds": 1e-3, "seconds": 1e-9}
_LENGTH_UNITS_MM = {"m": 1000.0, "mm": 1.0, "cm": 10.0}
_FOOT_MM = 304.8

_ANGLES = {2: "arc seconds", 3: "degrees", 4: "degrees, minutes and seconds"}
"""Units of coordinates that are angles, in bytes 89."""

_AS_STATED = "as the text header says"

_SAYS_PICOSECONDS = re.compile(
    r"INTERVAL[^\n]*\bPICOSECONDS?\b(?:[^\n]*?\b(?P<exact>\d+(?:\.\d+)?) ?PS\b)?", re.IGNORECASE
)
_SAYS_LENGTH = re.compile(
    r"\b(?:COORDINATES?|POSITIONS?|MIDPOINTS?)\b[^\n]*\bIN "
    r"(?:(?P<mm>MM|MILLIMET(?:ER|RE)S?)|(?P<cm>CM|CENTIMET(?:ER|RE)S?)|(?P<m>M|MET(?:ER|RE)S?))\b",
    re.IGNORECASE,
)


def sample_interval(
    fields: tuple[Stated, ...], samples: int, text: str, given_ns: float | None
) -> tuple[float | None, Fact]:
    """Find the sample interval, ns, from the interval fields in order of preference."""
    stated = ", ".join(f"{field.value:g} in {field.place}" for field in fields)
    filled = [field for field in fields if np.isfinite(field.value) and field.value > 0]
    if given_ns is not None:
        if not (np.isfinite(given_ns) and given_ns > 0):
            raise DepthwrightError(f"A sample interval of {given_ns:g} ns is not possible.")
        why = f"The sample interval of {given_ns:g} ns is the one given, not the file's."
        return given_ns, Fact("Sample interval", stated, f"{given_ns:g} ns", why)
    if not filled:
        why = "The file gives no sample interval."
        return None, Fact("Sample interval", stated, "", why)
    readings = [
        (field, reading)
        for field in filled
        if (reading := _read_interval(field.value, samples, text)) is not None
    ]
    if not readings:
        why = (
            f"In no unit does the interval of {filled[0].value:g} make a time window plausible for"
            f" concrete ({WINDOW_NS[0]:g} to {WINDOW_NS[1]:g} ns)."
        )
        return None, Fact("Sample interval", stated, "", why)
    field, reading = readings[0]
    window = f"a time window of {samples * reading.dt_ns:.4g} ns"
    why = f"The interval of {field.value:g} is read as {reading.unit}, {window}, {reading.reason}."
    if len({other.value for other in filled}) > 1:
        why += f" The headers disagree ({stated}); the one in {field.place} is used."
    why += reading.doubt
    settled = reading.reason == _AS_STATED
    return reading.dt_ns, Fact("Sample interval", stated, f"{reading.dt_ns:g} ns", why, settled)


@dataclass(frozen=True)
class _Interval:
    dt_ns: float
    unit: str
    reason: str
    doubt: str = ""


def _read_interval(value: float, samples: int, text: str) -> _Interval | None:
    """Take the unit that the text header states, or the one that makes the window plausible."""
    says = _SAYS_PICOSECONDS.search(text)
    if says is not None and value >= 1:
        exact = float(says["exact"] or value)
        if abs(exact - value) < 1:
            return _Interval(exact / 1000, f"{exact:g} ps", _AS_STATED)
    low, high = WINDOW_NS
    # Units are 1000 apart and the range spans 30, so at most one fits.
    for unit, per_ns in _PER_NS.items():
        if low <= value / per_ns * samples <= high:
            doubt = _rounding(value, samples) if unit == "picoseconds" else ""
            return _Interval(value / per_ns, unit, "the only unit plausible on concrete", doubt)
    return None


def _rounding(value_ps: float, samples: int) -> str:
    """Say so if the interval looks rounded from one that makes the window a round number."""
    exact_ps = rounded_from_ps(value_ps, samples)
    if exact_ps is None:
        return ""
    return (
        f" It may be rounded from {exact_ps:.4g} ps: a time window of"
        f" {exact_ps * samples / 1000:g} ns would make it exact and all depths"
        f" {100 * abs(exact_ps / value_ps - 1):.1f} % {'larger' if exact_ps > value_ps else 'smaller'}."
        " Give the time window if it is known."
    )


def rounded_from_ps(value_ps: float, samples: int) -> float | None:
    """The interval, ps, that makes the window a round number and may have been rounded to this one.

    Windows of a multiple of 5 ns are usual; one of whole nanoseconds is believed only where the interval
    itself is no round number. Either only if windows are so far apart that one of them is not near anyway.
    """
    if value_ps % 1:  # the field has room for fractions
        return None
    for step_ns, below, above, is_usual in (
        (_ROUND_WINDOW_NS, -0.5, 1.0, True),
        (1.0, -0.5, 0.5, value_ps % _ROUND_INTERVAL_PS != 0),
    ):
        window_ns = round(value_ps * samples / 1000 / step_ns) * step_ns
        change_ps = window_ns * 1000 / samples - value_ps
        is_telling = step_ns * 1000 / samples > above - below
        if change_ps == 0:
            return None
        if is_usual and is_telling and window_ns > 0 and below <= change_ps < above:
            return value_ps + change_ps
    return None


def delays(values: NDArray[np.int16]) -> tuple[Fact, ...]:
    """Say what becomes of the delay recording times of all traces; nothing where there are none."""
    low, high = int(values.min()), int(values.max())
    if low == high == 0:
        return ()
    if low == high:
        stated = f"{low} in bytes 109"
        why = (
            f"The delay of {low}, the same in all traces, is not applied: depths are measured from"
            " the direct wave."
        )
    else:
        stated = f"{low} to {high} in bytes 109"
        why = (
            f"The delays of {low} to {high} differ between traces and are not applied: times count"
            " from each trace's first sample, and traces are aligned to the direct wave."
        )
    return (Fact("Delay", stated, "not applied", why),)


def trace_positions(
    headers: Record, text: str, in_feet: bool, given_mm: float | None
) -> tuple[Floats | None, Fact]:
    """Find the midpoint of each trace, mm, shape (traces,), from the trace headers."""
    label = "Positions"
    count = len(headers)
    if given_mm is not None:
        if not (np.isfinite(given_mm) and given_mm > 0):
            raise DepthwrightError(f"A trace spacing of {given_mm:g} mm is not possible.")
        why = f"Positions are counted from the trace spacing of {given_mm:g} mm as given."
        return given_mm * np.arange(count, dtype=np.float64), Fact(
            label, "", f"every {given_mm:g} mm", why
        )
    if count == 1:
        return np.zeros(1), Fact(label, "", "0 mm", "A single trace is placed at 0 mm.")
    if angles := _angles(headers["coordinate_units"]):
        why = f"The coordinates are angles ({angles}, bytes 89), which give no distance along the line."
        return None, Fact(label, f"{angles} in bytes 89", "", why)
    why = "The file gives no positions: its coordinates do not vary."
    stated = "coordinates do not vary"
    for place, along in _tracks(headers):
        stated = f"{along[0]:g} to {along[-1]:g} in {place}"
        steps = np.diff(along)
        if not ((steps > 0).all() or (steps < 0).all()):
            at = int(np.argmax(steps * np.sign(along[-1] - along[0]) <= 0)) + 2
            why = f"The coordinates in {place} stand still or turn back at trace {at}."
            continue
        step = float(np.median(np.abs(steps)))
        unit = _length_unit(step, text, in_feet)
        if unit is None:
            why = f"In no unit are steps of {step:g}, as in {place}, plausible on concrete."
            continue
        return _placed(along, stated, step, unit)
    return None, Fact(label, stated, "", why)


def _angles(units: NDArray[np.uint16]) -> str:
    """Name the angles in which most traces give their coordinates; empty where they do not."""
    return _ANGLES.get(commonest(units), "")


def _tracks(headers: Record) -> Iterator[tuple[str, Floats]]:
    """Distances along the line that the coordinates give, in their unit, best source first."""
    factor = headers["coordinate_scalar"].astype(np.float64)
    places = {
        "bytes 73 (source)": (headers["source_x"], headers["source_y"]),
        "bytes 81 (group)": (headers["group_x"], headers["group_y"]),
        "bytes 181 (ensemble)": (headers["ensemble_x"], headers["ensemble_y"]),
    }
    scaled = {place: (_scaled(x, factor), _scaled(y, factor)) for place, (x, y) in places.items()}
    (sx, sy), (gx, gy) = scaled["bytes 73 (source)"], scaled["bytes 81 (group)"]
    tracks = {place: _along(*axes) for place, axes in scaled.items()}
    both = tracks["bytes 73 (source)"] is not None and tracks["bytes 81 (group)"] is not None
    if both and not (np.array_equal(sx, gx) and np.array_equal(sy, gy)):
        tracks = {"bytes 73 and 81 (midway)": _along((sx + gx) / 2, (sy + gy) / 2), **tracks}
    for place, along in tracks.items():
        if along is not None:
            yield place, along


def _scaled(values: NDArray[np.int32], factor: Floats) -> Floats:
    """Apply coordinate scalars: multiply by a positive one, divide by a negative one."""
    size = np.maximum(np.abs(factor), 1)
    return np.where(factor < 0, values / size, values * size)


def _along(x: Floats, y: Floats) -> Floats | None:
    varying = [axis for axis in (x, y) if np.ptp(axis) > 0]
    if not varying:
        return None
    if len(varying) == 1:
        return varying[0]
    return np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))))


def _length_unit(step: float, text: str, in_feet: bool) -> tuple[str, float, str] | None:
    """Name and size, mm, of the unit that makes the median step plausible, and why it is taken."""
    says = _SAYS_LENGTH.search(text)
    if says is not None:
        name = str(says.lastgroup)
        size = _LENGTH_UNITS_MM[name]
        if _STATED_STEP_MM[0] <= step * size <= _STATED_STEP_MM[1]:
            return name, size, _AS_STATED
    units = {"ft": _FOOT_MM, **_LENGTH_UNITS_MM} if in_feet else _LENGTH_UNITS_MM
    plausible = [
        (name, size) for name, size in units.items() if _STEP_MM[0] <= step * size <= _STEP_MM[1]
    ]
    if not plausible:
        return None
    (name, size), *others = plausible
    reason = "plausible on concrete"
    for other, other_size in others:
        reason += f" (in {other} it would be {step * other_size:.4g} mm)"
    return name, size, reason


def _placed(
    along: Floats, stated: str, step: float, unit: tuple[str, float, str]
) -> tuple[Floats, Fact]:
    name, size, reason = unit
    positions = along * size
    why = f"Coordinates are read in {name}, a trace spacing of {step * size:.4g} mm, {reason}."
    if abs(positions[0]) > _FARTHEST_START_MM:
        positions = positions - positions[0]
        why += " They start far from zero, so they are counted from the first trace."
    inferred = f"{positions[0]:g} to {positions[-1]:g} mm"
    return positions, Fact("Positions", stated, inferred, why, settled=reason == _AS_STATED)


def antenna_separation(offsets: NDArray[np.int32]) -> tuple[float | None, Fact]:
    """Read the antenna separation, mm, from the offset field of all traces."""
    values = np.unique(np.abs(offsets.astype(np.int64)))
    label = "Antenna separation"
    if len(values) > 1:
        return None, Fact(label, f"{values[0]} to {values[-1]} in bytes 37", "")
    stated = f"{values[0]} in bytes 37"
    low, high = _SEPARATION_MM
    if not low <= values[0] <= high:
        return None, Fact(label, stated, "")
    why = f"The offset of {values[0]} is read as the antenna separation in mm."
    return float(values[0]), Fact(label, stated, f"{values[0]} mm", why)
