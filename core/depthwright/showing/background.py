"""What the traces of a line share, and where that may be a flat back face.

Ringing, the direct wave and whatever else does not change along the line is the background. So is a flat
back face, which must not go with it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.processing.envelope import envelope
from depthwright.scan import Block

Floats = NDArray[np.float64]

QUIET_SHARE = 0.2
"""Share of the traces, those with least energy under the direct wave, that are taken for bar-free."""
SHARED = 0.5
"""Common trace over median envelope from which on an echo counts as shared by the line."""
RISE = 2.0
"""How far a back face's echo rises above the least before it: 6 dB."""
PASSED_PERIODS = 2.5
"""Periods after the direct wave's peak in which nothing is taken for a back face: its own tail."""


def median_trace(traces: Block) -> NDArray[np.float32]:
    """Median over traces, shape (samples,)."""
    middle: NDArray[np.float32] = np.median(traces, axis=0).astype(np.float32)
    return middle


def quiet_mean(traces: Block, from_sample: int) -> NDArray[np.float32]:
    """Mean of the traces that differ least from their median after a sample, shape (samples,).

    Over a bar a trace differs much from what the line shares, between bars little.
    """
    unlike = traces[:, from_sample:] - np.median(traces[:, from_sample:], axis=0)
    energy = np.einsum("ij,ij->i", unlike, unlike)
    count = max(min(3, len(traces)), round(QUIET_SHARE * len(traces)))
    chosen = np.argsort(energy, kind="stable")[:count]
    mean: NDArray[np.float32] = traces[chosen].mean(axis=0)
    return mean


def moving_mean(block: Block, half: int) -> Block:
    """Mean of each trace and up to ``half`` traces on either side, shape (traces, samples).

    At the block's ends fewer traces are averaged.
    """
    traces = len(block)
    summed = np.zeros((traces + 1, block.shape[1]))
    np.cumsum(block, axis=0, out=summed[1:])
    at = np.arange(traces)
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, traces)
    mean: Block = ((summed[last] - summed[first]) / (last - first)[:, None]).astype(np.float32)
    return mean


def flat_echo(traces: Block, direct: float, period: float) -> int | None:
    """Sample of the first flat echo below the direct wave; None where there is none.

    Parameters
    ----------
    traces
        Traces spread over the line, shape (traces, samples).
    direct, period
        Direct wave's peak and period of the centre frequency, in samples.
    """
    common = envelope(median_trace(traces)[None, :])[0]
    usual = np.median(envelope(traces), axis=0)
    shared = common >= SHARED * np.maximum(usual, np.finfo(np.float32).tiny)
    first = round(direct + period / 2)
    least = np.minimum.accumulate(common[first:])
    for sample in range(max(first + 1, round(direct + PASSED_PERIODS * period)), len(common) - 1):
        peak = common[sample - 1] < common[sample] >= common[sample + 1]
        if peak and shared[sample] and common[sample] >= RISE * least[sample - first]:
            return sample
    return None


@dataclass(frozen=True)
class Background:
    """What is subtracted, and where.

    Parameters
    ----------
    trace
        Shape (samples,), to be taken from every trace; None for a mean over neighbours.
    half_window
        Traces on either side of that mean.
    weights
        Share of it that is taken away, shape (samples,): 1 above a spared back face, 0 below.
    """

    trace: NDArray[np.float32] | None
    half_window: int
    weights: NDArray[np.float32]

    @property
    def reach(self) -> int:
        """Traces needed on either side of those wanted."""
        return 0 if self.trace is not None else self.half_window

    def remove(self, block: Block) -> Block:
        """The block without its background, shape (traces, samples)."""
        common = self.trace if self.trace is not None else moving_mean(block, self.half_window)
        without: Block = block - common * self.weights
        return without


def sparing(samples: int, keep_from: float, period: float) -> NDArray[np.float32]:
    """Weights that fall from 1 to 0 over half a period before a sample, shape (samples,)."""
    ramp = np.clip((keep_from - np.arange(samples)) / (period / 2), 0, 1)
    weights: NDArray[np.float32] = (0.5 - 0.5 * np.cos(np.pi * ramp)).astype(np.float32)
    return weights
