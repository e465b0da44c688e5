r"""Travel time and depth: the physics, with no data in it.

Symbols: separation :math:`s`, height :math:`h` of the antennas above the surface, depth
:math:`d` to the top of the target, refractive index :math:`n = \sqrt{\varepsilon_r}`. A leg of the shortest
path crosses :math:`a` of horizontal distance, :math:`x = h q` of it in the air with :math:`q` the
tangent of the angle in the air. Snell's law in the concrete gives

.. math:: g(q) = h q + \frac{z q}{\sqrt{n^2 + (n^2 - 1) q^2}} - a = 0 ,

with :math:`z` the depth of the leg's end. It is increasing and concave, so that Newton's method from
:math:`q = 0` climbs to its root without ever passing it. Under the antennas, and over a flat back face,
both legs have :math:`a = s/2`, and for :math:`h = 0` exactly :math:`t = 2 n \sqrt{d^2 + (s/2)^2} / c`.

A bar of radius :math:`R` to the side is met at the point :math:`P` of its outline, at the angle
:math:`\varphi` from its top, that makes the path shortest. With :math:`\theta_1, \theta_2` the
signed angles of the two legs from the vertical, that point is the mirror's:

.. math:: \varphi = -(\theta_1 + \theta_2) / 2 .

By Fermat's principle the bends of the path do not move to first order, so that every derivative is the
explicit one alone.

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
_TOLERANCE_RAD = 1e-9


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
    per_separation, per_height
        Change with the antennas' separation and height, ns/mm.
    """

    time_ns: Floats
    per_mm: Floats
    per_log_permittivity: Floats
    per_separation: Floats
    per_height: Floats


@dataclass(frozen=True)
class BarTime(TravelTime):
    """Two-way time to a bar beside the antennas, with the changes that only a bar has, ns/mm.

    ``per_offset`` is the change with the lateral offset, ``per_radius`` with the bar's radius at the same
    cover. ``leg_mm`` and ``leg_angle_rad`` are the two legs in the concrete, first the one to the antenna
    at the lower position: length and signed angle from the vertical, shape (2, ...).
    """

    per_offset: Floats
    per_radius: Floats
    leg_mm: Floats
    leg_angle_rad: Floats


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
    depth, eps, s, h = _together(depth_mm, permittivity, separation_mm, height_mm)
    _check(eps, s, h)
    n = np.sqrt(eps)
    leg = _leg(s / 2, depth, n, h)
    return TravelTime(
        time_ns=2 * (n * leg.concrete_mm + leg.air_mm) / C_MM_PER_NS,
        per_mm=2 * n * leg.cosine / C_MM_PER_NS,
        per_log_permittivity=n * leg.concrete_mm / C_MM_PER_NS,
        per_separation=n * leg.sine / C_MM_PER_NS,
        per_height=2 * leg.air_cosine / C_MM_PER_NS,
    )


def bar_time(
    offset_mm: ArrayLike,
    cover_mm: ArrayLike,
    radius_mm: ArrayLike,
    permittivity: ArrayLike,
    separation_mm: ArrayLike,
    height_mm: ArrayLike = 0.0,
) -> BarTime:
    """Two-way time to a bar across the line, its axis ``offset_mm`` beside the antennas' midpoint.

    All inputs broadcast. For a bar that crosses the line at an angle, the offset is the distance along
    the line times the angle's sine. Permittivity must be at least 1, the lengths not negative.
    """
    x, cover, radius, eps, s, h = _together(
        offset_mm, cover_mm, radius_mm, permittivity, separation_mm, height_mm
    )
    _check(eps, s, h)
    n = np.sqrt(eps)
    # Nearly where a single antenna midway would meet it.
    phi: Floats = np.arctan2(x, cover + np.maximum(radius, 1e-9))
    for _ in range(_NEWTON_STEPS):
        side, deep = radius * np.sin(phi), cover + radius * (1 - np.cos(phi))
        first, second = _leg(side - (x - s / 2), deep, n, h), _leg(side - (x + s / 2), deep, n, h)
        angles = [np.arctan2(leg.sine, leg.cosine) for leg in (first, second)]
        slope = 1 + sum(
            radius * np.cos(phi + angle) / (2 * np.maximum(leg.concrete_mm + leg.air_mm, 1e-9))
            for angle, leg in zip(angles, (first, second), strict=True)
        )
        step = (phi + sum(angles) / 2) / slope
        phi = phi - step
        if not (np.abs(step) > _TOLERANCE_RAD).any():
            break
    per_offset = -n * (first.sine + second.sine) / C_MM_PER_NS
    down = n * (first.cosine + second.cosine) / C_MM_PER_NS
    in_concrete = n * (first.concrete_mm + second.concrete_mm) / C_MM_PER_NS
    return BarTime(
        time_ns=in_concrete + (first.air_mm + second.air_mm) / C_MM_PER_NS,
        per_mm=down,
        per_log_permittivity=in_concrete / 2,
        per_separation=n * (first.sine - second.sine) / (2 * C_MM_PER_NS),
        per_height=(first.air_cosine + second.air_cosine) / C_MM_PER_NS,
        per_offset=per_offset,
        per_radius=(1 - np.cos(phi)) * down - np.sin(phi) * per_offset,
        leg_mm=np.stack([first.concrete_mm, second.concrete_mm]),
        leg_angle_rad=np.stack(angles),
    )


