"""The bar schedule under the picture, what is said of face and targets, and the cautions."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from depthwright.exports import palette
from depthwright.exports.columns import BODY, HEAD, SetLine
from depthwright.exports.lettering import Type, shorten, width_mm, wrap
from depthwright.exports.page import Page
from depthwright.exports.wording import remarks_on_bars, set_aside, short_of_mm, short_words
from depthwright.job import Job, Line
from depthwright.results.values import BarRow, FaceRow, LineRows
from depthwright.results.words import CAUTIONS, INTERVALS
from depthwright.units import THIN_SPACE, format_interval, format_length, from_mm, nearest_sixteenth

MOST_ROWS = 12
_MORE = "… the rest stands in the tables and in the job."


@dataclass(frozen=True)
class Cell:
    """A text in the table; ``at`` is its edge (left) or its end (right), mm from the table's left."""

    text: str
    at: float
    align: str
    kind: Type = BODY


@dataclass(frozen=True)
class Schedule:
    """Rows of the table and sentences under it."""

    head: tuple[Cell, ...]
    rows: tuple[tuple[Cell, ...], ...]
    remarks: tuple[SetLine, ...]

    @property
    def height_mm(self) -> float:
        """Height it takes, mm."""
        table = HEAD.line_mm + (len(self.rows) + 1) * _ROW_MM + 1.2 if self.rows else HEAD.line_mm
        return table + max((line.down_mm + 1.0 for line in self.remarks), default=0.0)


_ROW_MM = BODY.line_mm + 0.25
_SPACE_MM = 0.7


def schedule(
    job: Job, line: Line, rows: LineRows, provisional: bool, width: float, step: int, most_mm: float
) -> Schedule:
    """The bar schedule where it fits in a height, the faces and targets in sentences.

    ``step`` tells that only every so many bars are labelled in the picture.
    """
    listed = len(rows.bars) <= MOST_ROWS
    table = _schedule(job, line, rows, provisional, width, step, listed)
    if listed and table.height_mm > most_mm:
        return _schedule(job, line, rows, provisional, width, step, listed=False)
    return table


def _schedule(
    job: Job,
    line: Line,
    rows: LineRows,
    provisional: bool,
    width: float,
    step: int,
    listed: bool,
) -> Schedule:
    remarks = [
        *remarks_on_bars(rows.bars),
        *(_face_words(job, face) for face in rows.faces),
        *_target_words(job, rows),
    ]
    if provisional and (rows.bars or rows.faces or rows.targets):
        remarks.insert(0, "These depths are provisional.")
    if not rows.bars:
        remarks.insert(0, "No bars are marked on this line.")
    shown = rows.bars if listed else ()
    if not listed:
        remarks[:0] = _spread_words(job, line, rows.bars)
    if step > 1:
        remarks.append(f"Only one bar in {step} is labelled in the picture, for want of room.")
    down, lines, kind = 0.6, [], Type(BODY.size_pt, italic=provisional)
    for remark in remarks:
        for text in wrap(remark, kind, width):
            down += BODY.line_mm
            lines.append(SetLine(down, text, kind))
    columns = _columns(job, line, shown, provisional, width)
    body = tuple(
        tuple(cell for _, cells in columns for cell in cells[index]) for index in range(len(shown))
    )
    head = tuple(cell for cells, _ in columns for cell in cells)
    return Schedule(head, body, tuple(_at_most(lines, 8 if shown else 16, width)))


def _at_most(lines: list[SetLine], most: int, width: float) -> list[SetLine]:
    """The first lines; the last of them says where the others are."""
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], SetLine(lines[most - 1].down_mm, shorten(_MORE, BODY, width), BODY)]


def draw_schedule(page: Page, table: Schedule, left: float, top: float, width: float) -> None:
    """Write the table with hairlines above and below its head."""
    page.text(left, top + HEAD.line_mm - 0.8, "Bars, back face and targets", HEAD)
    down = top + HEAD.line_mm
    if table.rows:
        for index, cells in enumerate((table.head, *table.rows)):
            down += _ROW_MM
            for cell in cells:
                page.text(left + cell.at, down, cell.text, cell.kind, align=cell.align)
            if index in (0, len(table.rows)):
                page.line((left, left + width), (down + 0.95, down + 0.95))
        down += 1.2
    for line in table.remarks:
        page.text(left, down + line.down_mm, line.text, line.kind)


_Column = tuple[tuple[Cell, ...], tuple[tuple[Cell, ...], ...]]


