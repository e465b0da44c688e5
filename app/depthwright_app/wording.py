"""Short words of the window that more than one pane needs. Plain values in, text out. No Qt here."""

import math

from depthwright.constants import PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth.priors import ASSUMED_SEPARATION_U_MM, SITE_LIMIT_MM, SITE_LIMIT_SHARE
from depthwright.job import Antenna, Job, Line, Tie
from depthwright.results.values import COVERAGE_FACTOR, Measured
from depthwright.units import LengthUnit, format_interval, format_length, format_plain, from_mm

NO_REASON = "A known depth is set aside for a reason: say it in a few words, then press Enter."
WIDE = 0.5
"""Beyond this share of the value an interval that is even in the logarithm is given by its ends."""

_FINE: dict[LengthUnit, tuple[float, int, int]] = {
    "mm": (10.0, 1, 0), "cm": (1.0, 2, 1), "in": (0.1, 3, 2),
}  # fmt: skip
"""Below this many units a bare uncertainty has the first number of decimals, else the second."""


def spread_words(value_mm: float, unit: LengthUnit) -> str:
    """An uncertainty alone, to two figures or so: ``9.4 mm``, ``19 mm``."""
    below, fine, coarse = _FINE[unit]
    return format_length(value_mm, unit, fine if from_mm(value_mm, unit) < below else coarse)


def unbroken(text: str) -> str:
    """The same with no line break inside an interval."""
    return text.replace(" ± ", "\u00a0±\u00a0")


def permittivity_words(value: float, log_u: float) -> str:
    """A permittivity with U (k = 2): ``8.2 ± 1.0``, or its ends where it is known that badly."""
    if COVERAGE_FACTOR * log_u <= WIDE:
        return format_plain(value, COVERAGE_FACTOR * log_u * value)
    low, high = log_interval(value, log_u)
    if high < PERMITTIVITY_MAX:
        return f"{max(low, PERMITTIVITY_MIN):.1f} to {high:.0f}"
    return f"more than {low:.1f}" if low > PERMITTIVITY_MIN else "says nothing"


def log_interval(value: float, log_u: float) -> tuple[float, float]:
    """Ends of an interval that is even in the logarithm, k = 2; of one as wide as one likes too."""
    factor = math.exp(min(COVERAGE_FACTOR * log_u, 50.0))
    return value / factor, value * factor


def site_limit_mm(reading_mm: float) -> float:
    """Limits of a cover meter's reading under site conditions, mm."""
    return max(SITE_LIMIT_MM, SITE_LIMIT_SHARE * reading_mm)


def replaced_words(name: str, before: Tie, now: Tie, unit: LengthUnit) -> str:
    """That an earlier known depth is no longer there: ``Bar 3 had 35 mm; now 36 mm.``"""
    was, new = (_plain(tie, unit) for tie in (before, now))
    if was == new:
        was, new = (_with_spread(tie, unit) for tie in (before, now))
    if was == new:
        return ""
    aside = ", set aside" if before.set_aside else ""
    return f"{name[:1].upper()}{name[1:]} had {was}{aside}; now {new}. Undo brings it back."


def place_words(line: Line, recorded_mm: float, unit: LengthUnit, own_u_mm: float = 0.0) -> str:
    """A position from the datum with U (k = 2): its own, and what the line's geometry leaves open."""
    where = Measured(line.on_concrete_mm(recorded_mm), line.place_u_mm(recorded_mm, own_u_mm))
    return format_interval(where.value_mm, where.expanded_mm, unit)


def separation_u_mm(antenna: Antenna) -> float:
    """Standard uncertainty of a separation as it counts, mm: one that nobody said is open."""
    if antenna.separation_known:
        return antenna.separation_u_mm
    return max(antenna.separation_u_mm, ASSUMED_SEPARATION_U_MM)


def antenna_words(job: Job, line: Line) -> str:
    """A line's datum and its antenna with what is open about it, U with k = 2."""
    antenna, unit = job.antenna_of(line), job.unit
    separation = _spread_or_exact(antenna.separation_mm, separation_u_mm(antenna), unit)
    height = _spread_or_exact(antenna.height_mm, antenna.height_u_mm, unit)
    held = " (all of the direct wave's shift)" if antenna.direct_shift == "measured" else ""
    return (
        f"{line.name}: from {line.datum}, {line.course}.\n"
        f"{antenna.name}: separation {separation}, {height} above the surface, "
        f"{antenna.centre_frequency_ghz:g} GHz, time offset {1e3 * antenna.time_offset_ns:.0f} ± "
        f"{2e3 * antenna.time_offset_u_ns:.0f} ps{held}; intervals with k = 2; {antenna.source}."
    )


def _spread_or_exact(value_mm: float, u_mm: float, unit: LengthUnit) -> str:
    if u_mm == 0:
        return f"{format_length(value_mm, unit, {'mm': 1, 'cm': 2, 'in': 3}[unit])} exactly"
    return format_interval(value_mm, COVERAGE_FACTOR * u_mm, unit)


def _plain(tie: Tie, unit: LengthUnit) -> str:
    places = {"mm": 1, "cm": 2, "in": 3}[unit]
    return f"{round(from_mm(tie.depth_mm, unit), places):g}\u202f{unit}"


def _with_spread(tie: Tie, unit: LengthUnit) -> str:
    return format_interval(tie.depth_mm, tie.plus_minus_mm, unit) + (
        " as limits" if tie.limits else ""
    )
