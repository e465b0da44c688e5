"""One bar's hyperbola read out of a stretch, so that what it covers comes to light."""

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.finding.stacking import Grid, Moveout, Waves

Floats = NDArray[np.float64]

TAIL_MM = 250.0
"""How far to each side of an apex a hyperbola is taken away."""
HALF_PERIODS = 1.25
"""Half of the stretch of time that is taken away with it; its outer fifth fades out."""
ALIKE_MM = 15.0
"""Standard deviation along the line over which an echo is taken for one and the same: its strength and
shape may change more slowly, and what crosses it at an angle averages out."""


@dataclass(frozen=True)
class Peel:
    """What a hyperbola holds: ``wave``, shape (rows, columns), from ``first_column`` on."""

    first_column: int
    wave: Waves

    def columns(self) -> slice:
        """The columns it lies in."""
        return slice(self.first_column, self.first_column + self.wave.shape[1])


def peel(waves: Waves, grid: Grid, moveout: Moveout, trial: int, row: float, column: float) -> Peel:
    """The hyperbola through an apex, as the stretch holds it.

    Parameters
    ----------
    waves
        The stretch, shape (rows, columns).
    grid, moveout, trial
        Its grid, and the moveout of the permittivity to follow.
    row, column
        The apex, between rows and columns.
    """
    rows, columns = waves.shape
    steps = moveout.rows.shape[-1] - 1
    first, last = max(0, round(column) - steps), min(columns, round(column) + steps + 1)
    away = np.abs(np.arange(first, last) - column)
    late = np.interp(away, np.arange(steps + 1), _at(moveout.rows[trial], row))
    turn = np.exp(1j * grid.carrier * grid.row_ns * late)
    half = max(2, round(HALF_PERIODS * grid.period_ns / grid.row_ns))
    part = waves[:, first:last]
    aligned = _read(part, row + late + np.arange(-half, half + 1)[:, None]) * turn
    living = (np.abs(part).max(axis=0) > 0).astype(np.float64)
    sigma = ALIKE_MM / grid.column_mm
    smooth = [
        scipy.ndimage.gaussian_filter1d(values, sigma, axis=-1, mode="constant")
        for values in (aligned.real, aligned.imag, np.broadcast_to(living, aligned.shape))
    ]
    echo = (smooth[0] + 1j * smooth[1]) / np.maximum(smooth[2], 1e-6)
    echo *= np.clip(5 * (1 - np.abs(np.arange(-half, half + 1)) / (half + 1)), 0, 1)[:, None]
    echo = np.pad(echo, ((1, 1), (0, 0)))
    place = np.arange(rows)[:, None] - row - late + half + 1
    wave = np.where((place > 0) & (place < len(echo) - 1), _read(echo, place), 0.0)
    return Peel(first, (wave * np.conj(turn) * (living > 0)).astype(np.complex64))


def _at(values: Floats, row: float) -> Floats:
    """Values at a place between rows, shape as one row of them."""
    low = int(np.clip(row, 0, len(values) - 2))
    share = float(np.clip(row - low, 0.0, 1.0))
    mixed: Floats = values[low] * (1 - share) + values[low + 1] * share
    return mixed


def _read(waves: NDArray[np.complexfloating], place: Floats) -> NDArray[np.complex128]:
    """Values of each column at places between rows, shape as the places; zero beyond the rows."""
    inside = (place >= 0) & (place < len(waves) - 1)
    at = np.where(inside, place, 0.0)
    low = at.astype(np.intp)
    share = at - low
    column = np.arange(waves.shape[1])
    value = waves[low, column] * (1 - share) + waves[low + 1, column] * share
    read: NDArray[np.complex128] = np.where(inside, value, 0.0)
    return read
