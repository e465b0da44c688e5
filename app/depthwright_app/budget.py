"""What contributes to the uncertainty of one mark's depth and place, as plain values. No Qt here."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from depthwright.job import FaceMark, Job, Mark, NoteMark
from depthwright.results.values import Results

LEAST_SHARE = 0.01
"""Sources with less of the variance than this are told together."""


@dataclass(frozen=True)
class Part:
    """One source: what it contributes to u, mm, and its share of the variance."""

    source: str
    u_mm: float
    share: float


@dataclass(frozen=True)
class Budget:
    """What one number's standard uncertainty consists of, the greatest first; squares add up."""

    what: str
    u_mm: float
    parts: tuple[Part, ...]


def budgets(
    job: Job, results: Results, line_id: str, mark_id: str, anchor: int | None
) -> tuple[Budget, ...]:
    """Budgets of a mark's depth and position; none for a note, nor for a depth that is not known."""
    line = job.line(line_id)
    mark = line.mark(mark_id)
    if isinstance(mark, NoteMark):
        return ()
    shares = results.budget_of(line_id, mark_id, anchor or 0)
    depth = _budget(
        {"bar": "Cover", "face": "Thickness"}.get(mark.kind, "Depth"),
        [(share.source, share.u_mm) for share in shares],
    )
    place = _budget("Position", line.place_parts(*_recorded(mark, anchor)))
    return tuple(budget for budget in (depth, place) if budget.parts)


def _recorded(mark: Mark, anchor: int | None) -> tuple[float, float]:
    """A mark's recorded position and its standard uncertainty, mm."""
    if isinstance(mark, FaceMark):
        return mark.anchors[anchor or 0].position_mm, 0.0
    return mark.position_mm, 0.0 if isinstance(mark, NoteMark) else mark.position_u_mm


def _budget(what: str, sources: Sequence[tuple[str, float]]) -> Budget:
    """A budget with its small sources told together at the end."""
    variance = sum(u_mm**2 for _, u_mm in sources)
    parts = [Part(source, u, u**2 / variance) for source, u in sources if u > 0]
    parts.sort(key=lambda part: -part.u_mm)
    small = [part for part in parts if part.share < LEAST_SHARE]
    kept = [part for part in parts if part.share >= LEAST_SHARE]
    if len(small) > 1:
        rest = sum(part.u_mm**2 for part in small)
        kept.append(Part(f"{len(small)} smaller ones", math.sqrt(rest), rest / variance))
    else:
        kept += small
    return Budget(what, math.sqrt(variance), tuple(kept))
