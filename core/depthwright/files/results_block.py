"""The results written into a job file: plain numbers that anyone can read without this program.

Lengths are mm, times ns. A name ending in ``_u`` (before its unit) is a standard uncertainty, one with
``_expanded`` is U = k u with the k stated once. A value that does not exist is null.
"""

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from depthwright import __version__
from depthwright.job import Frozen, Job, Line, Origin, TargetKind, Tie
from depthwright.results.values import (
    COVERAGE_FACTOR,
    BarRow,
    EvidenceRow,
    FaceRow,
    LineRows,
    Measured,
    Results,
    TargetRow,
)
from depthwright.results.words import CAUTIONS, INTERVALS

PROFILE_POINTS = 1000
"""Most points of a back face's profile in a job file; the exported profile holds all of them."""

_DECIMALS = 4
"""Kept of every mm and ns: far below anything measured, so that files differ only where results do."""

SAME_MM = 0.01
SAME_PERMITTIVITY = 0.001
"""Results nearer to the stored ones than this are the same: a tenth of the last digit ever shown."""

_NAMED = 3


class Length(Frozen):
    """A measured length with its standard and expanded uncertainty, mm."""

    value_mm: float | None
    u_mm: float | None
    expanded_mm: float | None


class KnownDepth(Frozen):
    """A tie: a known depth, mm, and its standard uncertainty, mm."""

    depth_mm: float
    u_mm: float
    origin: Origin


class BarBlock(Frozen):
    """One bar; position from the datum, spacing to the bar before it."""

    mark: str
    number: int
    position: Length
    cover: Length
    spacing: Length | None
    diameter_mm: float
    two_way_ns: float
    overlaps_direct: bool
    tie: KnownDepth | None


class AnchorBlock(Frozen):
    """A point of the back face that the user pointed at."""

    position: Length
    depth: Length
    tie: KnownDepth | None


class Profile(Frozen):
    """A back face along the line: lists of equal length, ordered from the datum."""

    position_mm: tuple[float, ...]
    depth_mm: tuple[float | None, ...]
    depth_u_mm: tuple[float | None, ...]
    time_ns: tuple[float, ...]


class FaceBlock(Frozen):
    """One back face; its profile keeps at most a thousand of the ``tracked_points``."""

    mark: str
    number: int
    median: Length
    anchors: tuple[AnchorBlock, ...]
    tracked_points: int
    profile: Profile


class TargetBlock(Frozen):
    """Another target."""

    mark: str
    number: int
    what: TargetKind
    position: Length
    depth: Length


class DepthModelBlock(Frozen):
    """What turns file times into depths on a line: t = file time - zero + residual offset, ns."""

    permittivity: float
    separation_mm: float
    height_mm: float
    direct_ns: float
    zero_ns: float
    residual_offset_ns: float


class LineBlock(Frozen):
    """The results of one line."""

    line: str
    name: str
    depth_model: DepthModelBlock
    bars: tuple[BarBlock, ...]
    faces: tuple[FaceBlock, ...]
    targets: tuple[TargetBlock, ...]


class EvidenceBlock(Frozen):
    """One piece of evidence and the permittivity it alone would give."""

    label: str
    permittivity: float
    permittivity_u: float
    used: bool


class ResultsBlock(Frozen):
    """All results of a job as computed when it was saved."""

    program: str
    length_unit: Literal["mm"] = "mm"
    time_unit: Literal["ns"] = "ns"
    coverage_factor: float
    intervals: str
    permittivity: float
    permittivity_u: float
    permittivity_expanded: float
    provisional: bool
    adopted_from: tuple[str, ...]
    evidence: tuple[EvidenceBlock, ...]
    parameters: tuple[str, ...]
    covariance: tuple[tuple[float, ...], ...]
    lines: tuple[LineBlock, ...]
    messages: tuple[str, ...]
    cautions: tuple[str, ...]


def results_block(job: Job, results: Results) -> ResultsBlock:
    """Results as they are written into the job file."""
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
        parameters=results.parameters,
        covariance=tuple(tuple(float(value) for value in row) for row in results.covariance),
        lines=tuple(
            _line(line, results.lines[line.id]) for line in job.lines if line.id in results.lines
        ),
        messages=(*results.warnings, *results.messages),
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
    return EvidenceBlock(
        label=row.label,
        permittivity=_kept(row.permittivity),
        permittivity_u=_kept(row.permittivity_u),
        used=row.used,
    )


