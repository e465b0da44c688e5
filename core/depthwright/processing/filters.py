"""Filters along the time axis; none of them moves a symmetric pulse."""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Block = NDArray[np.float32]

DRIFT_EDGE = 0.1
"""Fraction of the centre frequency below which nothing passes: drift, often stronger than the pulse."""
LOW_EDGE = 0.25
HIGH_EDGE = 2.5
"""The pulse's band, as fractions of the centre frequency: a Ricker pulse is under 4 % outside it."""


def band_weights(frequencies_ghz: Floats, centre_frequency_ghz: float) -> Floats:
    """Weights that keep the pulse's band, with raised-cosine edges, shape as the frequencies."""
    ratio = frequencies_ghz / centre_frequency_ghz
    rise = np.clip((ratio - DRIFT_EDGE) / (LOW_EDGE - DRIFT_EDGE), 0, 1)
    fall = np.clip((HIGH_EDGE * 1.25 - ratio) / (HIGH_EDGE * 0.25), 0, 1)
    weights: Floats = (0.5 - 0.5 * np.cos(np.pi * rise)) * (0.5 - 0.5 * np.cos(np.pi * fall))
    return weights


def keep_band(
    block: Block, dt_ns: float, centre_frequency_ghz: float, shift_ns: Floats | None = None
) -> Block:
    """Zero-phase filter to the pulse's band, shape (traces, samples).

    With ``shift_ns`` (shape (traces,)) each trace is moved to earlier times by its shift in the same
    pass, exactly for a band-limited signal.
    """
    samples = block.shape[-1]
    padded = scipy.fft.next_fast_len(samples + _pad(dt_ns, centre_frequency_ghz), real=True)
    spectrum = scipy.fft.rfft(block - chord(block), n=padded, axis=-1)
    frequencies = scipy.fft.rfftfreq(padded, dt_ns)
    spectrum *= band_weights(frequencies, centre_frequency_ghz).astype(np.float32)
    if shift_ns is not None:
        turn = np.exp(2j * np.pi * frequencies * shift_ns[:, None])
        spectrum *= turn.astype(np.complex64)
    filtered: Block = scipy.fft.irfft(spectrum, n=padded, axis=-1)[:, :samples]
    return filtered


def chord(block: Block) -> Block:
    """Straight line from each trace's first sample to its last, shape (traces, samples).

    Without it a trace's offset and drift end in a jump, which holds every frequency.
    """
    along = np.linspace(0, 1, block.shape[-1], dtype=np.float32)
    line: Block = block[..., :1] + along * (block[..., -1:] - block[..., :1])
    return line


def dewow(block: Block, dt_ns: float, centre_frequency_ghz: float) -> Block:
    """Take away the slow drift: a moving mean over two periods of the centre frequency."""
    window = max(3, round(2 / (centre_frequency_ghz * dt_ns)))
    # Odd, so that the mean lies on the sample it is taken from.
    window = min(window, block.shape[-1]) // 2 * 2 + 1
    padded = np.pad(block.astype(np.float64), ((0, 0), (window // 2 + 1, window // 2)), mode="edge")
    running = np.cumsum(padded, axis=-1)
    mean = (running[:, window:] - running[:, :-window]) / window
    steady: Block = (block - mean).astype(np.float32)
    return steady


def gain(block: Block, dt_ns: float, start_ns: float, db_per_ns: float) -> Block:
    """Raise later samples by ``db_per_ns`` from ``start_ns`` on."""
    time = np.arange(block.shape[-1]) * dt_ns
    factor = 10 ** (db_per_ns * np.maximum(time - start_ns, 0.0) / 20)
    raised: Block = block * factor.astype(np.float32)
    return raised


def _pad(dt_ns: float, centre_frequency_ghz: float) -> int:
    """Zeros behind a trace, so that its end does not wrap around onto its start."""
    return max(16, round(2 / (LOW_EDGE * centre_frequency_ghz * dt_ns)))
