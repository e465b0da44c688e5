"""One pass through all traces of a SEG-Y file: its hash, its trace headers, what its samples are worth."""

import hashlib
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from depthwright.files.facts import Fact
from depthwright.files.segy_headers import IBM_FLOAT, Record, ibm_to_float
from depthwright.files.segy_layout import Layout
from depthwright.scan import Block

_PIECE_BYTES = 2**20


@dataclass(frozen=True)
class Traces:
    """What the pass finds.

    Parameters
    ----------
    sha256
        Hex digest of the whole file.
    headers
        Fields of every trace header, shape (traces,).
    not_finite
        Samples that are no finite number in single precision.
    dead
        Traces that hold only zeros.
    """

    sha256: str
    headers: Record
    not_finite: int
    dead: int

    @property
    def fact(self) -> Fact:
        count = len(self.headers)
        why = ""
        if self.dead == count:
            why = "The scan holds only zeros."
        elif self.dead:
            why = f"{self.dead} of {count} traces hold only zeros."
        if self.not_finite:
            why += f" {self.not_finite} samples are not finite numbers and are read as zero."
        return Fact("Samples", "", "checked", why.strip())


def pass_through(file: BinaryIO, layout: Layout) -> Traces:
    """Read the whole file once, in pieces of about a megabyte."""
    file.seek(0)
    digest = hashlib.sha256(file.read(layout.first_byte))
    headers = np.empty(layout.traces, layout.dtype["header"])
    step = max(1, _PIECE_BYTES // layout.dtype.itemsize)
    not_finite = dead = 0
    for first in range(0, layout.traces, step):
        last = min(first + step, layout.traces)
        raw = file.read((last - first) * layout.dtype.itemsize)
        digest.update(raw)
        records = np.frombuffer(raw, layout.dtype)
        headers[first:last] = records["header"]
        samples = decode_samples(records["samples"], layout.code)
        not_finite += samples.size - int(np.isfinite(samples).sum())
        with np.errstate(invalid="ignore"):  # signalling NaNs, counted above
            dead += len(samples) - int(samples.any(axis=1).sum())
    while raw := file.read(_PIECE_BYTES):
        digest.update(raw)
    return Traces(digest.hexdigest(), headers, not_finite, dead)


def decode_samples(stored: NDArray[np.generic], code: int) -> Block:
    """Turn samples as stored in format ``code`` into single precision, same shape."""
    # Numbers beyond single precision become infinite, which the caller counts.
    with np.errstate(over="ignore", invalid="ignore"):
        values = ibm_to_float(stored.astype(np.uint32)) if code == IBM_FLOAT else stored
        return values.astype(np.float32)
