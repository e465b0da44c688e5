"""A line exported as a plain matrix: from samples and what stands beside them to a scan and its facts.

The readers of text, .npy and HDF5 each make a :class:`Matrix`; what it means is decided here, once.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.facts import Fact, FileFacts, Need, missing
from depthwright.files.matrix_axes import Axis
from depthwright.files.matrix_geometry import interval_of, positions_of
from depthwright.files.matrix_lies import how_it_lies
from depthwright.files.matrix_words import Quantity
from depthwright.files.opened import File, opened, sha256_of
from depthwright.files.segy_traces import Checked
from depthwright.job import Given, TracesIn
from depthwright.scan import BLOCK_TRACES, Block, BlockReader, Report, Scan

MOST_BYTES = 512 * 10**6
"""Largest matrix that is kept in memory, as single precision."""
SEEN_ROWS, SEEN_COLUMNS = 400, 2000


class Samples(Protocol):
    """The samples of a matrix as it lies in its file, wherever they are kept."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""

    def seen(self) -> Block:
        """Some rows and columns spread over all, shape (up to 400, up to 2,000)."""

    def reader(self, traces_in: TracesIn) -> BlockReader:
        """What reads blocks of traces that lie in rows or in columns."""


@dataclass(frozen=True)
class Kept:
    """Samples in memory, shape (rows, columns)."""

    array: Block

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.array.shape
        return rows, columns

    def seen(self) -> Block:
        """Some rows and columns spread over all."""
        return self.array[spread(self.shape[0], SEEN_ROWS)][:, spread(self.shape[1], SEEN_COLUMNS)]

    def reader(self, traces_in: TracesIn) -> BlockReader:
        """What reads blocks of traces that lie in rows or in columns."""
        traces = self.array if traces_in == "rows" else self.array.T
        return lambda first, last: traces[first:last]


@dataclass(frozen=True)
class Matrix:
    """What a file holds, before anything is made of it.

    Parameters
    ----------
    file
        The file.
    kind
        Facts on what kind of file it is.
    samples
        The samples.
    down, across
        Numbers beside the rows and above the columns, if there are any.
    stated
        Interval and spacing where the file states them.
    text
        The file's own words.
    data_sets
        Names of what can be read in it, where it holds several, the one taken first.
    size_note
        What is worth saying of its size; may be empty.
    """

    file: File
    kind: tuple[Fact, ...]
    samples: Samples
    down: Axis | None = None
    across: Axis | None = None
    stated: tuple[Quantity, ...] = ()
    text: str = ""
    data_sets: tuple[str, ...] = ()
    size_note: str = ""


def matrix_facts(matrix: Matrix, given: Given) -> FileFacts:
    """Tell what a matrix says and what was made of it, also where something is missing."""
    return _examine(matrix, given).facts


def matrix_scan(matrix: Matrix, given: Given, source: str) -> Scan:
    """Make the scan of a matrix from the file ``source``; its samples have not been looked at yet.

    Raises
    ------
    MissingGeometry
        If the file does not tell where its traces or samples are and it was not given.
    """
    found = _examine(matrix, given)
    facts = found.facts
    if found.dt_ns is None or found.positions_mm is None:
        raise missing(facts)
    read = matrix.samples.reader(found.traces_in)
    traces = len(found.positions_mm)
    return Scan(
        traces=traces,
        samples=facts.samples,
        dt_ns=found.dt_ns,
        positions_mm=found.positions_mm,
        sha256="",
        _read=read,
        _check=partial(_check, matrix.file, read, traces),
        source=source,
        size_bytes=matrix.file.size,
        findings=_sentences(facts.rows),
    )


@dataclass(frozen=True)
class _Found:
    traces_in: TracesIn
    dt_ns: float | None
    positions_mm: NDArray[np.float64] | None
    facts: FileFacts


