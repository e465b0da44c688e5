"""The back face by itself: an echo that goes along below the bars, of the other polarity than theirs."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from depthwright.finding.level import (
    APART_PERIODS,
    STANDS_OUT_DB,
    LevelEcho,
    judged,
    level_echoes,
    zero_ns,
)
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, FaceProposal
from depthwright.measuring.backface import usual_strength
from depthwright.measuring.patch import column_traces, patch_envelopes
from depthwright.measuring.picking import Pick
from depthwright.measuring.stage import PickStage
from depthwright.scan import Report, no_report

Floats = NDArray[np.float64]
Envelopes = NDArray[np.float32]
Indices = NDArray[np.intp]

LEAST_NS, MOST_NS = 1.07, 10.7
"""Two-way times looked at: 80 mm at a permittivity of 4 to 400 mm at one of 16."""
COLUMNS_EVERY = 4
"""Of the columns of a back face every so many are looked at: about 20 mm apart."""
STRETCH_COLUMNS = 512
"""Columns that are judged together: about 10 m."""
SAME_MULTIPLE = 0.06
"""Share by which an echo may come off twice or three times another's two-way time to be its multiple."""

COVER_NS = 2.2
"""Two-way time within which bars may lie: 120 mm at the typical permittivity."""
LEAST_PERIODS = 1.5
"""How much of the record has to lie where a back face may be."""
BEFORE_END_PERIODS = 0.6
"""How much of the record has to come after an echo, so that it is seen whole."""
LOOSE_PERIODS = 0.15
"""How uneven a shallow level echo may be."""
SHALLOW_SHARE = 0.1
"""Share of the direct wave's strength from which one is worth a hint."""
ANCHOR_APART_MM = 80.0
"""Least distance of anchors."""
WIDE_MM = 200.0
"""Anchors further apart than this get others between them."""
ANCHOR_OFF_MM = 40.0
"""How far from where it is wanted an anchor may lie."""
ANCHOR_QUALITY = 0.5

NOTHING = (
    "No back face was found: no level echo below bars stands out of its surroundings. "
    "Mark it by hand where you see it, or record it again over a longer time."
)
TOO_SHORT = (
    "No back face was looked for: the record ends {end:.1f} ns after the direct wave. "
    "Record for longer to see the back face."
)
UNSURE = (
    "An echo along the line at about {time:.1f} ns may be the back face, but {doubt}: it is not marked. "
    "Compare it with a known thickness, then mark it by hand."
)
LIKE_METAL = (
    "An echo along the line at about {time:.1f} ns has the polarity of bars, as metal or a denser layer "
    "gives it: it is not marked as the back face. Find out what lies there before you mark it."
)
PARALLEL = (
    "An echo along the whole line at about {time:.1f} ns may be bars parallel to the line, a plate or "
    "another layer: none is marked. Scan across it to tell."
)

_Said = dict[str, str]
"""Sentences by their kind; one of each is enough."""


def propose_face(
    stage: PickStage,
    bars: Sequence[BarProposal],
    phase: float,
    report: Report = no_report,
) -> tuple[FaceProposal | None, tuple[str, ...]]:
    """The back face that the line's echoes speak for, or a sentence on why there is none.

    Parameters
    ----------
    stage
        The line as it is picked on, or that without its bars.
    bars, phase
        The bars above it, accepted or proposed, and the phase of their echoes, rad.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    low, high = _rows(stage)
    if high - low < LEAST_PERIODS * stage.period_ns / stage.scan.dt_ns:
        end_ns = stage.scan.time_window_ns - stage.direct.time_ns
        return None, (TOO_SHORT.format(end=max(0.0, end_ns)),)
    columns = column_traces(stage)[::COLUMNS_EVERY]
    stretches = np.array_split(columns, max(1, round(len(columns) / STRETCH_COLUMNS)))
    accepted: list[LevelEcho] = []
    said: _Said = {}
    for done, stretch in enumerate(stretches, start=1):
        found = _look_along(stage, stretch, low, high, phase, bars, said)
        if found is not None and found.score >= SHOWN_SCORE:
            accepted.append(found)
        report(done / len(stretches))
    anchors = [pick for echo in accepted for pick in _anchors(stage, echo, bars)]
    if not anchors:
        return None, tuple(said.values()) or (NOTHING,)
    # Where the back face shows somewhere, its share of the line says that it does not elsewhere.
    also = tuple(words for kind, words in said.items() if kind not in (NOTHING, UNSURE))
    return _proposal(accepted, anchors, len(columns)), also


def _rows(stage: PickStage) -> tuple[int, int]:
    """Samples between which a back face may lie: whatever the velocity and the bars may be."""
    scan, zero = stage.scan, zero_ns(stage)
    end = scan.samples - 2 - round(BEFORE_END_PERIODS * stage.period_ns / scan.dt_ns)
    high = min(end, int((zero + MOST_NS) / scan.dt_ns))
    return max(1, int((zero + LEAST_NS) / scan.dt_ns)), high


def _look_along(
    stage: PickStage,
    columns: Indices,
    low: int,
    high: int,
    phase: float,
    bars: Sequence[BarProposal],
    said: _Said,
) -> LevelEcho | None:
    """The back face along a stretch; what there is to say of it and of other echoes goes to ``said``."""
    envelopes = patch_envelopes(stage, columns, 0, stage.scan.samples)
    others = []
    shallow_ns = _shallow(stage, columns, envelopes, low, phase, bars)
    if shallow_ns is not None:
        others.append(shallow_ns)
        said.setdefault(PARALLEL, PARALLEL.format(time=shallow_ns))
    best = None
    for echo in level_echoes(stage, columns, envelopes, low, high, phase):
        if not np.isfinite(echo.time_ns) or _is_multiple(stage, echo.time_ns, others):
            continue
        deepest = not others or echo.time_ns > max(others)
        if not echo.is_level:
            best = best or (echo if deepest else None)
            continue
        if deepest and echo.like_face and not _has_half(stage, echo, envelopes, low, phase):
            return echo
        if not echo.like_face and not _of_bars(stage, echo.time_ns, bars):
            near = echo.time_ns - zero_ns(stage) < COVER_NS
            kind = PARALLEL if near else LIKE_METAL
            said.setdefault(kind, kind.format(time=echo.time_ns))
        others.append(echo.time_ns)
    if best is not None and best.may_be_level:
        said.setdefault(UNSURE, UNSURE.format(time=best.time_ns, doubt=best.doubt))
    elif not {UNSURE, LIKE_METAL} & said.keys():
        said.setdefault(NOTHING, NOTHING)
    return None


def _has_half(
    stage: PickStage, echo: LevelEcho, envelopes: Envelopes, low: int, phase: float
) -> bool:
    """Whether another level echo comes at half its two-way time, so that it is that one's multiple."""
    zero = zero_ns(stage) / stage.scan.dt_ns
    half = np.rint(zero + (echo.path - zero) / 2).astype(np.intp)
    if np.median(half) < low:
        return False
    return judged(stage, echo.columns, envelopes, half, phase).is_level


