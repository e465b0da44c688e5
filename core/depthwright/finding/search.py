"""Candidates of a stretch: the strongest hyperbolas first, each taken away before the next are looked for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.finding.grid import Grid, Values, Waves
from depthwright.finding.peeling import Peel, at_row, peel, read
from depthwright.finding.stacking import (
    APERTURE_MM,
    PULSE_PERIODS,
    Moveout,
    Operator,
    Stack,
    stacks,
)
from depthwright.processing.envelope import peak_shift

Floats = NDArray[np.float64]

LEAST_COHERENCE = 0.4
DOMINATES_MM = 50.0
"""How far to each side no stronger hyperbola may be, at any time, for one to be taken before it."""
ROUNDS = 5
BESIDE_COLUMNS, BESIDE_ROWS = 2, 3
"""How far beside its first place a candidate is looked at again without the others."""

SHARED_TO, SHARED_FADE = 2.0, 0.5
"""How long after the direct wave what all traces share is taken for a rest of it, and how it fades out,
periods. Over a close shallow mat no trace is free of bars, and the direct wave learnt there holds a quarter
of them (full-wave runs, own computation)."""
LEAST_SHARED = 0.02
"""Against the direct wave's: what is shared below this is left alone."""
SHARED_SWEEPS, SHARED_STEP = 5, 1.7
"""How often hyperbolas and what is shared are told apart anew, and by how much of what is left each time:
a step beyond 1 goes faster, and stays stable below 2."""
LEAST_COLUMNS = 40
"""Below, a stretch is too short to tell one from the other."""

_TINY = float(np.finfo(np.float32).tiny)


@dataclass(frozen=True)
class Candidate:
    """A place that stacks like a bar, in rows and columns of its stretch."""

    row: float
    column: float
    trial: int


@dataclass(frozen=True)
class Sounding:
    """A candidate without the others: where it is sharpest, and by trial its strength and coherence.

    ``flat`` is strength times coherence of a flat echo at its place; ``phase`` is that of its wave at the
    maximum of the envelope, radians.
    """

    row: float
    column: float
    strength: Floats
    coherence: Floats
    flat: float
    phase: float


