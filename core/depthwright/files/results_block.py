"""The results written into a job file, and compared with what is computed on opening it."""

import math
from collections.abc import Iterable

from depthwright import __version__
from depthwright.files.results_schema import (
    AnchorBlock,
    BarBlock,
    DepthModelBlock,
    EvidenceBlock,
    FaceBlock,
    KnownDepth,
    Length,
    LineBlock,
    OutlookBlock,
    OutlookRowBlock,
    Profile,
    ResultsBlock,
    TargetBlock,
    UnknownsBlock,
)
from depthwright.job import Job, Tie
from depthwright.results.values import (
    COVERAGE_FACTOR,
    BarRow,
    EvidenceRow,
    FaceRow,
    LineModel,
    Measured,
    Outlook,
    Results,
    TargetRow,
)
from depthwright.results.words import CAUTIONS, INTERVALS

__all__ = ["PROFILE_POINTS", "ResultsBlock", "compare_results", "results_block"]

PROFILE_POINTS = 1000
"""Most points of a back face's profile in a job file; the exported profile holds all of them."""

_DECIMALS = 4
"""Kept of every mm and ns: far below anything measured, so that files differ only where results do."""
_FIGURES = 6
"""Significant digits kept of the shared unknowns, whose sizes differ by many powers of ten."""

SAME_MM = 0.01
SAME_PERMITTIVITY = 0.001
"""Results nearer to the stored ones than this are the same: a tenth of the last digit ever shown."""

_NAMED = 3


def results_block(job: Job, results: Results) -> ResultsBlock:
    """Results as they are written into the job file."""
    outlook = results.outlook
    return ResultsBlock(
        program=f"Depthwright {__version__}",
        coverage_factor=COVERAGE_FACTOR,
        intervals=INTERVALS,
        permittivity=_kept(results.permittivity),
        permittivity_u=_kept(results.permittivity_u),
        permittivity_expanded=_kept(COVERAGE_FACTOR * results.permittivity_u),
        provisional=results.provisional,
        adopted_from=results.adopted_from,
        evidence=tuple(_evidence(row) for row in results.evidence),
        outlook=None if outlook is None else _outlook(outlook),
        unknowns=UnknownsBlock(
            names=results.parameters,
            values=_significant(results.posterior.theta),
            covariance=tuple(_significant(row) for row in results.covariance),
        ),
        lines=tuple(
            _line(line.id, line.name, results) for line in job.lines if line.id in results.lines
        ),
        warnings=results.warnings,
        messages=results.messages,
        cautions=CAUTIONS,
    )


def compare_results(block: ResultsBlock, results: Results) -> str:
    """A sentence on how results differ from the stored ones; empty when they are the same."""
    differences = _differences(block, results)
    if not differences:
        return ""
    named = "; ".join(differences[:_NAMED])
    more = len(differences) - _NAMED
    others = f"; and {more} more" if more > 0 else ""
    return (
        f"Computed again, results differ from those stored with {block.program}: {named}{others}. "
        "The new ones are shown."
    )


def _kept(value: float) -> float:
    return round(float(value), _DECIMALS)


def _or_null(value: float) -> float | None:
    return _kept(value) if math.isfinite(value) else None


