"""The one road from marks and ties to numbers: every number shown anywhere comes from here."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.constants import C_MM_PER_NS
from depthwright.depth import estimator, priors
from depthwright.depth.estimator import Points, Posterior, Priors
from depthwright.job import BarMark, FaceMark, Job, Line, TargetMark, Tie, Zone
from depthwright.measuring.backface import FaceTrack
from depthwright.results.values import (
    AnchorRow,
    BarRow,
    EvidenceRow,
    FaceRow,
    LineModel,
    LineRows,
    Measured,
    Results,
    TargetRow,
)
from depthwright.units import format_interval, format_length

Floats = NDArray[np.float64]

DISAGREES = 2.0
"""Standard uncertainties beyond which a known depth is said to disagree (about 95 %)."""

Tracks = Mapping[str, FaceTrack]
"""Tracked back faces by the id of their mark."""

Depths = dict[tuple[str, int], Measured]
"""Depth of each spot by the id of its mark and its place in it (0 but for a face's anchors)."""


@dataclass(frozen=True)
class _Spot:
    """One picked point of the job: where it belongs and what is known there."""

    line_id: str
    mark_id: str
    place: int
    label: str
    time_ns: float
    time_u_ns: float
    tie: Tie | None


def evaluate(job: Job, tracks: Tracks | None = None) -> Results:
    """All numbers of a job.

    Parameters
    ----------
    job
        The job; it has one zone.
    tracks
        Back faces as tracked between their anchors; a face without a track is its anchors.

    Raises
    ------
    DepthwrightError
        When the known depths contradict physics.
    """
    zone = job.zones[0]
    spots = [spot for line in job.lines for spot in _spots(job, line)]
    points = _points(job, spots)
    typed_counts = zone.keep or not points.tied.any()
    prior = _priors(job, zone, typed_counts)
    posterior = estimator.solve(points, prior)
    depths = {
        (spot.mark_id, spot.place): Measured(float(depth), float(u))
        for spot, depth, u in zip(spots, posterior.depth_mm, posterior.depth_u_mm, strict=True)
    }
    return Results(
        permittivity=posterior.permittivity,
        permittivity_u=posterior.permittivity_u,
        provisional=not points.tied.any() and not zone.typed,
        adopted_from=_adopted_from(job, zone, spots, typed_counts),
        evidence=_evidence(job, zone, spots, points, typed_counts),
        lines={
            line.id: _line_rows(job, line, posterior, depths, tracks or {}) for line in job.lines
        },
        parameters=("ln_permittivity", *(f"time_offset_ns:{a.id}" for a in job.antennas)),
        covariance=posterior.covariance,
        warnings=(
            *_contradictions(spots, estimator.disagreement(points, prior)),
            *_doubts(job, posterior.permittivity),
        ),
        messages=tuple(said for line in job.lines for said in _line_messages(line, depths)),
    )


def two_way_ns(job: Job, line: Line, file_ns: float) -> float:
    """Two-way time of an echo by the antenna card: ``t_pick - t_direct + s/c + offset``, ns."""
    antenna = job.antenna_of(line)
    return (
        file_ns - line.direct.time_ns + antenna.separation_mm / C_MM_PER_NS + antenna.time_offset_ns
    )


def _spots(job: Job, line: Line) -> list[_Spot]:
    bars_above = any(isinstance(mark, BarMark) for mark in line.marks)
    where = f" of {line.name}" if len(job.lines) > 1 else ""
    spots = []
    for mark in line.marks:
        if isinstance(mark, BarMark | TargetMark):
            tie = mark.tie if isinstance(mark, BarMark) else None
            what = "bar" if isinstance(mark, BarMark) else mark.what
            u = priors.bar_pick_u_ns(mark.overlaps_direct)
            label = f"{what} {mark.number}{where}"
            spots.append(_Spot(line.id, mark.id, 0, label, mark.time_ns, u, tie))
        elif isinstance(mark, FaceMark):
            for place, anchor in enumerate(mark.anchors):
                u = priors.face_pick_u_ns(two_way_ns(job, line, anchor.time_ns), bars_above)
                label = f"back face{f' {mark.number}' if mark.number > 1 else ''}{where}"
                spots.append(_Spot(line.id, mark.id, place, label, anchor.time_ns, u, anchor.tie))
    return spots


def _points(job: Job, spots: list[_Spot]) -> Points:
    lines = {line.id: line for line in job.lines}
    order = {antenna.id: index for index, antenna in enumerate(job.antennas)}
    antennas = [job.antenna_of(lines[spot.line_id]) for spot in spots]
    ties = [spot.tie for spot in spots]
    return Points(
        time_ns=np.array([two_way_ns(job, lines[s.line_id], s.time_ns) for s in spots]),
        time_u_ns=np.array([spot.time_u_ns for spot in spots]),
        separation_mm=np.array([antenna.separation_mm for antenna in antennas]),
        height_mm=np.array([antenna.height_mm for antenna in antennas]),
        antenna=np.array([order[antenna.id] for antenna in antennas], dtype=np.intp),
        tie_mm=np.array([tie.depth_mm if tie else np.nan for tie in ties]),
        tie_u_mm=np.array([tie.u_mm if tie else np.nan for tie in ties]),
    )


def _priors(job: Job, zone: Zone, typed_counts: bool) -> Priors:
    direct_u = {
        antenna.id: max(
            (line.direct.time_u_ns for line in job.lines if line.antenna == antenna.id), default=0.0
        )
        for antenna in job.antennas
    }
    return Priors(
        time_offset_u_ns=np.array(
            [math.hypot(a.time_offset_u_ns, direct_u[a.id]) for a in job.antennas]
        ),
        permittivity=zone.permittivity if typed_counts else None,
        permittivity_u=zone.permittivity_u if typed_counts else None,
    )


def _line_rows(
    job: Job,
    line: Line,
    posterior: Posterior,
    depths: Depths,
    tracks: Tracks,
) -> LineRows:
    antenna = job.antenna_of(line)
    model = LineModel(
        posterior=posterior,
        antenna_index=job.antennas.index(antenna),
        separation_mm=antenna.separation_mm,
        height_mm=antenna.height_mm,
        direct_ns=line.direct.time_ns,
        card_offset_ns=antenna.time_offset_ns,
    )
    targets = tuple(
        TargetRow(
            mark_id=mark.id,
            number=mark.number,
            what=mark.what,
            position=_position(line, mark.position_mm, mark.position_u_mm),
            depth=depths[mark.id, 0],
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


def _bar_rows(line: Line, model: LineModel, depths: Depths) -> tuple[BarRow, ...]:
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
                cover=depths[mark.id, 0],
                spacing=_spacing(line, before, mark) if before else None,
                diameter_mm=mark.diameter_mm,
                two_way_ns=model.two_way_ns(mark.time_ns),
                overlaps_direct=mark.overlaps_direct,
                tie=mark.tie,
            )
        )
    return tuple(rows)


def _position(line: Line, recorded_mm: float, pick_u_mm: float) -> Measured:
    """Distance from the datum; the scale's uncertainty grows with the distance from the first trace."""
    scale_u = line.distance_scale_u * abs(recorded_mm - line.scan.first_mm)
    return Measured(
        line.on_concrete_mm(recorded_mm), math.hypot(line.distance_scale * pick_u_mm, scale_u)
    )


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
    depths: Depths,
    track: FaceTrack | None,
) -> FaceRow:
    if track is None:
        track = FaceTrack(
            np.array([anchor.position_mm for anchor in mark.anchors]),
            np.array([anchor.time_ns for anchor in mark.anchors]),
        )
    bars_above = any(isinstance(other, BarMark) for other in line.marks)
    u = np.array(
        [priors.face_pick_u_ns(two_way_ns(job, line, t), bars_above) for t in track.time_ns]
    )
    depth, depth_u = model.depths(track.time_ns, u)
    on_concrete = line.on_concrete_mm(track.position_mm)
    anchors = tuple(
        AnchorRow(
            position=_position(line, anchor.position_mm, 0.0),
            depth=depths[mark.id, place],
            tie=anchor.tie,
        )
        for place, anchor in enumerate(mark.anchors)
    )
    return FaceRow(mark.id, mark.number, anchors, on_concrete, depth, depth_u, track.time_ns)


