"""How the surface delays a bar's echo: the computed table, read between its points.

Rays fail beyond the critical angle, where the antennas' near field crosses the surface. The table was
computed from the exact field (``simulate/transmitted.py`` is the kept program); delays are against the
straight path from a point on the surface.
"""

import json
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

import numpy as np
import scipy.ndimage
from numpy.typing import ArrayLike, NDArray

from depthwright.constants import C_MM_PER_NS

Floats = NDArray[np.float64]

_HEIGHT, _FEW_HEIGHTS = 2, 3


@dataclass(frozen=True)
class _Table:
    """Spline coefficients over uniform axes: ln length, angle, ln height, ln permittivity."""

    starts: Floats
    steps: Floats
    coefficients: Floats


@cache
def _table() -> _Table:
    text = resources.files("depthwright.depth").joinpath("leg_delay.json").read_text("utf-8")
    held = json.loads(text)
    axes = [
        np.log(held["lengths"]),
        np.array(held["angles_rad"]),
        np.log(held["heights"]),
        np.log(held["permittivities"]),
    ]
    return _Table(
        starts=np.array([axis[0] for axis in axes]),
        steps=np.array([axis[1] - axis[0] for axis in axes]),
        coefficients=scipy.ndimage.spline_filter(
            np.array(held["delay"]), order=3, mode="nearest", output=np.float64
        ),
    )


def leg_delay_ns(
    length_mm: ArrayLike,
    angle_rad: ArrayLike,
    height_mm: ArrayLike,
    permittivity: ArrayLike,
    frequency_ghz: ArrayLike,
) -> Floats:
    """Delay of one leg against its straight path in the concrete, ns; the inputs broadcast.

    Parameters
    ----------
    length_mm, angle_rad
        Length of the straight leg and its angle from the vertical (its sign does not matter).
    height_mm
        Height of the antennas above the surface.
    permittivity
        Of the concrete.
    frequency_ghz
        Peak frequency of the pulse in the far field.

    Notes
    -----
    Beyond the table (a quarter to six wavelengths, 75 degrees, permittivity 3 to 18) the delay is that of
    its edge.
    """
    length, angle, height, eps, frequency = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=np.float64)
            for value in (length_mm, angle_rad, height_mm, permittivity, frequency_ghz)
        )
    )
    table = _table()
    wavelengths = np.maximum(length * np.sqrt(eps) * frequency / C_MM_PER_NS, 1e-6)
    heights = np.maximum(height * frequency / C_MM_PER_NS, 1e-6)
    place = np.stack([np.log(wavelengths), np.abs(angle), np.log(heights), np.log(eps)])
    index = (place.reshape(4, -1) - table.starts[:, None]) / table.steps[:, None]
    delay: Floats = _read(index).reshape(angle.shape) / frequency
    return delay


def _read(index: Floats) -> Floats:
    """The table at places between its points, shape (axes, places)."""
    height = index[_HEIGHT]
    levels = np.unique(height)
    if len(levels) > _FEW_HEIGHTS:
        return _spline(_table().coefficients, index)
    # A quarter of the work: the antennas are mostly equally high.
    others = np.delete(index, _HEIGHT, axis=0)
    value = np.empty(len(height))
    for level in levels.tolist():
        here = height == level
        value[here] = _spline(_at_height(level), others[:, here])
    return value


@lru_cache(maxsize=8)
def _at_height(place: float) -> Floats:
    """The coefficients over the other axes for one height."""
    coefficients = _table().coefficients
    points = np.eye(coefficients.shape[_HEIGHT])
    weights = [_spline(point, np.array([[place]]))[0] for point in points]
    level: Floats = np.tensordot(coefficients, weights, (_HEIGHT, 0))
    return level


def _spline(coefficients: Floats, index: Floats) -> Floats:
    value: Floats = scipy.ndimage.map_coordinates(
        coefficients, index, order=3, mode="nearest", prefilter=False
    )
    return value
