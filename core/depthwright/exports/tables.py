"""Tables for spreadsheets: bar schedule, thickness profile, targets and uncertainty budget of one line,
as CSV.

Each starts with comment lines (``#``) that carry units, depth model, evidence and cautions. The program's
own words are plain ASCII; values are in the job's unit. No cell can be taken for a formula.
"""

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from datetime import datetime

from depthwright.exports.wording import (
    EVIDENCE,
    TIES,
    UNIT_WORDS,
    curvature_words,
    day_and_time,
    distance_words,
    evidence_words,
    model_words,
    outlook_words,
    places_mm,
    program,
    set_aside,
    short_of_mm,
    source_words,
)
from depthwright.job import Job, Line
from depthwright.results.values import BarRow, Measured, Results
from depthwright.results.words import CAUTIONS, INTERVALS, line_title, tie_words
from depthwright.units import LengthUnit, format_length, from_mm, nearest_sixteenth

DECIMALS: dict[LengthUnit, int] = {"mm": 1, "cm": 2, "in": 3}

FINE = 2
"""Decimals more for the parts of an uncertainty than for a length."""

BUDGET = (
    "Parts of the standard uncertainty u of each depth by where they come from; their squares add up to "
    "that of u, and U = 2 u."
)

_ASCII = str.maketrans(
    {"±": "+/-", "−": "-", "–": "-", "—": "-", "\u202f": " ", "\u00a0": " ", "“": "'", "”": "'",
     "’": "'", "…": "..."}
)  # fmt: skip
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_FORMULA_IN_COMMENT = re.compile(r"([,;\t]\s*)([=+\-@])")

Cell = str | int


def bar_schedule(job: Job, line_id: str, results: Results, when: datetime) -> str:
    """The bar schedule of a line; spacing is to the bar before it from the datum."""
    unit = job.unit
    head = [
        "bar", *_place_heads(unit), f"cover {unit}", f"U cover {unit}", f"spacing {unit}",
        f"U spacing {unit}", f"diameter {unit}", "two-way time ns", "source",
        "curvature counts", "flags",
    ]  # fmt: skip
    line, curved = job.line(line_id), results.curved
    rows: list[list[Cell]] = [
        [
            bar.number,
            *_place(bar.position, unit),
            *_interval(bar.cover, unit),
            *_interval(bar.spacing, unit),
            _number(bar.diameter_mm, unit),
            f"{bar.two_way_ns:.3f}",
            tie_words(bar.tie, unit) if bar.tie else "radar",
            "yes" if (line_id, bar.mark_id) in curved else "no",
            _flags(job, line, bar, results.provisional),
        ]
        for bar in results.lines[line_id].bars
    ]
    return _table(job, line_id, results, when, "Bar schedule", head, rows)


def thickness_profile(job: Job, line_id: str, results: Results, when: datetime) -> str:
    """The back faces of a line, point by point, with the file time each depth is read at."""
    unit = job.unit
    line = job.line(line_id)
    head = ["back face", *_place_heads(unit), f"depth {unit}", f"U depth {unit}",
            "file time ns", "flags"]  # fmt: skip
    rows: list[list[Cell]] = [
        [
            face.number,
            *_place(_tracked_position(line, float(position)), unit),
            *_interval(Measured(float(depth), float(depth_u)), unit),
            f"{time:.3f}",
            "; ".join(
                [
                    *_provisional(results.provisional),
                    *_outside(line, line.recorded_mm(float(position))),
                ]
            ),
        ]
        for face in results.lines[line_id].faces
        for position, depth, depth_u, time in zip(
            face.position_mm, face.depth_mm, face.depth_u_mm, face.time_ns, strict=True
        )
    ]
    return _table(job, line_id, results, when, "Thickness profile", head, rows)


def target_table(job: Job, line_id: str, results: Results, when: datetime) -> str:
    """The other targets of a line."""
    unit = job.unit
    line = job.line(line_id)
    head = ["target", "number", *_place_heads(unit), f"depth {unit}", f"U depth {unit}", "source",
            "flags"]  # fmt: skip
    rows: list[list[Cell]] = [
        [
            row.what,
            row.number,
            *_place(row.position, unit),
            *_interval(row.depth, unit),
            tie_words(row.tie, unit) if row.tie else "radar",
            "; ".join(
                [
                    *_provisional(results.provisional),
                    *_unseen(line, row.mark_id),
                    *_aside(job, line, row.mark_id),
                ]
            ),
        ]
        for row in results.lines[line_id].targets
    ]
    return _table(job, line_id, results, when, "Targets", head, rows)


def budget_table(job: Job, line_id: str, results: Results, when: datetime) -> str:
    """What contributes how much to the uncertainty of each depth of a line, as standard uncertainties."""
    unit = job.unit
    marks = _measured_marks(results, line_id)
    known = [
        (line_id, mark_id, place)
        for _, mark_id, place, _, depth in marks
        if math.isfinite(depth.value_mm)
    ]
    found = dict(zip(known, results.budgets(known), strict=True))
    shares = [
        {share.source: share.u_mm for share in found.get((line_id, mark_id, place), ())}
        for _, mark_id, place, _, _ in marks
    ]
    total: dict[str, float] = {}
    for row in shares:
        for source, u_mm in row.items():
            total[source] = total.get(source, 0.0) + u_mm**2
    sources = sorted(total, key=lambda source: -total[source])
    head = ["mark", *_place_heads(unit, with_u=False), f"depth {unit}", f"u {unit}",
            *(f"u from {source} {unit}" for source in sources)]  # fmt: skip
    rows: list[list[Cell]] = [
        [
            name,
            *_place(position, unit, with_u=False),
            _number(depth.value_mm, unit),
            _number(depth.u_mm, unit, FINE),
            *(_number(row.get(source, math.nan), unit, FINE) for source in sources),
        ]
        for (name, _, _, position, depth), row in zip(marks, shares, strict=True)
    ]
    return _table(job, line_id, results, when, "Uncertainty budget", head, rows, BUDGET)


