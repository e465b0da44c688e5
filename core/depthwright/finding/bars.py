"""Bars by themselves: places where the echoes stack like a bar's hyperbola."""

import cmath
import math
from collections.abc import Sequence

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.constants import TYPICAL_PERMITTIVITY
from depthwright.finding.judging import Found, Verdict, judge
from depthwright.finding.peeling import TAIL_MM
from depthwright.finding.proposal import SAME_MM, SAME_NS, BarProposal
from depthwright.finding.search import Sounding, search, sound
from depthwright.finding.stacking import (
    Grid,
    Moveout,
    Operator,
    Waves,
    flat_echoes,
    grid_of,
    moveouts,
    operator,
    stacks,
    waves_of,
)
from depthwright.job import Job, Line
from depthwright.measuring.picking import Pick, place_by_hand, snap_bar, with_crest
from depthwright.measuring.stage import PickStage
from depthwright.results.crests import two_way_beforehand_ns
from depthwright.scan import Report, no_report

Floats = NDArray[np.float64]

TRIALS: Floats = np.geomspace(4.5, 14.0, 6)
"""Permittivities that a line's own is first looked for among."""
AROUND: Floats = np.array([0.56, 0.75, 1.0, 1.33, 1.78])
"""What a candidate is tried with, against the line's permittivity."""
STRETCH_MM, BESIDE_MM = 4000.0, 500.0
"""Length of the stretches that a line is searched in, and how far each looks beyond its ends."""
SAMPLED_STRETCHES = 3
FIRST_LAG = 0.2
"""Periods after the direct wave from which on apexes are looked for."""
LEAST_STRENGTH = 0.012
"""Against the direct wave's: what is weaker is not looked at."""
FLAT_ABOVE_PERIODS, FLAT_BESIDE_MM = 0.75, 200.0
"""How far above and beside a candidate a flat echo is looked for."""
LEAST_SHOWN = 0.1
SNAPPED_MM, SNAPPED_PERIODS = 15.0, 0.4
"""How far a pick may lie from the apex of the stack to be of the same echo."""


def propose_bars(
    job: Job, line: Line, stage: PickStage, report: Report = no_report
) -> tuple[BarProposal, ...]:
    """Bars that the line's echoes speak for, in the order of their positions.

    Parameters
    ----------
    job, line
        The line and its job; what is known of the antenna, not its marks.
    stage
        The line as it is picked on.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    scan = stage.scan
    if scan.traces < 8 or not scan.trace_spacing_mm > 0:
        return ()
    grid = grid_of(stage)
    found: list[Found] = []
    size = max(64, round(STRETCH_MM / scan.trace_spacing_mm))
    beside = round(BESIDE_MM / scan.trace_spacing_mm)
    permittivity = _permittivity(job, line, stage, grid, size)
    for first in range(0, scan.traces, size):
        last = min(scan.traces, first + size)
        low, high = max(0, first - beside), min(scan.traces, last + beside)
        found += [
            one
            for one in _in_stretch(job, line, stage, grid, low, high, permittivity)
            if _along(scan.positions_mm, first) <= one.along_mm < _along(scan.positions_mm, last)
        ]
        report(0.8 * last / scan.traces)
    verdicts = judge(found, stage.period_ns)
    proposals = _picked(stage, found, verdicts)
    report(1.0)
    return proposals


def _along(positions_mm: Floats, trace: int) -> float:
    """How far a trace lies from the first one, mm; endless behind the last."""
    if trace >= len(positions_mm):
        return math.inf
    return abs(float(positions_mm[trace] - positions_mm[0]))


def _permittivity(job: Job, line: Line, stage: PickStage, grid: Grid, size: int) -> float:
    """The permittivity that a line's clearest hyperbolas have; a typical one where there are none."""
    traces = stage.scan.traces
    values: list[float] = []
    weights: list[float] = []
    last_start = max(0, traces - size)
    for first in sorted({round(last_start * k / 2) for k in range(SAMPLED_STRETCHES)}):
        waves = waves_of(stage, grid, first, min(traces, first + size))
        operators = _operators(job, line, grid, waves.shape[0], TRIALS)[1]
        trials = stacks(waves, grid, operators)
        worth = np.stack([np.abs(trial.wave) * trial.coherence for trial in trials])
        coherence = np.stack([trial.coherence for trial in trials])
        top = worth.max(axis=0)
        peaks = (top == scipy.ndimage.maximum_filter(top, (5, 9))) & (
            top > LEAST_STRENGTH * stage.direct_peak
        )
        for row, column in np.argwhere(peaks).tolist():
            here = worth[:, row, column]
            best = int(here.argmax())
            if coherence[best, row, column] < 0.6 or best in (0, len(TRIALS) - 1):
                continue
            before, at, after = here[best - 1 : best + 2].tolist()
            shift = 0.5 * (before - after) / (before - 2 * at + after)
            step = math.log(TRIALS[1] / TRIALS[0])
            values.append(math.log(TRIALS[best]) + shift * step)
            weights.append(at)
    if not values:
        return TYPICAL_PERMITTIVITY
    order = np.argsort(values, kind="stable")
    share = np.cumsum(np.array(weights)[order])
    return math.exp(values[order[int(np.searchsorted(share, 0.5 * share[-1]))]])


