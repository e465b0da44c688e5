"""Lines drawn from the estimator's own priors, with their truth: what its intervals are tried on.

Every systematic is drawn from the distribution that the estimator believes in, and times follow the exact
model (refraction, near field, mirror point, the surface's delay), so that what a trial counts is how well
the linear posterior holds on a curved problem. It says nothing about whether the priors are right: for
that there are full waves.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright import edits, wave
from depthwright.constants import C_MM_PER_NS, TYPICAL_PERMITTIVITY, TYPICAL_PERMITTIVITY_U
from depthwright.depth import priors
from depthwright.depth.direct_wave import direct_shift
from depthwright.depth.leg_delay import leg_delay_ns
from depthwright.job import Antenna, BarMark, DirectPick, Job, Line, ScanRef, Tie
from depthwright.measuring.picking import Pick
from depthwright.measuring.ridge import NODE_MM

Floats = NDArray[np.float64]

DIRECT_NS = 2.0
FREQUENCY_GHZ = 1.7
LEAST_PERMITTIVITY, MOST_PERMITTIVITY = 4.5, 11.0
"""Beyond, the direct waves in the air and in the concrete part, and a line says so by its own shape."""
LEAST_HEIGHT_MM = 0.2
FACES_MM = (150.0, 250.0)
NODES = np.arange(-4, 5) * NODE_MM


@dataclass(frozen=True)
class Evidence:
    """What a drawn line has to go by."""

    ties: int = 1
    curvature: bool = True
    hole: bool = False


@dataclass(frozen=True)
class Drawn:
    """A job of one line, and the truth of its bars (in their order), its back face and its permittivity."""

    job: Job
    covers_mm: tuple[float, ...]
    thickness_mm: float
    permittivity: float


@dataclass(frozen=True)
class _World:
    """One draw of everything that a line's marks share."""

    permittivity: float
    separation_mm: float
    height_mm: float
    zero_ns: float
    """File time at which an echo of no travelled distance would be picked."""
    early_ns: float
    lateral: float
    apparent: float
    meter: float
    face_share: float


def draw_line(seed: int, evidence: Evidence, bars: int = 6) -> Drawn:
    """One line: bars at random covers, a back face under them, readings with their errors."""
    random = np.random.default_rng(seed)
    world = _world(random, flat=evidence.ties > 0 or evidence.curvature or evidence.hole)
    covers = random.uniform(30.0, 75.0, bars)
    thickness = float(random.uniform(*FACES_MM))
    job = _empty_job()
    for index, cover in enumerate(covers):
        job, _ = edits.add_bar(job, "line-1", _bar_pick(random, world, 250.0 * index, cover))
    face = None
    for index in range(3):
        job, face = edits.add_anchor(
            job, "line-1", face, _face_pick(random, world, 125.0 + 250.0 * index, thickness)
        )
    job = edits.change_zone(job, "zone-1", curvature=evidence.curvature)
    job = _tie(random, world, job, covers, evidence)
    if evidence.hole and face is not None:
        depth = thickness + float(random.normal())
        hole = Tie(depth_mm=depth, plus_minus_mm=1.0, origin="drilled hole or core")
        job = edits.change_anchor(job, "line-1", face, 0, tie=hole)
    return Drawn(job, tuple(covers.tolist()), thickness, world.permittivity)


def _world(random: np.random.Generator, flat: bool) -> _World:
    eps = _permittivity(random, flat)
    s = priors.ANTENNA_SEPARATION_MM + priors.SEPARATION_U_MM * random.normal()
    h = max(
        priors.ANTENNA_HEIGHT_MM + priors.ANTENNA_HEIGHT_U_MM * random.normal(), LEAST_HEIGHT_MM
    )
    shift = float(direct_shift(s, h, eps, FREQUENCY_GHZ).time_ns)
    offset = priors.TIME_OFFSET_NS + priors.TIME_OFFSET_U_NS * random.normal()
    angle = math.radians(priors.CROSSING_U_DEG) * random.normal()
    return _World(
        permittivity=eps,
        separation_mm=s,
        height_mm=h,
        zero_ns=DIRECT_NS - s / C_MM_PER_NS - shift - offset,
        early_ns=priors.BARS_EARLY_NS + priors.BARS_EARLY_U_NS * random.normal(),
        lateral=(1 + priors.DISTANCE_SCALE_U * random.normal()) * math.cos(angle),
        apparent=eps * math.exp(priors.MOVEOUT + priors.MOVEOUT_U * random.normal()),
        meter=float(random.normal()),
        face_share=priors.FACE_SHARE_U * float(random.normal()),
    )


