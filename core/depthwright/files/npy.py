"""Matrices in numpy's own format, .npy: blocks are read from the file where it holds traces one by one.

They are read, not mapped: a mapped file that is cut ends the program.
"""

import tokenize
import warnings
from dataclasses import dataclass
from io import BufferedReader, BytesIO
from pathlib import Path

import numpy as np
from numpy.lib import format as npy_format
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact
from depthwright.files.matrix import (
    SEEN_COLUMNS,
    SEEN_ROWS,
    Kept,
    Matrix,
    gather,
    plane,
    single,
    spread,
)
from depthwright.files.opened import File, opened, reading
from depthwright.job import TracesIn
from depthwright.scan import Block, BlockReader

MAGIC = b"\x93NUMPY"
_HEAD_BYTES = 2**16
_REFUSED = {
    "c": "complex numbers",
    "O": "Python objects",
    "V": "records",
    "S": "words",
    "U": "words",
    "M": "dates",
    "m": "times of day",
}
_BROKEN = (
    ValueError, TypeError, SyntaxError, tokenize.TokenError, OverflowError, MemoryError, RecursionError,
    KeyError, IndexError, AttributeError,
)  # fmt: skip
"""What numpy's parser of headers raises on headers that are none."""


def read_npy(path: Path) -> Matrix:
    """Look at a .npy file; its samples stay in it.

    Raises
    ------
    DepthwrightError
        If it holds no matrix of plain numbers.
    """
    with reading(path):
        file = File.find(path)
    with opened(file) as again:
        head = BytesIO(again.read(_HEAD_BYTES))  # a damaged header may claim to be of any length
    shape, in_columns, dtype = _header(file, head)
    first_byte = head.tell()
    rows, columns = plane(f"{file.name} holds an array", shape)
    body = file.size - first_byte
    left_over = body - rows * columns * dtype.itemsize
    if left_over < 0:
        raise DepthwrightError(
            f"{file.name} is cut short: its header tells of {rows} by {columns} numbers, and"
            f" {max(body, 0) // dtype.itemsize} are there.",
            "Export or copy the line again.",
        )
    note = ""
    if left_over:
        note = f"After the matrix come {left_over} bytes, which are not read."
    lines, length = (columns, rows) if in_columns else (rows, columns)
    order = "column by column" if in_columns else "row by row"
    words = ("big-endian " if dtype.byteorder == ">" else "") + f"{dtype.name}, {order}"
    return Matrix(
        file=file,
        kind=(Fact("Kind of file", ".npy", f"{dtype.name} numbers, {order}"),),
        samples=Stored(file, dtype, first_byte, lines, length, in_columns),
        text=f"{words}, shape {shape}",
        size_note=note,
    )


@dataclass(frozen=True)
class Stored:
    """Samples in the file, in lines that lie one after the other.

    Parameters
    ----------
    file, dtype, first_byte
        Where they are and how they are coded.
    lines, length
        Number of lines, and of numbers in each.
    in_columns
        Whether lines are the matrix's columns.
    """

    file: File
    dtype: np.dtype[np.generic]
    first_byte: int
    lines: int
    length: int
    in_columns: bool

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (self.length, self.lines) if self.in_columns else (self.lines, self.length)

    def seen(self) -> Block:
        """Some rows and columns spread over all."""
        most = (SEEN_ROWS, SEEN_COLUMNS)
        if self.in_columns:
            most = (SEEN_COLUMNS, SEEN_ROWS)
        within = spread(self.length, most[1])
        with opened(self.file) as again:
            lines = [
                single(self._read(again, int(at), int(at) + 1)[:, within])
                for at in spread(self.lines, most[0])
            ]
        seen = np.concatenate(lines)
        return seen.T if self.in_columns else seen

    def reader(self, traces_in: TracesIn) -> BlockReader:
        """What reads blocks of traces: from the file if they are its lines, else from memory."""
        if (traces_in == "columns") == self.in_columns:
            return self.block
        lines = gather(self.file, self.lines, self.length, self._lines)
        return Kept(lines).reader("columns")

    def block(self, first: int, last: int) -> Block:
        """Lines ``first`` up to ``last`` in single precision."""
        return single(self._lines(first, last))

    def _lines(self, first: int, last: int) -> NDArray[np.generic]:
        with opened(self.file) as again:
            return self._read(again, first, last)

    def _read(self, again: BufferedReader, first: int, last: int) -> NDArray[np.generic]:
        size = self.length * self.dtype.itemsize
        again.seek(self.first_byte + first * size)
        raw = again.read((last - first) * size)
        if len(raw) < (last - first) * size:
            raise EOFError
        return np.frombuffer(raw, self.dtype).reshape(last - first, self.length)


def _header(file: File, head: BytesIO) -> tuple[tuple[int, ...], bool, np.dtype[np.generic]]:
    """Shape, whether columns come one after the other, and kind of numbers."""
    try:
        with warnings.catch_warnings(action="ignore"):  # odd literals in a header that is none
            version = npy_format.read_magic(head)
            read = (
                npy_format.read_array_header_1_0
                if version == (1, 0)
                else npy_format.read_array_header_2_0
            )
            shape, in_columns, dtype = read(head)
    except _BROKEN as cause:
        raise DepthwrightError(
            f"{file.name} is marked as .npy, but its header cannot be read.",
            "Export or copy the line again.",
        ) from cause
    what = "records" if dtype.fields or dtype.subdtype else _REFUSED.get(dtype.kind, "")
    if what or not dtype.itemsize:
        raise DepthwrightError(
            f"{file.name} holds {what or 'nothing'}, no plain numbers.",
            "Save the samples as an array of floats or integers.",
        )
    return shape, in_columns, dtype