def _examine(matrix: Matrix, given: Given) -> _Found:
    rows, columns = matrix.samples.shape
    if rows * columns < 2:
        raise DepthwrightError(
            f"{matrix.file.name} holds a single number.", "Export the whole line."
        )
    lies = how_it_lies(
        matrix.samples.shape, matrix.samples.seen, matrix.down, matrix.across, given.traces_in
    )
    traces, samples = (rows, columns) if lies.traces_in == "rows" else (columns, rows)
    if samples < 2:
        raise DepthwrightError(
            f"With traces in {lies.traces_in}, {matrix.file.name} has one sample in each trace.",
            "Say that its traces lie the other way.",
        )
    dt_ns, interval_fact, intervals = interval_of(lies.times, matrix.stated, samples, given.dt_ns)
    positions, positions_fact = positions_of(
        lies.positions, matrix.stated, traces, given.trace_spacing_mm
    )
    size = Fact("Size", "", f"{traces} traces of {samples} samples", matrix.size_note)
    needs: tuple[Need, ...] = ()
    if positions is None:
        needs += ("trace_spacing",)
    if dt_ns is None:
        needs += ("sample_interval",)
    facts = FileFacts(
        rows=(*matrix.kind, size, lies.fact, interval_fact, positions_fact),
        needs=needs,
        intervals=intervals,
        samples=samples,
        text=matrix.text,
        traces_in=lies.traces_in,
        data_sets=matrix.data_sets,
    )
    return _Found(lies.traces_in, dt_ns, positions, facts)


def _sentences(facts: tuple[Fact, ...]) -> tuple[str, ...]:
    return tuple(fact.why for fact in facts if fact.why)


def _check(
    file: File, read: BlockReader, traces: int, report: Report
) -> tuple[str, tuple[str, ...]]:
    """Hash of the whole file, and a sentence on its samples."""
    not_finite = dead = 0
    with opened(file):
        for first in range(0, traces, BLOCK_TRACES):
            report(first / traces / 2)
            block = read(first, min(first + BLOCK_TRACES, traces))
            not_finite += block.size - int(np.count_nonzero(np.isfinite(block)))
            with np.errstate(invalid="ignore"):  # signalling NaNs, counted above
                dead += len(block) - int(block.any(axis=1).sum())
    sha256 = sha256_of(file, lambda fraction: report((1 + fraction) / 2))
    return sha256, _sentences((Checked(sha256, traces, not_finite, dead).fact,))


def spread(count: int, most: int) -> NDArray[np.intp]:
    """Indices of at most so many things, evenly spread over all of them."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).astype(np.intp))


def single(stored: NDArray[np.generic]) -> Block:
    """Numbers in single precision; those beyond it become infinite, which the check counts."""
    with np.errstate(over="ignore", invalid="ignore"):
        return stored.astype(np.float32)


def gather(
    file: File, rows: int, columns: int, read: Callable[[int, int], NDArray[np.generic]]
) -> Block:
    """Read a matrix into memory some rows at a time, shape (rows, columns).

    Raises
    ------
    DepthwrightError
        If it is larger than what is kept in memory.
    """
    check_size(file, rows * columns)
    kept = np.empty((rows, columns), np.float32)
    step = max(1, 2**20 // columns)
    for first in range(0, rows, step):
        last = min(first + step, rows)
        kept[first:last] = single(read(first, last))
    return kept


def check_size(file: File, numbers: int) -> None:
    """Refuse a matrix of more numbers than are kept in memory."""
    if 4 * numbers > MOST_BYTES:
        raise DepthwrightError(
            f"{file.name} holds at least {4 * numbers / 1e6:.0f} MB of samples, more than the"
            f" {MOST_BYTES / 1e6:.0f} MB that are read of such a file.",
            "Export the line as SEG-Y, or in parts.",
        )


def plane(what: str, shape: tuple[int, ...]) -> tuple[int, int]:
    """Rows and columns of an array, with axes of length 1 left out where there are more than two.

    Raises
    ------
    DepthwrightError
        If that leaves no matrix with numbers in it.
    """
    sizes = list(shape)
    while len(sizes) > 2 and 1 in sizes:
        sizes.remove(1)
    if len(sizes) != 2:
        raise DepthwrightError(
            f"{what} of {len(sizes)} dimensions, no matrix.",
            "Save the samples with one row or one column for each trace.",
        )
    if math.prod(sizes) < 1 or min(sizes) < 0:
        raise DepthwrightError(f"{what} with no numbers in it.", "Export the line again.")
    return sizes[0], sizes[1]
