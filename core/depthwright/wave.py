r"""Travel time and depth: the physics, with no data in it.

Symbols: separation :math:`s`, height :math:`h` of the antennas above the surface, depth
:math:`d` to the top of the target, refractive index :math:`n = \sqrt{\varepsilon_r}`. Each of the two
legs of the shortest path crosses :math:`a = s/2` of horizontal distance, :math:`x = h q` of it in the air
with :math:`q` the tangent of the angle in the air. Snell's law in the concrete gives

.. math:: g(q) = h q + \frac{d q}{\sqrt{n^2 + (n^2 - 1) q^2}} - a = 0 ,

which is increasing and concave, so that Newton's method from :math:`q = 0` climbs to its root without
ever passing it. For :math:`h = 0`, exactly :math:`t = 2 n \sqrt{d^2 + a^2} / c`.

Sources: Fermat's principle and Snell's law; v = c / sqrt(eps_r) for a low-loss medium (Balanis,
*Advanced Engineering Electromagnetics*, sec. 4.3, from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from depthwright.constants import C_MM_PER_NS
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]

_NEWTON_STEPS = 60
_TOLERANCE_MM = 1e-10


@dataclass(frozen=True)
class TravelTime:
    """Two-way time, ns, and its derivatives; every array has the broadcast shape of the inputs.

    Parameters
    ----------
    time_ns
        Two-way time.
    per_mm
        Change with depth, ns/mm.
    per_log_permittivity
        Change with the natural logarithm of the permittivity, ns.
    """

    time_ns: Floats
    per_mm: Floats
    per_log_permittivity: Floats


def velocity_mm_per_ns(permittivity: float) -> float:
    """Wave velocity c / sqrt(eps_r), mm/ns."""
    return C_MM_PER_NS / float(np.sqrt(permittivity))


def travel_time(
    depth_mm: ArrayLike,
    permittivity: ArrayLike,
    separation_mm: ArrayLike,
    height_mm: ArrayLike = 0.0,
) -> TravelTime:
    """Two-way time to a bar's top under the antennas, or to a flat back face, with derivatives.

    All inputs broadcast. Permittivity must be at least 1, the lengths not negative.
    """
    depth, eps, s, h = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=np.float64)
            for value in (depth_mm, permittivity, separation_mm, height_mm)
        )
    )
    _check(eps, s, h)
    n = np.sqrt(eps)
    half = s / 2
    in_air = _horizontal_in_air(depth, n, half, h)
    air_leg = np.hypot(h, in_air)
    concrete_leg = np.hypot(depth, half - in_air)
    cosine = np.divide(depth, concrete_leg, out=np.ones_like(depth), where=concrete_leg > 0)
    in_concrete = 2 * n * concrete_leg / C_MM_PER_NS
    return TravelTime(
        time_ns=in_concrete + 2 * air_leg / C_MM_PER_NS,
        # Fermat: the crossing point does not move to first order, so only the leg itself changes.
        per_mm=2 * n * cosine / C_MM_PER_NS,
        per_log_permittivity=in_concrete / 2,
    )


def depth_mm(
    time_ns: ArrayLike,
    permittivity: ArrayLike,
    separation_mm: ArrayLike,
    height_mm: ArrayLike = 0.0,
) -> Floats:
    """Depth, mm, whose two-way time is ``time_ns``; NaN where the time is too short for any depth."""
    time, eps, s, h = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=np.float64)
            for value in (time_ns, permittivity, separation_mm, height_mm)
        )
    )
    _check(eps, s, h)
    n = np.sqrt(eps)
    reach = C_MM_PER_NS * np.where(time >= 0, time, np.nan) / (2 * n)
    with np.errstate(invalid="ignore"):
        # Antennas on the surface: exact.
        depth: Floats = np.sqrt(reach**2 - (s / 2) ** 2)
    if not np.any(h > 0):
        return depth
    too_early = time < travel_time(np.zeros_like(time), eps, s, h).time_ns
    # Time against depth is convex: Newton from above comes down without passing the root.
    depth = np.where(too_early, np.nan, reach)
    for _ in range(_NEWTON_STEPS):
        at = travel_time(depth, eps, s, h)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = (at.time_ns - time) / at.per_mm
            depth = np.maximum(depth - step, 0.0)
        if not np.any(np.abs(step) > 1e-9):
            break
    return depth


def _horizontal_in_air(depth: Floats, n: Floats, half: Floats, h: Floats) -> Floats:
    """Horizontal distance of each leg in the air, mm: zero for antennas on the surface."""
    if not np.any(h > 0):
        return np.zeros_like(depth)
    q: Floats = np.zeros_like(depth)
    bend = n**2 - 1
    safe_h = np.where(h > 0, h, 1.0)
    for _ in range(_NEWTON_STEPS):
        root = np.sqrt(n**2 + bend * q**2)
        g = safe_h * q + depth * q / root - half
        q_next = q - g / (safe_h + depth * n**2 / root**3)
        done = np.all(np.isnan(g) | (np.abs(g) < _TOLERANCE_MM))
        q = np.maximum(q_next, 0.0)
        if done:
            break
    in_air: Floats = np.where(h > 0, safe_h * q, 0.0)
    return in_air


def _check(eps: Floats, s: Floats, h: Floats) -> None:
    if np.any(eps < 1):
        raise DepthwrightError(
            "A permittivity below 1 would be a wave faster than in air.",
            "Check the known depths and the antenna separation.",
        )
    if np.any(s < 0) or np.any(h < 0):
        raise DepthwrightError("An antenna separation or height below zero is not possible.")
