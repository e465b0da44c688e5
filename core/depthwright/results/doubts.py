"""What puts numbers in doubt, in sentences: of the whole job, and of single marks."""

import math
from itertools import pairwise

from depthwright.depth import priors
from depthwright.errors import joined
from depthwright.job import Job, Line
from depthwright.medium import wavelength_mm
from depthwright.results.values import BarRow, LineRows, TargetRow
from depthwright.units import format_length

CLOSE_WAVELENGTHS = 0.5
"""Bars nearer to each other than this may show as one echo: common practice, no source."""


def doubts(job: Job, permittivity: float) -> tuple[str, ...]:
    """What makes every number of the job doubtful."""
    messages = []
    low, high = priors.USUAL_PERMITTIVITY
    if job.zones[0].medium == "concrete" and not low <= permittivity <= high:
        messages.append(
            f"A permittivity of {permittivity:.1f} is unusual for concrete ({low:g} to {high:g}). "
            "Check the known depths, the marks they are tied to and the antenna separation."
        )
    for antenna in job.antennas:
        if not antenna.separation_known:
            shown = format_length(antenna.separation_mm, job.unit)
            open_u = format_length(priors.ASSUMED_SEPARATION_U_MM, job.unit)
            messages.append(
                f"The antenna separation of {shown} is assumed, to a standard uncertainty of {open_u}. "
                "Give that of the antenna used."
            )
    return tuple(messages)


def line_messages(job: Job, line: Line, rows: LineRows) -> list[str]:
    """What there is to say about single marks of a line."""
    marks = {mark.id: mark for mark in line.marks}
    picked: list[BarRow | TargetRow] = [*rows.bars, *rows.targets]
    depth = {row.mark_id: row.cover if isinstance(row, BarRow) else row.depth for row in picked}
    early = [row for row in picked if not math.isfinite(depth[row.mark_id].value_mm)]
    overlapping = [
        row
        for row in rows.bars
        if row not in early and getattr(marks[row.mark_id], "overlaps_direct", False)
    ]
    messages = [
        f"{_name(row)} on {line.name} is picked before any echo from inside the concrete could "
        "come. Move it down, or check the direct wave of the line."
        for row in early
    ]
    if overlapping:
        one = len(overlapping) == 1
        names = joined([_name(row) for row in overlapping])
        messages.append(
            f"{names} on {line.name} {'lies' if one else 'lie'} on the tail of the direct wave, so "
            f"{'its interval is' if one else 'their intervals are'} wider."
        )
    messages.extend(
        f"Back face {face.number} on {line.name} has an anchor before any echo from inside the concrete "
        "could come. Move it down, or check the direct wave of the line."
        for face in rows.faces
        if any(not math.isfinite(anchor.depth.value_mm) for anchor in face.anchors)
    )
    return [*messages, *_close_bars(job, line, rows)]


def _close_bars(job: Job, line: Line, rows: LineRows) -> list[str]:
    pulse_ghz = job.antenna_of(line).centre_frequency_ghz * priors.PULSE_PER_LINE_FREQUENCY
    least = CLOSE_WAVELENGTHS * float(wavelength_mm(rows.model.permittivity, pulse_ghz))
    close = [
        (first, second)
        for first, second in pairwise(rows.bars)
        if second.spacing is not None and second.spacing.value_mm < least
    ]
    if not close:
        return []
    names = joined([f"{_name(first)} and {second.number}" for first, second in close])
    return [
        f"{names} on {line.name} are nearer to each other than half a wavelength "
        f"({format_length(least, job.unit)}): they may be one echo, or move each other's."
    ]


def _name(row: BarRow | TargetRow) -> str:
    return f"{'Bar' if isinstance(row, BarRow) else row.what.capitalize()} {row.number}"
