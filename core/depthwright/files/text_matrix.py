"""Matrices as text: CSV, TSV, and whatever else has its numbers in lines."""

import io
from collections.abc import Generator
from contextlib import closing
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact
from depthwright.files.matrix import Kept, Matrix, check_size, single
from depthwright.files.opened import File, opened, reading
from depthwright.files.text_axes import Numbers, find_axes, ragged
from depthwright.files.text_dialect import (
    Dialect,
    find_dialect,
    is_comment,
    is_number,
    stripped,
)
from depthwright.scan import Block

MOST_TEXT_BYTES = 10**9
"""Longest text that is read."""
HEAD_BYTES = 2**20
"""In so much of it the way of writing is found."""
_LONGEST_HEAD_BYTES = 32 * 2**20
_PIECE_CHARACTERS = 2**21
_SHOWN = 20


def read_text(path: Path) -> Matrix:
    """Read a text with a line of numbers for each row of a matrix.

    Raises
    ------
    DepthwrightError
        If it is too long, or holds no matrix; the line where that shows is named.
    """
    with reading(path):
        file = File.find(path)
    if not file.size:
        raise DepthwrightError(f"{file.name} is empty.", "Export or copy the line again.")
    if file.size > MOST_TEXT_BYTES:
        raise DepthwrightError(
            f"{file.name} is a text of {file.size / 1e6:.0f} MB, more than the"
            f" {MOST_TEXT_BYTES / 1e6:.0f} MB that are read.",
            "Export the line as SEG-Y or .npy, or in parts.",
        )
    with opened(file) as again:
        dialect = find_dialect(_head(file, again))
        if dialect is None:
            raise DepthwrightError(
                f"{file.name} has no line of numbers.",
                "Export the line with one row or one column for each trace.",
            )
        again.seek(0)
        table = _Reading(file, dialect, again).table()
    if file.has_changed:  # half the old file and half the new one
        raise DepthwrightError(f"{file.name} has changed while it was read.", "Open it again.")
    axes = find_axes(file.name, dialect, table)
    return Matrix(
        file=file,
        kind=(Fact("Kind of file", dialect.words, "matrix of numbers"),),
        samples=Kept(table.single[axes.first_row :, axes.first_column :]),
        down=axes.down,
        across=axes.across,
        stated=axes.stated,
        text="".join(dialect.leading),
    )


def _head(file: File, again: BufferedReader) -> bytes:
    """The beginning of a file, up to the end of a line."""
    head = again.read(HEAD_BYTES)
    while len(head) < file.size and b"\n" not in head and b"\r" not in head:
        more = again.read(len(head))
        if not more or len(head) > _LONGEST_HEAD_BYTES:
            break
        head += more
    if len(head) == file.size:
        return head
    end = max(head.rfind(b"\n"), head.rfind(b"\r"))
    if end < 0:
        raise DepthwrightError(
            f"Line 1 of {file.name} has no end within {len(head) / 1e6:.0f} MB.",
            "Export the line with one row or one column for each trace.",
        )
    return head[: end // 2 * 2 + 2] if head[:1] in (b"\xff", b"\xfe") else head[: end + 1]


@dataclass(frozen=True)
class _Reading:
    """The bulk of a text: pieces of some megabytes, each given to numpy."""

    file: File
    dialect: Dialect
    again: BufferedReader

    def table(self) -> Numbers:
        """All numbers in single precision, those that may be axes in double."""
        pieces: list[Block] = []
        beside: list[NDArray[np.float64]] = []
        first_rows: NDArray[np.float64] = np.empty((0, self.dialect.columns))
        numbers = 0
        with closing(self._pieces()) as pieces_of_lines:
            for piece in pieces_of_lines:
                parsed = self._parse(piece)
                numbers += parsed.size
                check_size(self.file, numbers)
                if len(first_rows) < 2:
                    first_rows = np.concatenate([first_rows, parsed[:2]])[:2]
                pieces.append(single(parsed))
                beside.append(parsed[:, :2].copy())
        return Numbers(np.concatenate(pieces), np.concatenate(beside), first_rows)

    def _pieces(self) -> Generator[list[tuple[int, str]], None, None]:
        """Lines of numbers, each with its number in the file, made ready for numpy."""
        delimiter, comma = self.dialect.delimiter, self.dialect.decimal == ","
        skipped = len(self.dialect.leading)
        number = 0
        text = io.TextIOWrapper(self.again, self.dialect.encoding, errors="replace")
        try:
            while lines := text.readlines(_PIECE_CHARACTERS):
                piece = []
                for line in lines:
                    number += 1
                    bare = stripped(line, delimiter)
                    if number <= skipped or not bare or is_comment(bare):
                        continue
                    if comma and "." in bare:
                        raise self._no_number(number, bare, ",")
                    piece.append((number, self.dialect.pointed(bare).replace("\u2212", "-")))
                if piece:
                    yield piece
        finally:
            text.detach()  # else it would close the file

    def _parse(self, piece: list[tuple[int, str]]) -> NDArray[np.float64]:
        try:
            parsed = np.loadtxt(
                [line for _, line in piece],
                np.float64,
                comments=None,
                delimiter=self.dialect.delimiter,
                quotechar='"',
                ndmin=2,
            )
        except (ValueError, OverflowError) as cause:
            raise self._fault(piece) from cause
        if parsed.shape != (len(piece), self.dialect.columns):
            raise self._fault(piece)
        return parsed

    def _fault(self, piece: list[tuple[int, str]]) -> DepthwrightError:
        """What numpy stumbled on, in words and with the line's number."""
        for number, line in piece:
            cells = line.split(self.dialect.delimiter)
            if not all(is_number(cell.strip().strip('"'), ".") for cell in cells):
                return self._no_number(number, line, ".")
            if len(cells) != self.dialect.columns:
                return ragged(self.file.name, number, len(cells), self.dialect.columns)
        quoted = next((number for number, line in piece if '"' in line), piece[0][0])
        return DepthwrightError(
            f"Line {quoted} of {self.file.name} has quotes that hold more than one number.",
            "Export the line again, without quotes.",
        )

    def _no_number(self, number: int, line: str, decimal: str) -> DepthwrightError:
        cells = [cell.strip().strip('"') for cell in line.split(self.dialect.delimiter)]
        wrong = next((cell for cell in cells if not is_number(cell, decimal)), "")
        shown = wrong if len(wrong) <= _SHOWN else wrong[:_SHOWN] + "…"
        what = f"“{shown}”, which is no number" if wrong else "an empty cell"
        return DepthwrightError(
            f"Line {number} of {self.file.name} holds {what}.",
            "Export the line again, or mend that line in a copy.",
        )
