"""A check of the linear posterior where the problem is curved: everything is drawn, and solved each time.

In the manner of JCGM 101:2008, 5: readings, picks and everything known beforehand are drawn from their
distributions around what they are, and the whole non-linear problem is solved for each draw (for a
linear problem the results are distributed as the posterior itself).
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from depthwright.depth.estimator import solve_model
from depthwright.depth.model import Model
from depthwright.depth.points import Points
from depthwright.depth.unknowns import Setting
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]


def drawn_depths(
    points: Points, setting: Setting, draws: int, random: np.random.Generator
) -> Floats:
    """Depths of the points in each draw, mm, shape (draws, points).

    A draw that contradicts physics is NaN throughout: the distribution is cut off there.
    """
    model = Model.of(setting)
    depths = np.full((draws, len(points.time_ns)), np.nan)
    for row in depths:
        unknowns = tuple(
            replace(unknown, mean=unknown.mean + unknown.u * random.normal())
            if np.isfinite(unknown.u)
            else unknown
            for unknown in model.columns.unknowns
        )
        moved = replace(model, columns=replace(model.columns, unknowns=unknowns))
        drawn = _drawn_points(points, random)
        try:
            row[:] = solve_model(drawn, moved).depths(drawn).depth_mm
        except DepthwrightError:
            continue
    return depths


def _drawn_points(points: Points, random: np.random.Generator) -> Points:
    """Picks, ties and curvatures, each with an error of its own; what ties share is the meter's."""
    count = len(points.time_ns)
    own = np.sqrt(1 - np.where(points.meter >= 0, points.shared, 0.0))
    return replace(
        points,
        time_ns=points.time_ns + points.time_u_ns * random.normal(size=count),
        tie_mm=points.tie_mm + points.tie_u_mm * own * random.normal(size=count),
        curve=points.curve + points.curve_u * random.normal(size=count),
    )
