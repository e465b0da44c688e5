"""What the numbers say, in sentences: the note after a tie, the footing of the depths, the cautions."""

import math

from depthwright.job import Job
from depthwright.results.values import Measured, Results
from depthwright.units import LengthUnit, format_interval, format_plain, from_mm

CAUTIONS = (
    "Depths and positions are estimates with the stated intervals. "
    "Absence of a mark is not absence of a target.",
    "Before drilling, cutting or coring: locate post-tensioning tendons and live services by every "
    "available means, isolate them where possible, keep the clearances that local codes and the "
    "structural engineer require, and have a licensed or qualified person decide.",
    "This document does not declare any place safe to drill.",
)

INTERVALS = "Intervals are expanded uncertainties U with coverage factor k = 2 (about 95 %)."


def permittivity_words(results: Results) -> str:
    """``8.1 ± 0.8``, with U (k = 2)."""
    return format_plain(results.permittivity, 2 * results.permittivity_u)


def footing(results: Results) -> str:
    """One sentence on what the depths rest on."""
    sources = " and ".join(results.adopted_from)
    if results.provisional:
        return (
            "Depths are provisional: they rest on a permittivity typical of concrete and nothing "
            "else. Tie a known depth to a bar or to the back face."
        )
    return f"Depths rest on {sources}."


def what_moved(before: Results, after: Results, unit: LengthUnit) -> str:
    """What an edit changed, in one short line: ``Permittivity 7.0 to 8.1; 6 bars; back face ...``.

    Empty when no number moved by as much as it is shown with.
    """
    parts = []
    if round(before.permittivity, 2) != round(after.permittivity, 2):
        parts.append(f"permittivity {before.permittivity:.1f} to {after.permittivity:.1f}")
    bars = _moved_bars(before, after)
    if bars:
        parts.append(f"{bars} bar{'s' if bars > 1 else ''}")
    parts.extend(_moved_faces(before, after, unit))
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""


def _moved_bars(before: Results, after: Results) -> int:
    old = {row.mark_id: row.cover for rows in before.lines.values() for row in rows.bars}
    new = {row.mark_id: row.cover for rows in after.lines.values() for row in rows.bars}
    return sum(1 for key, cover in new.items() if key in old and _differ(old[key], cover))


def _moved_faces(before: Results, after: Results, unit: LengthUnit) -> list[str]:
    old = {row.mark_id: row.median for rows in before.lines.values() for row in rows.faces}
    words = []
    for rows in after.lines.values():
        for face in rows.faces:
            now = face.median
            was = old.get(face.mark_id)
            if was is None or not _differ(was, now):
                continue
            places = {"mm": 0, "cm": 1, "in": 1}[unit]
            words.append(
                f"back face {from_mm(was.value_mm, unit):.{places}f} to "
                f"{format_interval(now.value_mm, now.expanded_mm, unit, figures=1)}"
            )
    return words[:1]


def _differ(was: Measured, now: Measured) -> bool:
    if math.isnan(was.value_mm) or math.isnan(now.value_mm):
        return False
    return round(was.value_mm, 1) != round(now.value_mm, 1)


def line_title(job: Job, line_id: str) -> str:
    """Name, datum and direction of a line, as images and schedules print them."""
    line = job.line(line_id)
    scale = "" if line.distance_scale == 1 else f", distances times {line.distance_scale:.4f}"
    return f"{line.name}: from {line.datum}, {line.direction}{scale}"
