"""The antenna card of a simulated antenna pair: the direct wave's shift from ``s / c``.

It comes from separate runs over a bare half-space, never from the lines it is used on.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from depthwright.constants import C_MM_PER_NS
from depthwright.measuring.timezero import centre_frequency_ghz, find_direct_wave
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.processing.filters import keep_band
from depthwright.scan import scan_from_array
from depthwright.simulate.fdtd import CELL_MM, ricker, simulate_line
from depthwright.simulate.scene import AntennaPair, Scene

Floats = NDArray[np.float64]

PERMITTIVITIES = (6.0, 7.0, 8.0, 9.0)
MODEL_U_NS = 0.008
"""What the shift still leaves open: bars' near field and the grid (own computation)."""


@dataclass(frozen=True)
class Card:
    """What a job's antenna holds, as measured on bare half-spaces."""

    centre_frequency_ghz: float
    time_offset_ns: float
    time_offset_u_ns: float


def zero_time_ns(frequency_ghz: float, band_ghz: float, dt_ns: float) -> float:
    """File time at which an echo of no travelled distance would have its envelope maximum.

    The far field of a line current I is ``-(omega mu / 4) H0(2)(k r) I`` (Harrington 1961, sec. 5-6,
    from memory), which for large ``k r`` goes as ``sqrt(j omega) exp(-j k r) I``: that waveform, band-limited
    as picks are, gives the zero.
    """
    count = 4096
    time: Floats = np.arange(float(count)) * dt_ns
    spectrum = scipy.fft.rfft(ricker(time, frequency_ghz))
    omega = 2 * np.pi * scipy.fft.rfftfreq(count, dt_ns)
    far = scipy.fft.irfft(spectrum * np.sqrt(1j * omega), n=count).astype(np.float32)
    around = envelope(keep_band(far[None, :], dt_ns, band_ghz))
    return float(refine_peak(around, around.argmax(axis=1))[0] * dt_ns)


def make_card(antenna: AntennaPair, dt_ns: float) -> Card:
    """Run bare half-spaces of several permittivities and heights one cell apart."""
    shifts = {
        (permittivity, height): shift
        for permittivity in PERMITTIVITIES
        for height in (antenna.height_mm, antenna.height_mm + CELL_MM)
        for shift in [_shift(antenna, permittivity, height, dt_ns)]
    }
    here = np.array([shifts[eps, antenna.height_mm][0] for eps in PERMITTIVITIES])
    higher = np.array([shifts[eps, antenna.height_mm + CELL_MM][0] for eps in PERMITTIVITIES])
    # The height is known to about one cell; its echo moves by the two-way time of that height.
    by_height = float(np.abs(higher - here).mean()) + 2 * CELL_MM / C_MM_PER_NS
    spread = float(here.std(ddof=1))
    return Card(
        centre_frequency_ghz=round(float(np.mean([s[1] for s in shifts.values()])), 2),
        time_offset_ns=round(float(here.mean()), 4),
        time_offset_u_ns=round(float(np.sqrt(spread**2 + by_height**2 + MODEL_U_NS**2)), 4),
    )


def _shift(
    antenna: AntennaPair, permittivity: float, height_mm: float, dt_ns: float
) -> tuple[float, float]:
    """Direct wave's maximum minus the zero minus ``s / c``, ns, and the band's centre, GHz."""
    deep = Scene(permittivity, 0.005, (0.0,), (10_000.0,))
    pair = AntennaPair(antenna.separation_mm, height_mm, antenna.centre_frequency_ghz)
    samples = round(2.6 / dt_ns)
    trace = simulate_half_space(deep, pair, dt_ns, samples)
    scan = scan_from_array(np.repeat(trace, 3, axis=0), dt_ns)
    band = centre_frequency_ghz(scan)
    direct = find_direct_wave(scan, band)
    zero = zero_time_ns(antenna.centre_frequency_ghz, band, dt_ns)
    return direct.time_ns - zero - antenna.separation_mm / C_MM_PER_NS, band


def simulate_half_space(
    scene: Scene, antenna: AntennaPair, dt_ns: float, samples: int
) -> NDArray[np.float32]:
    """One trace over a slab so thick that nothing returns from its back face in time, shape (1, samples)."""
    enough = samples * dt_ns * C_MM_PER_NS / (2 * np.sqrt(scene.permittivity)) + 40
    bare = Scene(
        scene.permittivity, scene.conductivity_s_per_m, (0.0,), (CELL_MM * round(enough / CELL_MM),)
    )
    return simulate_line(bare, antenna, np.zeros(1), dt_ns, samples)
