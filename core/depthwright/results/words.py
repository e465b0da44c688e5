"""What the numbers say, in sentences: the note after a tie, the footing of the depths, the cautions."""

import math

from depthwright.errors import joined
from depthwright.job import Job, Tie
from depthwright.results.values import Measured, Results
from depthwright.units import LengthUnit, format_interval, format_length, format_plain, from_mm

CAUTIONS = (
    "Depths and positions are estimates with the stated intervals. "
    "Absence of a mark is not absence of a target.",
    "Before drilling, cutting or coring: locate post-tensioning tendons and live services by every "
    "available means, isolate them where possible, keep the clearances that local codes and the "
    "structural engineer require, and have a licensed or qualified person decide.",
    "This document does not declare any place safe to drill.",
)

WORTH_SAYING = 0.8
"""A reading that would narrow the deep interval to this share of it, or less, is worth a word."""

INTERVALS = "Intervals are expanded uncertainties U with coverage factor k = 2 (about 95 %)."


def permittivity_words(results: Results) -> str:
    """``8.1 ± 0.8``, with U (k = 2)."""
    return format_plain(results.permittivity, 2 * results.permittivity_u)


def tie_words(tie: Tie, unit: LengthUnit) -> str:
    """A known depth as it was given: ``cover meter 23.0 ± 1.0 mm``."""
    spread = format_interval(tie.depth_mm, tie.plus_minus_mm, unit)
    return f"{tie.origin} {spread}{' as limits' if tie.limits else ''}"


def footing(results: Results, unit: LengthUnit = "mm", line_id: str = "") -> str:
    """What the depths rest on, how good they are (on one line, or in the whole job), and what would help."""
    if results.provisional:
        start = (
            "Depths are provisional: they rest on a permittivity typical of concrete and nothing "
            "else. Tie a known depth to a bar or to the back face."
        )
    else:
        start = f"Depths rest on {joined(results.adopted_from)}."
    return " ".join([start, *_goodness(results, unit, line_id)])


def _goodness(results: Results, unit: LengthUnit, line_id: str) -> list[str]:
    """``At 25 mm they are good to 2 mm, at the back face to 18 mm; a depth measured there would ...``."""
    outlook = results.outlooks[line_id]
    if outlook is None or results.provisional:
        return []
    near, deep = outlook.shallow, outlook.deep
    said = (
        f"Near {_rounded(near.value_mm, unit)} they are good to {_rounded(near.expanded_mm, unit)}"
    )
    now = next(row for row in outlook.rows if row.now)
    if deep.value_mm > 1.3 * near.value_mm:
        place = f"at {outlook.deep_label} ({_rounded(deep.value_mm, unit)})"
        said += f", {place} to {_rounded(now.expanded_mm, unit)}"
    best = min(
        (row for row in outlook.rows if row is not now),
        key=lambda row: row.expanded_mm,
        default=now,
    )
    if best.expanded_mm < WORTH_SAYING * now.expanded_mm:
        said += f"; {best.what} would bring that to {_rounded(best.expanded_mm, unit)}"
    return [f"{said}."]


def _rounded(value_mm: float, unit: LengthUnit) -> str:
    return format_length(value_mm, unit, {"mm": 0, "cm": 1, "in": 1}[unit])


def what_moved(before: Results, after: Results, unit: LengthUnit) -> str:
    """What an edit changed, in one short line: ``Permittivity 7.0 to 8.1; 6 bars; back face ...``.

    Empty when no number moved by as much as it is shown with.
    """
    parts = [
        *_moved_permittivity(before, after),
        *_moved_bars(before, after),
        *_moved_faces(before, after, unit),
    ]
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""


def _moved_permittivity(before: Results, after: Results) -> list[str]:
    was, now = f"{before.permittivity:.1f}", f"{after.permittivity:.1f}"
    if was != now:
        return [f"permittivity {was} to {now}"]
    if _rescaled(before.permittivity_u, after.permittivity_u):
        return [
            f"permittivity {now}, ± {2 * before.permittivity_u:.1f} to ± {2 * after.permittivity_u:.1f}"
        ]
    return []


def _moved_bars(before: Results, after: Results) -> list[str]:
    old = {row.mark_id: row.cover for rows in before.lines.values() for row in rows.bars}
    new = {row.mark_id: row.cover for rows in after.lines.values() for row in rows.bars}
    pairs = [(old[key], cover) for key, cover in new.items() if key in old]
    moved = sum(1 for was, now in pairs if _differ(was, now))
    if moved:
        return [f"{moved} bar{'s' if moved > 1 else ''}"]
    rescaled = sum(1 for was, now in pairs if _rescaled(was.u_mm, now.u_mm))
    return [f"{rescaled} bar interval{'s' if rescaled > 1 else ''}"] if rescaled else []


def _moved_faces(before: Results, after: Results, unit: LengthUnit) -> list[str]:
    old = {row.mark_id: row.median for rows in before.lines.values() for row in rows.faces}
    places = {"mm": 0, "cm": 1, "in": 1}[unit]
    for rows in after.lines.values():
        for face in rows.faces:
            was, now = old.get(face.mark_id), face.median
            if was is None:
                continue
            shown = format_interval(now.value_mm, now.expanded_mm, unit, figures=1)
            if _differ(was, now):
                return [f"back face {from_mm(was.value_mm, unit):.{places}f} to {shown}"]
            if _rescaled(was.u_mm, now.u_mm):
                return [f"back face ± {from_mm(was.expanded_mm, unit):.{places}f} to {shown}"]
    return []


def _differ(was: Measured, now: Measured) -> bool:
    if math.isnan(was.value_mm) or math.isnan(now.value_mm):
        return False
    return round(was.value_mm, 1) != round(now.value_mm, 1)


def _rescaled(was: float, now: float) -> bool:
    """Whether an interval has become another one to a reader: by a tenth."""
    return math.isfinite(was) and math.isfinite(now) and abs(now - was) > 0.1 * was


def line_title(job: Job, line_id: str) -> str:
    """Name, datum and direction of a line, as images and schedules print them."""
    line = job.line(line_id)
    scale = "" if line.distance_scale == 1 else f", distances times {line.distance_scale:.4f}"
    return f"{line.name}: from {line.datum}, {line.course}{scale}"
