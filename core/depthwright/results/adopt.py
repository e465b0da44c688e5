"""The adopted posterior: how far a typed permittivity counts beside what the marks say."""

import math
from collections.abc import Collection
from dataclasses import dataclass, replace

from depthwright.depth.estimator import Posterior, solve
from depthwright.depth.points import Points
from depthwright.depth.unknowns import Setting
from depthwright.job import Job
from depthwright.results.spots import Spot


@dataclass(frozen=True)
class Adopted:
    """The posterior and how far each zone's typed permittivity counted in it, from 0 (aside) to 1."""

    posterior: Posterior
    typed_share: tuple[float, ...]
    typed_apart: tuple[float, ...]
    """How far each typed value lies from what the rest says, in standard uncertainties."""


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
    apart = tuple(
        _apart(whole, setting, index) if zone.id in spoken else 0.0
        for index, zone in enumerate(job.zones)
    )
    if all(share == 1.0 for share in shares):
        return Adopted(whole, shares, apart)
    zones = tuple(
        replace(zone, permittivity_u=zone.permittivity_u / math.sqrt(share) if share else math.inf)
        for zone, share in zip(setting.zones, shares, strict=True)
    )
    return Adopted(solve(points, replace(setting, zones=zones), whole.theta), shares, apart)


def _share(typed_u: float, whole: Posterior, zone: int) -> float:
    column = int(whole.model.columns.zone.column[zone])
    both = 1 / float(whole.fit.covariance[column, column])
    others = max(both - 1 / typed_u**2, 0.0)
    return max(0.0, 1.0 - typed_u**2 * others)


def _apart(whole: Posterior, setting: Setting, zone: int) -> float:
    """A typed value against the rest: the posterior with it, the typed part taken out again."""
    typed_u = setting.zones[zone].permittivity_u / setting.zones[zone].permittivity
    column = int(whole.model.columns.zone.column[zone])
    left = typed_u**2 - float(whole.fit.covariance[column, column])
    if left <= 1e-9 * typed_u**2:
        return 0.0
    off = float(whole.theta[column]) - math.log(setting.zones[zone].permittivity)
    # With posterior variance V, prior variance v: the rest is off by off v/(v - V), u^2 v V/(v - V).
    return abs(off) / math.sqrt(left)


def flat(setting: Setting, zones: Collection[int]) -> Setting:
    """The same setting with nothing said about the permittivity of some zones, by index."""
    return replace(
        setting,
        zones=tuple(
            replace(zone, permittivity_u=math.inf) if index in zones else zone
            for index, zone in enumerate(setting.zones)
        ),
    )