def _adopted_from(job: Job, zone: Zone, spots: list[_Spot], typed_counts: bool) -> tuple[str, ...]:
    sources = [f"{_tie_words(job, spot)} on {spot.label}" for spot in spots if spot.tie]
    if typed_counts:
        sources.append("typed permittivity" if zone.typed else "permittivity typical of concrete")
    return tuple(sources)


def _tie_words(job: Job, spot: _Spot) -> str:
    if spot.tie is None:
        return ""
    spread = format_interval(spot.tie.depth_mm, spot.tie.plus_minus_mm, job.unit)
    limits = " as limits" if spot.tie.limits else ""
    return f"{spot.tie.origin} {spread}{limits}"


def _evidence(
    job: Job, zone: Zone, spots: list[_Spot], points: Points, typed_counts: bool
) -> tuple[EvidenceRow, ...]:
    """What each piece of evidence alone would give; for reading, never averaged."""
    alone = _priors(job, zone, typed_counts=False)
    rows = []
    for index, spot in enumerate(spots):
        if spot.tie is None:
            continue
        answer = estimator.solve(points.some(np.array([index])), alone)
        rows.append(
            EvidenceRow(
                label=f"{spot.label[:1].upper()}{spot.label[1:]}: {_tie_words(job, spot)}",
                permittivity=answer.permittivity,
                permittivity_u=answer.permittivity_u,
                used=True,
                mark_id=spot.mark_id,
            )
        )
    rows.append(
        EvidenceRow(
            label="Typed permittivity" if zone.typed else "Typical of concrete",
            permittivity=zone.permittivity,
            permittivity_u=zone.permittivity_u,
            used=typed_counts,
        )
    )
    return tuple(rows)


