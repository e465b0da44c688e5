"""The back face between the user's anchors: its ridge followed, with gaps left as gaps."""

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.measuring.patch import (
    COLUMN_MM,
    PATCH_MM,
    REACH,
    Waves,
    averaged,
    column_traces,
    patch_envelopes,
    pieces,
)
from depthwright.measuring.path import best_path
from depthwright.measuring.picking import FACE_STANDS_OUT
from depthwright.measuring.stage import PickStage
from depthwright.processing.envelope import refine_peak

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

BEYOND_PERIODS = 2.0
"""How far before the earliest and after the latest anchor the echo may lie, in periods."""
MOST_SLOPE_NS_PER_MM = 0.006
"""Steepest back face that is followed: about 18 degrees at the typical permittivity. A bar's tail is
three times as steep."""
STEP_MM = 30.0
"""A step in thickness is believed where this much of a ridge is gained by it."""
MOST_STEP_PERIODS = 1.6
"""Greatest step, in periods: 45 mm at 2 GHz and the typical permittivity."""
PATH_EVERY = 2
"""Columns of which one is looked at to find the path; the echo's time is read in all."""
WITHIN_PERIODS = 0.35
"""How far from its path the echo's envelope may have its maximum."""
NARROW_MM = 8.0
"""Over how much of the line a place has to show the echo by itself."""
TYPICAL_MM = 500.0
"""The stretch of which the echo's usual strength is taken."""
SAME_PLACE_MM = 0.01
LEAST_SHARE = 0.25
"""Share of the usual strength below which there is a gap."""


@dataclass(frozen=True)
class FaceTrack:
    """Where the back face's echo was found, shape (points,) each.

    ``quality`` says how much a place shows of the echo's usual strength by itself, 0 to 1; None for a face
    that was not tracked.
    """

    position_mm: Floats
    time_ns: Floats
    quality: Floats | None = None


def track_face(stage: PickStage, anchor_mm: Floats, anchor_ns: Floats) -> FaceTrack:
    """Follow the back face's echo between anchors.

    Parameters
    ----------
    stage
        The line as it is picked on.
    anchor_mm, anchor_ns
        Position and time of the anchors, shape (anchors,), in any order.

    Returns
    -------
    The anchors, and places about :data:`~depthwright.measuring.patch.COLUMN_MM` apart between them where
    the echo shows by itself, in ascending order. A single anchor gives itself.
    """
    order = np.argsort(anchor_mm, kind="stable")
    anchor_mm, anchor_ns = anchor_mm[order], anchor_ns[order]
    columns = column_traces(stage)
    positions = stage.scan.positions_mm[columns]
    # A little beyond the anchors, where the averages near them come from.
    beyond = REACH * PATCH_MM
    columns = columns[(positions >= anchor_mm[0] - beyond) & (positions <= anchor_mm[-1] + beyond)]
    if len(anchor_mm) < 2 or len(columns) < 2:
        return FaceTrack(anchor_mm, anchor_ns)
    some = columns[::PATH_EVERY]
    path = _between(
        some, _path(stage, some, anchor_mm, anchor_ns), columns, most_slope(stage, some)
    )
    echo = follow(stage, columns, path)
    usual = usual_strength(echo.strength, columns, stage)
    shows = np.isfinite(echo.time_ns) & (
        echo.strength >= np.maximum(LEAST_SHARE * usual, FACE_STANDS_OUT * stage.noise)
    )
    quality = np.clip(echo.strength / np.maximum(usual, 1e-30), 0.0, 1.0)
    positions = stage.scan.positions_mm[columns]
    shows &= (positions >= anchor_mm[0]) & (positions <= anchor_mm[-1])
    found = FaceTrack(positions, echo.time_ns, quality)
    return _with_anchors(found, shows, anchor_mm, anchor_ns)


@dataclass(frozen=True)
class Followed:
    """An echo along a path, shape (columns,) each.

    ``time_ns`` are file times, NaN where no maximum is near the path; ``strength`` is how much of the
    averaged echo a place shows by itself, an amplitude; ``phase`` is that of the averaged wave at its
    maximum, rad; ``alike`` the share of the waves' power that is left in their average: 1 where they are all
    the same.
    """

    time_ns: Floats
    strength: Floats
    phase: Floats
    alike: Floats