def _measured_marks(
    results: Results, line_id: str
) -> list[tuple[str, str, int, Measured, Measured]]:
    """Name, id, place in the mark, position and depth of all that is measured on a line."""
    rows = results.lines[line_id]
    return [
        *((f"bar {b.number}", b.mark_id, 0, b.position, b.cover) for b in rows.bars),
        *((f"back face {face.number} anchor {place + 1}", face.mark_id, place, a.position, a.depth)
          for face in rows.faces for place, a in enumerate(face.anchors)),
        *((f"{t.what} {t.number}", t.mark_id, 0, t.position, t.depth) for t in rows.targets),
    ]  # fmt: skip


def _table(
    job: Job,
    line_id: str,
    results: Results,
    when: datetime,
    title: str,
    head: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    explained: str = "",
) -> str:
    text = io.StringIO(newline="")
    explanation = (explained,) if explained else ()
    for comment in (*_comments(job, line_id, results, when, title), *explanation):
        text.write(f"# {_comment(comment)}\r\n")
    writer = csv.writer(text)
    writer.writerow(_comment(name) for name in head)
    writer.writerows([_safe(cell) for cell in row] for row in rows)
    return text.getvalue()


def _comments(
    job: Job, line_id: str, results: Results, when: datetime, title: str
) -> tuple[str, ...]:
    line = job.line(line_id)
    specified = job.specified_cover_mm
    return (
        f"{title}: {job.name}",
        *((job.note,) if job.note else ()),
        line_title(job, line_id),
        f"Made on {day_and_time(when)} with {program()}.",
        f"Lengths in {UNIT_WORDS[job.unit]}, times in nanoseconds.",
        *((f"Specified cover {format_length(specified, job.unit)}.",) if specified else ()),
        distance_words(job, line),
        *model_words(job, line, results),
        f"{EVIDENCE} {TIES}",
        *evidence_words(results),
        *curvature_words(job, line, results),
        *outlook_words(results, job.unit, line_id),
        source_words(line),
        f"sha256 of the scan {line.scan.sha256}",
        *(f"Warning: {warning}" for warning in results.warnings),
        *results.messages,
        INTERVALS,
        *CAUTIONS,
    )


def _comment(text: str) -> str:
    """One line that stays a comment, also where a spreadsheet splits it into cells."""
    flat = " ".join(_plain(text).replace('"', "'").split())
    return _FORMULA_IN_COMMENT.sub(r"\1'\2", flat)


def _safe(cell: Cell) -> Cell:
    """A cell that no spreadsheet takes for a formula; numbers stay numbers."""
    if isinstance(cell, int) or _is_number(cell):
        return cell
    plain = _plain(cell)
    return f"'{plain}" if plain.startswith(_FORMULA_STARTS) else plain


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"-?\d+(\.\d+)?", cell) is not None


def _plain(text: str) -> str:
    return text.translate(_ASCII)


def _place_heads(unit: LengthUnit, with_u: bool = True) -> list[str]:
    heads = [f"position {unit}"]
    if unit == "in":
        heads.append("position to 1/16 in")
    if with_u:
        heads.append(f"U position {unit}")
    return heads


def _place(position: Measured, unit: LengthUnit, with_u: bool = True) -> list[str]:
    cells = [_number(position.value_mm, unit)]
    if unit == "in":
        cells.append(nearest_sixteenth(position.value_mm))
    if with_u:
        cells.append(_number(position.expanded_mm, unit))
    return cells


def _interval(measured: Measured | None, unit: LengthUnit) -> list[str]:
    if measured is None or not math.isfinite(measured.value_mm):
        return ["", ""]
    return [_number(measured.value_mm, unit), _number(measured.expanded_mm, unit)]


def _number(value_mm: float, unit: LengthUnit, more: int = 0) -> str:
    """A number for a spreadsheet; empty where there is none."""
    if not math.isfinite(value_mm):
        return ""
    return f"{from_mm(value_mm, unit):.{DECIMALS[unit] + more}f}"


def _tracked_position(line: Line, position_mm: float) -> Measured:
    """A tracked point is where its trace was recorded: its place in the scan is not open."""
    return Measured(position_mm, line.place_u_mm(line.recorded_mm(position_mm)))


def _flags(job: Job, line: Line, bar: BarRow, provisional: bool) -> str:
    flags = _provisional(provisional)
    if not math.isfinite(bar.cover.value_mm):
        flags.append("no depth")
    if bar.overlaps_direct:
        flags.append("on the tail of the direct wave")
    short = short_of_mm(bar, job)
    if short > 0:
        flags.append(f"{_number(short, job.unit)} {job.unit} short of the specified cover")
    return "; ".join([*flags, *_unseen(line, bar.mark_id), *_aside(job, line, bar.mark_id)])


def _provisional(provisional: bool) -> list[str]:
    return ["provisional"] if provisional else []


def _unseen(line: Line, mark_id: str) -> list[str]:
    return _outside(line, *places_mm(line.mark(mark_id)))


def _outside(line: Line, *recorded_mm: float) -> list[str]:
    """What the picture does not reach with any of its places, since the line is cropped."""
    return [] if any(map(line.shows, recorded_mm)) else ["outside the part shown"]


def _aside(job: Job, line: Line, mark_id: str) -> list[str]:
    """A known depth that does not count, with the reason, whose words are the user's."""
    tie = set_aside(line, mark_id)
    return [_comment(f"{tie_words(tie, job.unit)} set aside: {tie.set_aside}")] if tie else []
