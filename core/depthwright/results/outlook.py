"""How good the depths are, near the surface and deep, and what one more reading would bring."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from depthwright.depth.estimator import Depths, Posterior, solve
from depthwright.depth.influence import with_reading
from depthwright.depth.points import Points
from depthwright.depth.unknowns import Setting
from depthwright.job import Job
from depthwright.results.spots import face_order
from depthwright.results.values import (
    COVERAGE_FACTOR,
    FaceRow,
    Measured,
    Outlook,
    OutlookRow,
)
from depthwright.units import format_length

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

DRILLED_U_MM = 1.0
"""A hole measured with a depth gauge: common practice, no source."""


BACK_FACE = "the back face"


@dataclass(frozen=True)
class _Deep:
    """The deepest thing of a job: what it is, its depth, and the bare point it is read at."""

    label: str
    depth: Measured
    point: Points


class Outlooks(Mapping[str, Outlook | None]):
    """The outlook of each line by its id, and that of the whole job by ""; None without a depth.

    Every row is linear algebra on the posterior at hand: one reading more is one update of it. Each is
    worked out when it is asked for, since a typed tie waits for none but the job's.
    """

    def __init__(
        self,
        job: Job,
        points: Points,
        found: Depths,
        setting: Setting,
        posterior: Posterior,
        faces: Mapping[str, tuple[FaceRow, ...]],
    ) -> None:
        self._of = job, points, found, posterior, faces
        self._setting = setting
        self._made: dict[str, Outlook | None] = {}

    def __getitem__(self, line_id: str) -> Outlook | None:
        if line_id not in self._made:
            self._made[line_id] = self._make(line_id)
        return self._made[line_id]

    def __iter__(self) -> Iterator[str]:
        return iter(("", *(line.id for line in self._of[0].lines)))

    def __len__(self) -> int:
        return 1 + len(self._of[0].lines)

    def _make(self, line_id: str) -> Outlook | None:
        job, points, found, posterior, faces = self._of
        if line_id:
            job.line(line_id)
        of = np.isfinite(found.depth_mm)
        if line_id:
            of &= points.line == [line.id for line in job.lines].index(line_id)
        bare = solve(points.without_ties().without_curvature(), self._setting)
        return _outlook(
            job, points, found, np.flatnonzero(of), bare, posterior, faces, line_id or None
        )


def _outlook(
    job: Job,
    points: Points,
    found: Depths,
    of: Indices,
    bare: Posterior,
    posterior: Posterior,
    faces: Mapping[str, tuple[FaceRow, ...]],
    line_id: str | None,
) -> Outlook | None:
    """The outlook of some of the points: those of one line, or all."""
    known = of.tolist()
    if not known:
        return None
    deep = _back_face(job, points, faces, line_id) or _deepest_mark(points, known, found)
    here = posterior.depths(deep.point)
    slope, own = here.sensitivity[0], float(here.own_variance[0])

    def row(what: str, covariance: Floats, now: bool = False) -> OutlookRow:
        variance = float(slope @ covariance @ slope) + own
        return OutlookRow(what, COVERAGE_FACTOR * math.sqrt(variance), now)

    alone = COVERAGE_FACTOR * float(bare.depths(deep.point).u_mm[0])
    rows = [
        OutlookRow("a typed or typical permittivity alone", alone),
        row("what is known now", posterior.covariance, now=True),
    ]
    for index in _worth_reading(points, known, found.depth_mm):
        depth = format_length(float(found.depth_mm[index]), job.unit, _PLACES[job.unit])
        there = points.some(np.array([index])).without_ties().without_curvature()
        after = with_reading(posterior, there, job.meters[0].reading_u_mm)
        rows.append(row(f"one more reading near {depth}", after))
    if deep.label == BACK_FACE:
        after = with_reading(posterior, deep.point, DRILLED_U_MM)
        rows.append(row("a hole or core to the back face", after))
    least = min(known, key=lambda index: float(found.depth_mm[index]))
    shallow = Measured(float(found.depth_mm[least]), float(found.u_mm[least]))
    return Outlook(shallow, deep.depth, deep.label, tuple(rows))


_PLACES = {"mm": 0, "cm": 1, "in": 1}


def _back_face(
    job: Job, points: Points, faces: Mapping[str, tuple[FaceRow, ...]], line_id: str | None
) -> _Deep | None:
    """The first back face that has a thickness, at the place of its median."""
    order = face_order(job)
    for line in job.lines:
        for face in faces[line.id]:
            median = face.median
            if line_id not in (None, line.id) or not math.isfinite(median.value_mm):
                continue
            on_it = np.flatnonzero(points.face == order[line.id, face.mark_id])[:1]
            middle = face.time_ns[int(np.nanargmin(np.abs(face.depth_mm - median.value_mm)))]
            bare = replace(
                points.some(on_it).without_ties(), time_ns=np.array([middle - line.direct.time_ns])
            )
            return _Deep(BACK_FACE, median, bare)
    return None


def _deepest_mark(points: Points, known: list[int], found: Depths) -> _Deep:
    deepest = max(known, key=lambda index: float(found.depth_mm[index]))
    depth = Measured(float(found.depth_mm[deepest]), float(found.u_mm[deepest]))
    return _Deep("the deepest mark", depth, points.some(np.array([deepest])))


def _worth_reading(points: Points, known: list[int], depth: Floats) -> list[int]:
    """Bars that are not tied yet: the shallowest and the deepest."""
    free = [index for index in known if points.bar[index] > 0 and not points.tied[index]]
    order = sorted(free, key=lambda index: float(depth[index]))
    return list(dict.fromkeys([*order[:1], *order[-1:]]))
