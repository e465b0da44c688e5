"""Bars by themselves: places where the echoes stack like a bar's hyperbola."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from depthwright.finding.judging import Found, Verdict, hopeless, judge
from depthwright.finding.proposal import SAME_MM, BarProposal, same_echo
from depthwright.finding.stretch import Stretch, along_mm, found_in, known_of
from depthwright.job import Job, Line
from depthwright.measuring.picking import Pick, crest_traces, place_by_hand, snap_bar, with_crest
from depthwright.measuring.stage import KeptStage, PickStage, holding, kept
from depthwright.scan import Report, no_report

STRETCH_MM, BESIDE_MM = 4000.0, 500.0
"""Length of the stretches that a line is searched in, and how far each looks beyond its ends."""
LEAST_TRACES = 8
"""A line of fewer is too short to be looked at."""
LEAST_SHOWN = 0.1
SNAPPED_MM, SNAPPED_PERIODS = 5.0, 0.08
"""How far a click's pick may lie from the apex of the stack. Where it lies farther, crossing hyperbolas drew
it away: over close bars the stack is right within 4 mm, a click's pick off by 10 to 50 mm (full-wave runs,
own computation)."""
STACKED_U_MM = 2.0
"""Standard uncertainty of the stack's apex along the line, beside the trace spacing's (the same runs)."""


def propose_bars(
    job: Job, line: Line, stage: PickStage, report: Report = no_report
) -> tuple[BarProposal, ...]:
    """Bars that the line's echoes speak for, in the order of their positions.

    Parameters
    ----------
    job, line
        The line and its job; what is known of the antenna, not its marks.
    stage
        The line as it is picked on.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    pairs = [
        (
            stretch.found[index],
            _with_crest(stretch, index, _pick(stretch.kept, stretch.found[index])),
        )
        for stretch, own in _searched(job, line, stage, report)
        for index in own
        if not hopeless(stretch.found[index])
    ]
    verdicts = judge([one for one, _ in pairs], stage.period_ns)
    return _proposals([pick for _, pick in pairs], verdicts)


def without_bars(
    job: Job,
    line: Line,
    stage: KeptStage,
    bars: Sequence[BarProposal],
    report: Report = no_report,
) -> KeptStage:
    """The line as it would be picked on if some of its bars were not there.

    Parameters
    ----------
    job, line
        The line and its job.
    stage
        The line as it is picked on, all of it at hand.
    bars
        Proposals on it: their hyperbolas are looked for once more and taken away.
    report
        Told the share that is done, 0 to 1; it may raise to cancel.
    """
    signal = stage.signal.copy()
    for stretch, own in _searched(job, line, stage, report):
        places = {index: _apex_mm(stage, stretch.found[index]) for index in own}
        signal[stretch.kept.first : stretch.kept.last] -= stretch.held_by(
            index
            for index, place_mm in places.items()
            if any(same_echo(bar.pick, place_mm, stretch.found[index].time_ns) for bar in bars)
        )
    return holding(stage.line, 0, signal)


def _searched(
    job: Job, line: Line, stage: PickStage, report: Report
) -> Iterator[tuple[Stretch, list[int]]]:
    """A line's stretches, each with those of its finds that no other stretch has."""
    scan = stage.scan
    if scan.traces < LEAST_TRACES or not scan.trace_spacing_mm > 0:
        return
    size = max(64, round(STRETCH_MM / scan.trace_spacing_mm))
    beside = round(BESIDE_MM / scan.trace_spacing_mm)
    known = known_of(job, line, stage, size)
    for first in range(0, scan.traces, size):
        last = min(scan.traces, first + size)
        near = kept(stage, max(0, first - beside), min(scan.traces, last + beside))
        low, high = along_mm(scan.positions_mm, first), along_mm(scan.positions_mm, last)
        stretch = found_in(known, near)
        yield stretch, [k for k, one in enumerate(stretch.found) if low <= one.along_mm < high]
        report(last / scan.traces)


def _apex_mm(stage: PickStage, one: Found) -> float:
    """Position of what was found, mm."""
    positions = stage.scan.positions_mm
    way = 1.0 if positions[-1] >= positions[0] else -1.0
    return float(positions[0]) + way * one.along_mm


def _pick(stage: PickStage, one: Found) -> Pick:
    """What a click on the stack's apex gives; the apex itself where crossing hyperbolas draw that away."""
    apex_mm = _apex_mm(stage, one)
    click = snap_bar(stage, apex_mm, one.time_ns)
    if click is not None and _near(click, apex_mm, one.time_ns, SNAPPED_PERIODS * stage.period_ns):
        return click
    return replace(
        place_by_hand(stage, apex_mm, one.time_ns),
        position_u_mm=math.hypot(STACKED_U_MM, stage.scan.trace_spacing_mm / 4),
    )


def _with_crest(stretch: Stretch, index: int, pick: Pick) -> Pick:
    """The pick with its crest, read where all other hyperbolas are taken away."""
    first, last = crest_traces(stretch.kept, pick)
    if not stretch.kept.has(first, last):
        return with_crest(stretch.kept, pick)
    crested = with_crest(stretch.alone(index, first, last), pick)
    return replace(crested, crest_alone=bool(crested.crest))


def _near(click: Pick, apex_mm: float, time_ns: float, within_ns: float) -> bool:
    return (
        abs(click.position_mm - apex_mm) < SNAPPED_MM and abs(click.time_ns - time_ns) < within_ns
    )


def _proposals(picks: Sequence[Pick], verdicts: Sequence[Verdict]) -> tuple[BarProposal, ...]:
    """Proposals of what is likely enough, the likeliest where two mean the same echo."""
    kept: dict[int, list[BarProposal]] = {}
    for pick, verdict in sorted(zip(picks, verdicts, strict=True), key=lambda p: -p[1].score):
        if verdict.score < LEAST_SHOWN:
            break
        cell = int(pick.position_mm // SAME_MM)
        near = [bar for beside in (-1, 0, 1) for bar in kept.get(cell + beside, ())]
        if not any(same_echo(pick, bar.pick.position_mm, bar.pick.time_ns) for bar in near):
            kept.setdefault(cell, []).append(BarProposal(pick, verdict.score, verdict.reason))
    proposals = [bar for cell in kept.values() for bar in cell]
    return tuple(sorted(proposals, key=lambda bar: (bar.pick.position_mm, bar.pick.time_ns)))
