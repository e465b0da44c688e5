"""How far the direct wave's envelope peak is from ``s / c``: the shift that time zero needs.

Two small dipoles just above concrete are in each other's near field, and the surface adds a wave of its
own. The shift is computed from Maxwell's equations and kept in ``direct_wave.json``; this module only
interpolates. Without loss the problem has no scale: the shift in periods depends on lengths in wavelengths
(both at the direct wave's measured centre frequency) and on the permittivity.

The separation enters by the delay it makes between the waves through the concrete and through the air,
``s (sqrt(eps) - 1) / c``: where that is about half a period their sum splits into two maxima, and
the first takes over, in places by a jump. There the table is steep. A cubic in each direction has
its slopes from modified Akima differences (Akima 1970, J. ACM 17, 589), which do not ring beside it.
"""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

from depthwright.constants import C_MM_PER_NS

Floats = NDArray[np.float64]

_POWERS = np.arange(4)
_HERMITE = np.array(
    [[[1, 0], [0, 1], [-3, -2], [2, 1]], [[0, 0], [0, 0], [3, -1], [-2, 1]]], dtype=np.float64
)
"""Cubic that joins values and slopes, by (end of a cell, power of the place in it, value or slope)."""


@dataclass(frozen=True)
class DirectShift:
    """Shift and its derivatives; every array has the broadcast shape of the inputs.

    Parameters
    ----------
    time_ns
        Envelope peak of the direct wave less that of an echo of no travelled distance, less ``s / c``.
    per_separation, per_height
        Change with the antennas' separation and height, ns/mm.
    per_log_permittivity
        Change with the natural logarithm of the permittivity, ns.
    """

    time_ns: Floats
    per_separation: Floats
    per_height: Floats
    per_log_permittivity: Floats


def direct_shift(
    separation_mm: ArrayLike,
    height_mm: ArrayLike,
    permittivity: ArrayLike,
    centre_frequency_ghz: ArrayLike,
) -> DirectShift:
    """Shift of the direct wave's envelope peak; all inputs broadcast.

    Beyond the table's edge it stays as on the edge.

    Parameters
    ----------
    separation_mm, height_mm
        Antennas' separation and height above the concrete, mm.
    permittivity
        Relative permittivity of the concrete near the surface.
    centre_frequency_ghz
        Centre frequency measured on the direct wave, GHz.
    """
    s, h, eps, f = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=np.float64)
            for value in (separation_mm, height_mm, permittivity, centre_frequency_ghz)
        )
    )
    table = _table()
    low, high = np.exp(table.axes[2][[0, -1]])
    inside = (eps >= low) & (eps <= high)
    index = np.sqrt(np.clip(eps, low, high))
    per_mm = f / C_MM_PER_NS
    places = s * per_mm * (index - 1), h * per_mm, 2 * np.log(index)
    periods, per_delay, per_height, per_log = _interpolate(table, *places)
    return DirectShift(
        time_ns=periods / f,
        per_separation=per_delay * (index - 1) / C_MM_PER_NS,
        per_height=per_height / C_MM_PER_NS,
        per_log_permittivity=inside * (per_log + per_delay * s * per_mm * index / 2) / f,
    )


@dataclass(frozen=True)
class _Table:
    """Shift in periods against delay (periods), height (wavelengths) and ln eps.

    ``cells`` holds a polynomial of the place in each cell (0 to 1) along each axis, shape
    (delays - 1, heights - 1, permittivities - 1, power, power, power).
    """

    axes: tuple[Floats, Floats, Floats]
    cells: Floats


def _interpolate(table: _Table, delay: Floats, height: Floats, log: Floats) -> tuple[Floats, ...]:
    """Shift in periods and its slopes along the three axes, each of the places' shape."""
    (i, x, dx), (j, y, dy), (k, z, dz) = (
        _powers(axis, place) for axis, place in zip(table.axes, (delay, height, log), strict=True)
    )
    cell = table.cells[i, j, k]
    here, by_log = (np.einsum("...abc,...c->...ab", cell, power) for power in (z, dz))
    line, by_height = (np.einsum("...ab,...b->...a", here, power) for power in (y, dy))
    return (
        np.einsum("...a,...a->...", line, x),
        np.einsum("...a,...a->...", line, dx),
        np.einsum("...a,...a->...", by_height, x),
        np.einsum("...ab,...b,...a->...", by_log, y, x),
    )


def _powers(axis: Floats, place: Floats) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Cell of each place, powers of the place in it, and their slopes (zero beyond the edge)."""
    cell = np.clip(np.searchsorted(axis, place, side="right") - 1, 0, len(axis) - 2)
    width = axis[cell + 1] - axis[cell]
    along = np.clip((place - axis[cell]) / width, 0, 1)[..., None]
    powers = along**_POWERS
    inside = (place >= axis[0]) & (place <= axis[-1])
    slopes = np.zeros_like(powers)
    slopes[..., 1:] = powers[..., :-1] * _POWERS[1:] * (inside / width)[..., None]
    return cell, powers, slopes


@cache
def _table() -> _Table:
    from scipy.interpolate import (
        Akima1DInterpolator,  # slow to read, and not every antenna asks for it
    )

    text = resources.files(__package__).joinpath("direct_wave.json").read_text(encoding="utf-8")
    content = json.loads(text)
    axes = (
        np.array(content["delay_periods"]),
        np.array(content["height_wavelengths"]),
        np.log(content["permittivity"]),
    )
    nodes = np.array(content["shift_periods"])
    for number, axis in enumerate(axes):
        line = Akima1DInterpolator(axis, nodes, axis=number, method="makima")
        nodes = np.stack([nodes, line(axis, nu=1)], axis=-1)
    for number, axis in enumerate(axes):
        nodes = _joined(nodes, axis, number)
    return _Table(axes, nodes)


def _joined(nodes: Floats, axis: Floats, number: int) -> Floats:
    """Cubics between neighbouring nodes along one axis: the kinds (value, slope) become powers."""
    front = np.moveaxis(nodes, (number, number + 3), (-2, -1))
    width = np.diff(axis)[:, None]
    kinds = np.concatenate([np.ones_like(width), width], axis=1)
    ends = np.stack([front[..., :-1, :], front[..., 1:, :]]) * kinds
    joined = np.einsum("e...nk,epk->...np", ends, _HERMITE)
    return np.moveaxis(joined, (-2, -1), (number, number + 3))
