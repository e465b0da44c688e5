"""What a line's stretches hold: hyperbolas with all that is judged of them."""

import cmath
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.constants import TYPICAL_PERMITTIVITY
from depthwright.finding.grid import (
    Grid,
    Waves,
    columns_of,
    flat_echoes,
    grid_of,
    signal_of,
    waves_of,
)
from depthwright.finding.judging import Found
from depthwright.finding.peeling import TAIL_MM, Peel
from depthwright.finding.search import Sounding, search, sound, vertex
from depthwright.finding.stacking import Moveout, moveouts, operator, stacks
from depthwright.job import Job, Line
from depthwright.measuring.stage import KeptStage, PickStage, holding
from depthwright.measuring.timezero import alive
from depthwright.results.crests import two_way_beforehand_ns

Floats = NDArray[np.float64]

TRIALS: Floats = np.geomspace(4.5, 14.0, 6)
"""Permittivities that a line's own is first looked for among."""
AROUND: Floats = np.array([0.56, 0.75, 1.0, 1.33, 1.78])
"""What a candidate is tried with, against the line's permittivity."""
FAVOUR: Floats = np.exp(-0.5 * (np.log(AROUND) / 0.6) ** 2)
"""By what a trial's worth is multiplied: where the traces leave the bend open, the line's counts."""
SAMPLED_STRETCHES = 3
CLEAR = 0.6
"""Coherence of the hyperbolas that a line's permittivity and usual strength are taken from."""
APART_MM, ALONE_MM = 10.0, 40.0
"""For that, apexes are tried every so often, and the clearest within so far counts."""
FIRST_LAG = 0.2
"""Periods after the direct wave from which on apexes are looked for."""
LEAST_STRENGTH = 0.012
"""Against the direct wave's: what is weaker is not looked at."""
LEAST_OF_USUAL = 10 ** (-14 / 20)
"""Strength times two-way time against the line's stronger bars: the same."""
EVERY_ROW = 2
"""Every so manyth row is tried as an apex's; its place is refined afterwards."""
FAINTEST = 1e-3
"""Against the direct wave's: no surroundings are taken for fainter."""
FLAT_ABOVE_PERIODS, FLAT_BESIDE_MM = 0.75, 200.0
"""How far above and beside a candidate a flat echo is looked for."""


@dataclass(frozen=True)
class Known:
    """What is the same all along a line: permittivity, and strength times two-way time of clear bars."""

    job: Job
    line: Line
    grid: Grid
    moveout: Moveout
    permittivity: float
    usual: float


def along_mm(positions_mm: Floats, trace: int) -> float:
    """How far a trace lies from the first one, mm; endless behind the last."""
    if trace >= len(positions_mm):
        return math.inf
    return abs(float(positions_mm[trace] - positions_mm[0]))


