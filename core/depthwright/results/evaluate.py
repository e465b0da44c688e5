"""The one road from marks and ties to numbers: every number shown anywhere comes from here."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.depth import priors
from depthwright.depth.estimator import Depths, Posterior
from depthwright.depth.points import Points, plain_points
from depthwright.job import BarMark, FaceMark, Job, Line, TargetMark, Tie
from depthwright.measuring.backface import FaceTrack
from depthwright.results.adopt import adopt
from depthwright.results.crests import offset_beforehand_ns, two_way_beforehand_ns
from depthwright.results.doubts import doubts, line_messages
from depthwright.results.evidence import adopted_from, ledger
from depthwright.results.focusing import Focus
from depthwright.results.outlook import Outlooks
from depthwright.results.spots import (
    Curvatures,
    Spot,
    bars_above,
    condensed,
    points_of,
    setting_of,
    spots_of,
)
from depthwright.results.values import (
    AnchorRow,
    BarRow,
    FaceRow,
    LineModel,
    LineRows,
    Measured,
    Results,
    TargetRow,
)

Floats = NDArray[np.float64]
Tracks = Mapping[str, FaceTrack]
"""Tracked back faces by the id of their mark."""


@dataclass(frozen=True)
class _At:
    """What comes out at one spot."""

    depth: Measured
    two_way_ns: float


@dataclass(frozen=True)
class _Profile:
    """A back face between its anchors, shape (points,) each."""

    track: FaceTrack
    depth_mm: Floats
    depth_u_mm: Floats


_Depths = Mapping[tuple[str, str, int], _At]
"""By the ids of a spot's line and mark and its place in it."""
_Profiles = Mapping[tuple[str, str], _Profile]
"""By the ids of a back face's line and mark."""


def evaluate(
    job: Job,
    tracks: Tracks | None = None,
    curvatures: Curvatures | None = None,
    focuses: Mapping[str, Focus] | None = None,
) -> Results:
    """All numbers of a job.

    Parameters
    ----------
    job
        The job.
    tracks
        Back faces as tracked between their anchors; a face without a track is its anchors.
    curvatures
        Condensed crests that are at hand already; the others are condensed now.
    focuses
        How lines focus, by their id: a check that is written beside the evidence.

    Raises
    ------
    DepthwrightError
        When the known depths contradict physics.
    """
    spots = spots_of(job)
    crests = condensed(spots, curvatures or {})
    points = points_of(job, spots, crests)
    setting = setting_of(job)
    adopted = adopt(job, spots, points, setting)
    posterior = adopted.posterior
    found = posterior.depths(points)
    depths = _by_spot(spots, found)
    profiles = _profiles(job, spots, posterior, tracks or {})
    lines = {
        line.id: _line_rows(job, index, line, posterior, depths, profiles)
        for index, line in enumerate(job.lines)
    }
    evidence = ledger(job, spots, points, setting, adopted, found, focuses or {})
    log_permittivity, log_u = posterior.zone_log_permittivity(0)
    zone = job.zones[0]
    return Results(
        permittivity=math.exp(log_permittivity),
        permittivity_u=math.exp(log_permittivity) * log_u,
        provisional=not _evidence_counts(points) and not zone.typed,
        adopted_from=adopted_from(job, spots, points, adopted),
        evidence=evidence.rows,
        outlooks=Outlooks(
            job, points, found, setting, posterior, {key: rows.faces for key, rows in lines.items()}
        ),
        lines=lines,
        posterior=posterior,
        points=points,
        labels=tuple(spot.label for spot in spots),
        spots=tuple((spot.line_id, spot.mark_id, spot.place) for spot in spots),
        curvatures=crests,
        warnings=(*evidence.warnings, *doubts(job, math.exp(log_permittivity))),
        messages=tuple(
            said for line in job.lines for said in line_messages(job, line, lines[line.id])
        ),
    )


def _evidence_counts(points: Points) -> bool:
    return bool(points.tied.any() or points.curved.any())


def _by_spot(spots: list[Spot], found: Depths) -> _Depths:
    return {
        (spot.line_id, spot.mark_id, spot.place): _At(Measured(depth, u), two_way)
        for spot, depth, u, two_way in zip(
            spots,
            found.depth_mm.tolist(),
            found.u_mm.tolist(),
            found.two_way_ns.tolist(),
            strict=True,
        )
    }


