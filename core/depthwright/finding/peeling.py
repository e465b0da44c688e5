"""One bar's hyperbola read out of a stretch, so that what it covers comes to light."""

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.finding.grid import Grid, Waves
from depthwright.finding.stacking import Moveout

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
    late = np.interp(away, np.arange(steps + 1), at_row(moveout.rows[trial], row))
    turn = np.exp(1j * grid.carrier * grid.row_ns * late).astype(np.complex64)
    half = max(2, round(HALF_PERIODS * grid.period_ns / grid.row_ns))
    pulse = np.arange(-half, half + 1)[:, None]
    part = waves[:, first:last]
    aligned = read(part, row + late + pulse, np.arange(last - first)) * turn
    living = part.any(axis=0).astype(np.float32)
    sigma = ALIKE_MM / grid.column_mm
    smooth = [
        scipy.ndimage.gaussian_filter1d(values, sigma, axis=-1, mode="constant")
        for values in (aligned.real, aligned.imag, living)
    ]
    fade = np.clip(5 * (1 - np.abs(pulse) / (half + 1)), 0, 1).astype(np.float32) * living
    echo = (smooth[0] + 1j * smooth[1]) * (fade / np.maximum(smooth[2], 1e-6)) * np.conj(turn)
    # Back from the pulse's own rows to those of the stretch.
    echo = np.pad(echo, ((1, 1), (0, 0)))
    whole = np.floor(row + late).astype(np.intp)
    target = whole + np.arange(-half, half + 2)[:, None]
    column_of = np.arange(last - first)
    value = read(echo, target - row - late + half + 1, column_of)
    inside = (target >= 0) & (target < rows)
    wave = np.zeros((rows, last - first), np.complex64)
    wave[target[inside], np.broadcast_to(column_of, target.shape)[inside]] = value[inside]
    return Peel(first, wave)


def at_row(values: Floats, row: float) -> Floats:
    """Values at a place between rows, which are the axis before the last."""
    low = int(np.clip(row, 0, values.shape[-2] - 2))
    share = float(np.clip(row - low, 0.0, 1.0))
    mixed: Floats = values[..., low, :] * (1 - share) + values[..., low + 1, :] * share
    return mixed


def read(waves: Waves, place: Floats, column: NDArray[np.intp]) -> Waves:
    """Waves at places between rows, zero beyond them; places and columns broadcast."""
    inside = (place >= 0) & (place < len(waves) - 1)
    at = np.where(inside, place, 0.0)
    low = at.astype(np.intp)
    share = (at - low).astype(np.float32)
    # One index into flat waves costs half of two.
    flat = waves.reshape(-1)
    low = low * waves.shape[1] + column
    value: Waves = flat[low] * (inside * (1 - share)) + flat[low + waves.shape[1]] * (
        inside * share
    )
    return value
