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

from depthwright.finding.grid import Grid, Values, Waves
from depthwright.job import Job, Line
from depthwright.results.crests import offset_beforehand_ns
from depthwright.results.focusing import PHASE_SHIFT, moveout_of

Floats = NDArray[np.float64]

APERTURE_MM = 100.0
"""How far to each side of an apex the traces are stacked."""
PULSE_PERIODS = 0.35
"""Half the pulse that the coherence is summed over."""
RADIUS_MM = 6.0
_NODES: Floats = np.geomspace(2.6, 24.0, 8)
"""Permittivities that the moveout is computed for; it is read between them."""
_EVERY_ROW, _EVERY_COLUMN = 6, 2
_TINY = float(np.finfo(np.float32).tiny)


@dataclass(frozen=True)
class Moveout:
    """Moveout after an apex, in rows, and weights: by trial permittivity, row of the apex and distance.

    ``permittivity`` has the shape (trials,), the others (trials, rows, distances in columns).
    """

    permittivity: Floats
    rows: Floats
    weight: Floats

    def of(self, permittivity: Floats) -> "Moveout":
        """The moveout of other permittivities, read between those at hand."""
        place = np.log(np.clip(permittivity, self.permittivity[0], self.permittivity[-1]))
        at = np.interp(place, np.log(self.permittivity), np.arange(len(self.permittivity)))
        return Moveout(permittivity, _between(self.rows, at, 0), _between(self.weight, at, 0))


@dataclass(frozen=True)
class Operator:
    """Sums along the hyperbolas of one trial, as sparse matrices, for apexes in ``apex_rows``.

    They take the rows of all distances side by side, shape (apexes, distances times rows): ``waves``
    turns them into step, ``power`` does not. ``weight`` are the plain weights, shape (apexes, distances).
    """

    apex_rows: NDArray[np.intp]
    waves: csr_array
    power: csr_array
    weight: Values


@dataclass(frozen=True)
class Stack:
    """The stack for one permittivity, shape (apex rows, columns) each."""

    wave: Waves
    coherence: Values

    @property
    def worth(self) -> Values:
        """Strength times coherence: high where much is in step and little is not."""
        worth: Values = np.abs(self.wave) * self.coherence
        return worth


def moveouts(job: Job, line: Line, grid: Grid, rows: int, reach_mm: float) -> Moveout:
    """Moveouts of bars with their apex in any row, up to a distance, for the usual permittivities.

    Waves stacked along the hyperbolas of their envelopes come out with a permittivity too low by a known
    share: it is taken out here.
    """
    zero_ns = line.direct.time_ns - offset_beforehand_ns(job, line)
    steps = math.ceil(reach_mm / grid.column_mm / _EVERY_COLUMN) * _EVERY_COLUMN
    row = np.arange(0, rows + _EVERY_ROW, _EVERY_ROW, dtype=np.float64)
    step = np.arange(0, steps + 1, _EVERY_COLUMN, dtype=np.float64)
    time, weight = moveout_of(
        step * grid.column_mm * line.distance_scale,
        np.asarray(row * grid.row_ns - zero_ns, dtype=np.float64),
        RADIUS_MM,
        job.antenna_of(line),
        math.exp(PHASE_SHIFT) * _NODES[:, None],
    )

    def fine(values: Floats) -> Floats:
        by_row = _between(values, np.arange(rows) / _EVERY_ROW, 1)
        return _between(by_row, np.arange(steps + 1) / _EVERY_COLUMN, 2)

    # What is read between rows and steps are squared times: they are smoother than the times.
    late = fine((time / grid.row_ns) ** 2 + 2 * row[:, None] * time / grid.row_ns)
    apex = np.arange(rows, dtype=np.float64)[:, None]
    rows_late = np.sqrt(np.maximum(apex**2 + late, 0.0)) - apex
    return Moveout(_NODES, rows_late, fine(weight))


def _between(values: Floats, place: Floats, axis: int) -> Floats:
    """Values read at places between those of one axis."""
    low = np.clip(place.astype(np.intp), 0, values.shape[axis] - 2)
    shape = [1] * values.ndim
    shape[axis] = -1
    share = np.clip(place - low, 0.0, 1.0).reshape(shape)
    mixed: Floats = (
        np.take(values, low, axis) * (1 - share) + np.take(values, low + 1, axis) * share
    )
    return mixed


def operator(moveout: Moveout, trial: int, grid: Grid, apex_rows: NDArray[np.intp]) -> Operator:
    """The sums along the hyperbolas of one trial."""
    rows, steps = moveout.rows.shape[1], int(APERTURE_MM / grid.column_mm) + 1
    late = moveout.rows[trial, apex_rows, :steps]
    place = apex_rows[:, None] + late
    inside = place < rows - 1
    weight = np.where(inside, moveout.weight[trial, apex_rows, :steps], 0.0)
    place = np.where(inside, place, 0.0)
    low = place.astype(np.intp)
    share = place - low
    turn = np.exp(1j * grid.carrier * grid.row_ns * late)
    at = np.arange(steps) * rows + low
    index = np.stack([at, at + 1], axis=-1).reshape(len(late), -1)
    value = np.stack([weight * (1 - share), weight * share], axis=-1).reshape(len(late), -1)
    turned = value * np.repeat(turn, 2, axis=-1)
    start = np.arange(len(late) + 1) * index.shape[1]
    shape = len(late), steps * rows
    return Operator(
        apex_rows,
        csr_array((turned.astype(np.complex64).ravel(), index.ravel(), start), shape=shape),
        csr_array((value.astype(np.float32).ravel(), index.ravel(), start), shape=shape),
        weight.astype(np.float32),
    )


def stacks(waves: Waves, grid: Grid, operators: Sequence[Operator], every: int = 1) -> list[Stack]:
    """Stack every so manyth column of a stretch, shape (rows, columns), by some operators."""
    steps = operators[0].weight.shape[1]
    living = np.any(waves, axis=0, keepdims=True).astype(np.float32)
    power: Values = waves.real**2 + waves.imag**2
    both, powers, lives = (_spread(values, steps, every) for values in (waves, power, living))
    spacing = operators[0].apex_rows[1] - operators[0].apex_rows[0]
    half = max(1, round(PULSE_PERIODS * grid.period_ns / grid.row_ns / spacing))
    found = []
    for sums in operators:
        weights = np.maximum(sums.weight @ lives, _TINY)
        wave = (sums.waves @ both) / weights
        ratio = [
            scipy.ndimage.uniform_filter1d(values, 2 * half + 1, axis=0, mode="nearest")
            for values in ((wave.real**2 + wave.imag**2) * weights, sums.power @ powers)
        ]
        found.append(Stack(wave, ratio[0] / np.maximum(ratio[1], _TINY)))
    return found


def _spread(values: NDArray[np.inexact], steps: int, every: int) -> NDArray[np.inexact]:
    """Both sides of each column added up by their distance, shape (distances times rows, columns)."""
    rows, columns = values.shape
    longer = np.zeros((rows, columns + 2 * steps), values.dtype)
    longer[:, steps : columns + steps] = values
    both = np.empty((steps, rows, -(-columns // every)), values.dtype)
    both[0] = values[:, ::every]
    for step in range(1, steps):
        right = longer[:, steps + step : columns + steps + step : every]
        left = longer[:, steps - step : columns + steps - step : every]
        np.add(right, left, out=both[step])
    return both.reshape(steps * rows, -1)
