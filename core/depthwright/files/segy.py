"""SEG-Y in and out.

Opening reads the headers alone, so that a long line is at hand at once; hash and samples are checked
behind that. The samples stay in the file: a scan opens it anew for each block, so that no handle stays
open and any thread may ask. Blocks are read, not mapped: a mapped file that is cut ends the program.

segyio reads the long blocks of plain files. To open one costs it as much as reading some hundred traces, so
shorter blocks are read here, as are files that it refuses (cut, padded, with rev 2 headers) and IBM floats
that are not normalised, which it decodes wrongly.
"""

import math
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np
import segyio
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.files.atomic import replacing
from depthwright.files.facts import Fact, FileFacts, MissingGeometry, Need, Stated
from depthwright.files.opened import File as _File
from depthwright.files.opened import name_of as _name
from depthwright.files.opened import opened as _opened
from depthwright.files.opened import reading as _reading
from depthwright.files.segy_geometry import (
    antenna_separation,
    sample_interval,
    trace_positions,
)
from depthwright.files.segy_headers import (
    FORMATS,
    IBM_FLOAT,
    ORDER_WORDS,
    Record,
    binary_header_dtype,
    encode_text,
    float_to_ibm,
    trace_dtype,
)
from depthwright.files.segy_layout import Layout, read_layout
from depthwright.files.segy_traces import Checked, check, read_headers, read_samples
from depthwright.job import NOTHING_GIVEN, Given
from depthwright.scan import BLOCK_TRACES, Block, Report, Scan

WRITTEN_FORMATS = (1, 2, 3, 5, 8)
_SEGYIO_FORMATS = (2, 3, 5, 8)
_SEGYIO_TRACES = 1024
"""Shortest block that is left to segyio."""
_NEED_WORDS: dict[Need, str] = {
    "trace_spacing": "the trace spacing in mm",
    "sample_interval": "the sample interval in ns",
}
_COORDINATE_SCALAR = -10  # coordinates in tenths of a millimetre
_LARGEST_FIELD = 32767  # two bytes that some readers take as signed
_LARGEST_POSITION_MM = (2**31 - 1) / -_COORDINATE_SCALAR


def open_segy(path: str | Path, given: Given = NOTHING_GIVEN) -> Scan:
    """Open a SEG-Y file as a scan whose samples have not been looked at yet.

    Its hash is not known and its findings are not complete before :meth:`Scan.check`.

    Parameters
    ----------
    path
        The file.
    given
        What the user said; wins over what the file says.

    Raises
    ------
    MissingGeometry
        If the file does not tell where its traces or samples are and it was not given.
    DepthwrightError
        If the file cannot be read.
    """
    found = _examine(Path(path), given)
    if found.dt_ns is None or found.positions_mm is None:
        raise _missing(found)
    return Scan(
        traces=found.layout.traces,
        samples=found.layout.samples,
        dt_ns=found.dt_ns,
        positions_mm=found.positions_mm,
        sha256="",
        _read=partial(_read_block, found.file, found.layout),
        _check=partial(_check_samples, found.file, found.layout),
        separation_mm=found.separation_mm,
        source=str(path),
        size_bytes=found.file.size,
        findings=_sentences(found.facts),
    )


def read_segy(path: str | Path, given: Given = NOTHING_GIVEN) -> Scan:
    """Open a SEG-Y file as :func:`open_segy` does, and check all of it."""
    return open_segy(path, given).check()


def segy_facts(path: str | Path, given: Given = NOTHING_GIVEN) -> FileFacts:
    """Tell what a SEG-Y file's headers say and what was made of it, also where something is missing."""
    found = _examine(Path(path), given)
    return FileFacts(
        rows=found.facts,
        needs=found.needs,
        intervals=found.intervals,
        samples=found.layout.samples,
        text=found.layout.text,
    )


@dataclass(frozen=True)
class _Found:
    file: _File
    layout: Layout
    dt_ns: float | None
    positions_mm: NDArray[np.float64] | None
    separation_mm: float | None
    facts: tuple[Fact, ...]
    intervals: tuple[Stated, ...]

    @property
    def needs(self) -> tuple[Need, ...]:
        needs: tuple[Need, ...] = ()
        if self.positions_mm is None:
            needs += ("trace_spacing",)
        if self.dt_ns is None:
            needs += ("sample_interval",)
        return needs


