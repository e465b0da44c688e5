"""How much speaks for a candidate: its hyperbola, its strength, its polarity, what else it may be."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FULL_COHERENCE, NO_COHERENCE = 0.68, 0.34
"""Coherences that count in full and not at all. Bars of full-wave lines have 0.74 to 0.91, of lower mats in
lossy concrete 0.5 upwards; what else stacks mostly stays below 0.6 (own computation)."""
CLEAR, ALIKE = 0.65, 0.4
"""Coherence and logarithm of the permittivity's ratio of the bars that speak for a line."""
HIGHEST, LEFT = 0.95, 0.15
"""The highest score, and what one single thing that speaks against a candidate leaves of it."""
EARLIER, LATER, TURN_PER_LAG = (-1.15, -0.45), (2.2, 1.3), 0.08
"""Turns of phase against the other bars', radians, that count for nothing and in full, and by how much more
they may be for each period after the direct wave. Air turns it the negative way: a void to -1.7, a tube
30 mm across to -1.1. Bars of a lower mat turn up to 1.4 where tails hide when they begin, and between -0.9
and 0.7 in aggregate (full-wave runs, own computation)."""
ABOVE_DB = (4.0, 11.0)
ODD_BEND = (-0.42, -0.16)
"""Logarithms of a candidate's permittivity over the line's. Bars have it within 0.1 (full-wave runs, own
computation); permittivity may change with depth."""
DEEP_LAG, DEEP_DB, SHALLOW_DB = 2.0, (-15.0, -6.0), (-16.0, -9.0)
"""Strength times two-way time against the line's stronger bars; deep ones lie under others."""
AS_A_LAYER = (-0.9, -0.6)
"""Worth of a flat echo at a candidate's place against the hyperbola's, negative. Bars have 0.05 to 0.5
(full-wave runs, own computation)."""
HOPELESS = 1.2
"""The same, from which on nothing else is looked at."""
BELOW_FACE = (1.0, 2.0)
"""Strengths against that of a flat echo above, of the polarity of air, below which nothing is a bar's."""
SAME_ECHO_PERIODS, SAME_ECHO_MM = 1.5, 30.0
"""So near below or above a much stronger echo, another is its ringing."""


@dataclass(frozen=True)
class Found:
    """A candidate as it is judged; positions along the line from the first trace, mm.

    ``strength`` is against the direct wave's; ``lag`` in periods after it; ``log_ratio`` the logarithm of its
    permittivity against the line's; ``above_db`` its strength above the level around it; ``phase`` in
    radians; ``edge_mm`` how far the line goes on beyond it. ``flatness`` is what a layer
    would be worth in its place, against the hyperbola. ``flat_strength`` and ``flat_phase`` are those of
    the strongest flat echo above.
    """

    along_mm: float
    time_ns: float
    lag: float
    two_way_ns: float
    strength: float
    coherence: float
    log_ratio: float
    above_db: float
    flatness: float
    phase: float
    edge_mm: float
    flat_strength: float
    flat_phase: float


@dataclass(frozen=True)
class Usual:
    """What the clear bars of a line have in common; no phase where there are too few of them.

    ``bend`` is the logarithm of their permittivity over the assumed one, ``level`` strength times
    two-way time.
    """

    phase: float | None
    bend: float
    level: float


@dataclass(frozen=True)
class Verdict:
    """A score from 0 to 1 and the words for it."""

    score: float
    reason: str


def judge(found: Sequence[Found], period_ns: float) -> list[Verdict]:
    """A verdict on each candidate of a line, given all of them."""
    bars = [one for one in found if one.coherence > CLEAR and abs(one.log_ratio) < ALIKE]
    usual = Usual(_usual_phase(bars), _usual_bend(bars), _usual_level(bars))
    order = np.argsort([one.along_mm for one in found], kind="stable")
    along = np.array([found[index].along_mm for index in order])
    verdicts = []
    for one in found:
        low, high = np.searchsorted(
            along, (one.along_mm - SAME_ECHO_MM, one.along_mm + SAME_ECHO_MM)
        )
        near = [found[index] for index in order[low:high]]
        verdicts.append(_verdict(one, near, usual, period_ns))
    return verdicts


