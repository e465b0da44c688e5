"""From a click to a pick: the envelope maximum in time and, for a bar, the apex along the line.

Picks are made on the pick stage only. Positions and times are those of the recorded axes.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.measuring.patch import PATCH_MM, patch_envelopes
from depthwright.measuring.ridge import APERTURE_MM, Node, follow_crest, nodes_of
from depthwright.measuring.stage import PickStage
from depthwright.processing.envelope import refine_peak

Floats = NDArray[np.float64]
Envelopes = NDArray[np.floating]

REACH_MM = 40.0
"""How far along the line a click may be from the apex it means."""
REACH_PERIODS = 0.6
"""How far in time a click may be from the maximum it means, in periods."""
APEX_HALF_MM = 45.0
"""Half the stretch of the hyperbola whose times are fitted to place the apex."""
STANDS_OUT = 2.5
"""A pick's envelope, as a multiple of the line's median envelope, below which nothing is picked."""
FACE_STANDS_OUT = 0.8
"""The same for the back face, whose waves are averaged along the line: noise falls by that, and so do the
hyperbolas that the median holds."""
OVERLAP_PERIODS = 1.2
"""Echoes nearer than this to the direct wave overlap it; their times are less certain."""


_PICKED_WITHIN = 3
"""Samples within which a pick's own maximum is found again."""
UNCRESTED_U_MM = APEX_HALF_MM / 4
"""Standard uncertainty along the line of a pick that no crest has placed."""


@dataclass(frozen=True)
class Pick:
    """A snapped pick on the recorded axes.

    ``position_u_mm`` is the standard uncertainty of the apex along the line, NaN for a face;
    ``overlaps_direct`` says that the echo lies on the direct wave's tail; ``crest`` holds the picked
    points of a bar's hyperbola (mm and ns), ``crest_alone`` whether the other bars' echoes were taken away
    before they were picked.
    """

    position_mm: float
    position_u_mm: float
    time_ns: float
    overlaps_direct: bool = False
    crest: tuple[Node, ...] = ()
    crest_alone: bool = False

    @property
    def placed_by_crest(self) -> bool:
        """Whether a hyperbola's crest placed it; without one it may be no bar at all."""
        return not self.position_u_mm >= UNCRESTED_U_MM


def snap_bar(stage: PickStage, position_mm: float, time_ns: float) -> Pick | None:
    """The bar apex that a click near ``(position_mm, time_ns)`` means, or None.

    The strongest envelope maximum near the click starts a ridge; the ridge's earliest time, by a
    parabola through its crest, places the apex between the traces.
    """
    first, last = _stretch(stage, position_mm, REACH_MM + APEX_HALF_MM)
    envelopes = _smooth_along(stage.envelope(first, last))
    start = _strongest_near(stage, envelopes, first, position_mm, time_ns)
    if start is None:
        return None
    ridge = _ridge(stage, envelopes, first, *start)
    apex_mm, apex_u_mm = _crest(stage, ridge, first, start[0])
    trace = int(np.clip(stage.scan.nearest_trace(apex_mm) - first, 0, len(ridge) - 1))
    picked_ns = float(ridge[trace])
    if not np.isfinite(picked_ns):
        trace, picked_ns = start[0], float(ridge[start[0]])
        apex_mm = float(stage.scan.positions_mm[first + trace])
    return Pick(apex_mm, apex_u_mm, picked_ns, _overlaps(stage, picked_ns))


def with_crest(stage: PickStage, pick: Pick) -> Pick:
    """A bar's pick with the points of its hyperbola; without them where it has none.

    It looks at more of the line than a snap does, so that it is for picks that are made, not hovered.
    """
    if not pick.placed_by_crest:
        return pick
    first, last = crest_traces(stage, pick)
    envelopes = _smooth_along(stage.envelope(first, last))
    trace = stage.scan.nearest_trace(pick.position_mm) - first
    guess = round(pick.time_ns / stage.scan.dt_ns)
    low = max(1, guess - _PICKED_WITHIN)
    sample = low + int(np.argmax(envelopes[trace, low : guess + _PICKED_WITHIN + 1]))
    times = follow_crest(stage, envelopes, first, trace, sample)
    crest = nodes_of(stage.scan.positions_mm[first:last], times, pick.position_mm)
    return replace(pick, crest=crest, crest_alone=False)


