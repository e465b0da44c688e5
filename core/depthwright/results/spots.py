"""From a job to what the estimator takes: every picked point, and what is known beforehand."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, TYPICAL_PERMITTIVITY
from depthwright.depth import priors
from depthwright.depth.curvature import Crest, Curvature, condense
from depthwright.depth.direct_wave import direct_shift
from depthwright.depth.points import Points, plain_points
from depthwright.depth.unknowns import AntennaPrior, LinePrior, Setting, ZonePrior
from depthwright.job import Antenna, BarMark, CrestNode, FaceMark, Job, Line, TargetMark, Tie

LEAST_DIP_STRETCH_MM = 200.0
"""Anchors closer together say more about each other's picks than about a dip."""
CROSSING_PERIODS = 0.6
"""A crest counts up to where another bar's hyperbola comes this near, in periods of the direct wave."""
LEAST_NODES = 5
"""A curvature from fewer nodes is not worth having."""

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
    under = bars_above(line)
    spots = []
    for mark in line.marks:
        if isinstance(mark, BarMark):
            counts, aside = _counts(mark.tie)
            spots.append(
                Spot(
                    line_id=line.id, mark_id=mark.id, place=0, label=f"bar {mark.number}{where}",
                    time_ns=mark.time_ns, time_u_ns=_pick_u_ns(job, line, mark.time_ns),
                    bar=True, tie=counts, set_aside=aside, crest=_crest(job, line, mark),
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
                u = priors.face_pick_u_ns(two_way_beforehand_ns(job, line, anchor.time_ns), under)
                counts, aside = _counts(anchor.tie)
                spots.append(
                    Spot(
                        line_id=line.id, mark_id=mark.id, place=place, label=name,
                        time_ns=anchor.time_ns, time_u_ns=u, face=faces[line.id, mark.id],
                        level=level, tie=counts, set_aside=aside,
                    )
                )  # fmt: skip
    return spots


def _pick_u_ns(job: Job, line: Line, file_ns: float) -> float:
    frequency = job.antenna_of(line).centre_frequency_ghz
    return priors.bar_pick_u_ns(file_ns - line.direct.time_ns, frequency)


def _counts(tie: Tie | None) -> tuple[Tie | None, Tie | None]:
    """The tie as one that counts, and as one set aside."""
    return (tie, None) if tie is None or tie.used else (None, tie)


def face_cosine(line: Line, face: FaceMark) -> float:
    """Cosine of a back face's dip, by the straight line through its anchors."""
    where = np.array([line.on_concrete_mm(anchor.position_mm) for anchor in face.anchors])
    if np.ptp(where) < LEAST_DIP_STRETCH_MM:
        return 1.0
    slope = np.polyfit(where, [anchor.time_ns for anchor in face.anchors], 1)[0]
    return wave.level_cosine(float(slope), TYPICAL_PERMITTIVITY)


def bars_above(line: Line) -> bool:
    """Whether a line's back face lies under bars."""
    return any(isinstance(mark, BarMark) for mark in line.marks)


def two_way_beforehand_ns(job: Job, line: Line, file_ns: float) -> float:
    """Two-way time of an echo by what is known without evidence, ns."""
    return file_ns - line.direct.time_ns + offset_beforehand_ns(job, line)


def offset_beforehand_ns(job: Job, line: Line) -> float:
    """What is added to a time after the direct wave: ``s/c``, the computed shift and the card's, ns."""
    antenna, shift = job.antenna_of(line), 0.0
    if antenna.direct_shift == "computed":
        shift = float(
            direct_shift(
                antenna.separation_mm,
                antenna.height_mm,
                TYPICAL_PERMITTIVITY,
                job.direct_frequency_ghz(line),
            ).time_ns
        )
    return antenna.separation_mm / C_MM_PER_NS + shift + antenna.time_offset_ns


def _crest(job: Job, line: Line, bar: BarMark) -> Crest | None:
    """What of a bar's crest counts, or None."""
    nodes = _own_nodes(job, line, bar)
    lag = (bar.time_ns - line.direct.time_ns) * job.antenna_of(line).centre_frequency_ghz
    near = lag < priors.CURVATURE_LEAST_LAG
    if len(nodes) < LEAST_NODES or near or not job.zone_of(line).curvature:
        return None
    antenna = job.antenna_of(line)
    early = two_way_beforehand_ns(job, line, bar.time_ns) + priors.BARS_EARLY_NS
    on_concrete = tuple((line.distance_scale * position, time) for position, time in nodes)
    crest = Crest(
        nodes=on_concrete,
        apex_mm=line.distance_scale * bar.position_mm,
        two_way_ns=early,
        radius_mm=bar.diameter_mm / 2,
        sine=math.sin(math.radians(bar.crossing_deg)),
        separation_mm=antenna.separation_mm,
        height_mm=antenna.height_mm,
        frequency_ghz=antenna.centre_frequency_ghz,
    )
    earliest = wave.travel_time(1.0, 1.5, antenna.separation_mm, antenna.height_mm).time_ns
    return crest if early > float(earliest) else None


def _own_nodes(job: Job, line: Line, bar: BarMark) -> tuple[CrestNode, ...]:
    """A crest's nodes on both sides up to where another bar's hyperbola comes near it."""
    others = [mark for mark in line.marks if isinstance(mark, BarMark) and mark.id != bar.id]
    near_ns = CROSSING_PERIODS / job.antenna_of(line).centre_frequency_ghz
    kept = []
    for side in (-1, 1):
        nodes = sorted(
            (node for node in bar.crest if side * (node[0] - bar.position_mm) > 0),
            key=lambda node: abs(node[0] - bar.position_mm),
        )
        for node in nodes:
            if any(
                abs(_tail_ns(job, line, other, node[0]) - node[1]) < near_ns for other in others
            ):
                break
            kept.append(node)
    if min(sum(side * (x - bar.position_mm) > 0 for x, _ in kept) for side in (-1, 1)) < 2:
        # From one flank alone, the apex's place and the curvature cannot be told apart.
        return ()
    middle = [node for node in bar.crest if node[0] == bar.position_mm]
    return tuple(sorted([*kept, *middle]))


def _tail_ns(job: Job, line: Line, bar: BarMark, position_mm: float) -> float:
    """File time of a bar's hyperbola beside it, roughly: a point in a typical concrete."""
    apex = two_way_beforehand_ns(job, line, bar.time_ns)
    across = 2 * (position_mm - bar.position_mm) * math.sqrt(TYPICAL_PERMITTIVITY) / C_MM_PER_NS
    return bar.time_ns + math.hypot(apex, across) - apex


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
        curve_u=np.array([c.u if c else np.nan for c in curves]),
        curve_time_ns=np.array([c.two_way_ns if c else np.nan for c in curves]),
        curve_slopes=np.array([_slopes(c) if c else nothing for c in curves]).reshape(-1, 4),
    )


def _slopes(curve: Curvature) -> list[float]:
    return [curve.per_time, curve.per_separation, curve.per_height, curve.per_scale]


def setting_of(job: Job) -> Setting:
    """What is known beforehand; the permittivities as typed, counting in full."""
    zones = {zone.id: index for index, zone in enumerate(job.zones)}
    antennas = {antenna.id: index for index, antenna in enumerate(job.antennas)}
    shared = {zone: sum(line.zone == zone for line in job.lines) > 1 for zone in zones}
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
