"""The scan: the samples as recorded, never altered.

Metadata plus :meth:`Scan.block`, so that nothing needs a whole line in memory. Readers in
:mod:`depthwright.files` make scans; everything above only asks for blocks.
"""

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError

Block = NDArray[np.float32]
"""Samples, shape (traces, samples)."""

BlockReader = Callable[[int, int], Block]

Report = Callable[[float], None]
"""Hears from time to time how much of slow work is done, from 0 to 1; may raise to end it."""

Check = Callable[[Report], tuple[str, tuple[str, ...]]]
"""Reads all of a file: its hash, and sentences on what is worth knowing of its samples."""

BLOCK_TRACES = 256
"""Traces in one step of block-wise work: such a block fits the cache."""


def no_report(fraction: float) -> None:
    """For those who do not want to hear how far the work is."""


@dataclass(frozen=True)
class Scan:
    """One recorded line.

    Parameters
    ----------
    traces, samples
        Size of the line.
    dt_ns
        Sample interval, ns.
    positions_mm
        Position of each trace's midpoint along the line, mm, as recorded, shape (traces,);
        strictly increasing or strictly decreasing.
    separation_mm, centre_frequency_ghz
        What the file says of the antenna, if it says.
    sha256
        Hex digest of the file (or of the samples when there is no file); empty before the check.
    source
        The file the scan was read from, as given; empty for one made in memory.
    size_bytes
        Size of that file; 0 without one.
    findings
        Sentences on what was inferred or is worth knowing; those on the samples come by the check.
    """

    traces: int
    samples: int
    dt_ns: float
    positions_mm: NDArray[np.float64]
    sha256: str
    _read: BlockReader = field(repr=False, compare=False)
    separation_mm: float | None = None
    centre_frequency_ghz: float | None = None
    source: str = ""
    size_bytes: int = 0
    findings: tuple[str, ...] = ()
    _check: Check | None = field(default=None, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.traces < 1 or self.samples < 2:
            raise DepthwrightError(
                f"The scan holds {self.traces} traces of {self.samples} samples.",
                "A line needs at least one trace and two samples.",
            )
        if not (np.isfinite(self.dt_ns) and self.dt_ns > 0):
            raise DepthwrightError("The sample interval is not a positive number.")
        if self.positions_mm.shape != (self.traces,):
            raise DepthwrightError("The scan needs one position for each trace.")
        self.positions_mm.setflags(write=False)

    @property
    def time_window_ns(self) -> float:
        """Recorded time from the first sample to the last, ns."""
        return (self.samples - 1) * self.dt_ns

    @property
    def length_mm(self) -> float:
        """Distance from the first trace to the last, mm."""
        return float(abs(self.positions_mm[-1] - self.positions_mm[0]))

    @cached_property
    def trace_spacing_mm(self) -> float:
        """Median distance between neighbouring traces, mm; 0 for a single trace."""
        if self.traces < 2:
            return 0.0
        return float(np.median(np.abs(np.diff(self.positions_mm))))

    @property
    def edges_mm(self) -> tuple[float, float]:
        """Recorded positions between which a picture of the line stands: half a trace beyond its ends."""
        half = self.trace_spacing_mm / 2 or 0.5
        return float(self.positions_mm.min()) - half, float(self.positions_mm.max()) + half

    def block(self, first: int, last: int) -> Block:
        """Traces ``first`` up to but not including ``last``, shape (traces, samples), float32.

        Samples that are not finite come back as zero (readers report them as a finding).
        """
        if not 0 <= first < last <= self.traces:
            raise IndexError(f"traces {first} to {last} of {self.traces}")
        # What a reader has made for this call alone is handed on; a view of its array is copied.
        block: Block = np.require(self._read(first, last), np.float32, ["C", "W", "O"])
        if not np.isfinite(block).all():
            np.nan_to_num(block, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
        return block

    def check(self, report: Report = no_report) -> "Scan":
        """The same scan with its hash and all findings: reads the whole file if that was not done yet.

        Raises
        ------
        DepthwrightError
            If the file is no longer the one that was opened.
        """
        if self._check is None or self.sha256:
            return self
        sha256, findings = self._check(report)
        return replace(self, sha256=sha256, findings=(*self.findings, *findings))

    def blocks(self, size: int = BLOCK_TRACES) -> Iterator[tuple[int, Block]]:
        """Walk through the line: pairs of first trace and block."""
        for first in range(0, self.traces, size):
            yield first, self.block(first, min(first + size, self.traces))

    def nearest_trace(self, position_mm: float) -> int:
        """Index of the trace recorded nearest to a position."""
        return int(np.argmin(np.abs(self.positions_mm - position_mm)))


def scan_from_array(
    samples: NDArray[np.generic],
    dt_ns: float,
    trace_spacing_mm: float = 5.0,
    start_mm: float = 0.0,
    separation_mm: float | None = None,
    centre_frequency_ghz: float | None = None,
) -> Scan:
    """Make a scan from samples in memory, shape (traces, samples)."""
    data = np.array(samples, dtype=np.float32, order="C")
    data.setflags(write=False)
    traces, count = data.shape
    return Scan(
        traces=traces,
        samples=count,
        dt_ns=dt_ns,
        positions_mm=start_mm + trace_spacing_mm * np.arange(traces, dtype=np.float64),
        sha256=hashlib.sha256(data.tobytes()).hexdigest(),
        _read=lambda first, last: data[first:last],
        separation_mm=separation_mm,
        centre_frequency_ghz=centre_frequency_ghz,
    )
