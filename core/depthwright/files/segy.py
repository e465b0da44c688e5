"""SEG-Y in and out.

Opening reads the headers alone, so that a long line is at hand at once; hash and samples are checked
behind that. The samples stay in the file: a scan opens it anew for each block, so that no handle stays
open and any thread may ask. Blocks are read, not mapped: a mapped file that is cut ends the program.

segyio reads the long blocks of plain files. To open one costs it as much as reading some hundred traces, so
shorter blocks are read here, as are files that it refuses (cut, padded, with rev 2 headers) and IBM floats
that are not normalised, which it decodes wrongly.
"""

from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import segyio
from numpy.typing import NDArray

from depthwright.files.facts import Fact, FileFacts, Need, Stated, missing
from depthwright.files.opened import File, opened, reading
from depthwright.files.segy_end import find_end
from depthwright.files.segy_geometry import (
    antenna_separation,
    delays,
    sample_interval,
    trace_positions,
)
from depthwright.files.segy_headers import ORDER_WORDS, commonest
from depthwright.files.segy_layout import Layout, read_layout
from depthwright.files.segy_traces import Checked, check, read_headers, read_samples
from depthwright.files.segy_write import WRITTEN_FORMATS, write_segy
from depthwright.job import NOTHING_GIVEN, Given
from depthwright.scan import Block, Report, Scan

__all__ = ["WRITTEN_FORMATS", "glance_segy", "open_segy", "read_segy", "segy_facts", "write_segy"]

_SEGYIO_FORMATS = (2, 3, 5, 8)
_SEGYIO_TRACES = 1024
"""Shortest block that is left to segyio."""


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
    if found.needs:
        raise missing(_facts(found))
    return _scan(found, str(path))


def glance_segy(path: str | Path, given: Given = NOTHING_GIVEN) -> tuple[FileFacts, Scan]:
    """What a SEG-Y file's headers say, and its scan; what is missing has a stand-in in the scan.

    The stand-ins are a sample interval of 1 ns and traces 1 mm apart.
    """
    found = _examine(Path(path), given)
    return _facts(found), _scan(found, str(path))


def _scan(found: "_Found", source: str) -> Scan:
    traces = found.layout.traces
    positions = found.positions_mm
    return Scan(
        traces=traces,
        samples=found.layout.samples,
        dt_ns=found.dt_ns or 1.0,
        positions_mm=np.arange(traces, dtype=np.float64) if positions is None else positions,
        sha256="",
        _read=partial(_read_block, found.file, found.layout),
        _check=partial(_check_samples, found.file, found.layout),
        separation_mm=found.separation_mm,
        source=source,
        size_bytes=found.file.size,
        findings=_sentences(found.facts),
    )


def read_segy(path: str | Path, given: Given = NOTHING_GIVEN) -> Scan:
    """Open a SEG-Y file as :func:`open_segy` does, and check all of it."""
    return open_segy(path, given).check()


def segy_facts(path: str | Path, given: Given = NOTHING_GIVEN) -> FileFacts:
    """Tell what a SEG-Y file's headers say and what was made of it, also where something is missing."""
    return _facts(_examine(Path(path), given))


def _facts(found: "_Found") -> FileFacts:
    return FileFacts(
        rows=found.facts,
        needs=found.needs,
        intervals=found.intervals,
        samples=found.layout.samples,
        text=found.layout.text,
    )


@dataclass(frozen=True)
class _Found:
    file: File
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
    with reading(path):
        file = File.find(path)
    with opened(file) as stream:
        layout = read_layout(file.name, stream, file.size)
        layout, headers = find_end(file.name, stream, layout, read_headers(stream, layout))
    fields = (*layout.interval_fields, Stated("bytes 117", float(commonest(headers["interval"]))))
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
        facts=(
            *layout.facts,
            interval_fact,
            positions_fact,
            separation_fact,
            *delays(headers["delay"]),
        ),
        intervals=fields,
    )


def _sentences(facts: tuple[Fact, ...]) -> tuple[str, ...]:
    return tuple(fact.why for fact in facts if fact.why)


def _read_block(file: File, layout: Layout, first: int, last: int) -> Block:
    with opened(file) as stream:
        long = last - first >= _SEGYIO_TRACES
        plain = layout.plain and not layout.left_over
        if not (long and plain and layout.code in _SEGYIO_FORMATS):
            return read_samples(stream, layout, first, last)
        endian = ORDER_WORDS[layout.order]
        with segyio.open(
            str(file.path), strict=False, ignore_geometry=True, endian=endian
        ) as traces:
            return np.asarray(traces.trace.raw[first:last], dtype=np.float32)


def _check_all(file: File, layout: Layout, report: Report) -> Checked:
    with opened(file) as stream:
        checked = check(stream, layout, report)
    with opened(file):  # a hash of half the old file and half the new one is no hash
        return checked


def _check_samples(file: File, layout: Layout, report: Report) -> tuple[str, tuple[str, ...]]:
    checked = _check_all(file, layout, report)
    return checked.sha256, _sentences((checked.fact,))
