"""The grid that a line is searched on: waves by row (time) and column (place), and what is flat in them."""

import math
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray
from scipy.sparse import csr_array

from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import alive

Values = NDArray[np.float32]
Waves = NDArray[np.complex64]

COLUMN_MM = 5.0
"""Distance of the columns that traces are gathered into, where they lie closer."""
ROWS_PER_PERIOD = 8.0
FLAT_MM = 60.0
"""Half the stretch over which an echo is flat."""


@dataclass(frozen=True)
class Grid:
    """Where the rows and columns of a line lie.

    Rows follow one another every ``row_ns``, the first at file time 0, each the ``thinned``-th sample;
    columns every ``column_mm``. ``carrier`` is the angular frequency, 1/ns, that is taken out of the waves.
    """

    row_ns: float
    thinned: int
    column_mm: float
    carrier: float
    period_ns: float


def grid_of(stage: PickStage) -> Grid:
    """The grid that a line is searched on."""
    scan, period = stage.scan, stage.period_ns
    thinned = max(1, int(period / (ROWS_PER_PERIOD * scan.dt_ns)))
    spacing = scan.trace_spacing_mm
    return Grid(
        row_ns=thinned * scan.dt_ns,
        thinned=thinned,
        column_mm=spacing * max(1, round(COLUMN_MM / spacing)),
        carrier=2 * math.pi / period,
        period_ns=period,
    )


def columns_of(positions_mm: NDArray[np.float64], grid: Grid) -> NDArray[np.intp]:
    """The column that each trace is gathered into, shape (traces,); the first column is the first trace's."""
    away = np.abs(positions_mm - positions_mm[0]) / grid.column_mm
    column: NDArray[np.intp] = np.floor(away + 0.5).astype(np.intp)
    return column


def waves_of(signal: Waves, positions_mm: NDArray[np.float64], grid: Grid) -> Waves:
    """Traces of the pick stage on the grid, shape (rows, columns); zero where nothing was recorded.

    Parameters
    ----------
    signal
        Their analytic signal, shape (traces, samples).
    positions_mm
        Where they were recorded, shape (traces,); the first column is the first trace's.
    """
    column = columns_of(positions_mm, grid)
    living = alive(signal.real)
    signal = signal[:, :: grid.thinned]
    share = living / np.maximum(np.bincount(column, living), 1)[column]
    shape = int(column[-1]) + 1, len(signal)
    gather = csr_array((share.astype(np.float32), (column, np.arange(len(signal)))), shape=shape)
    turn = np.exp(-1j * grid.carrier * grid.row_ns * np.arange(signal.shape[1]))
    waves: Waves = np.ascontiguousarray((gather @ (signal * turn.astype(np.complex64))).T)
    return waves


def signal_of(waves: Waves, grid: Grid, samples: int) -> Waves:
    """Analytic signal that holds waves of the grid, shape (columns, samples): what :func:`waves_of` reads."""
    place = np.arange(samples) / grid.thinned
    low = np.clip(place.astype(np.intp), 0, len(waves) - 2)
    share = np.clip(place - low, 0.0, 1.0).astype(np.float32)[:, None]
    turn = np.exp(1j * grid.carrier * grid.row_ns * place).astype(np.complex64)[:, None]
    signal: Waves = np.ascontiguousarray(
        ((waves[low] * (1 - share) + waves[low + 1] * share) * turn).T
    )
    return signal


def flat_echoes(waves: Waves, grid: Grid) -> Waves:
    """A stretch averaged along the line, so that only what is flat is left, shape (rows, columns)."""
    size = 2 * round(FLAT_MM / grid.column_mm) + 1
    flat = np.empty_like(waves)
    flat.real, flat.imag = (
        scipy.ndimage.uniform_filter1d(values, size, axis=1, mode="constant")
        for values in (waves.real, waves.imag)
    )
    return flat
