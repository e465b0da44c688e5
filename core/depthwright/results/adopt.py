"""The adopted posterior: how far a typed permittivity counts beside what the marks say."""

import math
from dataclasses import dataclass, replace

import numpy as np

from depthwright.depth.estimator import Posterior, solve
from depthwright.depth.points import Points
from depthwright.depth.unknowns import Setting
from depthwright.job import Job
from depthwright.results.spots import Spot


@dataclass(frozen=True)
class Adopted:
    """The posterior and how far each zone's typed permittivity counted in it: from 0 (aside) to 1."""

    posterior: Posterior
    typed_share: tuple[float, ...]


def adopt(job: Job, spots: list[Spot], points: Points, setting: Setting) -> Adopted:
    """Solve with the typed permittivities counting as far as the other evidence says less than they do.

    A typed permittivity of standard uncertainty ``u_t`` beside other evidence that has it to ``u_o`` counts
    with the share ``1 - (u_t/u_o)^2`` of its weight, and not at all once the others are better. Together
    they then say as much as the better of the two: a tie as vague as one likes changes nothing, and no
    interval jumps. One that is kept counts in full.
    """
    whole = solve(points, setting)
    spoken = {job.line(spot.line_id).zone for spot in spots if spot.tie or spot.crest}
    shares = tuple(
        1.0
        if zone.keep or zone.id not in spoken
        else _share(setting.zones[index].permittivity_u / zone.permittivity, whole, index)
        for index, zone in enumerate(job.zones)
    )
    if all(share == 1.0 for share in shares):
        return Adopted(whole, shares)
    zones = tuple(
        replace(zone, permittivity_u=zone.permittivity_u / math.sqrt(share) if share else math.inf)
        for zone, share in zip(setting.zones, shares, strict=True)
    )
    return Adopted(solve(points, replace(setting, zones=zones), whole.theta), shares)


def _share(typed_u: float, whole: Posterior, zone: int) -> float:
    column = int(whole.model.columns.zone.column[zone])
    both = 1 / float(whole.fit.covariance[column, column])
    others = max(both - 1 / typed_u**2, 0.0)
    return max(0.0, 1.0 - typed_u**2 * others)


def flat(setting: Setting) -> Setting:
    """The same setting with nothing said about any permittivity."""
    return replace(
        setting, zones=tuple(replace(zone, permittivity_u=np.inf) for zone in setting.zones)
    )
