"""Levels of detail: a line as it is shown, at one trace to many to a column.

A level holds for every so many traces the sample with the largest magnitude, so that a feature one trace
wide stays visible however small the line is drawn. Levels are made in one pass over the line;
:func:`columns` takes from them what a picture of some width needs.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from depthwright.scan import Block
from depthwright.showing.chain import Chain

Floats = NDArray[np.float64]
Report = Callable[[float], None]

FACTOR = 4
"""Traces (or columns of the level before) that share a column of the next level."""
PIECE_TRACES = 512
"""Traces run through the recipe at once: a whole number of columns of the first coarse levels."""
KEPT_BYTES = 300e6
"""Up to this size the finest level is kept; of a longer line it is run again where it is looked at."""
MOST_BESIDE = 12
"""Columns of a level compared for one of the picture; where traces crowd, a coarser level is taken."""
LEAST_COLUMNS = 1024
"""No coarser level than this is needed: it is narrower than a window."""


@dataclass(frozen=True)
class Level:
    """Columns of ``step`` traces each from trace ``first`` on, values of shape (columns, samples)."""

    first: int
    step: int
    values: Block

    @property
    def last(self) -> int:
        """Trace after the last one covered."""
        return self.first + self.step * len(self.values)


@dataclass(frozen=True)
class Levels:
    """All levels of a line, and what its repair did."""

    levels: tuple[Level, ...]
    traces_filled: int = 0
    spikes_replaced: int = 0

    def with_detail(self, chain: Chain, first: int, last: int) -> "Levels":
        """With some traces run again at their finest, instead of those of before."""
        whole = tuple(level for level in self.levels if level.first == 0 and level.step > 1)
        detail = Level(first, 1, chain.block(first, last))
        return replace(self, levels=(detail, *whole))

    def findings(self, chain: Chain) -> dict[str, str]:
        """What the steps of the recipe did or could not do, by their field of the recipe."""
        said = [
            f"{count} {one}{'' if count == 1 else 's'} {done}"
            for count, one, done in (
                (self.traces_filled, "dead trace", "filled from neighbours"),
                (self.spikes_replaced, "spike", "replaced"),
            )
            if count
        ]
        return dict(chain.findings) | ({"repair": f"{', '.join(said)}."} if said else {})


def make_levels(chain: Chain, report: Report | None = None) -> Levels:
    """Run the recipe over the whole line and keep it at every level; ``report`` may raise to stop."""
    scan = chain.scan
    keep_all = 4 * scan.traces * scan.samples <= KEPT_BYTES
    finest = np.empty((scan.traces if keep_all else 0, scan.samples), np.float32)
    coarse = np.empty((-(-scan.traces // FACTOR), scan.samples), np.float32)
    filled = spikes = 0
    for first in range(0, scan.traces, PIECE_TRACES):
        last = min(first + PIECE_TRACES, scan.traces)
        piece = chain.run(first, last)
        if keep_all:
            finest[first:last] = piece.values
        coarse[first // FACTOR : -(-last // FACTOR)] = narrowed(piece.values)
        filled += piece.traces_filled
        spikes += piece.spikes_replaced
        if report is not None:
            report(last / scan.traces)
    levels = [Level(0, 1, finest)] if keep_all else []
    step = FACTOR
    while True:
        levels.append(Level(0, step, coarse))
        if len(coarse) <= LEAST_COLUMNS:
            return Levels(tuple(levels), filled, spikes)
        coarse, step = narrowed(coarse), step * FACTOR


def quick_level(chain: Chain, first: int, last: int, most_columns: int) -> Level:
    """A first look at some traces: one of every so many, without the steps that look at neighbours.

    Where every trace is taken the recipe runs as it does in :func:`make_levels`.
    """
    step = max(1, -(-(last - first) // most_columns))
    if step == 1:
        return Level(first, 1, chain.block(first, last))
    values = np.concatenate([chain.scan.block(at, at + 1) for at in range(first, last, step)])
    for stage in chain.steps:
        if not stage.reach:
            values = stage.run(values)
    return Level(first, step, values)


def narrowed(values: Block, factor: int = FACTOR) -> Block:
    """Columns with the strongest of every ``factor`` beside each other, sample by sample, sign kept."""
    if factor == 1:
        return values
    whole = len(values) // factor * factor
    groups = values[:whole].reshape(-1, factor, values.shape[1])
    strongest: Block = _stronger(groups.max(axis=1), groups.min(axis=1))
    if whole < len(values):
        rest = values[whole:]
        last = _stronger(rest.max(axis=0), rest.min(axis=0))
        strongest = np.concatenate([strongest, last[None, :]])
    return strongest


def _stronger(high: Block, low: Block) -> Block:
    stronger: Block = np.where(high >= -low, high, low)
    return stronger


def columns(
    levels: Sequence[Level], where_mm: Floats, edges_mm: Floats, rows: slice = slice(None)
) -> Block:
    """What a picture of some columns shows, shape (columns, samples in ``rows``).

    Parameters
    ----------
    levels
        At least one of them covers the line.
    where_mm
        Place of every trace, mm, shape (traces,), increasing or decreasing.
    edges_mm
        Edges of the columns, mm, increasing, shape (columns + 1,).
    rows
        Samples wanted.

    Notes
    -----
    A column holds the strongest of the traces that lie in it, or else the nearest trace. The level is
    the coarsest that still has a column of its own for each.
    """
    start, stop = _traces_between(where_mm, edges_mm)
    for level in _fitting(levels, start, stop):
        low = np.clip((start - level.first) // level.step, 0, len(level.values) - 1)
        high = np.clip(-(-(stop - level.first) // level.step), low + 1, len(level.values))
        most = int((high - low).max())
        if most <= MOST_BESIDE:
            break
    values = level.values[:, rows]
    strongest = values[low]
    weakest = strongest.copy()
    for further in range(1, most):
        beside = values[np.minimum(low + further, high - 1)]
        np.maximum(strongest, beside, out=strongest)
        np.minimum(weakest, beside, out=weakest)
    return strongest if most == 1 else _stronger(strongest, weakest)


def _traces_between(
    where_mm: Floats, edges_mm: Floats
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First trace of each column and the one after its last; the nearest where none lies in it."""
    falling = where_mm[0] > where_mm[-1]
    along = where_mm[::-1] if falling else where_mm
    cuts = np.searchsorted(along, edges_mm)
    start, stop = cuts[:-1], cuts[1:]
    middle = (edges_mm[:-1] + edges_mm[1:]) / 2
    nearest = np.searchsorted((along[1:] + along[:-1]) / 2, middle)
    start = np.where(stop > start, start, nearest)
    stop = np.where(stop > start, stop, start + 1)
    if falling:
        start, stop = len(along) - stop, len(along) - start
    return start, stop


def _fitting(
    levels: Sequence[Level], start: NDArray[np.intp], stop: NDArray[np.intp]
) -> list[Level]:
    """Levels that cover the traces, best first: the coarsest that is fine enough, then coarser ones.

    Where none is fine enough the finest stands first.
    """
    first, last = int(start.min()), int(stop.max())
    covering = sorted(
        (level for level in levels if level.first <= first and level.last >= last),
        key=lambda level: level.step,
    )
    wanted = (last - first) / len(start)
    fine = sum(level.step <= wanted for level in covering)
    return covering[max(fine - 1, 0) :]
