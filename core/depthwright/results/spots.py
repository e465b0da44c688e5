"""From a job to what the estimator takes: every picked point, and what is known beforehand."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from depthwright import wave
from depthwright.constants import TYPICAL_PERMITTIVITY
from depthwright.depth import priors
from depthwright.depth.curvature import Crest, Curvature, condense
from depthwright.depth.points import Points, plain_points
from depthwright.depth.unknowns import AntennaPrior, LinePrior, Setting, ZonePrior
from depthwright.job import Antenna, BarMark, FaceMark, Job, Line, TargetMark, Tie
from depthwright.results.crests import crests_of, offset_beforehand_ns

LEAST_DIP_STRETCH_MM = 200.0
"""Anchors closer together say more about each other's picks than about a dip."""
Curvatures = Mapping[Crest, Curvature | None]
"""Condensed crests, kept from one state of the job to the next."""


@dataclass(frozen=True)
class Spot:
    """One picked point of the job: where it belongs and what is known there.

    ``place`` is the anchor of a back face, 0 for other marks; ``face`` the index of the back face in the
    setting, -1 for none. ``tie`` is the known depth that counts.
    """

    line_id: str
    mark_id: str
    place: int
    label: str
    time_ns: float
    time_u_ns: float
    bar: bool = False
    face: int = -1
    level: float = 1.0
    tie: Tie | None = None
    set_aside: Tie | None = None
    crest: Crest | None = None


def spots_of(job: Job) -> list[Spot]:
    """Every bar, target and back-face anchor of a job."""
    faces = face_order(job)
    return [spot for line in job.lines for spot in _line_spots(job, line, faces)]


def face_order(job: Job) -> dict[tuple[str, str], int]:
    """Index of each back face by line and mark id."""
    keys = [(ln.id, m.id) for ln in job.lines for m in ln.marks if isinstance(m, FaceMark)]
    return {key: index for index, key in enumerate(keys)}


def _line_spots(job: Job, line: Line, faces: dict[tuple[str, str], int]) -> list[Spot]:
    where = f" of {line.name}" if len(job.lines) > 1 else ""
    under, beforehand = bars_above(line), offset_beforehand_ns(job, line)
    frequency = job.antenna_of(line).centre_frequency_ghz
    crests = crests_of(job, line, beforehand) if job.zone_of(line).curvature else {}
    bars = np.array([mark.time_ns for mark in line.marks if isinstance(mark, BarMark)])
    bar_u = iter(priors.bar_pick_u_ns(bars - line.direct.time_ns, frequency).tolist())
    spots = []
    for mark in line.marks:
        if isinstance(mark, BarMark):
            counts, aside = _counts(mark.tie)
            spots.append(
                Spot(
                    line_id=line.id, mark_id=mark.id, place=0, label=f"bar {mark.number}{where}",
                    time_ns=mark.time_ns, time_u_ns=next(bar_u), bar=True,
                    tie=counts, set_aside=aside, crest=crests.get(mark.id),
                )
            )  # fmt: skip
        elif isinstance(mark, TargetMark):
            counts, aside = _counts(mark.tie)
            spots.append(
                Spot(
                    line_id=line.id, mark_id=mark.id, place=0,
                    label=f"{mark.what} {mark.number}{where}", time_ns=mark.time_ns,
                    time_u_ns=priors.TARGET_PICK_U_NS, tie=counts, set_aside=aside,
                )
            )  # fmt: skip
        elif isinstance(mark, FaceMark):
            name = f"back face{f' {mark.number}' if mark.number > 1 else ''}{where}"
            level = face_cosine(line, mark)
            for place, anchor in enumerate(mark.anchors):
                two_way = anchor.time_ns - line.direct.time_ns + beforehand
                u = priors.face_pick_u_ns(two_way, under)
                counts, aside = _counts(anchor.tie)
                spots.append(
                    Spot(
                        line_id=line.id, mark_id=mark.id, place=place, label=name,
                        time_ns=anchor.time_ns, time_u_ns=u, face=faces[line.id, mark.id],
                        level=level, tie=counts, set_aside=aside,
                    )
                )  # fmt: skip
    return spots


def _counts(tie: Tie | None) -> tuple[Tie | None, Tie | None]:
    """The tie as one that counts, and as one set aside."""
    return (tie, None) if tie is None or tie.used else (None, tie)


def face_cosine(line: Line, face: FaceMark) -> float:
    """Cosine of a back face's dip, by the straight line through its anchors."""
    where = np.array([line.on_concrete_mm(anchor.position_mm) for anchor in face.anchors])
    if np.ptp(where) < LEAST_DIP_STRETCH_MM:
        return 1.0
    off = where - where.mean()
    slope = float(off @ [anchor.time_ns for anchor in face.anchors]) / float(off @ off)
    return wave.level_cosine(slope, TYPICAL_PERMITTIVITY)


def bars_above(line: Line) -> bool:
    """Whether a line's back face lies under bars."""
    return any(isinstance(mark, BarMark) for mark in line.marks)


