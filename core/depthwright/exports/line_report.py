"""One line's numbers as one JSON file, for other programs; its schema is ``line.schema.json`` beside this.

Lengths are mm, times ns, frequencies GHz; names ending in ``_u`` (before their unit) are standard
uncertainties. Positions are the file's own coordinate. The same line gives the same bytes.
"""

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright.files.atomic import not_written, replacing
from depthwright.files.job_text import json_text
from depthwright.job import BarMark, Frozen, Job, Line
from depthwright.results.values import BarRow, EvidenceKind, FaceRow, Measured, Results

PROGRAM: Final = f"Depthwright {__version__}"
_DECIMALS = 4
"""Kept of every mm, ns and permittivity: far below anything measured."""
_FIGURES = 6
"""Significant digits kept of the covariance, whose entries differ by many powers of ten."""
_HEAD = b'{\n "program": "Depthwright'
"""How every report begins: what begins otherwise is somebody else's file."""

_NUMBER_LIST = re.compile(r'\[\n[^\[\]{}"]*\]')

NotNegative = Annotated[float, Field(ge=0)]


class LineBlock(Frozen):
    """The scan: its file as it was named, what was read, and its length along the file's coordinate."""

    file: str
    sha256: str
    traces: int = Field(ge=1)
    samples: int = Field(ge=2)
    dt_ns: float = Field(gt=0)
    length_mm: NotNegative


class EvidenceBlock(Frozen):
    """Evidence that counted, and the permittivity that it alone would give.

    ``typed`` is a permittivity given, or else the one typical of concrete. The uncertainty is null where
    it says next to nothing.
    """

    kind: EvidenceKind
    permittivity: float
    permittivity_u: float | None


class DepthModelBlock(Frozen):
    """What turned times into depths, as adopted from all evidence.

    ``time_offset_ns`` is what the direct wave comes later than by separation over c and the computed
    near-field shift (with an antenna card measured on bare concrete: than by separation over c).
    ``centre_frequency_ghz`` is that of the pulse's spectrum, unless it was far from what was given.
    ``parameters`` names the shared unknowns that are the rows and columns of ``covariance``; one that is
    exact has none.
    """

    permittivity: float
    permittivity_u: float
    velocity_mm_per_ns: float
    time_offset_ns: float
    time_offset_u_ns: float
    antenna_separation_mm: float
    antenna_height_mm: float
    centre_frequency_ghz: float
    parameters: tuple[str, ...]
    covariance: tuple[tuple[float, ...], ...]
    adopted_from: tuple[str, ...]
    evidence: tuple[EvidenceBlock, ...]


class BarBlock(Frozen):
    """One bar, numbered along the line.

    ``position_u_mm`` is that of the apex in the file's coordinate, with that of a trace spacing given with
    an uncertainty. ``score`` (0 to 1) says how much speaks for a bar that was found; null where it
    was only picked because a tie points at it. The cover is null where it has none.
    """

    number: int
    position_mm: float
    position_u_mm: NotNegative
    cover_mm: float | None
    cover_u_mm: float | None
    diameter_mm: float
    two_way_time_ns: float
    score: float | None


class FacePointBlock(Frozen):
    """One point of the back face."""

    position_mm: float
    depth_mm: float
    depth_u_mm: NotNegative


class LineReport(Frozen):
    """One line, its depth model, its bars and its back face, point by point where its echo was followed."""

    program: str
    line: LineBlock
    depth_model: DepthModelBlock
    bars: tuple[BarBlock, ...]
    face: tuple[FacePointBlock, ...]
    messages: tuple[str, ...]


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a line's report, as published."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **LineReport.model_json_schema(),
    }
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def line_report(
    job: Job,
    line_id: str,
    results: Results,
    length_mm: float,
    scores: Mapping[str, float],
    messages: Sequence[str],
    file: str,
    scale_u: float = 0.0,
) -> LineReport:
    """A line's report.

    Parameters
    ----------
    job, line_id, results
        A job, one of its lines, and the job's numbers.
    length_mm
        Length of the line as recorded, mm.
    scores
        How much speaks for each bar that was found, by the mark's id.
    messages
        What is said with the numbers.
    file
        How the scan's file was named.
    scale_u
        Standard uncertainty of the trace spacing as a share of it, where it was given with one.
    """
    line, rows = job.line(line_id), results.lines[line_id]
    ref = line.scan
    return LineReport(
        program=PROGRAM,
        line=LineBlock(
            file=file,
            sha256=ref.sha256,
            traces=ref.traces,
            samples=ref.samples,
            dt_ns=ref.dt_ns,
            length_mm=_kept(length_mm),
        ),
        depth_model=_depth_model(job, line, results),
        bars=tuple(_bar(line, row, scores.get(row.mark_id), scale_u) for row in rows.bars),
        face=tuple(point for face in rows.faces for point in _face(line, face)),
        messages=tuple(messages),
    )


