r"""What a medium does to a wave: its length, its reflection at a boundary, its loss.

Symbols: angular frequency :math:`\omega = 2 \pi f`, permittivity :math:`\varepsilon = \varepsilon_r
\varepsilon_0`, conductivity :math:`\sigma`, loss tangent :math:`\tan \delta = \sigma / (\omega
\varepsilon)`. In a medium that is not magnetic, a plane wave's number is :math:`k = \beta - i \alpha` with

.. math:: k^2 = \frac{\omega^2 \varepsilon_r}{c^2} (1 - i \tan \delta) .

A value that is not known is NaN, and so is what follows from it.

Source: plane waves in lossy media, Balanis, *Advanced Engineering Electromagnetics*, sec. 4.3, from memory.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from depthwright.constants import C_MM_PER_NS
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]

_EPSILON_0_F_PER_M = 8.8541878128e-12
"""Electric constant, F/m: CODATA 2018."""

_DB_PER_NEPER = 20 / math.log(10)


def wavelength_mm(permittivity: ArrayLike, frequency_ghz: ArrayLike) -> Floats:
    """Wavelength in a medium without loss, mm: c / (f sqrt(eps_r)). Inputs broadcast."""
    eps, frequency = _permittivity(permittivity), _frequency(frequency_ghz)
    length: Floats = C_MM_PER_NS / (frequency * np.sqrt(eps))
    return length


def fresnel_radius_mm(
    depth_mm: ArrayLike, permittivity: ArrayLike, frequency_ghz: ArrayLike
) -> Floats:
    r"""Radius of the first Fresnel zone under a single antenna, mm. Inputs broadcast.

    Notes
    -----
    The zone ends where the way there and back is half a wavelength longer than straight down
    (Sheriff and Geldart, *Exploration Seismology*, from memory):
    :math:`\sqrt{d^2 + r^2} = d + \lambda / 4`, so that :math:`r^2 = \lambda d / 2 + \lambda^2 / 16`.
    """
    depth = _values(depth_mm)
    if np.any(depth < 0):
        raise DepthwrightError("A depth below zero is above the surface.")
    wavelength = wavelength_mm(permittivity, frequency_ghz)
    radius: Floats = np.sqrt(wavelength * depth / 2 + wavelength**2 / 16)
    return radius


def reflection(permittivity_from: ArrayLike, permittivity_to: ArrayLike) -> Floats:
    r"""Ratio of reflected to incident electric field, straight onto a boundary. Inputs broadcast.

    Parameters
    ----------
    permittivity_from, permittivity_to
        On the side of the incident wave and beyond; infinite stands for metal beyond.

    Notes
    -----
    Fresnel: :math:`(n_1 - n_2) / (n_1 + n_2)` with :math:`n = \sqrt{\varepsilon_r}`; -1 on metal.
    """
    before, beyond = _permittivity(permittivity_from), _no_faster_than_in_air(permittivity_to)
    # As a ratio, an infinite permittivity beyond needs no case of its own.
    ratio = np.sqrt(before / beyond)
    reflected: Floats = (ratio - 1) / (ratio + 1)
    return reflected


def attenuation_db_per_m(
    permittivity: ArrayLike, conductivity_s_per_m: ArrayLike, frequency_ghz: ArrayLike
) -> Floats:
    r"""Loss of a plane wave on its way one way, dB/m. Inputs broadcast.

    Notes
    -----
    :math:`\alpha = \omega \sqrt{\mu \varepsilon / 2} \sqrt{\sqrt{1 + \tan^2 \delta} - 1}`, taken as
    the imaginary part of the wave's number, which keeps its digits where the loss is small.
    """
    number = _wave_number_per_mm(permittivity, conductivity_s_per_m, frequency_ghz)
    loss: Floats = -number.imag * 1000 * _DB_PER_NEPER
    return loss


def phase_velocity_mm_per_ns(
    permittivity: ArrayLike, conductivity_s_per_m: ArrayLike, frequency_ghz: ArrayLike
) -> Floats:
    """Velocity of a plane wave's phase in a lossy medium, mm/ns: omega / beta. Inputs broadcast."""
    number = _wave_number_per_mm(permittivity, conductivity_s_per_m, frequency_ghz)
    velocity: Floats = 2 * np.pi * _frequency(frequency_ghz) / number.real
    return velocity


def _wave_number_per_mm(
    permittivity: ArrayLike, conductivity_s_per_m: ArrayLike, frequency_ghz: ArrayLike
) -> NDArray[np.complex128]:
    eps, frequency = _permittivity(permittivity), _frequency(frequency_ghz)
    conductivity = _values(conductivity_s_per_m)
    if np.any(conductivity < 0):
        raise DepthwrightError("A conductivity below zero would make a wave grow.")
    if np.any(np.isinf(conductivity)):
        raise _metal()
    omega = 2 * np.pi * frequency
    tangent = conductivity / (omega * 1e9 * eps * _EPSILON_0_F_PER_M)
    root: NDArray[np.complex128] = np.sqrt(eps) * np.sqrt(1 - 1j * tangent)
    return omega / C_MM_PER_NS * root


def _permittivity(permittivity: ArrayLike) -> Floats:
    eps = _no_faster_than_in_air(permittivity)
    if np.any(np.isinf(eps)):
        raise _metal()
    return eps


def _no_faster_than_in_air(permittivity: ArrayLike) -> Floats:
    eps = _values(permittivity)
    if np.any(eps < 1):
        raise DepthwrightError(
            "A permittivity below 1 would be a wave faster than in air.",
            "Give the permittivity relative to vacuum: concrete is mostly 5 to 12.",
        )
    return eps


def _frequency(frequency_ghz: ArrayLike) -> Floats:
    frequency = _values(frequency_ghz)
    if np.any((frequency <= 0) | np.isinf(frequency)):
        raise DepthwrightError("A wave needs a frequency above zero.", "Give it in gigahertz.")
    return frequency


def _values(given: ArrayLike) -> Floats:
    return np.asarray(given, dtype=np.float64)


def _metal() -> DepthwrightError:
    return DepthwrightError(
        "Metal carries no wave.", "Give a permittivity and a conductivity that are not infinite."
    )
