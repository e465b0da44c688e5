"""One way in for every kind of scan file: which reader serves is told from the file itself.

The name's ending counts only where the contents do not tell.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from depthwright.errors import DepthwrightError
from depthwright.files.facts import FileFacts, Need
from depthwright.files.hdf5 import is_hdf5, read_hdf5
from depthwright.files.interval_readings import IntervalReading, interval_readings
from depthwright.files.matrix import Matrix, matrix_facts, matrix_scan
from depthwright.files.npy import MAGIC as NPY_MAGIC
from depthwright.files.npy import read_npy
from depthwright.files.opened import File, reading
from depthwright.files.segy import glance_segy, open_segy, segy_facts
from depthwright.files.text_dialect import decoded_lines, holds_numbers
from depthwright.files.text_matrix import read_text
from depthwright.job import NOTHING_GIVEN, Given
from depthwright.measuring.timezero import sample_traces
from depthwright.scan import Block, Scan

GLANCE_TRACES = 400
"""Traces of a small picture, and of its spectrum."""

_HEAD_BYTES = 2**19 + 8  # the last place of HDF5's signature that is looked at
_TEXT_HEAD_BYTES = 2**16
_SEGY_ENDINGS = (".sgy", ".segy", ".seg")
_TEXT_ENDINGS = (".csv", ".tsv", ".txt", ".asc", ".dat")
ENDINGS = (*_SEGY_ENDINGS, *_TEXT_ENDINGS, ".npy", ".h5", ".hdf5")
"""Usual endings of the names of what is read, in small letters."""
_STAND_INS: dict[Need, dict[str, float]] = {
    "trace_spacing": {"trace_spacing_mm": 1.0},
    "sample_interval": {"dt_ns": 1.0},
}


def open_file(path: str | Path, given: Given = NOTHING_GIVEN) -> Scan:
    """Open a scan's file; its samples have not been looked at yet.

    Parameters
    ----------
    path
        The file: SEG-Y or a plain matrix.
    given
        What the user said of it; wins over what the file says.

    Raises
    ------
    MissingGeometry
        If the file does not tell where its traces or samples are and it was not given.
    DepthwrightError
        If the file cannot be read.
    """
    matrix = _read_matrix(Path(path), given)
    return open_segy(path, given) if matrix is None else matrix_scan(matrix, given, str(path))


def file_facts(path: str | Path, given: Given = NOTHING_GIVEN) -> FileFacts:
    """Tell what a scan's file says and what was made of it, also where something is missing.

    Raises
    ------
    DepthwrightError
        If the file cannot be read.
    """
    matrix = _read_matrix(Path(path), given)
    return segy_facts(path, given) if matrix is None else matrix_facts(matrix, given)


def _read_matrix(path: Path, given: Given) -> Matrix | None:
    """Read the file if it is a matrix; None if it is left to the SEG-Y reader.

    Raises
    ------
    DepthwrightError
        If it is of no kind that is read, or a matrix that cannot be read.
    """
    with reading(path):
        name = File.find(path).name
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    ending = path.suffix.lower()
    if head.startswith(NPY_MAGIC):
        return read_npy(path)
    if is_hdf5(head):
        return read_hdf5(path, given)
    if holds_numbers(head[:_TEXT_HEAD_BYTES]):
        return read_text(path)
    if ending in _SEGY_ENDINGS or _looks_like_segy(head):
        return None
    if not head:
        raise DepthwrightError(f"{name} is empty.", "Export or copy the line again.")
    if ending in _TEXT_ENDINGS and decoded_lines(head[:_TEXT_HEAD_BYTES])[1]:
        return read_text(path)
    raise DepthwrightError(
        f"{name} is of no kind that is read.",
        "Export the line as SEG-Y, as CSV or TSV text, as .npy, or as HDF5.",
    )


def _looks_like_segy(head: bytes) -> bool:
    """Whether a file begins with a text header as is usual, or names a sample format."""
    code = head[3224:3226]
    return head[:1] in (b"C", b"\xc3") or (
        len(code) == 2
        and 1 <= min(int.from_bytes(code, "big"), int.from_bytes(code, "little")) <= 16
    )


@dataclass(frozen=True)
class Glance:
    """A file before it is taken in: its facts, and its samples whatever the file leaves open.

    Parameters
    ----------
    facts
        What the file says.
    scan
        The scan; where something is missing, one with a stand-in: its samples are right, its
        sample interval (1 ns) or its positions (1 mm apart) mean nothing.
    traces
        Some of its traces, shape (traces, samples).
    readings
        What its sample interval can mean.
    """

    facts: FileFacts
    scan: Scan
    traces: Block
    readings: tuple[IntervalReading, ...]


def glance(path: str | Path, given: Given = NOTHING_GIVEN) -> Glance:
    """Look at a file before it is taken in.

    Raises
    ------
    DepthwrightError
        If the file cannot be read.
    """
    matrix = _read_matrix(Path(path), given)  # once: a long text takes its time
    if matrix is None:
        facts, scan = glance_segy(path, given)
    else:
        facts = matrix_facts(matrix, given)
        stand_in = {name: value for need in facts.needs for name, value in _STAND_INS[need].items()}
        scan = matrix_scan(matrix, given.model_copy(update=stand_in), str(path))
    traces = sample_traces(scan, GLANCE_TRACES)
    is_read = given.dt_ns is None and "sample_interval" not in facts.needs
    read_ns = scan.dt_ns if is_read else None
    # A damaged sample may be so large that its square is not finite.
    usual = traces / np.float32(float(np.abs(traces).max()) or 1.0)
    return Glance(facts, scan, traces, interval_readings(facts, usual, read_ns))