def crest_traces(stage: PickStage, pick: Pick) -> tuple[int, int]:
    """The traces that a pick's crest is looked for in, from the first up to the last."""
    return _stretch(stage, pick.position_mm, APERTURE_MM)


def place_by_hand(stage: PickStage, position_mm: float, time_ns: float) -> Pick:
    """A pick just where it was put, with the uncertainty of a hand."""
    spacing = stage.scan.trace_spacing_mm
    return Pick(position_mm, max(spacing, UNCRESTED_U_MM), time_ns, _overlaps(stage, time_ns))


def snap_face(stage: PickStage, position_mm: float, time_ns: float) -> Pick | None:
    """The echo of the back face nearest in time to a click, or None.

    It is the envelope maximum of the waves averaged over the patch that a level echo comes from.
    """
    trace = stage.scan.nearest_trace(position_mm)
    mean = patch_envelopes(stage, np.array([trace]), 0, stage.scan.samples)[0]
    low, high = _time_window(stage, time_ns, REACH_PERIODS)
    peaks = _peaks(mean, low, high)
    least = max(FACE_STANDS_OUT, STANDS_OUT / math.sqrt(_patch_traces(stage)))
    if not len(peaks) or mean[peaks].max() < least * stage.noise:
        return None
    worth = mean[peaks] * np.exp(-(((peaks * stage.scan.dt_ns - time_ns) / stage.period_ns) ** 2))
    best = peaks[[int(np.argmax(worth))]]
    picked_ns = float(refine_peak(mean[None, :], best)[0] * stage.scan.dt_ns)
    return Pick(float(stage.scan.positions_mm[trace]), float("nan"), picked_ns)


def _patch_traces(stage: PickStage) -> float:
    """How many traces are in effect averaged over a patch: as many times less is the noise's power."""
    spacing = stage.scan.trace_spacing_mm or PATCH_MM
    return float(np.clip(2 * math.sqrt(math.pi) * PATCH_MM / spacing, 1, stage.scan.traces))


def _overlaps(stage: PickStage, time_ns: float) -> bool:
    return time_ns - stage.direct.time_ns < OVERLAP_PERIODS * stage.period_ns


def _stretch(stage: PickStage, position_mm: float, half_mm: float) -> tuple[int, int]:
    """Traces around a position: at least two on either side where the line has them."""
    scan = stage.scan
    centre = scan.nearest_trace(position_mm)
    half = max(2, round(half_mm / scan.trace_spacing_mm)) if scan.traces > 1 else 0
    return max(0, centre - half), min(scan.traces, centre + half + 1)


def _smooth_along(envelopes: Envelopes) -> Floats:
    """Each trace with a quarter of either neighbour; the ends go on."""
    longer = np.concatenate([envelopes[:1], envelopes, envelopes[-1:]]).astype(np.float64)
    smoothed: Floats = 0.25 * (longer[:-2] + longer[2:]) + 0.5 * longer[1:-1]
    return smoothed


def _strongest_near(
    stage: PickStage, envelopes: Floats, first: int, position_mm: float, time_ns: float
) -> tuple[int, int] | None:
    """Trace (within the block) and sample of the maximum that a click means."""
    scan = stage.scan
    away_mm = (scan.positions_mm[first : first + len(envelopes)] - position_mm) / REACH_MM
    away_ns = (np.arange(scan.samples) * scan.dt_ns - time_ns) / (REACH_PERIODS * stage.period_ns)
    # One trace and one sample more to each side, so that its edge is no maximum.
    traces, samples = _with_neighbours(away_mm), _with_neighbours(away_ns)
    near = envelopes[traces, samples]
    if not near.size:
        return None
    distance = (away_mm[traces] ** 2)[:, None] + (away_ns[samples] ** 2)[None, :]
    peaks = scipy.ndimage.maximum_filter(near, size=(3, 3)) == near
    peaks &= (near >= STANDS_OUT * stage.noise) & (distance <= 1)
    if not peaks.any():
        return None
    worth = np.where(peaks, near * np.exp(-2 * distance), 0.0)
    trace, sample = np.unravel_index(int(np.argmax(worth)), worth.shape)
    return traces.start + int(trace), samples.start + int(sample)