def known_of(job: Job, line: Line, stage: PickStage, size: int) -> Known:
    """What a line's clearest hyperbolas say of it; a typical permittivity where there are none."""
    scan, grid = stage.scan, grid_of(stage)
    rows = -(-scan.samples // grid.thinned)
    moveout = moveouts(job, line, grid, rows, TAIL_MM)
    trials = moveout.of(TRIALS)
    apex_rows = _apex_rows(line, grid, rows)
    operators = [operator(trials, trial, grid, apex_rows) for trial in range(len(TRIALS))]
    two_way = _two_way(job, line, grid, apex_rows)
    every = max(1, round(APART_MM / grid.column_mm))
    reach = 2 * max(1, round(ALONE_MM / (every * grid.column_mm))) + 1
    last_start = max(0, scan.traces - size)
    looks = min(SAMPLED_STRETCHES, max(1, scan.traces // size))
    clear: list[tuple[float, float, float]] = []
    for first in (round(last_start * (k + 0.5) / looks) for k in range(looks)):
        last = min(scan.traces, first + size)
        waves = waves_of(stage.waves(first, last), scan.positions_mm[first:last], grid)
        stacked = stacks(waves, grid, operators, every)
        worth = np.stack([trial.worth for trial in stacked])
        top = worth.max(axis=0)
        peaks = top == scipy.ndimage.maximum_filter(top, (5, reach))
        peaks &= top > LEAST_STRENGTH * stage.direct_peak
        for row, column in np.argwhere(peaks).tolist():
            best = int(worth[:, row, column].argmax())
            if stacked[best].coherence[row, column] < CLEAR or best in (0, len(TRIALS) - 1):
                continue
            place = best + vertex(worth[:, row, column], best)
            strength = float(np.abs(stacked[best].wave[row, column]))
            clear.append((place, strength, strength * float(two_way[row])))
    if not clear:
        return Known(job, line, grid, moveout, TYPICAL_PERMITTIVITY, 0.0)
    place_of, strength_of, level_of = np.array(sorted(clear)).T
    share = np.cumsum(strength_of) / strength_of.sum()
    middle = place_of[int(np.searchsorted(share, 0.5))]
    permittivity = TRIALS[0] * (TRIALS[1] / TRIALS[0]) ** middle
    usual = float(np.percentile(level_of, 80))
    return Known(job, line, grid, moveout, float(permittivity), usual)


def _apex_rows(line: Line, grid: Grid, rows: int) -> NDArray[np.intp]:
    first = int((line.direct.time_ns + FIRST_LAG * grid.period_ns) / grid.row_ns)
    return np.arange(min(first, rows - 2 * EVERY_ROW), rows, EVERY_ROW)


def _two_way(job: Job, line: Line, grid: Grid, rows: NDArray[np.intp]) -> Floats:
    """Two-way times of rows by what is known beforehand, ns."""
    times: Floats = np.asarray(rows * grid.row_ns, dtype=np.float64)
    return two_way_beforehand_ns(job, line, times)


@dataclass(frozen=True)
class Stretch:
    """A stretch that has been searched: what stacks like a bar in it, each with what it holds.

    ``waves`` are the stretch's on its grid, ``left`` what neither a hyperbola nor the direct wave takes away,
    shape (rows, columns).
    """

    kept: KeptStage
    grid: Grid
    waves: Waves
    left: Waves
    found: tuple[Found, ...]
    parts: tuple[Peel, ...]

    @cached_property
    def _columns(self) -> NDArray[np.intp]:
        positions = self.kept.scan.positions_mm
        return columns_of(positions[self.kept.first : self.kept.last], self.grid)

    @cached_property
    def _living(self) -> NDArray[np.bool_]:
        return alive(self.kept.signal.real)

    def alone(self, index: int, first: int, last: int) -> KeptStage:
        """Traces ``first`` up to ``last`` of the scan as one that was found leaves them, all else taken away.

        They have to lie in the stretch.
        """
        kept, own = self.kept, self.parts[index]
        here = slice(first - kept.first, last - kept.first)
        column = self._columns[here]
        others = self.waves[:, column] - self.left[:, column]
        mine = (column >= own.first_column) & (column < own.columns().stop)
        others[:, mine] -= own.wave[:, column[mine] - own.first_column]
        # A dead trace among living ones of its column holds nothing that could be taken away.
        others *= self._living[here]
        signal = kept.signal[here]
        freed = signal - signal_of(others, self.grid, signal.shape[1])
        return holding(kept.line, first, freed)

    def held_by(self, indices: Iterable[int]) -> Waves:
        """What some that were found hold, as an analytic signal of all its traces."""
        waves = np.zeros_like(self.waves)
        for part in (self.parts[index] for index in indices):
            waves[:, part.columns()] += part.wave
        signal = signal_of(waves[:, self._columns], self.grid, self.kept.signal.shape[1])
        return signal * self._living[:, None]


def found_in(known: Known, kept: KeptStage) -> Stretch:
    """What stacks like a bar in a stretch."""
    grid, scan = known.grid, kept.scan
    positions = scan.positions_mm[kept.first : kept.last]
    waves = waves_of(kept.signal, positions, grid)
    trials = known.moveout.of(known.permittivity * AROUND)
    apex_rows = _apex_rows(known.line, grid, len(waves))
    operators = [operator(trials, trial, grid, apex_rows) for trial in range(len(AROUND))]
    two_way = _two_way(known.job, known.line, grid, apex_rows)
    least = np.maximum(
        LEAST_STRENGTH * kept.direct_peak,
        LEAST_OF_USUAL * known.usual / np.maximum(two_way, grid.period_ns / 2),
    )
    direct_ns = known.line.direct.time_ns
    taken, left = search(waves, grid, trials, operators, FAVOUR, least, direct_ns, kept.direct_peak)
    start = along_mm(scan.positions_mm, kept.first)
    end = along_mm(scan.positions_mm, scan.traces - 1)
    faintest = FAINTEST * kept.direct_peak
    level, flats = np.abs(left), flat_echoes(left, grid)
    found = []
    for candidate, own in taken:
        one = sound(left, grid, trials, candidate, own)
        best = int((FAVOUR * one.strength * one.coherence).argmax())
        along = start + one.column * grid.column_mm
        time_ns = one.row * grid.row_ns
        flat = _flat_above(flats, grid, int(apex_rows[0]), one)
        found.append(
            Found(
                along_mm=along,
                time_ns=time_ns,
                lag=(time_ns - direct_ns) / kept.period_ns,
                two_way_ns=two_way_beforehand_ns(known.job, known.line, time_ns),
                strength=float(one.strength[best]) / kept.direct_peak,
                coherence=float(one.coherence[best]),
                log_ratio=_log_ratio(FAVOUR * one.strength * one.coherence),
                above_db=20
                * math.log10(one.strength[best] / max(_around(level, grid, one), faintest)),
                flatness=one.flat / max(float(one.strength[best] * one.coherence[best]), 1e-30),
                phase=one.phase,
                edge_mm=min(along, end - along),
                flat_strength=abs(flat) / kept.direct_peak,
                flat_phase=cmath.phase(flat),
            )
        )
    parts = tuple(own for _, own in taken)
    return Stretch(kept, grid, waves, left, tuple(found), parts)


def _flat_above(flats: Waves, grid: Grid, first_row: int, one: Sounding) -> complex:
    """The strongest flat echo above a candidate, as it stands in the file."""
    last_row = int(one.row - FLAT_ABOVE_PERIODS * grid.period_ns / grid.row_ns)
    columns = FLAT_BESIDE_MM / grid.column_mm
    near = slice(max(0, int(one.column - columns)), int(one.column + columns) + 1)
    part = flats[first_row : max(first_row, last_row), near]
    if not part.size:
        return 0j
    row, column = np.unravel_index(int(np.abs(part).argmax()), part.shape)
    turn = grid.carrier * grid.row_ns * (first_row + int(row))
    return complex(part[row, column]) * cmath.exp(1j * turn)


def _log_ratio(worth: Floats) -> float:
    """Logarithm of a candidate's own permittivity over the line's."""
    best = int(worth.argmax())
    place = best + vertex(worth, best)
    return float(np.interp(place, np.arange(len(AROUND)), np.log(AROUND)))


def _around(level: NDArray[np.float32], grid: Grid, one: Sounding) -> float:
    """Median strength of what is left around a candidate."""
    rows = 1.5 * grid.period_ns / grid.row_ns
    columns = 100.0 / grid.column_mm
    part = level[
        max(0, int(one.row - rows)) : int(one.row + rows) + 1,
        max(0, int(one.column - columns)) : int(one.column + columns) + 1,
    ]
    return float(np.median(part))