def depth_mm(
    time_ns: ArrayLike,
    permittivity: ArrayLike,
    separation_mm: ArrayLike,
    height_mm: ArrayLike = 0.0,
) -> Floats:
    """Depth, mm, whose two-way time is ``time_ns``; NaN where the time is too short for any depth."""
    time, eps, s, h = _together(time_ns, permittivity, separation_mm, height_mm)
    _check(eps, s, h)
    n = np.sqrt(eps)
    reach = C_MM_PER_NS * np.where(time >= 0, time, np.nan) / (2 * n)
    with np.errstate(invalid="ignore"):
        # Antennas on the surface: exact.
        depth: Floats = np.sqrt(reach**2 - (s / 2) ** 2)
    if not (h > 0).any():
        return depth
    too_early = time < travel_time(np.zeros_like(time), eps, s, h).time_ns
    # Time against depth is convex: Newton from above comes down without passing the root.
    # Begun where straight ways through the air would leave it, one step brings it there.
    direct = np.maximum(reach - h / n, 0.0)
    depth = np.sqrt(np.maximum(direct**2 - (s / 2) ** 2, (0.1 * reach) ** 2))
    depth = np.where(too_early, np.nan, depth)
    for _ in range(_NEWTON_STEPS):
        at = travel_time(depth, eps, s, h)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = (at.time_ns - time) / at.per_mm
            depth = np.maximum(depth - step, 0.0)
        if not (np.abs(step) > 1e-9).any():
            break
    return depth


def level_cosine(time_slope: float, permittivity: float) -> float:
    """Cosine of a plane back face's dip, from how its two-way time changes along the line, ns/mm.

    Notes
    -----
    Over a plane that dips by b the shortest path is, by the image of one antenna in the plane (Euclid),
    ``cos b`` times that of a level face at the thickness straight below; the time's slope is
    ``2 sin b / v`` far from the antennas. Dips beyond 30 degrees are taken as 30.
    """
    sine = min(abs(time_slope) * C_MM_PER_NS / (2 * float(np.sqrt(permittivity))), 0.5)
    return float(np.sqrt(1 - sine**2))


@dataclass(frozen=True)
class _Leg:
    """One way between an antenna and a point: lengths, mm, and the angles from the vertical."""

    air_mm: Floats
    concrete_mm: Floats
    sine: Floats
    cosine: Floats
    air_cosine: Floats


def _leg(across: Floats, deep: Floats, n: Floats, h: Floats) -> _Leg:
    """The leg to a point ``across`` beside an antenna (signed, mm) and ``deep`` below the surface."""
    distance = np.abs(across)
    in_air = _horizontal_in_air(deep, n, distance, h)
    air = np.hypot(h, in_air)
    concrete = np.hypot(deep, distance - in_air)
    safe = np.maximum(concrete, 1e-12)
    sine = np.sign(across) * (distance - in_air) / safe
    cosine = np.where(concrete > 0, deep / safe, 1.0)
    # On the surface, Snell's law says at which angle a leg would leave; beyond the critical one, grazing.
    leaving = np.sqrt(np.maximum(1 - (n * sine) ** 2, 0.0))
    air_cosine = np.where(h > 0, h / np.maximum(air, 1e-12), leaving)
    return _Leg(air, concrete, sine, cosine, air_cosine)


def _horizontal_in_air(depth: Floats, n: Floats, across: Floats, h: Floats) -> Floats:
    """Horizontal distance of a leg in the air, mm: zero for antennas on the surface."""
    if not (h > 0).any():
        return np.zeros_like(depth)
    square = n**2
    bend, deep = square - 1, depth * square
    safe_h = np.where(h > 0, h, 1.0)
    # Newton's first step, from zero.
    q: Floats = across / (safe_h + depth / n)
    for _ in range(_NEWTON_STEPS):
        root = np.sqrt(square + bend * q**2)
        g = safe_h * q + depth * q / root - across
        q_next = q - g / (safe_h + deep / (root * root * root))
        q = np.maximum(q_next, 0.0)
        if not (np.abs(g) >= _TOLERANCE_MM).any():
            break
    in_air: Floats = np.where(h > 0, safe_h * q, 0.0)
    return in_air


def _together(*values: ArrayLike) -> list[Floats]:
    arrays = [np.asarray(value, dtype=np.float64) for value in values]
    if all(array.shape == arrays[0].shape for array in arrays):
        return arrays
    return list(np.broadcast_arrays(*arrays))


def _check(eps: Floats, s: Floats, h: Floats) -> None:
    if (eps < 1).any():
        raise DepthwrightError(
            "A permittivity below 1 would be a wave faster than in air.",
            "Check the known depths and the antenna separation.",
        )
    if (s < 0).any() or (h < 0).any():
        raise DepthwrightError("An antenna separation or height below zero is not possible.")