def _contradictions(spots: list[_Spot], apart: Floats) -> tuple[str, ...]:
    """One sentence when known depths do not go together, with what usually lies behind it."""
    far = [
        f"{spot.label} is {_apart_words(value)}"
        for spot, value in zip(spots, apart, strict=True)
        if value > DISAGREES
    ]
    if not far:
        return ()
    return (
        f"The known depths disagree: {joined(far)} standard uncertainties away from what the rest says. "
        "Until that is settled no interval here holds. Check which bar each reading was taken on, the "
        "diameter set on the meter, close bars under it, the antenna separation and the time offset.",
    )


def _apart_words(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else "any number of"


def joined(names: Sequence[str]) -> str:
    """``a, b and c``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _doubts(job: Job, permittivity: float) -> tuple[str, ...]:
    """What makes every number of the job doubtful."""
    messages = []
    low, high = priors.USUAL_PERMITTIVITY
    if not low <= permittivity <= high:
        messages.append(
            f"A permittivity of {permittivity:.1f} is unusual for concrete ({low:g} to {high:g}). "
            "Check the known depths, the marks they are tied to and the antenna separation."
        )
    for antenna in job.antennas:
        if not antenna.separation_known:
            shown = format_length(antenna.separation_mm, job.unit)
            messages.append(
                f"The antenna separation of {shown} is assumed, and the intervals take it as exact. "
                "Set it under line and antenna."
            )
    return tuple(messages)


def _line_messages(line: Line, depths: Depths) -> list[str]:
    picked = [mark for mark in line.marks if isinstance(mark, BarMark | TargetMark)]
    early = [m for m in picked if not math.isfinite(depths[m.id, 0].value_mm)]
    overlapping = [m for m in picked if m.overlaps_direct and m not in early]
    messages = [
        f"{_mark_name(mark)} on {line.name} is picked before any echo from inside the concrete could "
        "come. Move it down, or check the direct wave of the line."
        for mark in early
    ]
    if overlapping:
        one = len(overlapping) == 1
        names = joined([_mark_name(mark) for mark in overlapping])
        messages.append(
            f"{names} on {line.name} {'lies' if one else 'lie'} on the tail of the direct wave, so "
            f"{'its interval is' if one else 'their intervals are'} wider."
        )
    return messages


def _mark_name(mark: BarMark | TargetMark) -> str:
    return f"{'Bar' if isinstance(mark, BarMark) else mark.what.capitalize()} {mark.number}"