def _of_bars(stage: PickStage, time_ns: float, bars: Sequence[BarProposal]) -> bool:
    """Whether a level echo is that of bars across the line: close ones run together in it."""
    return any(abs(bar.pick.time_ns - time_ns) < stage.period_ns for bar in bars)


def _is_multiple(stage: PickStage, time_ns: float, level_ns: Sequence[float]) -> bool:
    """Whether an echo comes two or three times as late as another level one."""
    zero = zero_ns(stage)
    late = [(time_ns - zero) / (other - zero) for other in level_ns if other > zero]
    return any(abs(times / order - 1) < SAME_MULTIPLE for times in late for order in (2, 3))


def _shallow(
    stage: PickStage,
    columns: Indices,
    envelopes: Envelopes,
    low: int,
    phase: float,
    bars: Sequence[BarProposal],
) -> float | None:
    """File time of an echo like metal, all along the line, where no back face is looked for; or None."""
    dt, period = stage.scan.dt_ns, stage.period_ns
    first = round((stage.direct.time_ns + APART_PERIODS * period) / dt)
    if low - first < 3:
        return None
    loose = max(1, round(LOOSE_PERIODS * period / dt))
    reach = scipy.ndimage.maximum_filter1d(envelopes[:, :low], 2 * loose + 1, axis=1)
    there = np.percentile(reach[:, first:], 10, axis=0)
    at = first + int(np.argmax(there))
    if not first < at < low - 1 or there.max() < SHALLOW_SHARE * stage.direct_peak:
        return None
    window = slice(max(0, at - 2 * loose), at + 2 * loose + 1)
    path = window.start + envelopes[:, window].argmax(axis=1).astype(np.intp)
    echo = judged(stage, columns, envelopes, path, phase)
    if (
        not (echo.is_level or echo.is_strong)
        or echo.like_face
        or _of_bars(stage, echo.time_ns, bars)
    ):
        return None
    return echo.time_ns


def _anchors(stage: PickStage, look: LevelEcho, bars: Sequence[BarProposal]) -> list[Pick]:
    """Picks along an echo: midway between bars where it shows, or evenly where there are none."""
    usual = usual_strength(look.echo.strength, look.columns, stage)
    good = np.isfinite(look.echo.time_ns) & (look.contrast_db > STANDS_OUT_DB)
    good &= look.echo.strength >= ANCHOR_QUALITY * usual
    positions, times = stage.scan.positions_mm[look.columns][good], look.echo.time_ns[good]
    picks: list[Pick] = []
    if not len(positions):
        return picks
    for place in _places(float(positions.min()), float(positions.max()), bars):
        at = int(np.argmin(np.abs(positions - place)))
        where = float(positions[at])
        if abs(where - place) <= ANCHOR_OFF_MM and all(
            abs(where - pick.position_mm) >= ANCHOR_APART_MM for pick in picks
        ):
            picks.append(Pick(where, float("nan"), float(times[at])))
    return picks


def _places(first: float, last: float, bars: Sequence[BarProposal]) -> list[float]:
    """Where anchors are wanted, mm: both ends, then midway between bars, and between where that is wide."""
    apexes = sorted({bar.pick.position_mm for bar in bars if first < bar.pick.position_mm < last})
    middles = [(left + right) / 2 for left, right in pairwise(apexes)]
    inside = []
    for left, right in pairwise([first, *middles, last]):
        count = int((right - left) // WIDE_MM) + 1
        inside += [left + (right - left) * i / count for i in range(1, count + 1)]
    return [first, last, *inside[:-1]]


def _proposal(accepted: Sequence[LevelEcho], anchors: Sequence[Pick], columns: int) -> FaceProposal:
    share = sum(float(np.sum(look.contrast_db > STANDS_OUT_DB)) for look in accepted) / columns
    above = float(np.median(np.concatenate([look.contrast_db for look in accepted])))
    weights = [len(look.columns) for look in accepted]
    score = float(np.average([look.score for look in accepted], weights=weights))
    reason = (
        f"clear echo along {100 * share:.0f} % of the line, {above:.0f} dB above its surroundings"
    )
    return FaceProposal(tuple(sorted(anchors, key=lambda pick: pick.position_mm)), score, reason)
