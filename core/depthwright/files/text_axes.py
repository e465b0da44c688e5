"""Which numbers of a text are samples, and which stand beside them: positions, times, counts."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.matrix_axes import Axis, rises_evenly
from depthwright.files.matrix_words import LENGTHS_MM, TIMES_NS, Quantity, axis_words, stated_line
from depthwright.files.segy_geometry import WINDOW_NS
from depthwright.files.text_dialect import Dialect, is_number
from depthwright.scan import Block

Floats = NDArray[np.float64]

_PLACES = ("the first column", "the second column")
_FIRST_ROW = "the first row"
_STEPS_MM = (0.05, 1000.0)
_NUMBERED = re.compile(
    r"^(?P<before>[^\d+,-]*?)[\s_=]*(?P<number>[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?)"
    r"[\s_(\[]*(?P<unit>[a-zµμ]*)[)\]]*$",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Numbers:
    """All numbers of a text.

    Parameters
    ----------
    single
        In single precision, shape (rows, columns).
    beside
        The first two columns in double precision.
    first_rows
        The first two rows in double precision.
    """

    single: Block
    beside: Floats
    first_rows: Floats


@dataclass(frozen=True)
class TextAxes:
    """Where the samples begin, and what stands beside and above them."""

    first_row: int
    first_column: int
    down: Axis | None
    across: Axis | None
    stated: tuple[Quantity, ...]


@dataclass(frozen=True)
class _Header:
    """What the lines before the numbers say.

    Parameters
    ----------
    labels
        Words over each column; fewer than columns if there are none.
    across
        Numbers over the columns; those over the first ones may be missing (NaN).
    across_label
        What is said of these numbers alone.
    cornerless
        The line's number if it holds only numbers, one less than the others; else 0.
    """

    labels: tuple[str, ...] = ()
    across: Floats | None = None
    across_label: str = ""
    cornerless: int = 0


def find_axes(name: str, dialect: Dialect, numbers: Numbers) -> TextAxes:
    """Tell axes from samples in the numbers of the file ``name``.

    Raises
    ------
    DepthwrightError
        If a line of numbers before the others does not fit to them, or they are a list of points.
    """
    header = _read_header(name, dialect)
    columns = numbers.single.shape[1]
    labelled = _labelled_columns(header, columns)
    if {"position", "time"} <= {
        axis_words(label)[0] for label in header.labels[:2]
    } and columns == 3:
        raise DepthwrightError(
            f"{name} is a list of points, each with its position, time and amplitude.",
            "Export the line with one row or one column for each trace.",
        )
    in_first_row = header.across is None and not labelled and _is_axis(numbers.first_rows[:, 1:])
    first_row = int(in_first_row)
    down, first_column = _down(header, labelled, numbers, first_row)
    if in_first_row and down is None and not rises_evenly(numbers.first_rows[0]):
        in_first_row, first_row = False, 0
    across: Axis | None = None
    if in_first_row:
        across = Axis(_FIRST_ROW, numbers.first_rows[0, first_column:]).named(header.across_label)
    elif header.across is not None and rises_or_falls(header.across[first_column:]):
        across = Axis(_FIRST_ROW, header.across[first_column:]).named(header.across_label)
    if header.cornerless and (down is None or across is None):
        raise ragged(name, header.cornerless, columns - 1, columns)
    down, across = _settle_corner(down, across, header)
    stated = [stated_line(line, f"line {at}") for at, line in enumerate(dialect.leading, start=1)]
    return TextAxes(
        first_row, first_column, down, across, tuple(each for each in stated if each is not None)
    )


def ragged(name: str, number: int, found: int, usual: int) -> DepthwrightError:
    """What is said of a line that is longer or shorter than the others."""
    return DepthwrightError(
        f"Line {number} of {name} holds {found} numbers, where others hold {usual}.",
        "Export the line again, with all rows of one length.",
    )


def _is_axis(lines: Floats) -> bool:
    """Whether the first of two lines rises evenly, and the next one does not as well."""
    return len(lines) == 2 and rises_evenly(lines[0]) and not rises_evenly(lines[1])


def rises_or_falls(values: Floats) -> bool:
    """Whether numbers above the columns may be an axis: all there, and in order."""
    steps = np.diff(values)
    return bool(np.isfinite(values).all() and ((steps > 0).all() or (steps < 0).all()))


def _labelled_columns(header: _Header, columns: int) -> int:
    """How many of the first two columns have a header of an axis; one is left for samples."""
    most = min(2, columns - 1, len(header.labels))
    for at in range(most):
        if not axis_words(header.labels[at])[0]:
            return at
    return most


def _down(
    header: _Header, labelled: int, numbers: Numbers, first_row: int
) -> tuple[Axis | None, int]:
    """The axis beside the rows, and the first column of samples."""
    beside = numbers.beside[first_row:]
    axes = [Axis(_PLACES[at], beside[:, at]).named(header.labels[at]) for at in range(labelled)]
    if axes:
        telling = [axis for axis in axes if axis.meaning != "count"]
        return (telling or axes)[0], labelled
    if beside.shape[1] == 2 and _is_axis(beside.T):
        label = header.labels[0] if header.labels else ""
        return Axis(_PLACES[0], beside[:, 0]).named(label), 1
    return None, 0


def _settle_corner(
    down: Axis | None, across: Axis | None, header: _Header
) -> tuple[Axis | None, Axis | None]:
    """Give the corner's word to the numbers that it can be meant for: those below it, or beside it."""
    if down is None or across is None or across.meaning or not down.unit:
        return down, across
    beside = Axis(across.place, across.values, down.meaning, down.unit)
    if _is_plausible(down) or not _is_plausible(beside):
        return down, across
    return Axis(down.place, down.values), beside