def _permittivity(random: np.random.Generator, flat: bool) -> float:
    """Flat in its logarithm where a line has evidence of its own, as the estimator takes it; else typical."""
    if flat:
        return math.exp(random.uniform(math.log(LEAST_PERMITTIVITY), math.log(MOST_PERMITTIVITY)))
    relative = TYPICAL_PERMITTIVITY_U / TYPICAL_PERMITTIVITY
    return TYPICAL_PERMITTIVITY * math.exp(relative * float(np.clip(random.normal(), -2.5, 2.5)))


def _bar_pick(
    random: np.random.Generator, world: _World, position_mm: float, cover_mm: float
) -> Pick:
    """A bar's pick and crest: its apex by the refracted ray, its shape by the delayed straight one."""
    s, h = world.separation_mm, world.height_mm
    two_way = float(wave.travel_time(cover_mm, world.permittivity, s, h).time_ns)
    apex = world.zero_ns + two_way - world.early_ns
    pick_u = priors.bar_pick_u_ns(apex - DIRECT_NS, FREQUENCY_GHZ)
    apex += pick_u * random.normal()
    # The curvature's own model error: a shape as of another permittivity with the same apex time.
    cover = float(wave.depth_mm(two_way, world.apparent, s, h))
    radius = BarMark.model_fields["diameter_mm"].default / 2
    offsets = NODES * world.lateral
    bars = wave.bar_time(offsets, cover, radius, world.apparent, s)
    top = wave.bar_time(0.0, cover, radius, world.apparent, s)
    after = bars.time_ns + _delay(bars, world) - top.time_ns - _delay(top, world)
    u = np.hypot(priors.CREST_U_NS, priors.CREST_SHARE_U * after)
    times = apex + after + u * random.normal(size=len(NODES))
    crest = tuple(zip((position_mm + NODES).tolist(), times.tolist(), strict=True))
    return Pick(position_mm, 2.0, apex, crest=crest)


def _delay(bars: wave.BarTime, world: _World) -> Floats:
    pulse = FREQUENCY_GHZ * priors.PULSE_PER_LINE_FREQUENCY
    delay: Floats = leg_delay_ns(
        bars.leg_mm, bars.leg_angle_rad, world.height_mm, world.apparent, pulse
    ).sum(axis=0)
    return delay


def _face_pick(
    random: np.random.Generator, world: _World, position_mm: float, thickness_mm: float
) -> Pick:
    two_way = float(
        wave.travel_time(
            thickness_mm, world.permittivity, world.separation_mm, world.height_mm
        ).time_ns
    )
    u = priors.face_pick_u_ns(two_way, bars_above=True)
    time = world.zero_ns + two_way * (1 + world.face_share) + u * random.normal()
    return Pick(position_mm, float("nan"), time)


def _tie(
    random: np.random.Generator, world: _World, job: Job, covers: Floats, evidence: Evidence
) -> Job:
    """Readings of one meter on the first bars, each with the meter's share of error and its own."""
    meter = job.meters[0]
    for index in range(evidence.ties):
        u = meter.reading_u_mm
        off = u * (
            math.sqrt(meter.shared) * world.meter + math.sqrt(1 - meter.shared) * random.normal()
        )
        tie = Tie(depth_mm=float(covers[index]) + off, plus_minus_mm=u)
        job = edits.tie_mark(job, "line-1", job.line("line-1").marks[index].id, tie)
    return job


def _empty_job() -> Job:
    antenna = Antenna(id="antenna-1", centre_frequency_ghz=FREQUENCY_GHZ)
    line = Line(
        id="line-1",
        name="drawn",
        scan=ScanRef(path="", size_bytes=0, sha256="0", traces=9, samples=9, dt_ns=0.02),
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=DIRECT_NS),
    )
    return edits.add_line(Job(), line, antenna)
