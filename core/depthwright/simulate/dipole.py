r"""The exact direct wave of two small dipoles over a half-space, in the frequency domain.

Both dipoles point along :math:`y` and stand side by side (broadside) in air, :math:`s` apart at the
height :math:`h` above lossless concrete of refractive index :math:`n = \sqrt{\varepsilon_r}`. Time goes as
:math:`e^{j\omega t}`; fields are divided by :math:`-j \omega \mu_0 I l / 4 \pi`, so that in free space far
away :math:`G = e^{-jks} / s`: the received waveform, the derivative of the current, delayed.

.. math::

    G_\mathrm{free}(R) &= \frac{e^{-jkR}}{R} \left(1 + \frac{1}{jkR} - \frac{1}{(kR)^2}\right), \\
    G_\mathrm{reflected} &= -jk \int_0^\infty \left[\frac{u r_E}{\gamma} J_0(uks)
        + \left(\gamma r_M - \frac{r_E}{\gamma}\right) \frac{J_1(uks)}{ks}\right]
        e^{-2jkh\gamma}\,du ,

with :math:`\gamma = \sqrt{1 - u^2}`, :math:`\gamma_1 = \sqrt{\varepsilon_r - u^2}` and the reflection
coefficients of the tangential field :math:`r_E = (\gamma - \gamma_1) / (\gamma + \gamma_1)`,
:math:`r_M = (\gamma_1 - \varepsilon_r \gamma) / (\gamma_1 + \varepsilon_r \gamma)`.

With :math:`2J = H^{(1)} + H^{(2)}` the integral runs over the whole axis with :math:`H^{(2)}` alone, which
dies out downwards: the path is bent down around the branch cuts that hang from :math:`u = 1` (the wave in
the air) and :math:`u = n` (the wave in the concrete). There every integrand decays as
:math:`e^{-tks}`, on the surface (:math:`h = 0`) as well, and nothing has to be taken out first.

Sources: the dipole's field, Balanis, *Antenna Theory*, sec. 4.2; the spectral integral of Sommerfeld as in
Chew, *Waves and Fields in Inhomogeneous Media*, sec. 2.3 (both from memory); compared with an independent
layered-earth program in the tests.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import hankel2e

from depthwright.constants import C_MM_PER_NS
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]
Spectrum = NDArray[np.complex128]

_STEP = 0.1
"""Step of the double-exponential rule along a cut: five digits for h = s, eight for h = s/2."""
_DECAYED = 40.0
"""Where :math:`e^{-tks}` has died out."""


def free_space(frequency_ghz: Floats, distance_mm: float) -> Spectrum:
    """Field beside a dipole alone, 1/mm, shape as the frequencies (all above zero)."""
    wavenumber = 2 * np.pi * frequency_ghz / C_MM_PER_NS
    reach = 1j * wavenumber * distance_mm
    field: Spectrum = np.exp(-reach) / distance_mm * (1 + 1 / reach + 1 / reach**2)
    return field


def reflected(
    frequency_ghz: Floats, separation_mm: float, height_mm: float, permittivity: float
) -> Spectrum:
    """What the half-space adds to that field, 1/mm, shape as the frequencies.

    Parameters
    ----------
    frequency_ghz
        Frequencies above zero, GHz, shape (frequencies,).
    separation_mm, height_mm
        Distance between the dipoles, above zero, and their height over the surface, at most that
        distance, mm.
    permittivity
        Relative permittivity of the half-space, at least 1.
    """
    _check(separation_mm, height_mm, permittivity)
    if permittivity == 1:
        return np.zeros(len(frequency_ghz), dtype=np.complex128)
    wavenumber = 2 * np.pi * frequency_ghz[:, None] / C_MM_PER_NS
    distance, height = wavenumber * separation_mm, wavenumber * height_mm
    along, weights = _cut_rule(_DECAYED / float(distance.min()))

    down = (1 - 1j * along).astype(np.complex128)
    air, concrete = np.sqrt(1 - down**2), np.sqrt(permittivity - down**2)
    left, right = (_waves(sign * air, concrete, permittivity) for sign in (1, -1))
    total = _around_cut(down, left, right, distance, height) @ weights

    down = (np.sqrt(permittivity) - 1j * along).astype(np.complex128)
    # Beyond u = 1 waves in the air die out with height.
    air, concrete = -1j * np.sqrt(down**2 - 1), np.sqrt(permittivity - down**2)
    left, right = (_waves(air, sign * concrete, permittivity) for sign in (1, -1))
    total = total + _around_cut(down, left, right, distance, height) @ weights
    # -jk, half of the whole axis, du = -j dt.
    field: Spectrum = -0.5 * wavenumber[:, 0] * total
    return field


def direct_wave(
    frequency_ghz: Floats, separation_mm: float, height_mm: float, permittivity: float
) -> Spectrum:
    """Field at the receiving dipole, 1/mm, shape as the frequencies; parameters as :func:`reflected`."""
    added = reflected(frequency_ghz, separation_mm, height_mm, permittivity)
    return free_space(frequency_ghz, separation_mm) + added


@dataclass(frozen=True)
class _Waves:
    """Plane waves on one side of a cut: vertical wavenumber and reflection, shape (nodes,)."""

    vertical: Spectrum
    electric: Spectrum
    magnetic: Spectrum


def _waves(air: Spectrum, concrete: Spectrum, permittivity: float) -> _Waves:
    dense = permittivity * air
    return _Waves(
        vertical=air,
        electric=(air - concrete) / (air + concrete),
        magnetic=(concrete - dense) / (concrete + dense),
    )


def _around_cut(
    down: Spectrum, left: _Waves, right: _Waves, distance: Floats, height: Floats
) -> Spectrum:
    """Integrand right of a cut less that left of it, shape (frequencies, nodes)."""
    reach = down * distance
    outgoing = np.exp(-1j * reach)
    order_0 = hankel2e(0, reach) * outgoing * down
    order_1 = hankel2e(1, reach) * outgoing / distance
    sides = [
        (
            (order_0 - order_1) * (waves.electric / waves.vertical)
            + order_1 * (waves.vertical * waves.magnetic)
        )
        * np.exp(-2j * height * waves.vertical)
        for waves in (left, right)
    ]
    difference: Spectrum = sides[1] - sides[0]
    return difference


def _cut_rule(longest: float) -> tuple[Floats, Floats]:
    """Nodes and weights on (0, longest): the double-exponential rule for decaying integrands.

    Takahasi and Mori (1974, Publ. RIMS 9, 721), from memory: ``t = exp(x - exp(-x))``.
    """
    place = np.arange(-3.6, np.log(longest) + _STEP, _STEP)
    nodes: Floats = np.exp(place - np.exp(-place))
    return nodes, _STEP * nodes * (1 + np.exp(-place))


def _check(separation_mm: float, height_mm: float, permittivity: float) -> None:
    if not 0 <= height_mm <= separation_mm or separation_mm == 0:
        raise DepthwrightError(
            f"The direct wave at a height of {height_mm:g} mm and a separation of "
            f"{separation_mm:g} mm is not computed.",
            "Give a height from zero up to the separation.",
        )
    if not permittivity >= 1:
        raise DepthwrightError(
            f"A permittivity of {permittivity:g} would be a wave faster than in air.",
            "Give one of at least 1.",
        )