def _is_plausible(axis: Axis) -> bool:
    """Whether its numbers can be positions or times on concrete in the unit that is said."""
    if len(axis.values) < 2:
        return True
    step = abs(float(np.median(np.diff(axis.values))))
    if axis.meaning == "position":
        low, high = _STEPS_MM
        return low <= step * LENGTHS_MM[axis.unit] <= high
    low, high = WINDOW_NS
    return low <= step * len(axis.values) * TIMES_NS[axis.unit] <= high


def _read_header(name: str, dialect: Dialect) -> _Header:
    """Read the lines before the numbers, from the last one upwards as long as they fit the columns."""
    columns = dialect.columns
    words: list[list[str]] = []
    across: Floats | None = None
    across_label, cornerless = "", 0
    at = 0
    for at in range(len(dialect.leading), 0, -1):
        cells = _cells(dialect, dialect.leading[at - 1])
        if not cells:
            continue
        all_numbers = all(is_number(cell, dialect.decimal) for cell in cells)
        is_remark = dialect.leading[at - 1].lstrip().startswith(("#", "%"))
        if len(cells) == columns - 1 and columns > 1 and across is None:
            cornerless = at if all_numbers and not is_remark else 0
            cells = ["", *cells]
        elif all_numbers and not is_remark:
            raise ragged(name, at, len(cells), columns)
        if len(cells) != columns:
            if across is not None and stated_line(dialect.leading[at - 1], "") is None:
                across_label = " ".join(filter(None, cells))
            break
        numbered, label = _numbered(cells, dialect)
        if across is None and numbered is not None:
            across, across_label = numbered, label
            words.insert(0, [cells[0] if np.isnan(numbered[0]) else "", *[""] * (columns - 1)])
        else:
            words.insert(0, cells)
    _refuse_numbers(name, dialect, at)
    labels = tuple(" ".join(filter(None, over)) for over in zip(*words, strict=True))
    return _Header(labels, across, across_label, cornerless)


def _refuse_numbers(name: str, dialect: Dialect, lines: int) -> None:
    """Numbers among words at the beginning are no matter of course."""
    for at, line in enumerate(dialect.leading[:lines], start=1):
        cells = [] if line.lstrip().startswith(("#", "%")) else _cells(dialect, line)
        if len(cells) in (0, 1, dialect.columns - 1):
            continue
        if all(is_number(cell, dialect.decimal) for cell in cells):
            raise ragged(name, at, len(cells), dialect.columns)


def _cells(dialect: Dialect, line: str) -> list[str]:
    bare = line.strip()
    if bare.startswith(("#", "%")):
        bare = bare.lstrip("#% ")
    elif dialect.delimiter is not None:
        bare = line  # blanks at its beginning may be the corner
    cells = dialect.cells(bare)
    return cells if any(cells) else []


def _numbered(cells: list[str], dialect: Dialect) -> tuple[Floats | None, str]:
    """Numbers that header cells hold, and the words or unit that all of them share.

    The first cell is the corner and may hold anything; its number is NaN then.
    """
    found = [_NUMBERED.match(cell) for cell in cells]
    around = {(each["before"].strip(), each["unit"]) for each in found[1:] if each is not None}
    if len(cells) < 2 or not all(found[1:]) or len(around) != 1:
        return None, ""
    (before, unit) = around.pop()
    corner = found[0]
    if corner is not None and (corner["before"].strip(), corner["unit"]) != (before, unit):
        corner = None
    numbers = [
        np.nan if each is None else float(dialect.pointed(each["number"]).replace(",", ""))
        for each in (corner, *found[1:])
    ]
    meaning, own_unit = axis_words(before)
    runs_on = not unit and set(np.diff(numbers[1:])) == {1.0} and numbers[1] in (0, 1, 2)
    if not meaning or own_unit or (runs_on and meaning != "count"):
        before = ""  # a letter before numbers, like "s0", says nothing; nor does "T1", "T2", "T3"
    return np.array(numbers), f"{before} ({unit})" if unit else before
