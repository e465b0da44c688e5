"""The one road from marks and ties to numbers: every number shown anywhere comes from here."""

import math
from collections.abc import Mapping

import numpy as np

from depthwright.depth import priors
from depthwright.depth.estimator import Depths
from depthwright.depth.points import Points
from depthwright.job import BarMark, FaceMark, Job, Line, TargetMark, Tie
from depthwright.measuring.backface import FaceTrack
from depthwright.results.adopt import Adopted, adopt
from depthwright.results.crests import offset_beforehand_ns
from depthwright.results.doubts import doubts, line_messages
from depthwright.results.evidence import adopted_from, ledger
from depthwright.results.focusing import Focus
from depthwright.results.outlook import Outlooks
from depthwright.results.spots import (
    Curvatures,
    Spot,
    bars_above,
    condensed,
    face_cosine,
    face_order,
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

Tracks = Mapping[str, FaceTrack]
"""Tracked back faces by the id of their mark."""

_Depths = Mapping[tuple[str, str, int], Measured]
"""Depth of each spot by the ids of its line and mark and its place in it."""


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
    lines = {
        line.id: _line_rows(job, index, line, adopted, depths, tracks or {})
        for index, line in enumerate(job.lines)
    }
    evidence = ledger(job, spots, points, setting, adopted, focuses or {})
    log_permittivity, log_u = posterior.zone_log_permittivity(0)
    zone = job.zones[0]
    return Results(
        permittivity=math.exp(log_permittivity),
        permittivity_u=math.exp(log_permittivity) * log_u,
        provisional=not _evidence_counts(points) and not zone.typed,
        adopted_from=adopted_from(job, spots, points, adopted),
        evidence=evidence.rows,
        outlooks=Outlooks(
            job, points, setting, adopted, {key: rows.faces for key, rows in lines.items()}
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
        (spot.line_id, spot.mark_id, spot.place): Measured(float(depth), float(u))
        for spot, depth, u in zip(spots, found.depth_mm, found.u_mm, strict=True)
    }


def _line_rows(
    job: Job, index: int, line: Line, adopted: Adopted, depths: _Depths, tracks: Tracks
) -> LineRows:
    model = LineModel(
        posterior=adopted.posterior,
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
            depth=depths[line.id, mark.id, 0],
            tie=_used(mark.tie),
        )
        for mark in line.marks
        if isinstance(mark, TargetMark)
    )
    faces = tuple(
        _face_row(job, line, mark, model, depths, tracks.get(mark.id))
        for mark in line.marks
        if isinstance(mark, FaceMark)
    )
    return LineRows(model, _bar_rows(line, model, depths), faces, targets)


def _bar_rows(line: Line, model: LineModel, depths: _Depths) -> tuple[BarRow, ...]:
    marks = [mark for mark in line.marks if isinstance(mark, BarMark)]
    marks.sort(key=lambda mark: line.on_concrete_mm(mark.position_mm))
    rows = []
    for index, mark in enumerate(marks):
        before = marks[index - 1] if index else None
        rows.append(
            BarRow(
                mark_id=mark.id,
                number=mark.number,
                position=_position(line, mark.position_mm, mark.position_u_mm),
                cover=depths[line.id, mark.id, 0],
                spacing=_spacing(line, before, mark) if before else None,
                diameter_mm=mark.diameter_mm,
                two_way_ns=model.bar_two_way_ns(mark.time_ns),
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


def _face_row(
    job: Job,
    line: Line,
    mark: FaceMark,
    model: LineModel,
    depths: _Depths,
    track: FaceTrack | None,
) -> FaceRow:
    if track is None:
        track = FaceTrack(
            np.array([anchor.position_mm for anchor in mark.anchors]),
            np.array([anchor.time_ns for anchor in mark.anchors]),
        )
    if line.reversed:  # points follow one another from the datum on
        track = FaceTrack(track.position_mm[::-1], track.time_ns[::-1])
    under = bars_above(line)
    u = np.array([priors.face_pick_u_ns(float(t) - model.zero_ns, under) for t in track.time_ns])
    depth, depth_u = model.depths(
        track.time_ns, u, face=face_order(job)[line.id, mark.id], level=face_cosine(line, mark)
    )
    on_concrete = line.on_concrete_mm(track.position_mm)
    anchors = tuple(
        AnchorRow(
            position=_position(line, anchor.position_mm, 0.0),
            depth=depths[line.id, mark.id, place],
            tie=_used(anchor.tie),
        )
        for place, anchor in enumerate(mark.anchors)
    )
    return FaceRow(mark.id, mark.number, anchors, on_concrete, depth, depth_u, track.time_ns)


def _used(tie: Tie | None) -> Tie | None:
    return tie if tie is not None and tie.used else None