def _examine(path: Path, given: Given) -> _Found:
    with _reading(path):
        file = _File.find(path)
        with path.open("rb") as opened:
            layout = read_layout(_name(path), opened, file.size)
        headers = read_headers(path, layout)
    if layout.left_over and np.ptp(headers["samples"]) > 0:
        raise DepthwrightError(
            f"The traces of {path.name} differ in length, which is not read.",
            "Export the line again with traces of one length.",
        )
    fields = (*layout.interval_fields, Stated("bytes 117", _commonest(headers["interval"])))
    interval, interval_fact = sample_interval(fields, layout.samples, layout.text, given.dt_ns)
    positions, positions_fact = trace_positions(
        headers, layout.text, layout.in_feet, given.trace_spacing_mm
    )
    separation, separation_fact = antenna_separation(headers["offset"])
    return _Found(
        file=file,
        layout=layout,
        dt_ns=interval,
        positions_mm=positions,
        separation_mm=separation,
        facts=(*layout.facts, interval_fact, positions_fact, separation_fact),
        intervals=fields,
    )


def _sentences(facts: tuple[Fact, ...]) -> tuple[str, ...]:
    return tuple(fact.why for fact in facts if fact.why)


def _read_block(file: _File, layout: Layout, first: int, last: int) -> Block:
    with _opened(file) as opened:
        long = last - first >= _SEGYIO_TRACES
        if not (long and layout.plain and layout.code in _SEGYIO_FORMATS):
            return read_samples(opened, layout, first, last)
        endian = ORDER_WORDS[layout.order]
        with segyio.open(
            str(file.path), strict=False, ignore_geometry=True, endian=endian
        ) as traces:
            return np.asarray(traces.trace.raw[first:last], dtype=np.float32)


def _check_all(file: _File, layout: Layout, report: Report) -> Checked:
    with _opened(file) as opened:
        checked = check(opened, layout, report)
    with _opened(file):  # a hash of half the old file and half the new one is no hash
        return checked


def _check_samples(file: _File, layout: Layout, report: Report) -> tuple[str, tuple[str, ...]]:
    checked = _check_all(file, layout, report)
    return checked.sha256, _sentences((checked.fact,))


def _commonest(values: NDArray[np.uint16]) -> float:
    found, counts = np.unique(values, return_counts=True)
    return float(found[counts.argmax()])


def _missing(found: _Found) -> MissingGeometry:
    reasons = [fact.why for fact in found.facts if fact.why and not fact.inferred]
    wanted = " and ".join(_NEED_WORDS[need] for need in found.needs)
    return MissingGeometry(" ".join(reasons), f"Give {wanted}.", found.needs)


def write_segy(
    path: str | Path,
    samples: NDArray[np.float32],
    dt_ns: float,
    positions_mm: NDArray[np.float64],
    separation_mm: float | None = None,
    sample_format: int = 5,
    byte_order: Literal["big", "little"] = "big",
    text: str = "",
) -> None:
    """Write a line as SEG-Y rev 1, whole or not at all.

    The interval fields hold picoseconds and the coordinates tenths of a millimetre; the text header
    says so.

    Parameters
    ----------
    path
        File to write; an existing one is replaced.
    samples
        Shape (traces, samples). Integer formats round and do not scale.
    dt_ns
        Sample interval, ns; to the nearest picosecond in the headers, in full in the text header.
    positions_mm
        Midpoint of each trace, mm, shape (traces,); kept to 0.1 mm.
    separation_mm
        Antenna separation, mm; kept to 1 mm.
    sample_format
        Code of the standard: 1 IBM float, 2, 3, 8 integers of 4, 2, 1 bytes, 5 IEEE float.
    byte_order
        ``"big"`` is the standard's.
    text
        Lines for the text header.
    """
    interval_ps = round(dt_ns * 1000) if math.isfinite(dt_ns) else 0
    _check_writable(samples, interval_ps, positions_mm, sample_format)
    order = ">" if byte_order == "big" else "<"
    binary = np.zeros(1, binary_header_dtype(order))
    binary["interval"] = interval_ps
    binary["samples"] = samples.shape[1]
    binary["format"] = sample_format
    binary["revision"] = 1
    binary["fixed_length"] = 1
    layout = trace_dtype(order, sample_format, samples.shape[1])
    with replacing(Path(path)) as file:
        file.write(encode_text([*_unit_lines(dt_ns), *text.splitlines()]))
        file.write(binary.tobytes())
        for first in range(0, len(samples), BLOCK_TRACES):
            here = slice(first, first + BLOCK_TRACES)
            records = np.zeros(len(samples[here]), layout)
            records["samples"] = _encode_samples(samples[here], sample_format)
            _fill_headers(records["header"], first, positions_mm[here])
            records["header"]["samples"] = samples.shape[1]
            records["header"]["interval"] = interval_ps
            records["header"]["offset"] = round(separation_mm or 0)
            file.write(records.tobytes())