def condensed(spots: Sequence[Spot], known: Curvatures) -> dict[Crest, Curvature | None]:
    """Curvatures of all crests; what is known already is taken from there."""
    crests = {spot.crest for spot in spots if spot.crest is not None}
    fresh = [crest for crest in crests if crest not in known]
    answers = dict(zip(fresh, condense(fresh), strict=True))
    return {crest: answers[crest] if crest in answers else known[crest] for crest in crests}


def points_of(job: Job, spots: Sequence[Spot], curvatures: Curvatures) -> Points:
    """The spots as the estimator takes them."""
    order = {line.id: index for index, line in enumerate(job.lines)}
    direct = {line.id: line.direct.time_ns for line in job.lines}
    plain = plain_points(
        np.array([spot.time_ns - direct[spot.line_id] for spot in spots]),
        np.array([spot.time_u_ns for spot in spots]),
        tie_mm=np.array([spot.tie.depth_mm if spot.tie else np.nan for spot in spots]),
        tie_u_mm=np.array([spot.tie.u_mm if spot.tie else np.nan for spot in spots]),
    )
    by_meter = np.array(
        [spot.tie is not None and spot.tie.origin == "cover meter" for spot in spots], dtype=bool
    )
    curves = [curvatures.get(spot.crest) if spot.crest else None for spot in spots]
    nothing = np.full(4, np.nan)
    return replace(
        plain,
        line=np.array([order[spot.line_id] for spot in spots], dtype=np.intp),
        bar=np.array([float(spot.bar) for spot in spots]),
        face=np.array([spot.face for spot in spots], dtype=np.intp),
        level=np.array([spot.level for spot in spots]),
        meter=np.where(by_meter, 0, -1),
        shared=np.where(by_meter, job.meters[0].shared, 0.0),
        curve=np.array([c.log_permittivity if c else np.nan for c in curves]),
        curve_u=np.array(
            [_curve_u(c, spot) if c else np.nan for c, spot in zip(curves, spots, strict=True)]
        )
        * math.sqrt(max(1.0, sum(c is not None for c in curves) / priors.CRESTS_WORTH)),
        curve_time_ns=np.array([c.two_way_ns if c else np.nan for c in curves]),
        curve_slopes=np.array([_slopes(c) if c else nothing for c in curves]).reshape(-1, 4),
    )


def _curve_u(curve: Curvature, spot: Spot) -> float:
    """A crest's own standard uncertainty; an oblique bar's angle, as entered, may be off by itself."""
    if spot.crest is None or spot.crest.sine >= 1.0:
        return curve.u
    angle = math.degrees(math.asin(spot.crest.sine))
    return math.hypot(curve.u, curve.per_scale * priors.crossing_prior(angle)[1])


def _slopes(curve: Curvature) -> list[float]:
    return [curve.per_time, curve.per_separation, curve.per_height, curve.per_scale]


def setting_of(job: Job) -> Setting:
    """What is known beforehand; the permittivities as typed, counting in full."""
    zones = {zone.id: index for index, zone in enumerate(job.zones)}
    antennas = {antenna.id: index for index, antenna in enumerate(job.antennas)}
    marked = [line for line in job.lines if line.marks]
    shared = {zone: sum(line.zone == zone for line in marked) > 1 for zone in zones}
    crossing, crossing_u = priors.crossing_prior(90.0)
    lines = tuple(
        LinePrior(
            id=line.id,
            antenna=antennas[line.antenna],
            zone=zones[line.zone],
            direct_u_ns=line.direct.time_u_ns,
            direct_frequency_ghz=job.direct_frequency_ghz(line),
            apart_u=priors.BETWEEN_LINES_U if shared[line.zone] else 0.0,
            scale_u=line.distance_scale_u / line.distance_scale,
            crossing=crossing,
            crossing_u=crossing_u,
        )
        for line in job.lines
    )
    return Setting(
        zones=tuple(ZonePrior(z.id, z.permittivity, z.permittivity_u) for z in job.zones),
        antennas=tuple(_antenna_prior(antenna) for antenna in job.antennas),
        lines=lines,
        faces=tuple(
            priors.FACE_SHARE_U if bars_above(job.line(line_id)) else 0.0
            for line_id, _ in face_order(job)
        ),
        meters=tuple(meter.id for meter in job.meters[:1]),
        early_ns=priors.BARS_EARLY_NS,
        early_u_ns=priors.BARS_EARLY_U_NS,
        moveout=priors.MOVEOUT,
        moveout_u=priors.MOVEOUT_U,
        tilt_u=priors.TILT_U,
    )


def _antenna_prior(antenna: Antenna) -> AntennaPrior:
    separation_u = antenna.separation_u_mm
    if not antenna.separation_known:
        separation_u = max(separation_u, priors.ASSUMED_SEPARATION_U_MM)
    return AntennaPrior(
        id=antenna.id,
        separation_mm=antenna.separation_mm,
        separation_u_mm=min(separation_u, antenna.separation_mm / 2),
        height_mm=antenna.height_mm,
        height_u_mm=antenna.height_u_mm if antenna.height_mm > 0 else 0.0,
        time_offset_ns=antenna.time_offset_ns,
        time_offset_u_ns=antenna.time_offset_u_ns,
        computed_shift=antenna.direct_shift == "computed",
    )
