"""Waves averaged along the line over the patch that a level echo comes from.

A back face's echo is gathered from about the first Fresnel zone, some 60 mm to either side at a depth of
160 mm. Averaged over it, what lies level stays, and the steep tails of bars' hyperbolas go. On full-wave
lines under bars that halves the errors of the picked times and more (own computation).
"""

from collections.abc import Iterator
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import alive
from depthwright.scan import BLOCK_TRACES

Floats = NDArray[np.float64]
Waves = NDArray[np.complex64]
"""Analytic signal, shape (traces, samples)."""
Values = TypeVar("Values", NDArray[np.complex64], NDArray[np.float32])
Indices = NDArray[np.intp]

PATCH_MM = 40.0
"""Standard deviation of the weights along the line."""
REACH = 2.5
"""How far weights reach, in standard deviations."""
COLUMN_MM = 5.0
"""Distance of the places along the line at which a level echo is looked at; it changes more slowly."""


def column_traces(stage: PickStage) -> Indices:
    """Traces about :data:`COLUMN_MM` apart, from the first on, shape (columns,)."""
    spacing = stage.scan.trace_spacing_mm or COLUMN_MM
    return np.arange(0, stage.scan.traces, max(1, round(COLUMN_MM / spacing)), dtype=np.intp)


def pieces(
    stage: PickStage, columns: Indices, spread_mm: float
) -> Iterator[tuple[slice, Indices, Waves, NDArray[np.bool_]]]:
    """Walk along some columns with the traces around them that an average over ``spread_mm`` needs.

    Yields
    ------
    Which of the columns, the traces around them, their analytic signal, and which of them are alive.
    """
    spacing = stage.scan.trace_spacing_mm or COLUMN_MM
    around = int(np.ceil(REACH * spread_mm / spacing)) + 1
    per_column = int(columns[1] - columns[0]) if len(columns) > 1 else 1
    step = max(1, max(BLOCK_TRACES, 2 * around) // per_column)
    for start in range(0, len(columns), step):
        part = columns[start : start + step]
        first = max(0, int(part[0]) - around)
        last = min(stage.scan.traces, int(part[-1]) + around + 1)
        waves = stage.waves(first, last)
        # By the traces as recorded: without the direct wave a place without echoes would pass for dead.
        living = alive(stage.scan.block(first, last))
        yield slice(start, start + len(part)), np.arange(first, last), waves, living


def averaged(
    at_mm: Floats, position_mm: Floats, waves: Values, living: NDArray[np.bool_], spread_mm: float
) -> Values:
    """Waves, or their power, averaged with Gaussian weights around places, shape (places, samples).

    Traces that are not alive do not count; where none is near, the average is zero.
    """
    away = (at_mm[:, None] - position_mm[None, :]) / spread_mm
    near = (np.abs(away) <= REACH) & living
    weights = np.zeros(away.shape)
    weights[near] = np.exp(-(away[near] ** 2) / 2)
    total = weights.sum(axis=1, keepdims=True)
    weights /= np.where(total > 0, total, 1.0)
    # Real weights: as floats, complex waves cost half.
    plain = np.ascontiguousarray(waves).view(np.float32)
    mean: Values = (weights.astype(np.float32) @ plain).view(waves.dtype)
    return mean


def patch_envelopes(stage: PickStage, columns: Indices, low: int, high: int) -> NDArray[np.float32]:
    """Envelopes averaged over the patch at some traces, shape (columns, high - low).

    Parameters
    ----------
    stage
        The line as it is picked on.
    columns
        The traces.
    low, high
        First sample, and the one after the last.
    """
    position = stage.scan.positions_mm
    found = np.empty((len(columns), high - low), np.float32)
    for part, traces, waves, living in pieces(stage, columns, PATCH_MM):
        mean = averaged(
            position[columns[part]], position[traces], waves[:, low:high], living, PATCH_MM
        )
        np.abs(mean, out=found[part])
    return found