def follow(stage: PickStage, columns: Indices, path: Indices) -> Followed:
    """The echo near a path.

    The waves are laid level along the path before they are averaged, so that neither a slope nor a step
    blurs them.

    Parameters
    ----------
    stage
        The line as it is picked on.
    columns, path
        Traces and the sample of the echo in each, shape (columns,).
    """
    scan = stage.scan
    half = max(2, round(WITHIN_PERIODS * stage.period_ns / scan.dt_ns))
    window = np.arange(-half - 1, half + 2)
    times, strength, phase, alike = (np.full(len(columns), np.nan) for _ in range(4))
    smooth = _smooth(path, PATCH_MM / _column_mm(stage, columns), most_slope(stage, columns))
    for part, traces, waves, living in pieces(stage, columns, PATCH_MM):
        along_path = np.interp(traces, columns, smooth)
        level = np.round(along_path).astype(np.intp)
        inside = np.clip(level[:, None] + window, 0, scan.samples - 1)
        flat = np.take_along_axis(waves, inside, axis=1)
        at, along = scan.positions_mm[columns[part]], scan.positions_mm[traces]
        broad = averaged(at, along, flat, living, PATCH_MM)
        rounded = (level - along_path).astype(np.float32)[:, None]
        shift = averaged(at, along, rounded, living, PATCH_MM)[:, 0]
        times[part] = (smooth[part] + shift + _peak(np.abs(broad), half + 1)) * scan.dt_ns
        phase[part] = np.angle(broad[np.arange(len(broad)), np.abs(broad).argmax(axis=1)])
        strength[part] = _share(averaged(at, along, flat, living, NARROW_MM), broad)
        power = averaged(at, along, np.square(np.abs(flat)), living, PATCH_MM).sum(axis=1)
        alike[part] = np.square(np.abs(broad)).sum(axis=1) / np.maximum(power, 1e-30)
    return Followed(times, strength, phase, alike)


def _smooth(path: Indices, spread: float, most_slope: int) -> Floats:
    """A path without its small wiggles, which would be printed on the averages; slopes and steps stay."""
    steps = np.flatnonzero(np.abs(np.diff(path)) > most_slope) + 1
    return np.concatenate([_smooth_stretch(part, spread) for part in np.split(path, steps)])


def _smooth_stretch(path: Indices, spread: float) -> Floats:
    beyond = min(len(path) - 1, round(4 * spread))
    # Turned about its ends, so that a slope goes on.
    before, after = 2 * path[0] - path[beyond:0:-1], 2 * path[-1] - path[-2 : -2 - beyond : -1]
    longer = np.concatenate([before, path, after]).astype(np.float64)
    longer = scipy.ndimage.median_filter(longer, 2 * round(spread) + 1, mode="nearest")
    longer = scipy.ndimage.gaussian_filter1d(longer, spread, mode="nearest")
    smooth: Floats = longer[beyond : beyond + len(path)]
    return smooth


def _peak(envelopes: NDArray[np.floating], centre: int) -> Floats:
    """Place of each envelope's inner maximum against its centre, NaN where it has none."""
    index = 1 + np.argmax(envelopes[:, 1:-1], axis=1)
    rows = np.arange(len(index))
    own = (envelopes[rows, index] >= envelopes[rows, index - 1]) & (
        envelopes[rows, index] >= envelopes[rows, index + 1]
    )
    own &= envelopes[rows, index] > 0
    return np.where(own, refine_peak(envelopes, index) - centre, np.nan)


def _share(narrow: Waves, broad: Waves) -> Floats:
    """Amplitude with which the echo of a broad average is found in narrow ones."""
    size = np.sqrt((np.abs(broad) ** 2).sum(axis=1))
    like = np.real((narrow * broad.conj()).sum(axis=1))
    share: Floats = like / np.maximum(size, 1e-30) / np.sqrt(broad.shape[1])
    return share


def usual_strength(strength: Floats, columns: Indices, stage: PickStage) -> Floats:
    """Strength that an echo has in the better half of the line around each place, shape (columns,)."""
    size = max(3, round(TYPICAL_MM / _column_mm(stage, columns)))
    usual: Floats = scipy.ndimage.percentile_filter(strength, 75, size=size, mode="nearest")
    return usual


