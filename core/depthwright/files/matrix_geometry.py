"""Where the samples and traces of a matrix are: from its axes, from stated numbers, or from the user.

What no unit is stated for is read in the one that is plausible on concrete, as it is for SEG-Y.
"""

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact, Stated
from depthwright.files.matrix_axes import Axis, first_uneven, is_even
from depthwright.files.matrix_words import LENGTHS_MM, TIMES_NS, Quantity
from depthwright.files.segy_geometry import _length_unit, _placed, sample_interval

Floats = NDArray[np.float64]

_AS_SAID = "as its header says"
_INTERVAL, _POSITIONS = "Sample interval", "Positions"


def interval_of(
    times: Axis | None, stated: tuple[Quantity, ...], samples: int, given_ns: float | None
) -> tuple[float | None, Fact, tuple[Stated, ...]]:
    """Find the sample interval, ns, with the numbers that may be it, the most trusted first."""
    found = list(_interval_of_axis(times)) + [each for each in stated if each.kind == "interval"]
    fields = tuple(Stated(each.place, _in_known_unit(each)) for each in found)
    uneven = _uneven(times)
    if given_ns is None and uneven and not found:
        return None, Fact(_INTERVAL, "", "", uneven), ()
    if given_ns is not None or not found or not found[0].unit:
        dt_ns, fact = sample_interval(fields, samples, "", given_ns)
        settled = given_ns is not None or dt_ns is None
        why = " ".join(filter(None, (uneven, fact.why)))
        return dt_ns, Fact(_INTERVAL, fact.stated, fact.inferred, why, settled), fields
    first = found[0]
    dt_ns = first.value * TIMES_NS[first.unit]
    said = f"{first.value:.6g} {first.unit} in {first.place}"
    return dt_ns, Fact(_INTERVAL, said, f"{dt_ns:.6g} ns", uneven), fields


def _interval_of_axis(times: Axis | None) -> tuple[Quantity, ...]:
    """The step of an even time axis: from its ends, so that rounding of its numbers averages out."""
    if times is None or len(times.values) < 2 or not is_even(times.values):
        return ()
    step = float(times.values[-1] - times.values[0]) / (len(times.values) - 1)
    if not (np.isfinite(step) and step > 0):
        return ()
    return (Quantity("interval", times.place, float(f"{step:.12g}"), times.unit),)


def _uneven(times: Axis | None) -> str:
    if times is None or len(times.values) < 2:
        return ""
    if not np.isfinite(times.values).all():
        return f"Not all times in {times.place} are finite numbers."
    if not is_even(times.values):
        at, step, usual = first_uneven(times.values)
        return (
            f"The times in {times.place} are not even: after sample {at} they step by {step:.6g}"
            f" instead of {usual:.6g}."
        )
    if times.values[-1] < times.values[0]:
        return f"The times in {times.place} run backwards."
    return ""


def _in_known_unit(interval: Quantity) -> float:
    """The number in a unit that readings of an interval are looked for in."""
    return interval.value * TIMES_NS["s"] if interval.unit == "s" else interval.value


def positions_of(
    axis: Axis | None, stated: tuple[Quantity, ...], traces: int, given_mm: float | None
) -> tuple[Floats | None, Fact]:
    """Find the midpoint of each trace, mm, shape (traces,)."""
    if given_mm is not None:
        if not (np.isfinite(given_mm) and given_mm > 0):
            raise DepthwrightError(f"A trace spacing of {given_mm:g} mm is not possible.")
        why = f"Positions are counted from the trace spacing of {given_mm:g} mm as given."
        return _counted(given_mm, traces), Fact(_POSITIONS, "", f"every {given_mm:g} mm", why)
    if traces == 1 and axis is None:
        return np.zeros(1), Fact(_POSITIONS, "", "0 mm", "A single trace is placed at 0 mm.")
    if axis is not None:
        return _on_axis(axis)
    for spacing in stated:
        if spacing.kind == "spacing":
            return _spaced(spacing, traces)
    return None, Fact(_POSITIONS, "", "", "The file gives no positions.")


def _counted(step_mm: float, traces: int) -> Floats:
    return step_mm * np.arange(traces, dtype=np.float64)


def _on_axis(axis: Axis) -> tuple[Floats | None, Fact]:
    along = axis.values
    stated = f"{along[0]:g} to {along[-1]:g} {axis.unit}".strip() + f" in {axis.place}"
    if not np.isfinite(along).all():
        at = int(np.argmin(np.isfinite(along))) + 1
        why = f"The position of trace {at} in {axis.place} is not a finite number."
        return None, Fact(_POSITIONS, stated, "", why)
    if len(along) == 1:
        return _placed_in(axis, stated, 0.0, axis.unit or "mm")
    with np.errstate(over="ignore"):
        steps = np.diff(along)
    if not ((steps > 0).all() or (steps < 0).all()):
        at = int(np.argmax(steps * np.sign(along[-1] - along[0]) <= 0)) + 2
        why = f"The positions in {axis.place} stand still or turn back at trace {at}."
        return None, Fact(_POSITIONS, stated, "", why)
    return _placed_in(axis, stated, float(np.median(np.abs(steps))), axis.unit)


def _placed_in(axis: Axis, stated: str, step: float, unit: str) -> tuple[Floats | None, Fact]:
    if unit:
        placing, settled = (unit, LENGTHS_MM[unit], _AS_SAID), True
    else:
        plausible = _length_unit(step, "", False)
        if plausible is None:
            why = f"In no unit are steps of {step:g}, as in {axis.place}, plausible on concrete."
            return None, Fact(_POSITIONS, stated, "", why)
        placing, settled = plausible, False
    with np.errstate(over="ignore"):
        positions, fact = _placed(axis.values, stated, step, placing)
    if not np.isfinite(positions).all():
        why = f"The positions in {axis.place} are too large."
        return None, Fact(_POSITIONS, stated, "", why)
    return positions, Fact(_POSITIONS, stated, fact.inferred, fact.why, settled)


def _spaced(spacing: Quantity, traces: int) -> tuple[Floats | None, Fact]:
    stated = f"{spacing.value:g} {spacing.unit}".strip() + f" in {spacing.place}"
    if spacing.unit:
        unit, size, reason = spacing.unit, LENGTHS_MM[spacing.unit], "as stated there"
    else:
        plausible = _length_unit(spacing.value, "", False)
        if plausible is None:
            why = f"In no unit is the spacing of {spacing.value:g} plausible on concrete."
            return None, Fact(_POSITIONS, stated, "", why)
        unit, size, reason = plausible
    step_mm = spacing.value * size
    why = f"The spacing of {spacing.value:g} is read in {unit}, {reason}."
    return _counted(step_mm, traces), Fact(
        _POSITIONS, stated, f"every {step_mm:g} mm", why, settled=bool(spacing.unit)
    )