def _kept_all(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(_kept(value) for value in values)


def _or_nulls(values: Iterable[float]) -> tuple[float | None, ...]:
    return tuple(_or_null(value) for value in values)


def _significant(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(f"{value:.{_FIGURES}g}") for value in values)


def _length(measured: Measured) -> Length:
    if not math.isfinite(measured.value_mm):
        return Length(value_mm=None, u_mm=None, expanded_mm=None)
    return Length(
        value_mm=_or_null(measured.value_mm),
        u_mm=_or_null(measured.u_mm),
        expanded_mm=_or_null(measured.expanded_mm),
    )


def _known(tie: Tie | None) -> KnownDepth | None:
    if tie is None:
        return None
    return KnownDepth(depth_mm=tie.depth_mm, u_mm=_kept(tie.u_mm), origin=tie.origin)


def _evidence(row: EvidenceRow) -> EvidenceBlock:
    low, high = row.interval
    return EvidenceBlock(
        kind=row.kind,
        label=row.label,
        permittivity=_kept(row.permittivity),
        log_u=_kept(row.log_u),
        low=_kept(low),
        high=_kept(high),
        used=row.used,
        note=row.note,
        line=row.line_id,
        mark=row.mark_id,
    )


def _outlook(outlook: Outlook) -> OutlookBlock:
    return OutlookBlock(
        shallow=_length(outlook.shallow),
        deep=_length(outlook.deep),
        deep_label=outlook.deep_label,
        rows=tuple(
            OutlookRowBlock(what=row.what, expanded_mm=_or_null(row.expanded_mm), now=row.now)
            for row in outlook.rows
        ),
    )


def _line(line_id: str, name: str, results: Results) -> LineBlock:
    rows = results.lines[line_id]
    return LineBlock(
        line=line_id,
        name=name,
        depth_model=_model(rows.model),
        bars=tuple(_bar(row, (line_id, row.mark_id) in results.curved) for row in rows.bars),
        faces=tuple(_face(row) for row in rows.faces),
        targets=tuple(_target(row) for row in rows.targets),
    )


def _model(model: LineModel) -> DepthModelBlock:
    _, log_u = model.posterior.line_log_permittivity(model.line_index)
    before_ns, before_u_ns = model.posterior.time_zero(model.line_index)
    return DepthModelBlock(
        permittivity=_kept(model.permittivity),
        permittivity_u=_kept(model.permittivity * log_u),
        separation_mm=_kept(model.separation_mm),
        height_mm=_kept(model.height_mm),
        direct_ns=_kept(model.direct_ns),
        time_zero_ns=_kept(model.direct_ns - before_ns),
        time_zero_u_ns=_kept(before_u_ns),
    )


def _bar(row: BarRow, curvature: bool) -> BarBlock:
    return BarBlock(
        mark=row.mark_id,
        number=row.number,
        position=_length(row.position),
        cover=_length(row.cover),
        spacing=None if row.spacing is None else _length(row.spacing),
        diameter_mm=row.diameter_mm,
        two_way_ns=_kept(row.two_way_ns),
        overlaps_direct=row.overlaps_direct,
        curvature=curvature,
        tie=_known(row.tie),
    )


def _face(row: FaceRow) -> FaceBlock:
    step = max(1, -(-len(row.position_mm) // PROFILE_POINTS))
    return FaceBlock(
        mark=row.mark_id,
        number=row.number,
        median=_length(row.median),
        anchors=tuple(
            AnchorBlock(
                position=_length(anchor.position),
                depth=_length(anchor.depth),
                tie=_known(anchor.tie),
            )
            for anchor in row.anchors
        ),
        tracked_points=len(row.position_mm),
        profile=Profile(
            position_mm=_kept_all(row.position_mm[::step]),
            depth_mm=_or_nulls(row.depth_mm[::step]),
            depth_u_mm=_or_nulls(row.depth_u_mm[::step]),
            time_ns=_kept_all(row.time_ns[::step]),
        ),
    )


def _target(row: TargetRow) -> TargetBlock:
    return TargetBlock(
        mark=row.mark_id,
        number=row.number,
        what=row.what,
        position=_length(row.position),
        depth=_length(row.depth),
        tie=_known(row.tie),
    )


# Comparing.

_Values = dict[tuple[str, str], float | None]
"""Values by line id and by what they are in words."""


def _differences(block: ResultsBlock, results: Results) -> list[str]:
    """What differs, in words: permittivity first, then every length in the order of the lines."""
    words = []
    if abs(block.permittivity - results.permittivity) > SAME_PERMITTIVITY:
        words.append(f"permittivity {block.permittivity:.2f} then, {results.permittivity:.2f} now")
    stored = {line.line: line for line in block.lines}
    fresh = {
        line_id: _line(line_id, stored[line_id].name if line_id in stored else line_id, results)
        for line_id in results.lines
    }
    then: _Values = {}
    now: _Values = {}
    for line_id in dict.fromkeys((*stored, *fresh)):
        one, other = stored.get(line_id), fresh.get(line_id)
        then |= _values(one, other) if one else {}
        now |= _values(other, one) if other else {}
    for key in (*then, *(key for key in now if key not in then)):
        if key not in now or key not in then:
            words.append(f"{key[1]} {'no longer there' if key in then else 'not stored'}")
        elif not _same(then[key], now[key]):
            words.append(f"{key[1]} {_said(then[key])} then, {_said(now[key])} now")
    return words


def _values(line: LineBlock, other: LineBlock | None) -> _Values:
    """Positions, spacings, depths and their U.

    A median counts only where the ``other`` form of the line has as many tracked points: with another
    number, or without its scan, a face is read at other places.
    """
    values: _Values = {}

    def put(mark: str, position: Length, depth: Length, word: str) -> None:
        values[line.line, f"position of {mark}"] = position.value_mm
        values[line.line, f"{word} of {mark}"] = depth.value_mm
        values[line.line, f"U of the {word} of {mark}"] = depth.expanded_mm

    for bar in line.bars:
        mark = f"bar {bar.number} on {line.name}"
        put(mark, bar.position, bar.cover, "cover")
        if bar.spacing is not None:
            values[line.line, f"spacing before {mark}"] = bar.spacing.value_mm
    tracked = {face.mark: face.tracked_points for face in other.faces} if other else {}
    for face in line.faces:
        name = f"back face {face.number} on {line.name}"
        for place, anchor in enumerate(face.anchors, start=1):
            put(f"{name}, anchor {place}", anchor.position, anchor.depth, "depth")
        if tracked.get(face.mark) == face.tracked_points:
            values[line.line, f"median of {name}"] = face.median.value_mm
    for target in line.targets:
        mark = f"{target.what} {target.number} on {line.name}"
        put(mark, target.position, target.depth, "depth")
    return values


def _same(then: float | None, now: float | None) -> bool:
    if then is None or now is None:
        return then is now
    return abs(then - now) <= SAME_MM


def _said(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f} mm"
