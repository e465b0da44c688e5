"""Dead traces and spikes, put right from their neighbours.

A spike is one sample, or two, that stand far off. A trace's difference from the mean of its two neighbours
along the line is looked at: what they share cancels, and what is left of real pulses is still limited in
band, so that it cannot stand far off its own neighbours in time. A spike does; it is replaced by the straight
line in time across it. A pulse of at least five samples a period is never touched; for that, a spike amid
an echo that no neighbour shares stays, unless it is many times as strong.

Every judgement rests on a few traces around and on the line's usual swing alone, so that it does not matter
how a line is cut into blocks.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.processing.filters import Block

Flags = NDArray[np.bool_]
Places = NDArray[np.intp]

LONGEST_RUN = 3
"""So many dead traces side by side are filled; more than that is a gap, and stays one."""
REACH = LONGEST_RUN + 3
"""Traces on each side of a block that its repair looks at."""
DEAD_SHARE = 0.02
"""A trace that swings less than this share of the usual swing is dead. Judgement, no source."""
SPIKE_SHARE = 0.1
"""A spike stands off by at least this share of the usual swing. Judgement, no source."""
SPIKE_TIMES = 6.0
"""And by so many times the range of the samples around it. Pulses of five samples a period, of any phase,
stay below 4.3 (own computation)."""
_AROUND = 4
"""Samples on each side of a spike that it is compared with."""


@dataclass(frozen=True)
class Repaired:
    """What was put right in a block: traces filled (bool) and samples replaced, shape (traces,) each."""

    traces: Flags
    spikes: Places


def repair(block: Block, typical_swing: float) -> tuple[Block, Repaired]:
    """A block with its spikes and short runs of dead traces replaced, shape (traces, samples).

    Parameters
    ----------
    block
        Traces as recorded; the result is a copy.
    typical_swing
        Median over the line of each trace's largest less its smallest sample, in the samples' unit.
    """
    repaired: Block = np.array(block, dtype=np.float32)
    spiky = _spikes(repaired, typical_swing)
    for trace in np.flatnonzero(spiky.any(axis=1)):
        bad = spiky[trace]
        good = np.flatnonzero(~bad)
        repaired[trace, bad] = np.interp(np.flatnonzero(bad), good, repaired[trace, good])
    dead = np.ptp(repaired, axis=1) <= DEAD_SHARE * typical_swing
    return repaired, Repaired(_fill(repaired, dead), spiky.sum(axis=1))


def _fill(block: Block, dead: Flags) -> Flags:
    """Fill short runs of dead traces between live ones in place; say which were filled, shape (traces,)."""
    filled = np.zeros(len(block), dtype=np.bool_)
    edges = np.flatnonzero(np.diff(dead.astype(np.int8), prepend=0, append=0))
    for first, last in edges.reshape(-1, 2):
        if last - first > LONGEST_RUN or first == 0 or last == len(block):
            continue
        share = (np.arange(1, last - first + 1) / (last - first + 1)).astype(np.float32)[:, None]
        block[first:last] = (1 - share) * block[first - 1] + share * block[last]
        filled[first:last] = True
    return filled


def _spikes(block: Block, typical_swing: float) -> Flags:
    """Samples that are spikes, shape (traces, samples)."""
    found = np.zeros(block.shape, dtype=np.bool_)
    if len(block) < 3 or block.shape[1] < 2 * _AROUND or typical_swing <= 0:
        return found
    least = SPIKE_SHARE * typical_swing
    rest = block - _neighbours_mean(block)
    jumps = np.pad(np.abs(np.diff(rest, axis=1)), ((0, 0), (1, 1)), constant_values=np.inf)
    for width in (1, 2):
        # Cheap, and passed by every spike: it jumps off before and back after.
        off = np.minimum(jumps[:, : jumps.shape[1] - width], jumps[:, width:]) > least / 2
        trace, sample = np.nonzero(off)
        is_spike = _stands_off(rest, trace, sample, width, least)
        is_spike &= ~_is_shadow(rest, trace, sample)
        for step in range(width):
            found[trace[is_spike], sample[is_spike] + step] = True
    return found


def _neighbours_mean(block: Block) -> Block:
    """Mean of the two traces next to each one; at the block's ends of the two on the one side."""
    mean = np.empty_like(block)
    np.add(block[:-2], block[2:], out=mean[1:-1])
    np.add(block[1], block[2], out=mean[0])
    np.add(block[-2], block[-3], out=mean[-1])
    mean *= 0.5
    return mean


def _stands_off(rest: Block, trace: Places, sample: Places, width: int, least: float) -> Flags:
    """Whether ``width`` samples from each place on stand far off those around them in time."""
    samples = rest.shape[1]
    at = sample[:, None] + np.arange(-_AROUND, _AROUND + width)
    # A spike at a trace's end is compared with what there is of the trace.
    values = np.where((at >= 0) & (at < samples), rest[trace[:, None], at % samples], np.nan)
    own = values[:, _AROUND : _AROUND + width]
    around = np.delete(values, np.arange(_AROUND, _AROUND + width), axis=1)
    if not len(trace):
        return np.zeros(0, dtype=np.bool_)
    off = np.abs(own - np.nanmedian(around, axis=1)[:, None]).min(axis=1)
    spread = np.nanmax(around, axis=1) - np.nanmin(around, axis=1)
    far_off: Flags = (off > SPIKE_TIMES * spread) & (off > least)
    return far_off


def _is_shadow(rest: Block, trace: Places, sample: Places) -> Flags:
    """Whether each place only reflects a larger spike of a trace nearby, which is in its neighbours' mean."""
    own = rest[trace, sample]
    shadow = np.zeros(len(trace), dtype=np.bool_)
    for step in (-2, -1, 1, 2):
        other = rest[np.clip(trace + step, 0, len(rest) - 1), sample]
        shadow |= (own * other < 0) & (np.abs(other) > np.abs(own))
    return shadow