def _unit_lines(dt_ns: float) -> list[str]:
    return [
        f"SAMPLE INTERVAL FIELDS ARE IN PICOSECONDS: {dt_ns * 1000:.9g} PS",
        "COORDINATES ARE MIDPOINTS IN MM: BYTES 73, 81, 181, SCALAR IN BYTES 71",
        "OFFSET (BYTES 37) IS THE ANTENNA SEPARATION IN MM, 0 IF NOT KNOWN",
    ]


def _check_writable(
    samples: NDArray[np.float32],
    interval_ps: int,
    positions_mm: NDArray[np.float64],
    sample_format: int,
) -> None:
    if sample_format not in WRITTEN_FORMATS:
        raise DepthwrightError(
            f"SEG-Y sample format {sample_format} is not written.",
            f"Use one of {', '.join(map(str, WRITTEN_FORMATS))}.",
        )
    if samples.ndim != 2 or not samples.size or samples.shape[1] > _LARGEST_FIELD:
        raise DepthwrightError(
            f"Samples of shape {samples.shape} do not fit into a SEG-Y file.",
            f"A line has traces, each of 1 to {_LARGEST_FIELD} samples.",
        )
    if not 1 <= interval_ps <= _LARGEST_FIELD:
        raise DepthwrightError(
            f"A sample interval of {interval_ps} ps does not fit into a SEG-Y file.",
            f"It has room for 1 to {_LARGEST_FIELD} ps.",
        )
    if positions_mm.shape != samples.shape[:1] or not np.isfinite(positions_mm).all():
        raise DepthwrightError("A SEG-Y file needs one finite position for each trace.")
    if np.abs(positions_mm).max() > _LARGEST_POSITION_MM:
        raise DepthwrightError(
            f"Positions beyond {_LARGEST_POSITION_MM:.0f} mm do not fit into a SEG-Y file.",
            "Measure them from a point closer to the line.",
        )


def _encode_samples(samples: NDArray[np.float32], code: int) -> NDArray[np.generic]:
    if code == IBM_FLOAT:
        return float_to_ibm(_finite(samples))
    kind = np.dtype(FORMATS[code][0])
    if kind.kind == "f":
        return samples
    rounded = np.rint(_finite(samples).astype(np.float64))
    limits = np.iinfo(kind)
    if rounded.min() < limits.min or rounded.max() > limits.max:
        raise DepthwrightError(
            f"The samples reach beyond {limits.min} to {limits.max}, which is all that SEG-Y format"
            f" {code} can hold.",
            "Scale them first, or write format 5.",
        )
    return rounded.astype(kind)


def _finite(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    if not np.isfinite(samples).all():
        raise DepthwrightError(
            "Some samples are not finite numbers, which only format 5 can hold.",
            "Replace them first, or write format 5.",
        )
    return samples


def _fill_headers(headers: Record, first: int, positions_mm: NDArray[np.float64]) -> None:
    number = np.arange(first + 1, first + len(headers) + 1)
    for name in ("number_in_line", "number_in_file", "number_in_record"):
        headers[name] = number
    headers["kind"] = 1
    headers["coordinate_scalar"] = _COORDINATE_SCALAR
    coordinate = np.rint(positions_mm * -_COORDINATE_SCALAR).astype(np.int32)
    for name in ("source_x", "group_x", "ensemble_x"):
        headers[name] = coordinate