def hopeless(one: Found) -> bool:
    """Whether a candidate is not worth a pick, whatever else the line holds."""
    return one.coherence <= NO_COHERENCE or one.above_db <= ABOVE_DB[0] or one.flatness >= HOPELESS


def _usual_bend(bars: Sequence[Found]) -> float:
    """The logarithm of the bars' own permittivity over the one assumed: their weighted median."""
    if not bars:
        return 0.0
    ratios = np.array([one.log_ratio for one in bars])
    order = np.argsort(ratios, kind="stable")
    share = np.cumsum(np.array([one.strength for one in bars])[order])
    return float(ratios[order[int(np.searchsorted(share, 0.5 * share[-1]))]])


def _usual_phase(bars: Sequence[Found]) -> float | None:
    """The phase that most of the strength has; None where there is not enough of it."""
    if len(bars) < 2:
        return None
    wave = np.array([one.strength * one.coherence * np.exp(1j * one.phase) for one in bars])
    tried = np.exp(1j * np.linspace(-np.pi, np.pi, 48, endpoint=False))
    near = (tried[:, None].conj() * wave).real > 0.5 * np.abs(wave)
    best = int((near * np.abs(wave)).sum(axis=1).argmax())
    return float(np.angle((near[best] * wave).sum()))


def _usual_level(bars: Sequence[Found]) -> float:
    """Strength times two-way time of the stronger bars of a line; 0 where there are none."""
    return (
        float(np.percentile([one.strength * one.two_way_ns for one in bars], 80)) if bars else 0.0
    )


def _verdict(one: Found, near: Sequence[Found], usual: Usual, period_ns: float) -> Verdict:
    bend = one.log_ratio - usual.bend
    grades: list[tuple[float, str]] = [
        (
            _ramp(one.coherence, NO_COHERENCE, FULL_COHERENCE),
            f"not much of a hyperbola, {100 * one.coherence:.0f} % in step",
        ),
        (
            _ramp(one.above_db, *ABOVE_DB),
            f"weak, {max(one.above_db, 0.0):.0f} dB above its surroundings",
        ),
        (
            _ramp(-abs(bend), *ODD_BEND),
            "too flat for a bar" if bend < 0 else "too bent for a bar",
        ),
        (_ramp(-one.flatness, *AS_A_LAYER), "as flat as a layer"),
        (_ramp(one.edge_mm, -2.0, 8.0), "at the line's end: its apex may lie beyond"),
    ]
    below_db = 20 * math.log10(max(one.strength * one.two_way_ns, 1e-9) / max(usual.level, 1e-9))
    grades.append(
        (
            _ramp(below_db, *(DEEP_DB if one.lag > DEEP_LAG else SHALLOW_DB)),
            f"{-below_db:.0f} dB weaker than the other bars",
        )
    )
    if usual.phase is not None:
        off = math.remainder(one.phase - usual.phase, 2 * math.pi)
        more = TURN_PER_LAG * max(one.lag, 0.0)
        grade = _ramp(off + more, *EARLIER) if off < 0 else _ramp(off - more, *LATER)
        grades.append((grade, "polarity opposite to the other bars'"))
        turned = abs(math.remainder(one.flat_phase - usual.phase, 2 * math.pi)) > math.pi / 2
        if turned and one.flat_strength > 0:
            grades.append(
                (_ramp(one.strength / one.flat_strength, *BELOW_FACE), "below the back face")
            )
    for other in near:
        if (
            other.strength > 3 * one.strength
            and abs(other.time_ns - one.time_ns) < SAME_ECHO_PERIODS * period_ns
        ):
            grades.append((0.0, "the ringing of the bar above"))
            break
    worst = min(grades)
    score = HIGHEST * math.prod(LEFT + (1 - LEFT) * grade for grade, _ in grades)
    if worst[0] > 0.6:
        return Verdict(score, f"clear hyperbola, {one.above_db:.0f} dB above its surroundings")
    return Verdict(score, worst[1])


def _ramp(value: float, none: float, full: float) -> float:
    return float(np.clip((value - none) / (full - none), 0.0, 1.0))