def _profiles(
    job: Job, spots: list[Spot], posterior: Posterior, tracks: Tracks
) -> dict[tuple[str, str], _Profile]:
    """All back faces at once, which costs hardly more than one."""
    order = {line.id: index for index, line in enumerate(job.lines)}
    first = {(s.line_id, s.mark_id): s for s in spots if s.face >= 0 and s.place == 0}
    if not first:
        return {}
    along, points = [], []
    for (line_id, mark_id), spot in first.items():
        line = job.line(line_id)
        track = _track(line, mark_id, tracks)
        u = priors.face_pick_u_ns(two_way_beforehand_ns(job, line, track.time_ns), bars_above(line))
        after_ns = track.time_ns - line.direct.time_ns
        points.append(
            plain_points(after_ns, u, line=order[line_id], face=spot.face, level=spot.level)
        )
        along.append(track)
    found = posterior.depths(Points.joined(points))
    ends = np.cumsum([len(track.time_ns) for track in along])[:-1]
    split = zip(np.split(found.depth_mm, ends), np.split(found.u_mm, ends), strict=True)
    return {
        key: _Profile(track, depth, u)
        for key, track, (depth, u) in zip(first, along, split, strict=True)
    }


def _track(line: Line, mark_id: str, tracks: Tracks) -> FaceTrack:
    """A back face as tracked, or through its anchors; its points follow one another from the datum on."""
    mark = line.mark(mark_id)
    track = tracks.get(mark_id)
    if track is None:
        anchors = mark.anchors if isinstance(mark, FaceMark) else ()
        track = FaceTrack(
            np.array([anchor.position_mm for anchor in anchors]),
            np.array([anchor.time_ns for anchor in anchors]),
        )
    if line.reversed:
        quality = None if track.quality is None else track.quality[::-1]
        track = FaceTrack(track.position_mm[::-1], track.time_ns[::-1], quality)
    return track


def _line_rows(
    job: Job, index: int, line: Line, posterior: Posterior, depths: _Depths, profiles: _Profiles
) -> LineRows:
    model = LineModel(
        posterior=posterior,
        line_index=index,
        direct_ns=line.direct.time_ns,
        beforehand_ns=offset_beforehand_ns(job, line),
        frequency_ghz=job.antenna_of(line).centre_frequency_ghz,
    )
    targets = tuple(
        TargetRow(
            mark_id=mark.id,
            number=mark.number,
            what=mark.what,
            position=_position(line, mark.position_mm, mark.position_u_mm),
            depth=depths[line.id, mark.id, 0].depth,
            tie=_used(mark.tie),
        )
        for mark in line.marks
        if isinstance(mark, TargetMark)
    )
    faces = tuple(
        _face_row(line, mark, depths, profiles[line.id, mark.id])
        for mark in line.marks
        if isinstance(mark, FaceMark)
    )
    return LineRows(model, _bar_rows(line, depths), faces, targets)


def _bar_rows(line: Line, depths: _Depths) -> tuple[BarRow, ...]:
    marks = [mark for mark in line.marks if isinstance(mark, BarMark)]
    marks.sort(key=lambda mark: line.on_concrete_mm(mark.position_mm))
    rows = []
    for index, mark in enumerate(marks):
        before = marks[index - 1] if index else None
        at = depths[line.id, mark.id, 0]
        rows.append(
            BarRow(
                mark_id=mark.id,
                number=mark.number,
                position=_position(line, mark.position_mm, mark.position_u_mm),
                cover=at.depth,
                spacing=_spacing(line, before, mark) if before else None,
                diameter_mm=mark.diameter_mm,
                two_way_ns=at.two_way_ns,
                overlaps_direct=mark.overlaps_direct,
                tie=_used(mark.tie),
            )
        )
    return tuple(rows)


def _position(line: Line, recorded_mm: float, pick_u_mm: float) -> Measured:
    """Distance from the datum."""
    return Measured(line.on_concrete_mm(recorded_mm), line.place_u_mm(recorded_mm, pick_u_mm))


def _spacing(line: Line, first: BarMark, second: BarMark) -> Measured:
    """Distance between two bars: their picks are independent, the scale is shared."""
    recorded = abs(second.position_mm - first.position_mm)
    picks = math.hypot(first.position_u_mm, second.position_u_mm) * line.distance_scale
    return Measured(
        line.distance_scale * recorded, math.hypot(picks, line.distance_scale_u * recorded)
    )


def _face_row(line: Line, mark: FaceMark, depths: _Depths, profile: _Profile) -> FaceRow:
    anchors = tuple(
        AnchorRow(
            position=_position(line, anchor.position_mm, 0.0),
            depth=depths[line.id, mark.id, place].depth,
            tie=_used(anchor.tie),
        )
        for place, anchor in enumerate(mark.anchors)
    )
    return FaceRow(
        mark_id=mark.id,
        number=mark.number,
        anchors=anchors,
        position_mm=line.on_concrete_mm(profile.track.position_mm),
        depth_mm=profile.depth_mm,
        depth_u_mm=profile.depth_u_mm,
        time_ns=profile.track.time_ns,
    )


def _used(tie: Tie | None) -> Tie | None:
    return tie if tie is not None and tie.used else None
