"""The back face between the user's anchors: snapped trace by trace, with gaps left as gaps."""

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.measuring.picking import STANDS_OUT
from depthwright.measuring.stage import PickStage
from depthwright.processing.envelope import refine_peak
from depthwright.scan import BLOCK_TRACES

Floats = NDArray[np.float64]

REACH_PERIODS = 0.4
"""How far from the line between two anchors the echo may lie, in periods."""
SMOOTH_TRACES = 5


@dataclass(frozen=True)
class FaceTrack:
    """Where the back face's echo was found; both arrays have the shape (points,)."""

    position_mm: Floats
    time_ns: Floats


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
    A point for each trace between the outermost anchors where the envelope has a maximum of its own
    near the line through the anchors. A single anchor gives itself.
    """
    order = np.argsort(anchor_mm, kind="stable")
    anchor_mm, anchor_ns = anchor_mm[order], anchor_ns[order]
    positions = stage.scan.positions_mm
    inside = np.flatnonzero((positions >= anchor_mm[0]) & (positions <= anchor_mm[-1]))
    if len(anchor_mm) < 2 or not len(inside):
        return FaceTrack(anchor_mm, anchor_ns)
    pieces = [
        _snap_traces(
            stage, int(first), int(min(first + BLOCK_TRACES, inside[-1] + 1)), anchor_mm, anchor_ns
        )
        for first in range(int(inside[0]), int(inside[-1]) + 1, BLOCK_TRACES)
    ]
    times = np.concatenate(pieces)
    times = np.where(_steady(times, stage), times, np.nan)
    found = np.isfinite(times)
    where = positions[inside[0] : inside[-1] + 1][found]
    ascending = np.argsort(where, kind="stable")
    return FaceTrack(where[ascending], times[found][ascending])


def _snap_traces(
    stage: PickStage, first: int, last: int, anchor_mm: Floats, anchor_ns: Floats
) -> Floats:
    """Echo time in each trace, NaN where there is no maximum of its own, shape (traces,)."""
    scan = stage.scan
    margin = SMOOTH_TRACES // 2
    low, high = max(0, first - margin), min(scan.traces, last + margin)
    envelopes = scipy.ndimage.uniform_filter1d(
        stage.envelope(low, high).astype(np.float64), SMOOTH_TRACES, axis=0, mode="nearest"
    )[first - low : last - low]
    guide = np.interp(scan.positions_mm[first:last], anchor_mm, anchor_ns)
    time = np.arange(scan.samples) * scan.dt_ns
    near = np.abs(time[None, :] - guide[:, None]) <= REACH_PERIODS * stage.period_ns
    index = np.argmax(np.where(near, envelopes, -1.0), axis=1)
    traces = np.arange(last - first)
    inner = np.clip(index, 1, scan.samples - 2)
    own_maximum = (envelopes[traces, inner] >= envelopes[traces, inner - 1]) & (
        envelopes[traces, inner] >= envelopes[traces, inner + 1]
    )
    stands_out = envelopes[traces, index] >= STANDS_OUT * stage.noise
    times = refine_peak(envelopes, index) * scan.dt_ns
    return np.where(own_maximum & stands_out & (index == inner), times, np.nan)


def _steady(times: Floats, stage: PickStage) -> NDArray[np.bool_]:
    """Points that lie with their neighbours: within a fifth of a period of the running median."""
    found = np.flatnonzero(np.isfinite(times))
    steady = np.zeros(len(times), dtype=bool)
    if len(found):
        running = scipy.ndimage.median_filter(times[found], size=9, mode="nearest")
        steady[found] = np.abs(times[found] - running) <= 0.2 * stage.period_ns
    return steady
