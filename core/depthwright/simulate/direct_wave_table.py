"""Computes ``depth/direct_wave.json``: how far the direct wave's envelope peak is from ``s / c``.

Run by hand, some minutes: ``python -m depthwright.simulate.direct_wave_table``. Nothing else imports it.

Without loss the problem has no scale of its own, so everything is computed for a direct wave whose
*measured* centre frequency is 1 GHz: lengths count in its wavelengths, the shift in its periods. The
pulse is that of a current with the waveform of Ricker's wavelet; an ideal echo, the far field, has the
waveform of its derivative. Frequency and peak are read exactly as the program reads a line's direct
wave: band-limited, first maximum of the envelope that reaches half of its greatest.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

import depthwright
from depthwright import depth
from depthwright.constants import C_MM_PER_NS
from depthwright.measuring.timezero import centre_frequency_ghz
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.processing.filters import keep_band
from depthwright.scan import Block, scan_from_array
from depthwright.simulate.dipole import Spectrum, direct_wave

Floats = NDArray[np.float64]

DELAYS = np.round(
    np.concatenate(
        [
            np.arange(0.08, 0.35, 0.03),
            np.arange(0.35, 0.75, 0.015),
            np.arange(0.77, 1.0, 0.03),
            np.arange(1.02, 2.1, 0.08),
        ]
    ),
    3,
)
"""Of the wave through the concrete after that through the air, ``s (sqrt(eps) - 1) / c``, periods."""
HEIGHTS = np.array([0, 2, 4, 6, 8, 10, 14, 19, 26, 35, 40, 50, 60, 80]) / 1000
"""In wavelengths in air."""
PERMITTIVITIES = np.round(2.5 * 12 ** (np.arange(6) / 5), 4)

PERIOD_NS, SAMPLES, LEAD_NS = 24.0, 960, 3.0
DT_NS = PERIOD_NS / SAMPLES
FREQUENCIES_GHZ: Floats = np.arange(1, 157) / PERIOD_NS
PEAK_RANGE_GHZ = (0.75, 1.8)
"""Peak frequencies of an echo among which the direct wave has a measured frequency of 1 GHz."""

Pulse = Callable[[float], Spectrum]
"""Spectrum of an ideal echo, time zero at its envelope maximum, for its peak frequency in GHz."""


def ricker_current(peak_ghz: float) -> Spectrum:
    """Far field of a Ricker current, on :data:`FREQUENCIES_GHZ`; its spectrum peaks at ``peak_ghz``."""
    squared = 1.5 * (FREQUENCIES_GHZ / peak_ghz) ** 2
    return (1j * FREQUENCIES_GHZ * squared * np.exp(-squared)).astype(np.complex128)


@dataclass(frozen=True)
class Reading:
    """The direct wave as the program reads it at a measured frequency of 1 GHz.

    ``shift_ns`` is its envelope peak less that of an echo of no distance, less ``s / c``;
    ``peak_frequency_ghz`` is the peak frequency of the echo that goes with it.
    """

    shift_ns: float
    peak_frequency_ghz: float


def read(
    separation: float, height: float, permittivity: float, pulse: Pulse = ricker_current
) -> Reading:
    """Reading for lengths in wavelengths at the measured frequency."""
    separation_mm, height_mm = separation * C_MM_PER_NS, height * C_MM_PER_NS
    field = direct_wave(FREQUENCIES_GHZ, separation_mm, height_mm, permittivity)

    def excess_ghz(peak_ghz: float) -> float:
        scan = scan_from_array(_trace(field * pulse(peak_ghz)), DT_NS)
        return centre_frequency_ghz(scan) - 1.0

    peak_ghz = float(brentq(excess_ghz, *PEAK_RANGE_GHZ, xtol=1e-5))
    around = envelope(keep_band(_trace(field * pulse(peak_ghz)), DT_NS, 1.0))
    peak = refine_peak(around, np.array([first_strong_maximum(around[0])]))[0]
    return Reading(float(peak) * DT_NS - LEAD_NS - separation, peak_ghz)


def first_strong_maximum(around: NDArray[np.floating]) -> int:
    """Sample of the first maximum of an envelope, shape (samples,), that reaches half of its greatest."""
    inner = around[1:-1]
    maxima = (inner > around[:-2]) & (inner >= around[2:]) & (inner >= 0.5 * around.max())
    return 1 + int(np.argmax(maxima))


def make_table() -> Floats:
    """Shifts in periods, shape (delays, heights, permittivities).

    In the corner of close antennas on dense concrete, where nobody works, heights end at the separation.
    """
    return np.array(
        [[[_node(delay, h, eps) for eps in PERMITTIVITIES] for h in HEIGHTS] for delay in DELAYS]
    )


def _node(delay: float, height: float, permittivity: float) -> float:
    separation = delay / (np.sqrt(permittivity) - 1)
    return read(separation, min(height, separation), permittivity).shift_ns


def main() -> None:
    """Compute the table and write it where the program reads it."""
    content = {
        "what": "envelope peak of the direct wave over a half-space, less s/c, "
        "by the delay s (sqrt(eps) - 1) / c; at its measured centre frequency",
        "how": f"python -m depthwright.simulate.direct_wave_table, depthwright "
        f"{depthwright.__version__}, {date.today().isoformat()}",
        "delay_periods": DELAYS.tolist(),
        "height_wavelengths": HEIGHTS.tolist(),
        "permittivity": PERMITTIVITIES.tolist(),
        "shift_periods": np.round(make_table(), 4).tolist(),
    }
    lines = json.dumps(content, separators=(",", ":")).replace(',"', ',\n"').replace("]],", "]],\n")
    path = Path(depth.__file__).with_name("direct_wave.json")
    path.write_text(lines + "\n", encoding="utf-8")


def _trace(spectrum: Spectrum) -> Block:
    """One trace of :data:`SAMPLES`, scaled to a greatest of 1, an echo's peak at LEAD_NS."""
    whole = np.zeros(SAMPLES // 2 + 1, dtype=np.complex128)
    turn = np.exp(-2j * np.pi * FREQUENCIES_GHZ * LEAD_NS)
    whole[1 : len(spectrum) + 1] = spectrum * turn
    trace = np.fft.irfft(whole, n=SAMPLES)
    scaled: Block = (trace / np.abs(trace).max()).astype(np.float32)[None, :]
    return scaled


if __name__ == "__main__":
    main()
