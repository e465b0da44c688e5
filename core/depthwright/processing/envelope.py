"""The Hilbert envelope and its peaks.

The envelope of a real trace is the magnitude of its analytic signal (Oppenheim and Schafer,
*Discrete-Time Signal Processing*, ch. 12, from memory). It is computed with real transforms in
float32, block by block: the transform of the Hilbert companion is ``-i`` times that of the trace.
"""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Block = NDArray[np.float32]


def envelope(block: Block) -> Block:
    """Magnitude of the analytic signal of each trace, shape (traces, samples)."""
    spectrum = scipy.fft.rfft(block, axis=-1)
    spectrum *= -1j
    companion: Block = scipy.fft.irfft(spectrum, n=block.shape[-1], axis=-1)
    np.hypot(block, companion, out=companion)
    return companion


def refine_peak(values: NDArray[np.floating], index: NDArray[np.intp]) -> Floats:
    """Peak places below a sample, by the parabola through each maximum and its neighbours.

    Parameters
    ----------
    values
        Envelopes, shape (traces, samples).
    index
        Sample of the maximum in each trace, shape (traces,).

    Returns
    -------
    Fractional sample index, shape (traces,). A maximum on the edge stays where it is.
    """
    traces = np.arange(len(index))
    inside = np.clip(index, 1, values.shape[-1] - 2)
    before, at, after = (values[traces, inside + step].astype(np.float64) for step in (-1, 0, 1))
    bend = before - 2 * at + after
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where(bend < 0, 0.5 * (before - after) / bend, 0.0)
    return np.where(inside == index, index + np.clip(shift, -0.5, 0.5), index.astype(np.float64))