def _with_neighbours(away: NDArray[np.floating]) -> slice:
    """Where a distance, which falls and rises again, is at most 1, and one to either side."""
    within = np.flatnonzero(np.abs(away) <= 1)
    return slice(max(0, int(within[0]) - 1), int(within[-1]) + 2) if len(within) else slice(0, 0)


def _ridge(stage: PickStage, envelopes: Floats, first: int, trace: int, sample: int) -> Floats:
    """Times of the envelope ridge through a maximum, shape (traces,); NaN where it breaks off.

    It is followed as far as an apex is looked for.
    """
    positions = stage.scan.positions_mm[first : first + len(envelopes)]
    wanted = _with_neighbours((positions - positions[trace]) / APEX_HALF_MM)
    slack = max(1, round(0.2 * stage.period_ns / stage.scan.dt_ns))
    floor = 0.35 * envelopes[trace, sample]
    index = np.full(len(envelopes), -1, dtype=np.intp)
    for step in (-1, 1):
        here, at = trace, sample
        while wanted.start <= here < min(wanted.stop, len(envelopes)):
            low = max(0, at - slack)
            near = envelopes[here, low : at + slack + 1].tolist()
            top = max(near)
            if top < floor:
                break
            at = low + near.index(top)
            index[here] = at
            here += step
    times = refine_peak(envelopes, np.maximum(index, 0)) * stage.scan.dt_ns
    return np.where(index >= 0, times, np.nan)


def _crest(stage: PickStage, ridge: Floats, first: int, trace: int) -> tuple[float, float]:
    """Position of the ridge's earliest time and its standard uncertainty, mm.

    A hyperbola's squared time is a parabola of the position; its vertex, from the points within
    :data:`APEX_HALF_MM`, carries the fit's own scatter and a quarter of the trace spacing.
    """
    positions = stage.scan.positions_mm[first : first + len(ridge)]
    start_mm = float(positions[trace])
    spacing = stage.scan.trace_spacing_mm
    fallback_u = max(spacing, UNCRESTED_U_MM)
    # The direct wave's time stands for a two-way time of nearly zero.
    squared = (ridge - stage.direct.time_ns) ** 2
    use = np.isfinite(ridge) & (np.abs(positions - start_mm) <= APEX_HALF_MM)
    if use.sum() < 5:
        return start_mm, fallback_u
    terms = ((positions[use] - start_mm)[:, None] / APEX_HALF_MM) ** np.array([2, 1, 0])
    covariance = np.linalg.inv(terms.T @ terms)
    parabola = covariance @ (terms.T @ squared[use])
    residual = squared[use] - terms @ parabola
    units = APEX_HALF_MM ** np.array([-2.0, -1.0])
    bend, slope = parabola[:2] * units
    if bend <= 0 or abs(slope / (2 * bend)) > REACH_MM:
        return start_mm, fallback_u
    vertex = -slope / (2 * bend)
    scatter = float(np.sqrt((residual**2).sum() / (use.sum() - 3))) if use.sum() > 3 else 0.0
    by_slope = -1 / (2 * bend)
    by_bend = slope / (2 * bend**2)
    gradient = np.array([by_bend, by_slope])
    gradient *= units
    variance = float(gradient @ covariance[:2, :2] @ gradient) * scatter**2
    apex_u_mm = float(np.hypot(np.sqrt(variance), spacing / 4))
    if apex_u_mm > fallback_u:
        return start_mm, fallback_u
    return start_mm + float(vertex), apex_u_mm


def _time_window(stage: PickStage, time_ns: float, periods: float) -> tuple[int, int]:
    half = periods * stage.period_ns
    dt = stage.scan.dt_ns
    low = int(np.clip(np.floor((time_ns - half) / dt), 1, stage.scan.samples - 2))
    high = int(np.clip(np.ceil((time_ns + half) / dt), low + 1, stage.scan.samples - 1))
    return low, high


def _peaks(trace: Envelopes, low: int, high: int) -> NDArray[np.intp]:
    """Samples of the maxima of one envelope between ``low`` and ``high``."""
    inner = trace[low:high]
    above = (inner >= trace[low - 1 : high - 1]) & (inner > trace[low + 1 : high + 1])
    return low + np.flatnonzero(above)
