r"""Kept program: how the surface delays a bar's echo, computed from the exact field of a line current.

Beyond the critical angle no ray leaves an antenna in the air for the concrete; what crosses there is the
antenna's near field, and close to the critical angle the wave along the surface runs ahead. A ray therefore
tells the moveout of a shallow bar wrongly by up to 200 ps. The field itself does not: a line current along
the bar, :math:`h` above a half-space of index :math:`n`, makes at the point :math:`(x, z)` of the concrete

.. math:: G = \int_0^\infty \frac{2 e^{-u_0 h - u_1 z}}{u_0 + u_1} \cos(k_x x)\, dk_x ,
    \quad u_i = \sqrt{k_x^2 - k_i^2} ,

(spectral integral with the TE transmission coefficient; Chew, *Waves and Fields in Inhomogeneous Media*,
ch. 2, from memory). By reciprocity the echo of a bar has the spectrum of the pulse times one such factor for
each leg. Tabulated is, for two equal legs, the envelope's delay against the straight path from a point on
the surface, one half for each leg; without loss it depends only on the leg's length and the height in
wavelengths, the angle and the permittivity.

Run ``python -m depthwright.simulate.transmitted`` to write the table that ships (about two minutes).
"""

import json
from importlib import resources
from pathlib import Path

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from depthwright.constants import C_MM_PER_NS
from depthwright.processing.envelope import refine_peak

Floats = NDArray[np.float64]

LENGTHS = np.geomspace(0.25, 6.0, 13)
"""Length of a leg, in wavelengths of the concrete."""
ANGLES_RAD = np.radians(np.linspace(0.0, 75.0, 11))
HEIGHTS = np.geomspace(0.002, 0.08, 6)
"""Height of the antennas, in wavelengths of the air."""
PERMITTIVITIES = np.geomspace(3.0, 18.0, 5)

_NODES = 400
_BEND = 1.3
_WINDOW_PERIODS = 40.0
_SAMPLES = 4096
_BAND = 3.2
"""Highest frequency computed, in peak frequencies of the pulse."""


def line_field(
    omega: Floats, across_mm: float, deep_mm: float, index: float, height_mm: float
) -> NDArray[np.complex128]:
    """The transmitted field at angular frequencies, rad/ns, shape (frequencies,), to a constant factor.

    The path of integration passes above the branch points, for a time dependence exp(j omega t).
    """
    k0 = (omega / C_MM_PER_NS)[:, None]
    k1 = index * k0
    root, weight = np.polynomial.legendre.leggauss(_NODES)
    part, weight = (root + 1) / 2, weight / 2
    height = np.minimum(0.2, 2.0 / (max(abs(across_mm), 1e-6) * k1))
    bent = k1 * (_BEND * part + 1j * height * np.sin(np.pi * part))
    pace = k1 * (_BEND + 1j * height * np.pi * np.cos(np.pi * part))
    rest = 30.0 / (deep_mm + height_mm)
    straight = _BEND * k1 + rest * part
    total = np.zeros(len(omega), dtype=np.complex128)
    for wavenumber, speed in ((bent, pace), (straight, rest)):
        above = np.sqrt(wavenumber**2 - k0**2 + 0j)
        below = np.sqrt(wavenumber**2 - k1**2 + 0j)
        field = 2 * np.exp(-above * height_mm - below * deep_mm) / (above + below)
        total += (field * np.cos(wavenumber * across_mm) * speed * weight).sum(axis=1)
    return total


def echo_time_ns(
    across_mm: tuple[float, float],
    deep_mm: float,
    permittivity: float,
    height_mm: float,
    frequency_ghz: float,
) -> float:
    """Envelope maximum of a thin bar's echo, ns, for antennas ``across_mm`` to its sides.

    The pulse is a Ricker wavelet whose peak frequency is that of the far field.
    """
    window = _WINDOW_PERIODS / frequency_ghz
    omega: Floats = 2 * np.pi / window * np.arange(1.0, int(_BAND * _WINDOW_PERIODS))
    index = float(np.sqrt(permittivity))
    legs = [line_field(omega, across, deep_mm, index, height_mm) for across in across_mm]
    relative = omega / (2 * np.pi * frequency_ghz)
    # Each two-dimensional factor falls off as 1/sqrt(j omega): together the pulse is kept.
    spectrum = relative**2 * np.exp(-(relative**2)) * 1j * omega * legs[0] * legs[1]
    full = np.zeros(_SAMPLES // 2 + 1, dtype=np.complex128)
    full[1 : 1 + len(spectrum)] = spectrum
    around = np.abs(scipy.signal.hilbert(np.fft.irfft(full, _SAMPLES)))[None, :]
    return float(refine_peak(around, around.argmax(axis=1))[0]) * window / _SAMPLES


def leg_delay(length: float, angle_rad: float, height: float, permittivity: float) -> float:
    """Delay of one leg in periods, for lengths in wavelengths (see the module)."""
    length_mm = length * C_MM_PER_NS / np.sqrt(permittivity)
    across, deep = length_mm * np.sin(angle_rad), length_mm * np.cos(angle_rad)
    time = echo_time_ns((across, across), deep, permittivity, height * C_MM_PER_NS, 1.0)
    return time / 2 - length


def main() -> None:
    """Write the table beside the module that reads it."""
    values = [
        [
            [[round(leg_delay(a, b, c, d), 5) for d in PERMITTIVITIES] for c in HEIGHTS]
            for b in ANGLES_RAD
        ]
        for a in LENGTHS
    ]
    table = {
        "what": "delay of one leg of a bar's echo by the surface, in periods of the pulse",
        "how": "python -m depthwright.simulate.transmitted",
        "axes": ["length / wavelength in concrete", "angle, rad", "height / wavelength in air",
                 "relative permittivity"],
        "lengths": [round(float(v), 6) for v in LENGTHS],
        "angles_rad": [round(float(v), 6) for v in ANGLES_RAD],
        "heights": [round(float(v), 6) for v in HEIGHTS],
        "permittivities": [round(float(v), 6) for v in PERMITTIVITIES],
        "delay": values,
    }  # fmt: skip
    path = Path(str(resources.files("depthwright"))) / "depth" / "leg_delay.json"
    path.write_text(json.dumps(table, separators=(",", ":")) + "\n", "utf-8")


if __name__ == "__main__":
    main()
