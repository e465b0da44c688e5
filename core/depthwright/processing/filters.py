"""Filters along the time axis and along the line; none of them moves a symmetric pulse.

Blocks have the shape (traces, samples), traces along the line and time along axis 1.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.linalg import toeplitz
from scipy.ndimage import uniform_filter1d

Floats = NDArray[np.float64]
Block = NDArray[np.float32]

LOW_EDGE = 0.25
HIGH_EDGE = 2.5
"""The pulse's band, as fractions of the centre frequency: a Ricker pulse is under 4 % outside it."""
LOW_FOOT = 0.4
HIGH_FOOT = 1.25
"""Where nothing passes any more, as fractions of the lower and of the upper edge of a band. What lies below
is drift, often stronger than the pulse."""

_CACHE_SAMPLES = 2**15
_PAD_PERIODS = 2.0
_GAUSSIAN_SIGMAS = 4.0
_PRODUCT_TRACES = 64
_TURN_STEPS = 32


MOST_GAIN_DB = 160.0


def cache_slices(traces: int, samples: int) -> Iterator[slice]:
    """Pieces of a block small enough for the processor's cache, as slices of its traces."""
    size = max(1, _CACHE_SAMPLES // max(samples, 1))
    for first in range(0, traces, size):
        yield slice(first, first + size)


def band_response(frequencies_ghz: Floats, low_ghz: float, high_ghz: float) -> Floats:
    """Weights of a band-pass: 1 from one edge to the other, with raised-cosine flanks outside.

    The flanks are as wide as their edges are high: they come down to zero at 0.4 times the lower and at
    1.25 times the upper edge. Shape as the frequencies.
    """
    rise = np.clip((frequencies_ghz / low_ghz - LOW_FOOT) / (1 - LOW_FOOT), 0, 1)
    fall = np.clip((HIGH_FOOT - frequencies_ghz / high_ghz) / (HIGH_FOOT - 1), 0, 1)
    weights: Floats = (0.5 - 0.5 * np.cos(np.pi * rise)) * (0.5 - 0.5 * np.cos(np.pi * fall))
    return weights


def band_weights(frequencies_ghz: Floats, centre_frequency_ghz: float) -> Floats:
    """Weights that keep the pulse's band, with raised-cosine edges, shape as the frequencies."""
    low, high = LOW_EDGE * centre_frequency_ghz, HIGH_EDGE * centre_frequency_ghz
    return band_response(frequencies_ghz, low, high)


def keep_band(
    block: Block, dt_ns: float, centre_frequency_ghz: float, shift_ns: Floats | None = None
) -> Block:
    """Zero-phase filter to the pulse's band, shape (traces, samples).

    With ``shift_ns`` (shape (traces,)) each trace is moved to earlier times by its shift in the same
    pass, exactly for a band-limited signal.
    """
    filtered: Block = np.empty(block.shape, np.float32)
    band = Band.of(block.shape[-1], dt_ns, centre_frequency_ghz)
    for piece in cache_slices(len(block), band.padded):
        spectrum = band.spectrum(block[piece])
        if shift_ns is not None:
            spectrum *= band.turns(shift_ns[piece])
        filtered[piece] = band.traces(spectrum)
    return filtered


@dataclass(frozen=True)
class Band:
    """The pulse's band: the spectrum of traces up to where nothing passes any more, and back."""

    samples: int
    padded: int
    frequencies_ghz: Floats
    weights: NDArray[np.float32]

    @classmethod
    def of(cls, samples: int, dt_ns: float, centre_frequency_ghz: float) -> "Band":
        """The band around a centre frequency, for traces of so many samples."""
        pad = _pad(dt_ns, LOW_EDGE * centre_frequency_ghz)
        padded = scipy.fft.next_fast_len(samples + pad, real=True)
        frequencies = scipy.fft.rfftfreq(padded, dt_ns)
        weights = band_weights(frequencies, centre_frequency_ghz).astype(np.float32)
        end = int(np.flatnonzero(weights).max(initial=0)) + 1
        return cls(samples, padded, frequencies[:end], weights[:end])

    def spectrum(self, traces: Block) -> NDArray[np.complex64]:
        """Spectrum of band-limited traces, shape (traces, frequencies)."""
        whole = scipy.fft.rfft(traces - chord(traces), n=self.padded, axis=-1)
        limited: NDArray[np.complex64] = whole[:, : len(self.weights)] * self.weights
        return limited

    def turns(self, shift_ns: Floats) -> NDArray[np.complex64]:
        """What moves each trace to earlier times by its shift."""
        return _turns(self.frequencies_ghz, shift_ns)

    def traces(self, spectrum: NDArray[np.complex64]) -> Block:
        """The traces of a spectrum, shape (traces, samples)."""
        traces: Block = scipy.fft.irfft(spectrum, n=self.padded, axis=-1)[:, : self.samples]
        return traces


def band_pass(block: Block, dt_ns: float, low_ghz: float, high_ghz: float) -> Block:
    """Zero-phase band-pass with the weights of :func:`band_response`, shape (traces, samples).

    Each trace's :func:`chord` is taken away beforehand and not put back: offset and drift are below any
    band. Zeros behind the trace keep its end from wrapping around onto its start.
    """
    samples = block.shape[-1]
    # A band from next to nothing on would ask for endless zeros.
    pad = min(_pad(dt_ns, low_ghz), 2 * samples)
    padded = scipy.fft.next_fast_len(samples + pad, real=True)
    weights = band_response(scipy.fft.rfftfreq(padded, dt_ns), low_ghz, high_ghz)
    response = weights.astype(np.float32)
    filtered: Block = np.empty(block.shape, np.float32)
    for piece in cache_slices(len(block), padded):
        spectrum = scipy.fft.rfft(block[piece] - chord(block[piece]), n=padded, axis=-1)
        spectrum *= response
        filtered[piece] = scipy.fft.irfft(spectrum, n=padded, axis=-1)[:, :samples]
    return filtered


def amplitude_spectrum(traces: Block, dt_ns: float) -> tuple[Floats, Floats]:
    """Mean amplitude spectrum of some traces, shape (traces, samples), without their chords.

    Returns
    -------
    Frequencies, GHz, and amplitudes, shape (samples // 2 + 1,) each: a sine on one of the frequencies has
    its own amplitude there.
    """
    samples = traces.shape[-1]
    total: Floats = np.zeros(samples // 2 + 1)
    for piece in cache_slices(*traces.shape):
        block = traces[piece] - chord(traces[piece])
        total += np.abs(scipy.fft.rfft(block, axis=-1)).sum(axis=0, dtype=np.float64)
    both_signs = np.full(len(total), 2.0)
    both_signs[0] = 1.0
    if samples % 2 == 0:
        both_signs[-1] = 1.0
    return scipy.fft.rfftfreq(samples, dt_ns), total * both_signs / (samples * max(len(traces), 1))


def shift_times(block: Block, dt_ns: float, shift_ns: Floats) -> Block:
    """Move each trace to earlier times by its shift, shape (traces,), negative for later ones.

    Exact for a band-limited trace. Nothing wraps around: a trace goes on with its first and last sample.
    """
    samples = block.shape[-1]
    # Beyond its whole length a trace is its end sample, however far it moves.
    steps = np.clip(np.asarray(shift_ns, dtype=np.float64) / dt_ns, -samples, samples)
    padded = scipy.fft.next_fast_len(samples + int(np.abs(steps).max(initial=0)) + 16, real=True)
    frequencies = scipy.fft.rfftfreq(padded)
    moved: Block = np.empty(block.shape, np.float32)
    for piece in cache_slices(len(block), padded):
        trace, step = block[piece], steps[piece]
        spectrum = scipy.fft.rfft(trace - chord(trace), n=padded, axis=-1)
        spectrum *= _turns(frequencies, step)
        # What has left at one end is still there in the zeros, which are not taken.
        moved[piece] = scipy.fft.irfft(spectrum, n=padded, axis=-1)[:, :samples]
        at = np.clip(np.arange(samples) + step[:, None], 0, samples - 1) / max(samples - 1, 1)
        moved[piece] += trace[:, :1] + at.astype(np.float32) * (trace[:, -1:] - trace[:, :1])
    return moved


def chord(block: Block) -> Block:
    """Straight line from each trace's first sample to its last, shape (traces, samples).

    Without it a trace's offset and drift end in a jump, which holds every frequency.
    """
    along = np.linspace(0, 1, block.shape[-1], dtype=np.float32)
    line: Block = block[..., :1] + along * (block[..., -1:] - block[..., :1])
    return line


def dewow(block: Block, dt_ns: float, centre_frequency_ghz: float) -> Block:
    """Take away the slow drift: a moving mean over two periods of the centre frequency.

    Beyond its ends a trace goes on with its first and last sample.
    """
    window = max(3, round(2 / (centre_frequency_ghz * dt_ns)))
    # Odd, so that the mean lies on the sample it is taken from.
    window = min(window, block.shape[-1]) // 2 * 2 + 1
    steady: Block = np.empty(block.shape, np.float32)
    for piece in cache_slices(*block.shape):
        uniform_filter1d(block[piece], window, axis=-1, output=steady[piece], mode="nearest")
        np.subtract(block[piece], steady[piece], out=steady[piece])
    return steady


def smooth_reach(sigma_traces: float) -> int:
    """Traces on each side that :func:`smooth_along` looks at."""
    return int(_GAUSSIAN_SIGMAS * sigma_traces + 0.5)


def smooth_along(block: Block, sigma_traces: float) -> Block:
    """Average along the line with a Gaussian of this standard deviation, cut at four of them.

    Beyond its ends the block goes on with its first and last trace.
    """
    reach = smooth_reach(sigma_traces)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / max(sigma_traces, 1e-9)) ** 2)
    kernel /= kernel.sum()
    size = max(_PRODUCT_TRACES, reach)
    # Matrix products of moderate size are the fastest way, and as exact as a sum.
    shape = np.zeros(size), np.zeros(size + 2 * reach)
    shape[0][0], shape[1][: len(kernel)] = kernel[0], kernel
    weights = toeplitz(*shape).astype(np.float32)
    longer = np.pad(block, ((reach, reach), (0, 0)), mode="edge")
    smoothed: Block = np.empty(block.shape, np.float32)
    for first in range(0, len(block), size):
        count = min(size, len(block) - first)
        around = longer[first : first + count + 2 * reach]
        smoothed[first : first + count] = weights[:count, : len(around)] @ around
    return smoothed