def _line(line: Line, rows: LineRows) -> LineBlock:
    model = rows.model
    bars, faces, targets = _rows(rows)
    return LineBlock(
        line=line.id,
        name=line.name,
        depth_model=DepthModelBlock(
            permittivity=_kept(model.permittivity),
            separation_mm=model.separation_mm,
            height_mm=model.height_mm,
            direct_ns=_kept(model.direct_ns),
            zero_ns=_kept(model.zero_ns),
            residual_offset_ns=_kept(model.residual_offset_ns),
        ),
        bars=bars,
        faces=faces,
        targets=targets,
    )


def _rows(
    rows: LineRows,
) -> tuple[tuple[BarBlock, ...], tuple[FaceBlock, ...], tuple[TargetBlock, ...]]:
    return (
        tuple(_bar(row) for row in rows.bars),
        tuple(_face(row) for row in rows.faces),
        tuple(_target(row) for row in rows.targets),
    )


def _bar(row: BarRow) -> BarBlock:
    return BarBlock(
        mark=row.mark_id,
        number=row.number,
        position=_length(row.position),
        cover=_length(row.cover),
        spacing=None if row.spacing is None else _length(row.spacing),
        diameter_mm=row.diameter_mm,
        two_way_ns=_kept(row.two_way_ns),
        overlaps_direct=row.overlaps_direct,
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
            position_mm=_finite(row.position_mm[::step]),
            depth_mm=tuple(_or_null(value) for value in row.depth_mm[::step]),
            depth_u_mm=tuple(_or_null(value) for value in row.depth_u_mm[::step]),
            time_ns=_finite(row.time_ns[::step]),
        ),
    )


def _finite(values: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(_kept(value) for value in values)


def _target(row: TargetRow) -> TargetBlock:
    return TargetBlock(
        mark=row.mark_id,
        number=row.number,
        what=row.what,
        position=_length(row.position),
        depth=_length(row.depth),
    )


_Values = dict[tuple[str, str], float | None]
"""Values by line id and by what they are in words."""


def _differences(block: ResultsBlock, results: Results) -> list[str]:
    """What differs, in words: permittivity first, then every length in the order of the lines."""
    words = []
    if abs(block.permittivity - results.permittivity) > SAME_PERMITTIVITY:
        words.append(f"permittivity {block.permittivity:.2f} then, {results.permittivity:.2f} now")
    names = {line.line: line.name for line in block.lines}
    then: _Values = {}
    for line in block.lines:
        then |= _values(line.line, line.name, line.bars, line.faces, line.targets)
    now: _Values = {}
    for line_id, rows in results.lines.items():
        bars, faces, targets = _rows(rows)
        now |= _values(line_id, names.get(line_id, line_id), bars, faces, targets)
    for key in (*then, *(key for key in now if key not in then)):
        if key not in now or key not in then:
            words.append(f"{key[1]} {'no longer there' if key in then else 'not stored'}")
        elif not _same(then[key], now[key]):
            words.append(f"{key[1]} {_said(then[key])} then, {_said(now[key])} now")
    return words


def _values(
    line_id: str,
    name: str,
    bars: tuple[BarBlock, ...],
    faces: tuple[FaceBlock, ...],
    targets: tuple[TargetBlock, ...],
) -> _Values:
    """Positions, depths and their U; profiles are left out, since they need the scan at hand."""
    values: _Values = {}

    def put(mark: str, position: Length, depth: Length, word: str) -> None:
        values[line_id, f"position of {mark}"] = position.value_mm
        values[line_id, f"{word} of {mark}"] = depth.value_mm
        values[line_id, f"U of the {word} of {mark}"] = depth.expanded_mm

    for bar in bars:
        put(f"bar {bar.number} on {name}", bar.position, bar.cover, "cover")
    for face in faces:
        for place, anchor in enumerate(face.anchors, start=1):
            mark = f"back face {face.number} on {name}, anchor {place}"
            put(mark, anchor.position, anchor.depth, "depth")
    for target in targets:
        put(f"{target.what} {target.number} on {name}", target.position, target.depth, "depth")
    return values


def _same(then: float | None, now: float | None) -> bool:
    if then is None or now is None:
        return then is now
    return abs(then - now) <= SAME_MM


def _said(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f} mm"
