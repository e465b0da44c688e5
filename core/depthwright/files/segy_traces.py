"""The traces of a SEG-Y file: their headers at once, their samples by the block, and what these are worth."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from depthwright.files.facts import Fact
from depthwright.files.segy_headers import IBM_FLOAT, Record, ibm_to_float
from depthwright.files.segy_layout import Layout
from depthwright.scan import Block, Report

_PIECE_BYTES = 2**20
"""Such a piece is read, turned and looked at while it is in the cache."""


def read_headers(path: Path, layout: Layout) -> Record:
    """Fields of every trace header, shape (traces,), copied out of one structured view over the file."""
    return np.array(np.memmap(path, layout.dtype, "r", layout.first_byte, layout.traces)["header"])


def read_samples(file: BufferedReader, layout: Layout, first: int, last: int) -> Block:
    """Samples of the traces ``first`` up to ``last``, shape (traces, samples).

    Raises
    ------
    EOFError
        If the file ends before.
    """
    block = np.empty((last - first, layout.samples), np.float32)
    for at, raw in _pieces(file, layout, first, last):
        stored = np.frombuffer(raw, layout.dtype)["samples"]
        decode_samples(stored, layout.code, out=block[at - first : at - first + len(stored)])
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
    for at, raw in _pieces(file, layout, 0, layout.traces):
        report(at / layout.traces)
        digest.update(raw)
        samples = decode_samples(np.frombuffer(raw, layout.dtype)["samples"], layout.code)
        not_finite += samples.size - int(np.count_nonzero(np.isfinite(samples)))
        with np.errstate(invalid="ignore"):  # signalling NaNs, counted above
            dead += len(samples) - int(samples.any(axis=1).sum())
    while raw_end := file.read(_PIECE_BYTES):
        report(1.0)
        digest.update(raw_end)
    return Checked(digest.hexdigest(), layout.traces, not_finite, dead)


def _pieces(
    file: BufferedReader, layout: Layout, first: int, last: int
) -> Iterator[tuple[int, memoryview]]:
    """Traces as stored, some at a time: the first one's index and the bytes, good until the next."""
    size = layout.dtype.itemsize
    step = min(max(1, _PIECE_BYTES // size), last - first)
    buffer = memoryview(bytearray(step * size))
    file.seek(layout.first_byte + first * size)
    for at in range(first, last, step):
        raw = buffer[: min(step, last - at) * size]
        if file.readinto(raw) < len(raw):
            raise EOFError
        yield at, raw


def decode_samples(stored: NDArray[np.generic], code: int, out: Block | None = None) -> Block:
    """Turn samples as stored in format ``code`` into single precision, same shape; into ``out`` if given."""
    block = np.empty(stored.shape, np.float32) if out is None else out
    # Numbers beyond single precision become infinite, which the caller counts.
    with np.errstate(over="ignore", invalid="ignore"):
        block[...] = ibm_to_float(stored.astype(np.uint32)) if code == IBM_FLOAT else stored
    return block