def gain_factor(
    samples: int, dt_ns: float, start_ns: float, db_per_ns: float
) -> NDArray[np.float32]:
    """Factors that raise later samples by ``db_per_ns`` from ``start_ns`` on, shape (samples,).

    They end at :data:`MOST_GAIN_DB`, where nothing but noise is left to raise.
    """
    time = np.arange(samples) * dt_ns
    raised_db = db_per_ns * np.maximum(time - start_ns, 0.0)
    factor = 10 ** (np.minimum(raised_db, MOST_GAIN_DB) / 20)
    single: NDArray[np.float32] = factor.astype(np.float32)
    return single


def even_gain(block: Block, dt_ns: float, window_ns: float, floor: float) -> Block:
    """Bring every time to the same strength: divide by sqrt(moving mean square + floor^2).

    The mean runs over a window around each sample, at the trace's ends over what there is of it. What is
    weaker than ``floor``, in the block's own unit, is not blown up.
    """
    window = max(1, round(window_ns / dt_ns))
    window = min(window, block.shape[-1]) // 2 * 2 + 1
    share = uniform_filter1d(np.ones(block.shape[-1]), window, mode="constant")
    even: Block = np.empty(block.shape, np.float32)
    for piece in cache_slices(*block.shape):
        square = uniform_filter1d(
            np.square(block[piece]), window, axis=-1, output=np.float32, mode="constant"
        )
        # The running sum may leave a little less than nothing.
        strength = np.sqrt(np.maximum(square / share, 0.0) + floor**2).astype(np.float32)
        even[piece] = block[piece] / np.where(strength > 0, strength, np.float32(1))
    return even


def _turns(frequencies_ghz: Floats, shift_ns: Floats) -> NDArray[np.complex64]:
    """What moves each trace to earlier times, shape (traces, frequencies), for even steps from zero on.

    The j-th turn is the j-th power of the first: products of coarse and fine powers take far less time
    than an exponential for each.
    """
    count = len(frequencies_ghz)
    turn = 2j * np.pi * (frequencies_ghz[1] if count > 1 else 0.0) * shift_ns[:, None]
    fine = np.exp(turn * np.arange(_TURN_STEPS)).astype(np.complex64)
    coarse = np.exp(turn * np.arange(0, count, _TURN_STEPS)).astype(np.complex64)
    turns: NDArray[np.complex64] = coarse[:, :, None] * fine[:, None, :]
    return turns.reshape(len(shift_ns), -1)[:, :count]


def _pad(dt_ns: float, low_ghz: float) -> int:
    """Zeros behind a trace, so that its end does not wrap around onto its start."""
    return max(16, round(_PAD_PERIODS / (low_ghz * dt_ns)))
