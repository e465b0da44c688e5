"""The crest of a bar's hyperbola: its times to both sides of the apex, thinned to independent nodes."""

import math

import numpy as np
from numpy.typing import NDArray

from depthwright.measuring.stage import PickStage
from depthwright.processing.envelope import peak_shift

Floats = NDArray[np.float64]
Node = tuple[float, float]
"""Position along the line, mm, and file time, ns."""

APERTURE_MM = 160.0
"""How far to each side of the apex a crest is followed."""
FLOOR = 0.3
"""Share of the apex's envelope below which a crest has ended."""
SLACK_PERIODS = 0.16
"""How far from its last slope a crest may lie in the next trace, in periods.

At 0.12 most crests broke off on their bend with traces 10 mm apart; at 0.2 some go over to a neighbour's
over close bars (full-wave runs).
"""
NEW_SLOPE = 0.7
"""Share of the newest step in the slope. A slope smoothed more lags behind the bend."""
FALL_PERIODS = 0.02
"""A crest that comes earlier than this against the trace before, away from the apex, is another's."""
NODE_MM = 20.0
"""Distance of the nodes. Errors of a crest are alike over about 20 mm (aggregate and the width of the
beam; full-wave runs, own computation), so nearer points would count the same error twice."""
_WINDOW_MM = 12.5
_LEAST_NODES = 5


def follow_crest(
    stage: PickStage, envelopes: Floats, first: int, trace: int, sample: int
) -> Floats:
    """Times of the crest through an envelope maximum, ns, shape (traces,); NaN where it is not followed.

    Parameters
    ----------
    stage
        The line as it is picked on.
    envelopes
        Envelopes of some traces, shape (traces, samples), the first being trace ``first`` of the scan.
    first, trace, sample
        Where the block begins, and the maximum within it.
    """
    per_sample = stage.period_ns / stage.scan.dt_ns
    slack, fall = max(1.0, SLACK_PERIODS * per_sample), max(1.0, FALL_PERIODS * per_sample)
    reach = max(2, round(APERTURE_MM / stage.scan.trace_spacing_mm))
    floor = FLOOR * envelopes[trace, sample]
    crest = np.full(len(envelopes), np.nan)
    crest[trace] = _refined(envelopes, trace, sample)
    for way in (-1, 1):
        at, slope = float(crest[trace]), 0.0
        for here in range(trace + way, trace + way * (reach + 1), way):
            if not 0 <= here < len(envelopes):
                break
            place = _near(envelopes[here], at + slope, slack, floor)
            if place is None or place < at - fall:
                break
            slope += NEW_SLOPE * (place - at - slope)
            at = crest[here] = place
    return crest * stage.scan.dt_ns


def nodes_of(position_mm: Floats, time_ns: Floats, apex_mm: float) -> tuple[Node, ...]:
    """A crest thinned to nodes a fixed distance apart, each by a parabola through the points around it.

    Parameters
    ----------
    position_mm, time_ns
        The crest, shape (points,), NaN times where it was not followed.
    apex_mm
        Where the apex is; one node lies there.

    Returns
    -------
    The nodes, from one side to the other; none when there are too few for a curvature.
    """
    known = np.isfinite(time_ns)
    position, time = position_mm[known], time_ns[known]
    if not len(position):
        return ()
    spacing = float(np.median(np.abs(np.diff(position)))) if len(position) > 1 else NODE_MM
    step = NODE_MM * max(1.0, np.ceil(spacing / NODE_MM))
    low, high = (
        np.ceil((position.min() - apex_mm) / step),
        np.floor((position.max() - apex_mm) / step),
    )
    centre = apex_mm + np.arange(low, high + 1) * step
    # Midway between two traces, three lie within one and a half times their distance.
    window = max(_WINDOW_MM, 1.51 * spacing)
    away = (position - centre[:, None]) / window
    near = np.abs(away) <= 1
    enough = near.sum(axis=1) >= 3
    centre, away, near = centre[enough], away[enough], near[enough]
    if len(centre) < _LEAST_NODES:
        return ()
    # The parabolas' normal equations; at its centre a parabola has the value of its constant.
    power = away[:, None, :] ** np.arange(3)[:, None] * near[:, None, :]
    matrix = power @ power.transpose(0, 2, 1)
    middle = float(time.mean())
    value = middle + np.linalg.solve(matrix, power @ (time - middle)[:, None])[:, 0, 0]
    return tuple(zip(centre.tolist(), value.tolist(), strict=True))


def _refined(envelopes: Floats, trace: int, sample: int) -> float:
    """Place of a maximum below a sample."""
    if not 0 < sample < envelopes.shape[1] - 1:
        return float(sample)
    return sample + peak_shift(*envelopes[trace, sample - 1 : sample + 2].tolist())


def _near(envelope: Floats, guess: float, slack: float, floor: float) -> float | None:
    """Place of the greatest envelope near a guess when it is a maximum of its own above the floor."""
    low = max(1, math.ceil(guess - slack))
    high = min(len(envelope) - 1, math.floor(guess + slack) + 1)
    if low >= high:
        return None
    # A few plain numbers: arrays would cost more than what is done with them.
    near: list[float] = envelope[low - 1 : high + 1].tolist()
    top = max(near[1:-1])
    at = near.index(top, 1)
    if top < floor or top < near[at - 1] or top < near[at + 1]:
        return None
    return low - 1 + at + peak_shift(*near[at - 1 : at + 2])
