"""The Hilbert envelope and its peaks.

The envelope of a real trace is the magnitude of its analytic signal (Oppenheim and Schafer,
*Discrete-Time Signal Processing*, ch. 12, from memory). The transform of the Hilbert companion is ``-i``
times that of the trace; the inverse real transform takes nothing of the imaginary parts that this gives the
mean and, for an even count, the last frequency, just as it should be.
"""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from depthwright.processing.filters import Block, Floats, cache_slices


def envelope(block: Block, threads: int = 1) -> Block:
    """Magnitude of the analytic signal of each trace, shape (traces, samples).

    It is computed piece by piece, each small enough for the processor's cache, on so many threads. In
    float32 samples have to lie between 1e-15 and 1e18 in size, or be zero: they are squared.

    Parameters
    ----------
    block
        Traces, shape (traces, samples). Those in float32 stay so; float64 is computed as such.
    threads
        Share the pieces among so many threads: the transforms run beside each other.
    """
    traces: Block = np.asarray(block, dtype=np.result_type(block, np.float32))
    found = np.empty(traces.shape, traces.dtype)
    pieces = list(cache_slices(*block.shape))
    if threads == 1 or len(pieces) == 1:
        _fill(traces, found, pieces)
        return found
    with ThreadPoolExecutor(threads) as pool:
        # One share for each thread: a task for each piece would cost more than it does.
        shares = [pieces[start::threads] for start in range(threads)]
        list(pool.map(lambda share: _fill(traces, found, share), shares))
    return found


def _fill(traces: Block, found: Block, pieces: list[slice]) -> None:
    """Write the envelopes of some pieces in place."""
    for piece in pieces:
        trace, magnitude = traces[piece], found[piece]
        beside = companion(trace)
        # Several times as fast as numpy's hypot.
        beside *= beside
        np.multiply(trace, trace, out=magnitude)
        magnitude += beside
        np.sqrt(magnitude, out=magnitude)


def companion(traces: NDArray[np.floating]) -> NDArray[np.floating]:
    """Hilbert companion of each trace, shape (traces, samples): the analytic signal's imaginary part."""
    spectrum = scipy.fft.rfft(traces, axis=-1)
    spectrum *= -1j
    beside: NDArray[np.floating] = scipy.fft.irfft(
        spectrum, n=traces.shape[-1], axis=-1, overwrite_x=True
    )
    return beside


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


def peak_shift(before: float, at: float, after: float) -> float:
    """How far the maximum of three neighbouring values lies from the middle one, -0.5 to 0.5.

    The same parabola as :func:`refine_peak` for a single maximum, without the cost of arrays.
    """
    bend = before - 2 * at + after
    return min(max(0.5 * (before - after) / bend, -0.5), 0.5) if bend < 0 else 0.0
