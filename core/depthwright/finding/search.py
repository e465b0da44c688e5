"""Candidates of a stretch: the strongest hyperbolas first, each taken away before the next are looked for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.finding.peeling import Peel, peel
from depthwright.finding.stacking import Grid, Moveout, Operator, Stack, Waves, stacks

Floats = NDArray[np.float64]

LEAST_COHERENCE = 0.4
LEAST_STRENGTH = 0.012
DOMINATES_MM = 50.0
"""How far to each side no stronger hyperbola may be, at any time, for one to be taken before it."""
ROUNDS = 8


@dataclass(frozen=True)
class Candidate:
    """A place that stacks like a bar, in rows and columns of its stretch."""

    row: float
    column: float
    trial: int
    strength: float
    coherence: float


@dataclass(frozen=True)
class Sounding:
    """A candidate without the others: by trial its strength, coherence, phase; and where it is sharpest."""

    row: float
    column: float
    strength: Floats
    coherence: Floats
    phase: float


def search(
    waves: Waves, grid: Grid, moveout: Moveout, operators: Sequence[Operator], least: float
) -> tuple[list[tuple[Candidate, Peel]], Waves]:
    """Candidates with what they hold, and the stretch without them all.

    Parameters
    ----------
    waves
        The stretch, shape (rows, columns).
    grid, moveout, operators
        What it is stacked with.
    least
        Strength below which nothing is looked for.
    """
    left = waves.copy()
    found: list[tuple[Candidate, Peel]] = []
    for _ in range(ROUNDS):
        new = _dominant(stacks(left, grid, operators), grid, operators[0].first_row, least)
        if not new:
            break
        # All of a round are read from the same stretch, so that their order does not matter.
        parts = [peel(left, grid, moveout, one.trial, one.row, one.column) for one in new]
        for part in parts:
            left[:, part.columns()] -= part.wave
        found += zip(new, parts, strict=True)
    return found, left


def _dominant(trials: Sequence[Stack], grid: Grid, first_row: int, least: float) -> list[Candidate]:
    """Local maxima that nothing stronger lies beside, above or below."""
    worth = np.stack([np.abs(trial.wave) * trial.coherence for trial in trials])
    best = worth.argmax(axis=0)
    top = np.take_along_axis(worth, best[None], axis=0)[0]
    coherence = np.take_along_axis(
        np.stack([trial.coherence for trial in trials]), best[None], axis=0
    )[0]
    fit = np.where((coherence >= LEAST_COHERENCE) & (top >= least), top, 0.0)
    reach = 2 * round(DOMINATES_MM / grid.column_mm) + 1
    by_column = scipy.ndimage.maximum_filter1d(fit.max(axis=0), reach)
    peaks = (fit > 0) & (fit == scipy.ndimage.maximum_filter(top, 5)) & (fit >= by_column)
    return [
        Candidate(
            first_row + row + _vertex(top[:, column], row),
            column + _vertex(top[row], column),
            int(best[row, column]),
            float(top[row, column]),
            float(coherence[row, column]),
        )
        for row, column in np.argwhere(peaks).tolist()
    ]


def _vertex(values: NDArray[np.floating], at: int) -> float:
    """Where the maximum lies between neighbours, from -0.5 to 0.5 beside it."""
    if not 0 < at < len(values) - 1:
        return 0.0
    before, top, after = (float(value) for value in values[at - 1 : at + 2])
    bend = before - 2 * top + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def sound(
    left: Waves, grid: Grid, operators: Sequence[Operator], candidate: Candidate, own: Peel
) -> Sounding:
    """What speaks for a candidate once all others are taken away."""
    steps = operators[0].weight.shape[1] + 4
    low = max(0, round(candidate.column) - steps)
    high = min(left.shape[1], round(candidate.column) + steps + 1)
    alone = left[:, low:high].copy()
    mine = own.columns()
    first, last = max(low, mine.start), min(high, mine.stop)
    alone[:, first - low : last - low] += own.wave[:, first - mine.start : last - mine.start]
    middle = round(candidate.column) - low
    start, stop = max(0, middle - 3), min(high - low, middle + 4)
    trials = stacks(alone, grid, operators, start, stop)
    row = round(candidate.row) - operators[0].first_row
    top, bottom = max(0, row - 4), min(len(trials[0].wave), row + 5)
    strength = np.stack([np.abs(trial.wave[top:bottom]) for trial in trials])
    coherence = np.stack([trial.coherence[top:bottom] for trial in trials])
    worth = strength * coherence
    _, r, c = np.unravel_index(int(worth.argmax()), worth.shape)
    best = int(worth[:, r, c].argmax())
    wave = trials[best].wave[:, c]
    size = np.abs(wave)
    peak = top + int(strength[best, :, c].argmax())
    at = peak + _vertex(size, peak)
    turned = np.interp(at, np.arange(len(wave)), wave.real) + 1j * np.interp(
        at, np.arange(len(wave)), wave.imag
    )
    place = operators[0].first_row + at
    phase = float(np.angle(turned * np.exp(1j * grid.carrier * grid.row_ns * place)))
    return Sounding(
        row=place,
        column=low + start + int(c) + _vertex(worth[best, r], int(c)),
        strength=strength[:, r, c].astype(np.float64),
        coherence=coherence[:, r, c].astype(np.float64),
        phase=phase,
    )
