"""In which way a text writes a matrix: encoding, delimiter, decimal sign, and where its numbers begin."""

import codecs
import io
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

_COMMENTS = ("#", "%")
_BLANKS = " \r\n\f\ufeff"
_TRIED_LINES = 60
_LOOKED_THROUGH = 2000
_TRIED_LENGTH = 2000
_WAYS: tuple[tuple[str | None, str], ...] = (
    (";", "."), (";", ","), ("\t", "."), ("\t", ","), (",", "."), (None, "."), (None, ","),
)  # fmt: skip
"""Delimiters, None for blanks, with decimal signs, in the order in which they are tried."""
_NAMES = {";": "semicolons", "\t": "tabs", ",": "commas", None: "blanks"}
_ENCODING_NAMES = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "latin-1": "Latin-1"}


@dataclass(frozen=True)
class Dialect:
    """How a text writes its matrix.

    Parameters
    ----------
    encoding
        Python's name of its encoding.
    delimiter
        What stands between numbers; None for blanks.
    decimal
        The decimal sign, a point or a comma.
    columns
        Numbers in a line.
    leading
        Lines before the first line of numbers.
    """

    encoding: str
    delimiter: str | None
    decimal: str
    columns: int
    leading: tuple[str, ...]

    @property
    def words(self) -> str:
        """What it looks like, for people."""
        decimal = ", decimal commas" if self.decimal == "," else ""
        return f"{_ENCODING_NAMES[self.encoding]} text, {_NAMES[self.delimiter]} between numbers{decimal}"

    def cells(self, line: str) -> list[str]:
        """The cells of a line, without blanks and quotes around them."""
        return [
            cell.strip().strip('"').strip()
            for cell in stripped(line, self.delimiter).split(self.delimiter)
        ]

    def pointed(self, text: str) -> str:
        """A text whose decimal sign is the point."""
        return text.replace(",", ".") if self.decimal == "," else text


def decoded_lines(head: bytes) -> tuple[str, list[str]]:
    """Encoding and lines of the beginning of a file; no lines if it is no text."""
    encoding = _encoding(head)
    with io.TextIOWrapper(io.BytesIO(head), encoding, errors="replace") as wrapped:
        lines = wrapped.readlines()
    is_text = not any(character in _NO_TEXT for character in set().union(*lines))
    return encoding, lines if is_text else []


_NO_TEXT = {chr(code) for code in range(32)} - set("\t\n\r\f\x1a")


def _encoding(head: bytes) -> str:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)  # may end within a letter
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8-sig"


def holds_numbers(head: bytes) -> bool:
    """Whether what begins so is a text with a line of numbers."""
    _, lines = decoded_lines(head)
    return any(any(_with_numbers(lines, *way)) for way in _WAYS)


def find_dialect(head: bytes) -> Dialect | None:
    """Tell how the text that begins so writes its numbers; None where no line of it holds any.

    The way in which most numbers are found is taken; among equals the first.
    """
    encoding, lines = decoded_lines(head)
    best: tuple[int, Dialect] | None = None
    for delimiter, decimal in _WAYS:
        counts: Counter[int] = Counter()
        first: dict[int, int] = {}
        for at, line in _with_numbers(lines, delimiter, decimal):
            columns = len(stripped(line, delimiter).split(delimiter))
            counts[columns] += 1
            first.setdefault(columns, at)
            if counts.total() == _TRIED_LINES:
                break
        columns, times = counts.most_common(1)[0] if counts else (0, 0)
        if columns and (best is None or columns * times > best[0]):
            at = first[columns]
            sign = "," if _undecided(lines[at:], delimiter, decimal) else decimal
            dialect = Dialect(encoding, delimiter, sign, columns, tuple(lines[:at]))
            best = columns * times, dialect
    return None if best is None else best[1]


def _undecided(lines: Sequence[str], delimiter: str | None, decimal: str) -> bool:
    """Whether the first numbers are whole, and a comma among later ones says what decimals look like."""
    if delimiter == "," or decimal == ",":
        return False
    text = "".join(line for line in lines if not is_comment(line))
    return "," in text and "." not in text


def _with_numbers(
    lines: Sequence[str], delimiter: str | None, decimal: str
) -> Iterator[tuple[int, str]]:
    for at, line in enumerate(lines[:_LOOKED_THROUGH]):
        bare = stripped(line, delimiter)
        if not bare or is_comment(bare):
            continue
        cells = bare[:_TRIED_LENGTH].split(delimiter)
        if len(bare) > _TRIED_LENGTH:
            cells = cells[:-1]
        if cells and all(is_number(cell.strip().strip('"'), decimal) for cell in cells):
            yield at, line


def stripped(line: str, delimiter: str | None) -> str:
    """A line without what surrounds its cells: blanks, its end, and delimiters that close it."""
    line = line.strip(_BLANKS + "\x1a")
    return line.strip() if delimiter is None else line.rstrip(_BLANKS + delimiter)


def is_comment(line: str) -> bool:
    """Whether a line is a comment."""
    return line.lstrip().startswith(_COMMENTS)


def is_number(cell: str, decimal: str) -> bool:
    """Whether a cell is a number as numpy reads it."""
    if decimal == ",":
        if "." in cell:
            return False
        cell = cell.replace(",", ".")
    try:
        float(cell.replace("\u2212", "-"))
    except ValueError:
        return False
    return "_" not in cell
