"""The ledger: what each piece of evidence alone would give, what the rest gives without it, and where they
disagree. For reading, never averaged: the adopted values are the joint posterior's."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from depthwright.depth.estimator import Depths, Posterior, solve
from depthwright.depth.influence import Without, curvature_apart, without_tie
from depthwright.depth.model import Model, implied_log_permittivity
from depthwright.depth.points import Points
from depthwright.depth.unknowns import KINDS, Setting
from depthwright.errors import joined
from depthwright.job import Job, Zone
from depthwright.results.adopt import Adopted, flat
from depthwright.results.focusing import Focus
from depthwright.results.spots import Spot
from depthwright.results.values import COVERAGE_FACTOR, EvidenceRow
from depthwright.results.words import tie_words
from depthwright.units import format_length, format_plain

Floats = NDArray[np.float64]

FALSE_ALARMS = 0.05
"""How often consistent evidence may be said to disagree, whatever the number of ties compared."""
CLOSE_PITCH = 1.5
"""Bars closer than this share of their cover make a cover meter read low (lecture notes on BS 1881-204)."""


@dataclass(frozen=True)
class Ledger:
    """Rows of evidence, and what there is to say when they disagree."""

    rows: tuple[EvidenceRow, ...]
    warnings: tuple[str, ...]


def ledger(
    job: Job,
    spots: Sequence[Spot],
    points: Points,
    setting: Setting,
    adopted: Adopted,
    found: Depths,
    focuses: Mapping[str, Focus],
) -> Ledger:
    """All evidence of a job, used or set aside; ``found`` are the depths of its points."""
    posterior = adopted.posterior
    without = {
        index: without_tie(posterior, points, index, found)
        for index in np.flatnonzero(points.tied).tolist()
    }
    rows = [*_tie_rows(job, spots, points, setting, without)]
    curvature, apart = _curvature_row(job, points, setting, posterior)
    rows.extend(curvature)
    rows.extend(_focus_rows(job, focuses))
    rows.extend(_typed_rows(job, adopted))
    apart_words = _curvature_words(job, spots, apart) if apart > disagrees(1) else ()
    # With one tie, what contradicts it is the curvature, which is said already.
    alone = bool(apart_words) and len(without) == 1
    warnings = (
        *(() if alone else _contradictions(job, spots, without)),
        *apart_words,
        *_typed_words(job, adopted),
    )
    return Ledger(tuple(rows), tuple(warnings))


def disagrees(compared: int) -> float:
    """Standard uncertainties beyond which one of so many pieces of evidence is said to disagree.

    The normal deviate that the largest of them passes by chance in
    :data:`FALSE_ALARMS` of cases (Bonferroni).
    """
    return NormalDist().inv_cdf(1 - FALSE_ALARMS / (2 * max(compared, 1)))


def _tie_rows(
    job: Job,
    spots: Sequence[Spot],
    points: Points,
    setting: Setting,
    without: dict[int, Without | None],
) -> list[EvidenceRow]:
    rows = []
    every = _with_all_ties(spots, points)
    model = Model.of(flat(setting, range(len(setting.zones))))
    asked = implied_log_permittivity(every, model, model.columns.means)
    index_of = np.flatnonzero(every.tied)
    alone_u = _alone_u(model, every.some(index_of), asked[index_of])
    for index, log_u in zip(index_of.tolist(), alone_u.tolist(), strict=True):
        spot = spots[index]
        tie = spot.tie or spot.set_aside
        if tie is None:
            continue
        note = (
            f"Set aside: {tie.set_aside}." if spot.tie is None else _without_words(without[index])
        )
        rows.append(
            EvidenceRow(
                kind="tie",
                label=f"{spot.label[:1].upper()}{spot.label[1:]}: {tie_words(tie, job.unit)}",
                permittivity=math.exp(float(asked[index])),
                log_u=log_u,
                used=spot.tie is not None,
                note=note,
                line_id=spot.line_id,
                mark_id=spot.mark_id,
                place=spot.place,
            )
        )
    return rows


def _with_all_ties(spots: Sequence[Spot], points: Points) -> Points:
    """The points with the ties that are set aside put back, and no curvature."""
    ties = [spot.tie or spot.set_aside for spot in spots]
    bare = points.without_curvature()
    return bare.with_ties(
        np.array([tie.depth_mm if tie else np.nan for tie in ties]),
        np.array([tie.u_mm if tie else np.nan for tie in ties]),
    )


def _alone_u(model: Model, ties: Points, log_permittivity: Floats) -> Floats:
    """Standard uncertainty of the ln permittivity that each of some ties alone asks for, shape (ties,)."""
    held = model.held(ties, model.columns.means, log_permittivity)
    slopes, _ = held.reduced(held.depths())
    row = slopes.value[:, 0]
    # Of a permittivity nothing is known here; what is exact comes last.
    u = np.array([*(unknown.u for unknown in model.columns.unknowns), 0.0])
    others = np.where(np.isfinite(u), u, 0.0)[slopes.column]
    noise = np.sqrt(1 + ((row * others) ** 2).sum(axis=1))
    asked: Floats = noise / np.maximum(np.abs(row[:, KINDS.index("zone")]), 1e-12)
    return asked


def _without_words(without: Without | None) -> str:
    if without is None:
        return "All that is known rests on it."
    return f"{without.apart:.1f} standard uncertainties from what the rest says."


def _curvature_row(
    job: Job, points: Points, setting: Setting, posterior: Posterior
) -> tuple[list[EvidenceRow], float]:
    """The row of all crests together, and how far they lie from the ties."""
    zones = Model.of(setting).zone_of(points)
    rows = []
    for zone in np.unique(zones[points.curved]).tolist():
        here = points.curved & (zones == zone)
        alone = solve(points.some(here).without_ties(), flat(setting, [zone]))
        log_permittivity, log_u = alone.zone_log_permittivity(zone)
        where = f" in {job.zones[zone].name}" if len(job.zones) > 1 else ""
        rows.append(
            EvidenceRow(
                kind="curvature",
                label=f"Curvature of {_bars(int(here.sum()))}{where}",
                permittivity=math.exp(log_permittivity),
                log_u=log_u,
                used=True,
            )
        )
    if not rows or not points.tied.any():
        return rows, 0.0
    # Without the curvature, a zone that has no tie falls back on what was typed for it.
    zones_tied = set(zones[points.tied].tolist())
    kept = tuple(
        zone if index in zones_tied else beforehand
        for index, (zone, beforehand) in enumerate(
            zip(posterior.model.setting.zones, setting.zones, strict=True)
        )
    )
    rest = solve(points.without_curvature(), replace(setting, zones=kept))
    return rows, curvature_apart(rest, points)


def _bars(count: int) -> str:
    return "1 bar" if count == 1 else f"{count} bars"


def _focus_rows(job: Job, focuses: Mapping[str, Focus]) -> list[EvidenceRow]:
    """Focusing, line by line: the same waves as the curvature, so it never counts."""
    return [
        EvidenceRow(
            kind="focusing",
            label=f"Focusing of {_bars(focuses[line.id].bars)} of {line.name}",
            permittivity=focuses[line.id].permittivity,
            log_u=focuses[line.id].log_u,
            used=False,
            note="A check: the same waves as the curvature, so it never counts.",
            line_id=line.id,
        )
        for line in job.lines
        if line.id in focuses
    ]


def _typed_rows(job: Job, adopted: Adopted) -> list[EvidenceRow]:
    return [
        EvidenceRow(
            kind="typed",
            label=_typed_label(zone),
            permittivity=zone.permittivity,
            log_u=zone.permittivity_u / zone.permittivity,
            used=share > 0,
            note=_share_words(share),
        )
        for zone, share in zip(job.zones, adopted.typed_share, strict=True)
    ]


def _typed_label(zone: Zone) -> str:
    if zone.typed:
        return "Typed permittivity"
    return "Typical of concrete" if zone.medium == "concrete" else "Typical of the medium"


def _share_words(share: float) -> str:
    if share == 0:
        return "Steps aside: the other evidence says more."
    return (
        "" if share > 0.995 else f"Counts with {100 * share:.0f} % of its weight beside the others."
    )


def _typed_words(job: Job, adopted: Adopted) -> tuple[str, ...]:
    """A typed permittivity that the marks contradict is said, whether or not it steps aside."""
    return tuple(
        f"The permittivity given, {zone.permittivity:g} ± {zone.permittivity_u:g}, and what the marks "
        f"say disagree by {apart:.1f} standard uncertainties. Check where it comes from, or leave it out."
        for zone, apart in zip(job.zones, adopted.typed_apart, strict=True)
        if zone.typed and apart > disagrees(1)
    )


def _contradictions(
    job: Job, spots: Sequence[Spot], without: dict[int, Without | None]
) -> tuple[str, ...]:
    """One sentence when known depths do not go together, with what may lie behind it."""
    limit = disagrees(len(without))
    far = {i: w.apart for i, w in without.items() if w is not None and w.apart > limit}
    if not far:
        return ()
    names = [f"{spots[index].label} is {apart:.1f}" for index, apart in far.items()]
    causes = [cause for index in far for cause in causes_of(job, spots[index])]
    likely = list(dict.fromkeys(causes))
    usual = ["which bar each reading was taken on", "the antenna separation", "the time offset"]
    return (
        f"The known depths disagree: {joined(names)} standard uncertainties away from what the rest "
        "says. Until that is settled no interval here holds. "
        + (f"{' '.join(likely)} " if likely else "")
        + f"Check {joined(usual)}; or leave out the one that is wrong.",
    )


def causes_of(job: Job, spot: Spot) -> list[str]:
    """What about one tie makes it likely to be off, in sentences."""
    tie = spot.tie
    if tie is None or tie.origin != "cover meter":
        return []
    mark = job.line(spot.line_id).mark(spot.mark_id)
    words = []
    pitch = _pitch_mm(job, spot)
    if pitch is not None and pitch < CLOSE_PITCH * tie.depth_mm:
        words.append(
            f"The bar next to {spot.label} is {format_length(pitch, job.unit)} away: a cover meter reads "
            "low over bars that close."
        )
    diameter = getattr(mark, "diameter_mm", None)
    if tie.meter_diameter_mm and diameter and abs(tie.meter_diameter_mm - diameter) > 0.5:
        words.append(
            f"The meter was set to {format_length(tie.meter_diameter_mm, job.unit)}, {spot.label} is "
            f"entered as {format_length(diameter, job.unit)}."
        )
    return words


def _pitch_mm(job: Job, spot: Spot) -> float | None:
    line = job.line(spot.line_id)
    bars = [mark for mark in line.marks if mark.kind == "bar"]
    here = next((mark for mark in bars if mark.id == spot.mark_id), None)
    if here is None:
        return None
    away = [abs(mark.position_mm - here.position_mm) for mark in bars if mark.id != here.id]
    return line.distance_scale * min(away) if away else None


def _curvature_words(job: Job, spots: Sequence[Spot], apart: float) -> tuple[str, ...]:
    likely = list(dict.fromkeys(cause for spot in spots for cause in causes_of(job, spot)))
    return (
        f"Curvature and known depths disagree by {apart:.1f} standard uncertainties. Until that is "
        "settled no interval here holds. "
        + (f"{' '.join(likely)} " if likely else "")
        + "Usual causes: a reading on the wrong bar, the line crossing the bars at an angle, the distance "
        "scale, the diameters entered, or concrete that is damper at the surface than below. Mend what "
        "is wrong, or let one of the two count alone.",
    )


def adopted_from(
    job: Job, spots: Sequence[Spot], points: Points, adopted: Adopted
) -> tuple[str, ...]:
    """What the adopted values rest on, in words, in the order of the ledger."""
    sources = [f"{tie_words(spot.tie, job.unit)} on {spot.label}" for spot in spots if spot.tie]
    count = int(points.curved.sum())
    if count:
        sources.append(f"the curvature of {count} bar{'s' if count > 1 else ''}")
    for zone, share in zip(job.zones, adopted.typed_share, strict=True):
        if share > 0:
            name = "typed permittivity" if zone.typed else _typical_words(zone)
            value = format_plain(zone.permittivity, COVERAGE_FACTOR * zone.permittivity_u)
            sources.append(f"{name} {value}" if zone.typed else name)
    return tuple(sources)


def _typical_words(zone: Zone) -> str:
    return (
        "permittivity typical of concrete"
        if zone.medium == "concrete"
        else "permittivity typical of the medium"
    )
