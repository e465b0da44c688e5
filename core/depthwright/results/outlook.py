"""How good the depths are, near the surface and deep, and what one more reading would bring."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from depthwright.depth.estimator import Points, solve
from depthwright.depth.influence import with_reading
from depthwright.depth.unknowns import Setting
from depthwright.job import Job
from depthwright.results.adopt import Adopted
from depthwright.results.values import (
    COVERAGE_FACTOR,
    LineRows,
    Measured,
    Outlook,
    OutlookRow,
)
from depthwright.units import format_length

DRILLED_U_MM = 1.0
"""A hole measured with a depth gauge: common practice, no source."""


@dataclass(frozen=True)
class _Deep:
    """The deepest known thing of a job: where it is read, as a point without a tie."""

    label: str
    depth: Measured
    point: Points
    near: Points


def outlook(
    job: Job, points: Points, setting: Setting, adopted: Adopted, lines: Mapping[str, LineRows]
) -> Outlook | None:
    """The outlook of a job; None without a depth.

    Every row is linear algebra on the posterior at hand: one reading more is one update of it.
    """
    found = adopted.posterior.depths(points)
    known = np.flatnonzero(np.isfinite(found.depth_mm))
    if not len(known):
        return None
    shallow = known[np.argmin(found.depth_mm[known])]
    deep = _deepest(job, points, lines, known, found.depth_mm)
    here = adopted.posterior.depths(deep.point)
    slope, own = here.sensitivity[0], float(here.own_variance[0])

    def spread(covariance: np.ndarray) -> float:
        return COVERAGE_FACTOR * math.sqrt(float(slope @ covariance @ slope) + own)

    bare = solve(points.without_ties().without_curvature(), setting)
    rows = [OutlookRow("typed or typical permittivity only", COVERAGE_FACTOR * float(
        bare.depths(deep.point).u_mm[0]
    ))]  # fmt: skip
    rows.append(OutlookRow("now", spread(adopted.posterior.covariance), now=True))
    for index in _candidates(points, known, found.depth_mm):
        depth = format_length(float(found.depth_mm[index]), job.unit, 0)
        after = with_reading(
            adopted.posterior, points.some(np.array([index])).without_ties(),
            job.meters[0].reading_u_mm,
        )  # fmt: skip
        rows.append(OutlookRow(f"one more reading at {depth}", spread(after)))
    if len(known) > 1 or deep.label == BACK_FACE:
        after = with_reading(adopted.posterior, deep.near, DRILLED_U_MM)
        where = "elsewhere on it" if deep.label == BACK_FACE else "at it"
        rows.append(OutlookRow(f"a depth measured {where}", spread(after)))
    return Outlook(
        shallow=Measured(float(found.depth_mm[shallow]), float(found.u_mm[shallow])),
        deep=deep.depth,
        deep_label=deep.label,
        rows=tuple(rows),
    )


BACK_FACE = "the back face"


def _deepest(
    job: Job, points: Points, lines: Mapping[str, LineRows], known: np.ndarray, depth: np.ndarray
) -> _Deep:
    """The first back face's median, or the deepest mark."""
    for index, line in enumerate(job.lines):
        for face in lines[line.id].faces:
            median = face.median
            if math.isfinite(median.value_mm):
                on_it = np.flatnonzero((points.face >= 0) & (points.line == index))
                at = points.some(on_it[:1]).without_ties()
                middle = face.time_ns[int(np.nanargmin(np.abs(face.depth_mm - median.value_mm)))]
                at = replace(at, time_ns=np.array([middle - line.direct.time_ns]))
                return _Deep(BACK_FACE, median, at, at)
    deepest = known[np.argmax(depth[known])]
    at = points.some(np.array([deepest]))
    label = "the deepest mark"
    return _Deep(label, Measured(float(depth[deepest]), math.nan), at, at.without_ties())


def _candidates(points: Points, known: np.ndarray, depth: np.ndarray) -> list[int]:
    """Untied bars worth reading: the shallowest and the deepest."""
    free = [int(i) for i in known if points.bar[i] > 0 and not points.tied[i]]
    if not free:
        return []
    order = sorted(free, key=lambda index: float(depth[index]))
    return list(dict.fromkeys([order[0], order[-1]]))