def _operators(
    job: Job, line: Line, grid: Grid, rows: int, trials: Floats
) -> tuple[Moveout, list[Operator]]:
    """Moveouts and sums of some permittivities for apexes behind the direct wave."""
    moveout = moveouts(job, line, grid, rows, trials, TAIL_MM)
    first_row = int((line.direct.time_ns + FIRST_LAG * grid.period_ns) / grid.row_ns)
    return moveout, [operator(moveout, trial, grid, first_row) for trial in range(len(trials))]


def _in_stretch(
    job: Job, line: Line, stage: PickStage, grid: Grid, low: int, high: int, permittivity: float
) -> list[Found]:
    """What stacks like a bar between two traces."""
    waves = waves_of(stage, grid, low, high)
    moveout, operators = _operators(job, line, grid, waves.shape[0], permittivity * AROUND)
    least = LEAST_STRENGTH * stage.direct_peak
    taken, left = search(waves, grid, moveout, operators, least)
    positions = stage.scan.positions_mm
    start = abs(float(positions[low] - positions[0]))
    end = abs(float(positions[-1] - positions[0]))
    level = np.abs(left)
    flats = flat_echoes(left, grid)
    found = []
    for candidate, own in taken:
        one = sound(left, grid, operators, candidate, own)
        best = int((one.strength * one.coherence).argmax())
        along = start + one.column * grid.column_mm
        time_ns = one.row * grid.row_ns
        flat = _flat_above(flats, grid, operators[0].first_row, one)
        found.append(
            Found(
                along_mm=along,
                time_ns=time_ns,
                lag=(time_ns - line.direct.time_ns) / stage.period_ns,
                two_way_ns=two_way_beforehand_ns(job, line, time_ns),
                strength=float(one.strength[best]) / stage.direct_peak,
                coherence=float(one.coherence[best]),
                log_ratio=_log_ratio(one.strength * one.coherence),
                above_db=20 * math.log10(one.strength[best] / _around(level, grid, one)),
                phase=one.phase,
                edge_mm=min(along, end - along),
                flat_strength=abs(flat) / stage.direct_peak,
                flat_phase=cmath.phase(flat),
            )
        )
    return found


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
    logs = np.log(AROUND)
    if best in (0, len(logs) - 1):
        return float(logs[best])
    before, at, after = worth[best - 1 : best + 2].tolist()
    shift = 0.5 * (before - after) / (before - 2 * at + after)
    return float(logs[best] + shift * (logs[1] - logs[0]))


def _around(level: NDArray[np.float32], grid: Grid, one: Sounding) -> float:
    """Median strength of what is left around a candidate."""
    rows = 1.5 * grid.period_ns / grid.row_ns
    columns = 100.0 / grid.column_mm
    part = level[
        max(0, int(one.row - rows)) : int(one.row + rows) + 1,
        max(0, int(one.column - columns)) : int(one.column + columns) + 1,
    ]
    return max(float(np.median(part)), np.finfo(np.float32).tiny)


def _picked(
    stage: PickStage, found: Sequence[Found], verdicts: Sequence[Verdict]
) -> tuple[BarProposal, ...]:
    """Proposals of what is likely enough, the likeliest first where two mean the same echo."""
    positions = stage.scan.positions_mm
    way = 1.0 if positions[-1] >= positions[0] else -1.0
    proposals: list[BarProposal] = []
    for one, verdict in sorted(zip(found, verdicts, strict=True), key=lambda pair: -pair[1].score):
        if verdict.score < LEAST_SHOWN:
            break
        pick = _pick(stage, float(positions[0]) + way * one.along_mm, one.time_ns)
        if any(_same(pick, other.pick) for other in proposals):
            continue
        proposals.append(BarProposal(pick, verdict.score, verdict.reason))
    return tuple(sorted(proposals, key=lambda bar: (bar.pick.position_mm, bar.pick.time_ns)))


def _pick(stage: PickStage, position_mm: float, time_ns: float) -> Pick:
    """What a click on the stack's apex gives; the place itself where that is another echo's."""
    pick = snap_bar(stage, position_mm, time_ns)
    if (
        pick is None
        or abs(pick.position_mm - position_mm) > SNAPPED_MM
        or abs(pick.time_ns - time_ns) > SNAPPED_PERIODS * stage.period_ns
    ):
        return place_by_hand(stage, position_mm, time_ns)
    return with_crest(stage, pick)


def _same(pick: Pick, other: Pick) -> bool:
    return (
        abs(pick.position_mm - other.position_mm) < SAME_MM
        and abs(pick.time_ns - other.time_ns) < SAME_NS
    )
