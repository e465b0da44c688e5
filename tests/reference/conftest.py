"""Exact fields shared by the reference checks.

A line source beside a conducting circular cylinder, both in one endless dielectric: Harrington,
*Time-Harmonic Electromagnetic Fields* (1961), ch. 5, and Balanis, *Advanced Engineering
Electromagnetics*, ch. 11 (both from memory; that the field vanishes on the metal is tested).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
import scipy.fft
import scipy.special
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

C_MM_PER_NS = 299.792458
"""SI; written down here so that nothing of the program enters the exact solution."""
PULSE_NS = 1.0
"""Centre of the source's pulse on the time axis of the traces."""
BAND = 3.2
"""The Ricker pulse's spectrum is below 0.1 % of its maximum above this many peak frequencies."""


@dataclass(frozen=True)
class LineOverBar:
    """A pair of line antennas in a dielectric, ``cover_mm`` above the top of a parallel bar.

    Coordinates (along the line, depth) in mm from the point at antenna depth over the bar's centre.
    Time factor exp(+j omega t). Fields are in units of ``(mu / 4) times the current``, so that the
    source alone makes ``-omega H0(2)(k r)``.
    """

    cover_mm: float
    radius_mm: float
    permittivity: float
    separation_mm: float

    def wavenumber(self, ghz: Floats) -> Floats:
        """Wavenumber in the dielectric, rad/mm."""
        k: Floats = 2 * np.pi * ghz * np.sqrt(self.permittivity) / C_MM_PER_NS
        return k

    def terms(self, ghz: Floats) -> int:
        """Terms that the series needs while no antenna touches the bar; that they do is tested."""
        size = float(self.wavenumber(ghz).max()) * self.radius_mm
        return int(np.ceil(size + 4 * size ** (1 / 3) + 8))

    def scattered(
        self, source_mm: Floats, receiver_mm: Floats, ghz: Floats, terms: int | None = None
    ) -> Complexes:
        """Field by way of the bar; places of shape (pairs, 2), result (pairs, frequencies).

        The addition theorem writes the source's H0(2) as cylindrical waves about the bar's centre; each
        is cancelled on the metal, ``r = a``, by ``-J_n(ka) / H_n(2)(ka)`` of an outgoing one.
        """
        count = terms or self.terms(ghz)
        k = self.wavenumber(ghz)
        order = np.arange(count)
        centre = np.array([0.0, self.cover_mm + self.radius_mm])
        (from_x, from_z), (to_x, to_z) = (source_mm - centre).T, (receiver_mm - centre).T
        source = hankels(np.hypot(from_x, from_z)[:, None] * k, count)
        receiver = hankels(np.hypot(to_x, to_z)[:, None] * k, count)
        turned = np.arctan2(from_x, -from_z) - np.arctan2(to_x, -to_z)
        bar = scipy.special.jv(order[:, None], k * self.radius_mm)
        bar = bar / hankels(k * self.radius_mm, count)
        both_ways = np.where(order == 0, 1.0, 2.0)[:, None] * np.cos(order[:, None] * turned)
        total: Complexes = np.einsum("nf,npf,npf,np->pf", bar, source, receiver, both_ways)
        return 2 * np.pi * ghz * total

    def direct(self, source_mm: Floats, receiver_mm: Floats, ghz: Floats) -> Complexes:
        """Field of the source alone, shape (pairs, frequencies)."""
        away = np.hypot(*(source_mm - receiver_mm).T)[:, None]
        field: Complexes = -2 * np.pi * ghz * scipy.special.hankel2(0, self.wavenumber(ghz) * away)
        return field

    def traces(
        self,
        offset_mm: Floats,
        pulse_ghz: float,
        dt_ns: float,
        samples: int = 512,
        with_direct: bool = False,
    ) -> Floats:
        """Received Ricker pulses for midpoints beside the bar, shape (traces, samples)."""
        half = self.separation_mm / 2
        source, receiver = (
            np.stack([offset_mm + side, np.zeros_like(offset_mm)], axis=1) for side in (-half, half)
        )
        ghz = scipy.fft.rfftfreq(samples, dt_ns)
        use = (ghz > 0) & (ghz < BAND * pulse_ghz)
        field = self.scattered(source, receiver, ghz[use])
        if with_direct:
            field = field + self.direct(source, receiver, ghz[use])
        spectrum = np.zeros((len(offset_mm), len(ghz)), dtype=np.complex128)
        spectrum[:, use] = field * pulse_spectrum(ghz[use], pulse_ghz, dt_ns)
        received: Floats = scipy.fft.irfft(spectrum, n=samples, axis=-1)
        return received


def hankels(z: Floats, count: int) -> Complexes:
    """H_n(2)(z) for n below ``count``, shape (count, ...), by the upward recurrence, stable for H."""
    waves = np.empty((count, *z.shape), dtype=np.complex128)
    waves[0], waves[1] = scipy.special.hankel2(0, z), scipy.special.hankel2(1, z)
    for n in range(1, count - 1):
        waves[n + 1] = 2 * n / z * waves[n] - waves[n - 1]
    return waves


def pulse_spectrum(ghz: Floats, pulse_ghz: float, dt_ns: float) -> Complexes:
    """Discrete spectrum of a Ricker pulse centred at :data:`PULSE_NS`."""
    ratio = (ghz / pulse_ghz) ** 2
    shape = 2 / (np.sqrt(np.pi) * pulse_ghz * dt_ns) * ratio * np.exp(-ratio)
    spectrum: Complexes = shape * np.exp(-2j * np.pi * ghz * PULSE_NS)
    return spectrum


def far_waveform(pulse_ghz: float, dt_ns: float, samples: int = 512) -> Floats:
    """What a line source sends far away, less its travel: ``omega H0(2)`` goes as ``sqrt(j omega)``."""
    ghz = scipy.fft.rfftfreq(samples, dt_ns)
    far = np.sqrt(2j * np.pi * ghz) * pulse_spectrum(ghz, pulse_ghz, dt_ns)
    waveform: Floats = scipy.fft.irfft(far, n=samples)
    return waveform


@pytest.fixture(name="line_over_bar", scope="session")
def _line_over_bar() -> type[LineOverBar]:
    return LineOverBar


@pytest.fixture(name="far_waveform", scope="session")
def _far_waveform() -> Callable[[float, float], Floats]:
    return far_waveform