def write_report(path: Path, report: LineReport) -> None:
    """Write a report whole or not at all, with its folder; an earlier report is replaced.

    Raises
    ------
    DepthwrightError
        When it cannot be written, or when what stands there is no report.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_file() and not is_report(path):
            raise DepthwrightError(
                f"{path.name} is there already and is no report of a line.",
                "Choose another folder with --out; nothing was written over.",
            )
    except FileExistsError:
        raise DepthwrightError(
            f"{path.parent} is a file, not a folder.", "Choose another folder with --out."
        ) from None
    except OSError as fault:
        raise not_written(str(path), fault) from None
    text = _NUMBER_LIST.sub(lambda found: re.sub(r"\s+", " ", found[0]), json_text(report))
    with replacing(path) as file:
        file.write(f"{text}\n".encode())


def is_report(path: Path) -> bool:
    """Whether a line's report stands there."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(_HEAD)) == _HEAD


def _depth_model(job: Job, line: Line, results: Results) -> DepthModelBlock:
    model, antenna = results.lines[line.id].model, job.antenna_of(line)
    offset_ns, offset_u_ns = _shared(
        results, f"time_offset_ns:{antenna.id}", antenna.time_offset_ns
    )
    return DepthModelBlock(
        permittivity=_kept(results.permittivity),
        permittivity_u=_kept(results.permittivity_u),
        velocity_mm_per_ns=_kept(results.velocity_mm_per_ns),
        time_offset_ns=_kept(offset_ns),
        time_offset_u_ns=_kept(offset_u_ns),
        antenna_separation_mm=_kept(model.separation_mm),
        antenna_height_mm=_kept(model.height_mm),
        centre_frequency_ghz=antenna.centre_frequency_ghz,
        parameters=results.parameters,
        covariance=tuple(_significant(row) for row in results.covariance.tolist()),
        adopted_from=results.adopted_from,
        evidence=tuple(
            EvidenceBlock(
                kind=row.kind,
                permittivity=_kept(row.permittivity),
                permittivity_u=_or_null(row.permittivity_u),
            )
            for row in results.evidence
            if row.used
        ),
    )


def _shared(results: Results, name: str, exact: float) -> tuple[float, float]:
    """A shared unknown as adopted and its standard uncertainty; one without a column is exact."""
    column = results.posterior.column(name)
    if column is None:
        return exact, 0.0
    variance = float(results.covariance[column, column])
    return float(results.posterior.theta[column]), math.sqrt(max(variance, 0.0))


def _bar(line: Line, row: BarRow, score: float | None, scale_u: float) -> BarBlock:
    mark = line.mark(row.mark_id)
    assert isinstance(mark, BarMark)
    along_mm = abs(mark.position_mm - line.scan.first_mm)
    known = math.isfinite(row.cover.value_mm)
    return BarBlock(
        number=row.number,
        position_mm=_kept(mark.position_mm),
        position_u_mm=_kept(math.hypot(mark.position_u_mm, scale_u * along_mm)),
        cover_mm=_kept(row.cover.value_mm) if known else None,
        cover_u_mm=_or_null(row.cover.u_mm) if known else None,
        diameter_mm=row.diameter_mm,
        two_way_time_ns=_kept(row.two_way_ns),
        score=None if score is None else _kept(score),
    )


def _face(line: Line, row: FaceRow) -> Iterable[FacePointBlock]:
    """Points of the profile; where the depth is known, what comes out there with it."""
    depths = {
        position: Measured(depth, u)
        for position, depth, u in zip(
            line.recorded_mm(row.position_mm).tolist(),
            row.depth_mm.tolist(),
            row.depth_u_mm.tolist(),
            strict=True,
        )
    }
    for anchor in row.anchors:
        if anchor.tie is not None:
            depths[float(line.recorded_mm(anchor.position.value_mm))] = anchor.depth
    return (
        FacePointBlock(
            position_mm=_kept(position),
            depth_mm=_kept(depth.value_mm),
            depth_u_mm=_kept(depth.u_mm),
        )
        for position, depth in sorted(depths.items())
        if math.isfinite(depth.value_mm) and math.isfinite(depth.u_mm)
    )


def _kept(value: float) -> float:
    return round(float(value), _DECIMALS)


def _or_null(value: float) -> float | None:
    return _kept(value) if math.isfinite(value) else None


def _significant(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(f"{value:.{_FIGURES}g}") for value in values)