def search(
    waves: Waves,
    grid: Grid,
    moveout: Moveout,
    operators: Sequence[Operator],
    favour: Floats,
    least: Floats,
    direct_ns: float,
    direct_peak: float,
) -> tuple[list[tuple[Candidate, Peel]], Waves]:
    """Candidates with what they hold, and the stretch without them all and without what traces share.

    Parameters
    ----------
    waves
        The stretch, shape (rows, columns).
    grid, moveout, operators
        What it is stacked with; the middle trial is the line's own, and the only one after the first round.
    favour
        By what the worth of each trial is multiplied before they are compared, shape (trials,).
    least
        Strength below which nothing is looked for, by apex row.
    direct_ns, direct_peak
        File time and strength of the direct wave. What all traces hold of it still is taken away as well.
    """
    early, least_shared = _early(grid, len(waves), direct_ns), LEAST_SHARED * direct_peak
    left = waves.copy()
    found: list[tuple[Candidate, Peel]] = []
    trials = list(range(len(operators)))
    for _ in range(ROUNDS):
        stacked = stacks(left, grid, [operators[trial] for trial in trials])
        new = _dominant(stacked, trials, favour[trials], grid, operators[0].apex_rows, least)
        if not new:
            break
        found += [(one, _taken(left, grid, moveout, one)) for one in new]
        # Where hyperbolas cross, the first took a share of the others': each is read again without them.
        found = [(one, _taken_again(left, grid, moveout, one, part)) for one, part in found]
        for _ in range(SHARED_SWEEPS):
            shared = _shared(left) * early
            if np.abs(shared).max() < least_shared:
                break
            left -= SHARED_STEP * shared * np.any(left, axis=0)
            found = [(one, _taken_again(left, grid, moveout, one, part)) for one, part in found]
        trials = [len(operators) // 2]
    return found, left


def _early(grid: Grid, rows: int, direct_ns: float) -> Values:
    """1 where a rest of the direct wave may be, 0 later, shape (rows, 1)."""
    lag = (np.arange(rows) * grid.row_ns - direct_ns) / grid.period_ns
    early: Values = np.clip(1 - (lag - SHARED_TO) / SHARED_FADE, 0.0, 1.0).astype(np.float32)
    return early[:, None]


def _shared(left: Waves) -> Waves:
    """What all living columns of a stretch have in common, shape (rows, 1); nothing where they are few."""
    living = np.count_nonzero(np.any(left, axis=0))
    if living < LEAST_COLUMNS:
        return np.zeros_like(left[:, :1])
    return np.asarray(left.sum(axis=1, keepdims=True) / living, dtype=np.complex64)


def _taken(left: Waves, grid: Grid, moveout: Moveout, one: Candidate) -> Peel:
    """Take a candidate's hyperbola away."""
    part = peel(left, grid, moveout, one.trial, one.row, one.column)
    left[:, part.columns()] -= part.wave
    return part


def _taken_again(left: Waves, grid: Grid, moveout: Moveout, one: Candidate, part: Peel) -> Peel:
    """Take it away anew, where others have been taken away since."""
    left[:, part.columns()] += part.wave
    return _taken(left, grid, moveout, one)


def _dominant(
    stacked: Sequence[Stack],
    trials: Sequence[int],
    favour: Floats,
    grid: Grid,
    apex_rows: NDArray[np.intp],
    least: Floats,
) -> list[Candidate]:
    """Local maxima that nothing stronger lies beside, above or below."""
    worth = np.stack([one.worth for one in stacked])
    best = (favour[:, None, None] * worth).argmax(axis=0)
    top = np.take_along_axis(worth, best[None], axis=0)[0]
    coherence = np.take_along_axis(np.stack([one.coherence for one in stacked]), best[None], 0)[0]
    fit = np.where((coherence >= LEAST_COHERENCE) & (top >= least[:, None]), top, 0.0)
    reach = 2 * round(DOMINATES_MM / grid.column_mm) + 1
    by_column = scipy.ndimage.maximum_filter1d(fit.max(axis=0), reach)
    peaks = (fit > 0) & (fit >= by_column) & (fit == scipy.ndimage.maximum_filter(top, (3, 5)))
    number = np.arange(len(apex_rows))
    return [
        Candidate(
            float(np.interp(row + vertex(top[:, column], row), number, apex_rows)),
            column + vertex(top[row], column),
            trials[int(best[row, column])],
        )
        for row, column in np.argwhere(peaks).tolist()
    ]


def vertex(values: NDArray[np.floating], at: int) -> float:
    """Where the maximum lies between neighbours, from -0.5 to 0.5 beside it."""
    if not 0 < at < len(values) - 1:
        return 0.0
    return peak_shift(*values[at - 1 : at + 2].tolist())


def sound(left: Waves, grid: Grid, moveout: Moveout, candidate: Candidate, own: Peel) -> Sounding:
    """What speaks for a candidate once all others are taken away."""
    middle, steps = round(candidate.column), int(APERTURE_MM / grid.column_mm)
    beside = np.arange(
        max(0, middle - BESIDE_COLUMNS), min(left.shape[1], middle + BESIDE_COLUMNS + 1)
    )
    half = max(1, round(PULSE_PERIODS * grid.period_ns / grid.row_ns))
    pulse = np.arange(-BESIDE_ROWS - half, BESIDE_ROWS + half + 1)
    low, high = max(0, middle - BESIDE_COLUMNS - steps), middle + BESIDE_COLUMNS + steps + 1
    alone = left[:, low:high].copy()
    mine = own.columns()
    first, last = max(low, mine.start), min(low + alone.shape[1], mine.stop)
    alone[:, first - low : last - low] += own.wave[:, first - mine.start : last - mine.start]
    wave, energy = _along_pulse(alone, grid, moveout, candidate.row, pulse, beside - low)
    size = np.abs(wave)
    in_step, all_of_it = (
        scipy.ndimage.uniform_filter1d(values, 2 * half + 1, axis=1, mode="nearest")
        for values in (size**2, energy)
    )
    coherence = in_step / np.maximum(all_of_it, _TINY)
    worth = (size * coherence)[:-1, half:-half]
    best, row, at = (int(index) for index in np.unravel_index(int(worth.argmax()), worth.shape))
    place = half + row + vertex(size[best, :, at], half + row)
    number, turned = np.arange(len(pulse)), wave[best, :, at]
    here = np.interp(place, number, turned.real) + 1j * np.interp(place, number, turned.imag)
    apex = candidate.row + place - BESIDE_ROWS - half
    return Sounding(
        row=apex,
        column=float(beside[at]) + vertex(worth[best, row], at),
        strength=size[:-1, half + row, at].astype(np.float64),
        coherence=coherence[:-1, half + row, at].astype(np.float64),
        flat=float((size * coherence)[-1, half:-half, at].max()),
        phase=float(np.angle(here * np.exp(1j * grid.carrier * grid.row_ns * apex))),
    )


def _along_pulse(
    waves: Waves,
    grid: Grid,
    moveout: Moveout,
    row: float,
    pulse: NDArray[np.intp],
    apex_columns: NDArray[np.intp],
) -> tuple[Waves, Values]:
    """Stack along one hyperbola moved in time, and the mean power there, shape (trials, rows, columns)."""
    steps = int(APERTURE_MM / grid.column_mm)
    away = np.arange(-steps, steps + 1)
    # The axes are trials, rows along the pulse, columns of the apex, distances.
    column = apex_columns[:, None] + away
    inside = (column >= 0) & (column < waves.shape[1])
    column = np.where(inside, column, 0)
    inside &= np.any(waves, axis=0)[column]
    hyperbolas = at_row(moveout.rows, row)
    layer = np.zeros_like(hyperbolas[:1])
    late = np.concatenate([hyperbolas, layer])[:, None, None, np.abs(away)]
    turn = np.exp(1j * grid.carrier * grid.row_ns * late).astype(np.complex64)
    value = read(waves, row + pulse[:, None, None] + late, column) * turn
    weights = at_row(moveout.weight, row)
    weights = np.concatenate([weights, weights.mean(axis=0, keepdims=True)]).astype(np.float32)
    weight = weights[:, None, None, np.abs(away)] * inside
    total = np.maximum(weight.sum(axis=-1), _TINY)
    wave: Waves = (weight * value).sum(axis=-1) / total
    energy: Values = (weight * (value.real**2 + value.imag**2)).sum(axis=-1) / total
    return wave, energy