def _column_mm(stage: PickStage, columns: Indices) -> float:
    if len(columns) < 2:
        return COLUMN_MM
    return float(np.median(np.abs(np.diff(stage.scan.positions_mm[columns]))))


def most_slope(stage: PickStage, columns: Indices) -> int:
    """By how many samples a back face may rise or fall from one column to the next."""
    per_column = MOST_SLOPE_NS_PER_MM * _column_mm(stage, columns)
    return int(np.clip(np.ceil(per_column / stage.scan.dt_ns), 1, stage.scan.samples // 4 + 1))


def ridge_path(
    stage: PickStage, columns: Indices, worth: NDArray[np.float32], fixed: Indices
) -> Indices:
    """The best way along a back face: as steep and with such steps as there are.

    Parameters
    ----------
    stage, columns
        The line as it is picked on, and the traces that are looked at.
    worth
        What it is worth to pass through, 1 on a ridge, shape (columns, samples).
    fixed
        Samples that it must pass through, -1 where it is free, shape (columns,).
    """
    most_step = round(MOST_STEP_PERIODS * stage.period_ns / stage.scan.dt_ns)
    cost = STEP_MM / _column_mm(stage, columns)
    return best_path(worth, fixed, most_slope(stage, columns), most_step, cost)


def _between(some: Indices, path: Indices, columns: Indices, most_slope: int) -> Indices:
    """A path through some columns as one through all; a step stays a step."""
    filled = np.rint(np.interp(columns, some, path)).astype(np.intp)
    before = np.clip(np.searchsorted(some, columns, side="right") - 1, 0, max(0, len(some) - 2))
    after = np.minimum(before + 1, len(some) - 1)
    stepped = np.abs(path[after] - path[before]) > most_slope
    return np.where(stepped & (columns < some[after]), path[before], filled)


def _path(stage: PickStage, columns: Indices, anchor_mm: Floats, anchor_ns: Floats) -> Indices:
    """Sample of the face in each column, through the anchors."""
    scan = stage.scan
    beyond = BEYOND_PERIODS * stage.period_ns
    low = int(np.clip((anchor_ns.min() - beyond) / scan.dt_ns, 0, scan.samples - 4))
    high = int(np.clip((anchor_ns.max() + beyond) / scan.dt_ns + 1, low + 4, scan.samples))
    worth = patch_envelopes(stage, columns, low, high)
    positions = scan.positions_mm[columns]
    near = _nearest(positions, anchor_mm)
    rows = np.clip(np.round(anchor_ns / scan.dt_ns).astype(np.intp) - low, 0, high - low - 1)
    fixed = np.full(len(columns), -1, dtype=np.intp)
    fixed[near] = rows
    guide = np.interp(positions, anchor_mm, anchor_ns)
    time = np.arange(low, high) * scan.dt_ns
    beside = np.abs(time[None, :] - guide[:, None]) > stage.period_ns
    size = max(3, round(TYPICAL_MM / _column_mm(stage, columns)))
    strongest = np.where(beside, 0.0, worth).max(axis=1)
    usual = scipy.ndimage.percentile_filter(strongest, 75, size=size, mode="nearest")
    worth /= np.maximum(usual, 1e-30)[:, None]
    np.minimum(worth, 1.0, out=worth)
    return low + ridge_path(stage, columns, worth, fixed)


def _with_anchors(
    found: FaceTrack, shows: NDArray[np.bool_], anchor_mm: Floats, anchor_ns: Floats
) -> FaceTrack:
    """The places where the echo shows, with the anchors just as they are, in ascending order."""
    assert found.quality is not None, "what is tracked has a quality"
    near = _nearest(found.position_mm, anchor_mm)
    beside = shows.copy()
    beside[near] &= np.abs(found.position_mm[near] - anchor_mm) > SAME_PLACE_MM
    along = np.concatenate([found.position_mm[beside], anchor_mm])
    times = np.concatenate([found.time_ns[beside], anchor_ns])
    quality = np.concatenate([found.quality[beside], found.quality[near]])
    order = np.argsort(along, kind="stable")
    return FaceTrack(along[order], times[order], quality[order])


def _nearest(position_mm: Floats, places_mm: Floats) -> Indices:
    """Index of the position nearest to each place; positions rise or fall steadily."""
    order = np.argsort(position_mm)
    near: Indices = np.rint(np.interp(places_mm, position_mm[order], order)).astype(np.intp)
    return near
