"""The traces of a SEG-Y file: their headers at once, their samples by the block, and what these are worth."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader

import numpy as np

from depthwright.files.facts import Fact
from depthwright.files.segy_headers import HEADER_FIELDS, TRACE_HEADER_BYTES, Record, trace_header
from depthwright.files.segy_layout import Layout
from depthwright.files.segy_numbers import decode_samples
from depthwright.scan import Block, Report

_PIECE_BYTES = 2**20
"""Such a piece is read, turned and looked at while it is in the cache."""


_FAR_APART_BYTES = 2**14
"""Headers of longer traces are fetched one by one, without the samples between them."""


def read_headers(file: BufferedReader, layout: Layout) -> Record:
    """Fields of every trace header, shape (traces,).

    Raises
    ------
    EOFError
        If the file ends before.
    """
    headers = np.empty(layout.traces, HEADER_FIELDS)
    for at, piece in _header_pieces(file, layout):
        for name in HEADER_FIELDS.names or ():
            headers[name][at : at + len(piece)] = piece[name]
    return headers


def _header_pieces(file: BufferedReader, layout: Layout) -> Iterator[tuple[int, Record]]:
    """Headers as stored, some at a time: the first one's trace and the fields, good until the next."""
    if layout.dtype.itemsize < _FAR_APART_BYTES:
        for at, raw in pieces(file, layout, 0, layout.traces):
            yield at, np.frombuffer(raw, layout.dtype)["header"]
        return
    for at in range(layout.traces):
        file.seek(layout.first_byte + at * layout.dtype.itemsize)
        header = file.read(TRACE_HEADER_BYTES)
        if len(header) < TRACE_HEADER_BYTES:
            raise EOFError
        yield at, trace_header(header, layout.order)[np.newaxis]


def read_samples(file: BufferedReader, layout: Layout, first: int, last: int) -> Block:
    """Samples of the traces ``first`` up to ``last``, shape (traces, samples).

    Raises
    ------
    EOFError
        If the file ends before.
    """
    block = np.empty((last - first, layout.samples), np.float32)
    for at, raw in pieces(file, layout, first, last):
        stored = np.frombuffer(raw, layout.dtype)["samples"]
        here = slice(at - first, at - first + len(stored))
        decode_samples(stored, layout.code, layout.order, out=block[here])
    return block


@dataclass(frozen=True)
class Checked:
    """What can be said of a file once all of it has been read.

    Parameters
    ----------
    sha256
        Hex digest of the whole file.
    traces
        Traces in the file.
    not_finite
        Samples that are no finite number in single precision.
    dead
        Traces that hold only zeros.
    """

    sha256: str
    traces: int
    not_finite: int
    dead: int

    @property
    def fact(self) -> Fact:
        why = ""
        if self.dead == self.traces:
            why = "The scan holds only zeros."
        elif self.dead:
            why = f"{self.dead} of {self.traces} traces hold only zeros."
        if self.not_finite:
            why += f" {self.not_finite} samples are not finite numbers and are read as zero."
        return Fact("Samples", "", "checked", why.strip())


def check(file: BufferedReader, layout: Layout, report: Report) -> Checked:
    """Read the whole file once; ``report`` hears of every megabyte and may raise.

    Raises
    ------
    EOFError
        If the file ends before its last trace.
    """
    digest = hashlib.sha256(file.read(layout.first_byte))
    not_finite = dead = 0
    for at, raw in pieces(file, layout, 0, layout.traces):
        report(at / layout.traces)
        digest.update(raw)
        stored = np.frombuffer(raw, layout.dtype)["samples"]
        samples = decode_samples(stored, layout.code, layout.order)
        not_finite += samples.size - int(np.count_nonzero(np.isfinite(samples)))
        with np.errstate(invalid="ignore"):  # signalling NaNs, counted above
            dead += len(samples) - int(samples.any(axis=1).sum())
    while raw_end := file.read(_PIECE_BYTES):
        report(1.0)
        digest.update(raw_end)
    return Checked(digest.hexdigest(), layout.traces, not_finite, dead)


def pieces(
    file: BufferedReader, layout: Layout, first: int, last: int
) -> Iterator[tuple[int, memoryview]]:
    """Traces as stored, some at a time: the first one's index and the bytes, good until the next."""
    size = layout.dtype.itemsize
    step = max(1, min(_PIECE_BYTES // size, last - first))
    buffer = memoryview(bytearray(step * size))
    file.seek(layout.first_byte + first * size)
    for at in range(first, last, step):
        raw = buffer[: min(step, last - at) * size]
        if file.readinto(raw) < len(raw):
            raise EOFError
        yield at, raw
