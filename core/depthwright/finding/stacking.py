r"""Echoes stacked along the hyperbolas that bars would draw.

The traces :math:`a_j` (analytic signals) are summed along the moveout :math:`m_j` of a bar at each place of
the line, each time and some permittivities,

.. math:: s = \sum_j w_j a_j(t + m_j) \Big/ \sum_j w_j , \qquad
    S = \sum_\tau |s|^2 \Big/ \sum_\tau \frac{\sum_j w_j |a_j|^2}{\sum_j w_j} ,

with weights for obliquity. :math:`|s|` is the strength of what is in step, its phase tells the polarity, and
the coherence :math:`S` is 1 where all that arrives is in step. The moveout is that of the curvature's model.

Source: coherence of a stack as in :mod:`depthwright.results.focusing`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray
from scipy.sparse import csr_array

from depthwright.job import Antenna, Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import alive
from depthwright.processing.envelope import companion
from depthwright.results.crests import offset_beforehand_ns
from depthwright.results.focusing import PHASE_SHIFT, moveout_of

Floats = NDArray[np.float64]
Values = NDArray[np.float32]
Waves = NDArray[np.complex64]

COLUMN_MM = 5.0
"""Distance of the columns that traces are gathered into, where they lie closer."""
ROWS_PER_PERIOD = 8.0
APERTURE_MM = 100.0
"""How far to each side of an apex the traces are stacked."""
PULSE_PERIODS = 0.35
"""Half the pulse that the coherence is summed over."""
FLAT_MM = 60.0
"""Half the stretch over which an echo is flat."""
RADIUS_MM = 6.0
_MOVEOUT_EVERY = 4


@dataclass(frozen=True)
class Grid:
    """Where the rows and columns of a line's stretch lie.

    Rows follow one another every ``row_ns``, the first at file time 0; columns every ``column_mm``, one for
    each ``gathered`` traces. ``carrier`` is the angular frequency, 1/ns, that is taken out of the waves.
    """

    row_ns: float
    thinned: int
    column_mm: float
    carrier: float
    period_ns: float


@dataclass(frozen=True)
class Moveout:
    """Moveout after an apex, in rows, and weights: by trial permittivity, row of the apex and distance.

    ``permittivity`` has the shape (trials,), the others (trials, rows, distances in columns).
    """

    permittivity: Floats
    rows: Floats
    weight: Floats


@dataclass(frozen=True)
class Operator:
    """Sums along the hyperbolas of one trial, for apexes from ``first_row`` on, as sparse matrices.

    They take the rows of all distances side by side, shape (apexes, distances times rows): ``waves``
    turns them into step, ``power`` does not. ``weight`` are the plain weights, shape (apexes, distances).
    """

    first_row: int
    waves: csr_array
    power: csr_array
    weight: Values


def grid_of(stage: PickStage) -> Grid:
    """The grid that a line is stacked on."""
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


def waves_of(stage: PickStage, grid: Grid, first: int, last: int) -> Waves:
    """Traces ``first`` up to ``last`` on the grid, shape (rows, columns); zero where nothing was recorded."""
    traces = stage.block(first, last)
    living = alive(traces)
    signal = (traces + 1j * companion(traces))[:, :: grid.thinned]
    positions = stage.scan.positions_mm[first:last]
    column = np.floor(np.abs(positions - positions[0]) / grid.column_mm + 0.5).astype(np.intp)
    columns = int(column[-1]) + 1
    gathered = np.zeros((columns, signal.shape[1]), np.complex64)
    np.add.at(gathered, column[living], signal[living])
    count = np.bincount(column[living], minlength=columns)
    gathered /= np.maximum(count, 1)[:, None]
    turn = np.exp(-1j * grid.carrier * grid.row_ns * np.arange(signal.shape[1]))
    waves: Waves = np.ascontiguousarray((gathered * turn).T.astype(np.complex64))
    return waves


def moveouts(
    job: Job, line: Line, grid: Grid, rows: int, permittivity: Floats, aperture_mm: float
) -> Moveout:
    """Moveouts of bars with their apex in any row, for some permittivities.

    Waves stacked along the hyperbolas of their envelopes come out with a permittivity too low by a known
    share: it is taken out here.
    """
    antenna: Antenna = job.antenna_of(line)
    zero_ns = line.direct.time_ns - offset_beforehand_ns(job, line)
    coarse = np.append(np.arange(0, rows - 1, _MOVEOUT_EVERY), rows - 1)
    offset = grid.column_mm * line.distance_scale * np.arange(int(aperture_mm / grid.column_mm) + 1)
    two_way_ns: Floats = coarse * grid.row_ns - zero_ns
    time, weight = moveout_of(
        offset,
        two_way_ns,
        RADIUS_MM,
        antenna,
        math.exp(PHASE_SHIFT) * permittivity[:, None],
    )
    fine = np.arange(rows)
    at = np.searchsorted(coarse, fine, side="right").clip(1, len(coarse) - 1)
    share = ((fine - coarse[at - 1]) / (coarse[at] - coarse[at - 1]))[:, None]

    def between(values: Floats) -> Floats:
        mixed: Floats = values[:, at - 1] * (1 - share) + values[:, at] * share
        return mixed

    return Moveout(permittivity, between(time) / grid.row_ns, between(weight))


def operator(moveout: Moveout, trial: int, grid: Grid, first_row: int) -> Operator:
    """The sums along the hyperbolas of one trial."""
    rows, steps = moveout.rows.shape[1], int(APERTURE_MM / grid.column_mm) + 1
    apex = np.arange(first_row, rows)[:, None]
    late = moveout.rows[trial, first_row:, :steps]
    place = apex + late
    inside = place < rows - 1
    weight = np.where(inside, moveout.weight[trial, first_row:, :steps], 0.0)
    place = np.where(inside, place, 0.0)
    low = place.astype(np.intp)
    share = place - low
    turn = np.exp(1j * grid.carrier * grid.row_ns * late)
    at = np.arange(steps) * rows + low
    index = np.stack([at, at + 1], axis=-1).reshape(len(apex), -1)
    value = np.stack([weight * (1 - share), weight * share], axis=-1).reshape(len(apex), -1)
    turned = value * np.repeat(turn, 2, axis=-1)
    start = np.arange(len(apex) + 1) * index.shape[1]
    shape = len(apex), steps * rows
    return Operator(
        first_row,
        csr_array((turned.astype(np.complex64).ravel(), index.ravel(), start), shape=shape),
        csr_array((value.astype(np.float32).ravel(), index.ravel(), start), shape=shape),
        weight.astype(np.float32),
    )


@dataclass(frozen=True)
class Stack:
    """The stack of a stretch for one permittivity, shape (apex rows, columns) each."""

    wave: Waves
    coherence: Values


def _spread(values: NDArray[np.inexact], steps: int, first: int, last: int) -> NDArray[np.inexact]:
    """Both sides of some columns added up by their distance, shape (distances times rows, columns)."""
    longer = np.pad(values, ((0, 0), (steps, steps)))
    both = np.empty((steps, len(values), last - first), values.dtype)
    for step in range(steps):
        right = longer[:, first + steps + step : last + steps + step]
        left = longer[:, first + steps - step : last + steps - step]
        np.add(right, left if step else 0, out=both[step])
    return both.reshape(-1, last - first)


def stacks(
    waves: Waves, grid: Grid, operators: Sequence[Operator], first: int = 0, last: int | None = None
) -> list[Stack]:
    """Stack columns ``first`` up to ``last`` of a stretch, shape (rows, columns), with some operators."""
    last = waves.shape[1] if last is None else last
    steps = operators[0].weight.shape[1]
    living = (np.abs(waves).max(axis=0, keepdims=True) > 0).astype(np.float32)
    power = (waves.real**2 + waves.imag**2).astype(np.float32)
    both, powers, lives = (_spread(values, steps, first, last) for values in (waves, power, living))
    half = max(1, round(PULSE_PERIODS * grid.period_ns / grid.row_ns))
    tiny = np.finfo(np.float32).tiny
    found = []
    for sums in operators:
        weights = np.maximum(sums.weight @ lives, tiny)
        wave = (sums.waves @ both) / weights
        in_step = (wave.real**2 + wave.imag**2) * weights
        ratio = [
            scipy.ndimage.uniform_filter1d(values, 2 * half + 1, axis=0, mode="nearest")
            for values in (in_step, sums.power @ powers)
        ]
        found.append(Stack(wave, ratio[0] / np.maximum(ratio[1], tiny)))
    return found


def flat_echoes(waves: Waves, grid: Grid) -> Waves:
    """A stretch averaged along the line, so that only what is flat is left, shape (rows, columns)."""
    size = 2 * round(FLAT_MM / grid.column_mm) + 1
    parts = [
        scipy.ndimage.uniform_filter1d(values, size, axis=1, mode="constant")
        for values in (waves.real, waves.imag)
    ]
    flat: Waves = (parts[0] + 1j * parts[1]).astype(np.complex64)
    return flat