def _columns(
    job: Job, line: Line, bars: tuple[BarRow, ...], provisional: bool, width: float
) -> list[_Column]:
    """Columns with the place of each: heads and cells, one tuple of cells for each bar."""
    unit = job.unit
    value = Type(BODY.size_pt, italic=provisional)
    cover = f"provisional cover {unit}" if provisional else f"cover {unit}"
    intervals = (
        (f"from datum {unit}", [(b.position.value_mm, b.position.expanded_mm) for b in bars], BODY),
        (cover, [(b.cover.value_mm, b.cover.expanded_mm) for b in bars], value),
        (
            f"spacing {unit}",
            [(b.spacing.value_mm, b.spacing.expanded_mm) if b.spacing else None for b in bars],
            BODY,
        ),
    )
    columns: list[_Column] = [
        _plain("bar", [str(bar.number) for bar in bars], 5.0, "right"),
    ]
    at = 9.0
    for name, values, kind in intervals:
        column, at = _interval_column(job, name, values, at, kind)
        columns.append(column)
        at += 3.0
        if unit == "in" and name.startswith("from datum"):
            tape = [nearest_sixteenth(bar.position.value_mm).split(THIN_SPACE)[0] for bar in bars]
            columns.append(_plain("to 1/16", tape, at + 8.0, "right"))
            at += 11.0
    if job.specified_cover_mm is not None:
        columns.append(
            _plain(f"short {unit}", [_short(job, bar) for bar in bars], at + 10.0, "right")
        )
        at += 14.0
    diameter = [_diameter(job, bar) for bar in bars]
    columns.append(_plain(f"Ø {unit}", diameter, at + 6.0, "right"))
    at += 9.4
    room = width - at
    sources = [shorten(_source(job, line, bar), BODY, room) for bar in bars]
    columns.append(_plain("source", sources, at, "left"))
    return columns


def _plain(name: str, texts: list[str], at: float, align: str) -> _Column:
    return (Cell(name, at, align),), tuple((Cell(text, at, align),) for text in texts)


def _interval_column(
    job: Job, name: str, values: Sequence[tuple[float, float] | None], at: float, kind: Type
) -> tuple[_Column, float]:
    """Values right-aligned at their ±, so that numbers stand under each other; gives the end too."""
    halves = [
        ("", "") if pair is None else _halves(format_interval(*pair, job.unit, with_unit=False))
        for pair in values
    ]
    before = max((width_mm(first, kind) for first, _ in halves), default=0.0)
    after = max((width_mm(second, kind) for _, second in halves), default=0.0)
    end = at + max(before + _SPACE_MM + after, width_mm(name, kind))
    middle = at + before
    cells = tuple(
        (Cell(first, middle, "right", kind), Cell(second, middle + _SPACE_MM, "left", kind))
        for first, second in halves
    )
    return ((Cell(name, at, "left", kind),), cells), end


def _halves(interval: str) -> tuple[str, str]:
    value, mark, spread = interval.partition(" ± ")
    return value, mark + spread


def _diameter(job: Job, bar: BarRow) -> str:
    places = {"mm": 0, "cm": 1, "in": 2}[job.unit]
    return f"{from_mm(bar.diameter_mm, job.unit):.{places}f}"


def _source(job: Job, line: Line, bar: BarRow) -> str:
    """What a cover rests on, the known depth first so that it is never cut off."""
    if bar.tie is None:
        return "radar; tie set aside" if set_aside(line, bar.mark_id) else "radar"
    known = format_interval(bar.tie.depth_mm, bar.tie.plus_minus_mm, job.unit, with_unit=False)
    return f"{known}{' as limits' if bar.tie.limits else ''}, {bar.tie.origin}"


def _short(job: Job, bar: BarRow) -> str:
    short = short_of_mm(bar, job)
    return short_words(short, job.unit).split(THIN_SPACE)[0] if short > 0 else ""


def _face_words(job: Job, face: FaceRow) -> str:
    median = face.median
    value = format_interval(median.value_mm, median.expanded_mm, job.unit)
    name = "Back face" if face.number == 1 else f"Back face {face.number}"
    start, end = (
        format_length(float(at), job.unit) for at in (face.position_mm[0], face.position_mm[-1])
    )
    where = f"at {start}" if len(face.position_mm) == 1 else f"median between {start} and {end}"
    return f"{name}: {value}, {where}."


def _target_words(job: Job, rows: LineRows) -> list[str]:
    return [
        f"{row.what.capitalize()} {row.number}: depth "
        f"{format_interval(row.depth.value_mm, row.depth.expanded_mm, job.unit)}, at "
        f"{format_interval(row.position.value_mm, row.position.expanded_mm, job.unit)}."
        for row in rows.targets
    ]


def _spread_words(job: Job, line: Line, bars: tuple[BarRow, ...]) -> list[str]:
    known = sorted(
        (bar for bar in bars if math.isfinite(bar.cover.value_mm)),
        key=lambda bar: bar.cover.value_mm,
    )
    words = [f"{len(bars)} bars: see the bar schedule of {line.name}."]
    if not known:
        return words
    words += [
        f"{name} cover: bar {bar.number}, "
        f"{format_interval(bar.cover.value_mm, bar.cover.expanded_mm, job.unit)}."
        for name, bar in (("Least", known[0]), ("Greatest", known[-1]))
    ]
    short = sum(1 for bar in known if short_of_mm(bar, job) > 0)
    if job.specified_cover_mm is not None:
        words.append(f"{short} of {len(bars)} are short of the specified cover.")
    return words


# Cautions.


CAUTION = Type(palette.BODY_PT)


def caution_lines(width: float) -> list[str]:
    """What every page says: how to read intervals, and what the program never claims."""
    return [text for caution in (INTERVALS, *CAUTIONS) for text in wrap(caution, CAUTION, width)]
