"""The rows of the ledger as plain values: what to write, where the interval lies, what can be switched."""

from dataclasses import dataclass, replace
from typing import Literal

from depthwright.job import BarMark, FaceMark, Job
from depthwright.results.values import EvidenceKind, EvidenceRow, Results
from depthwright_app.document import tie_of
from depthwright_app.job_state import Selection
from depthwright_app.wording import log_interval, permittivity_words

Switch = Literal["", "set aside", "use again", "curvature on", "curvature off"]
WIDEST = 2.0
"""The axis reaches this factor beyond the adopted interval at most; wider intervals run off it."""


@dataclass(frozen=True)
class Item:
    """One row. ``interval`` is None for evidence that says nothing now."""

    kind: EvidenceKind | Literal["adopted"]
    title: str
    detail: str
    value: str
    middle: float
    interval: tuple[float, float] | None
    used: bool
    note: str = ""
    place: Selection | None = None
    switch: Switch = ""

    @property
    def key(self) -> object:
        """What the row is of: its words and numbers may change while it stays the same row."""
        return self.kind, self.place


def evidence_items(job: Job, results: Results) -> tuple[Item, ...]:
    """All evidence in the ledger's order, then what is adopted."""
    places = iter(_tie_places(job, results))
    items = [
        _tie(job, row, next(places)) if row.kind == "tie" else _other(job, row)
        for row in results.evidence
    ]
    if not job.zones[0].curvature and not any(item.kind == "curvature" for item in items):
        ties = sum(item.kind == "tie" for item in items)
        items.insert(ties, _curvature_off(job))
    return (*items, adopted_item(results))


def adopted_item(results: Results) -> Item:
    """The joint posterior, which is not an average of the rows."""
    permittivity = results.permittivity
    log_u = results.permittivity_u / permittivity
    return Item(
        kind="adopted",
        title="Adopted, all together",
        detail="",
        value=permittivity_words(permittivity, log_u),
        middle=permittivity,
        interval=log_interval(permittivity, log_u),
        used=True,
    )


def axis_range(items: tuple[Item, ...]) -> tuple[float, float]:
    """Permittivities that the axis shows: all intervals, unless one is so wide that it dwarfs the rest."""
    spans = [item.interval for item in items if item.interval is not None]
    adopted = next(item for item in items if item.kind == "adopted")
    assert adopted.interval is not None
    low = max(min(first for first, _ in spans), adopted.interval[0] / WIDEST, 1.0)
    high = min(max(last for _, last in spans), adopted.interval[1] * WIDEST, 100.0)
    room = 0.04 * (high - low) + 0.02
    return max(1.0, low - room), high + room


def _tie_places(job: Job, results: Results) -> list[Selection]:
    """Where each tie of the ledger sits, in its order: the rows name the mark and not the anchor."""
    marks = {(line.id, mark.id): mark for line in job.lines for mark in line.marks}
    places = []
    for line_id, mark_id, place in results.spots:
        mark = marks[line_id, mark_id]
        if tie_of(mark, place) is not None:
            anchor = place if isinstance(mark, FaceMark) else None
            places.append(Selection(line_id, mark_id, anchor))
    return places


def _tie(job: Job, row: EvidenceRow, place: Selection) -> Item:
    title, _, detail = row.label.rpartition(": ")
    mark = job.line(place.line_id).mark(place.mark_id)
    if isinstance(mark, FaceMark) and len(mark.anchors) > 1 and "anchor" not in title:
        title = f"{title}, anchor {(place.anchor or 0) + 1}"
    return _item(row, title, detail, place, "set aside" if row.used else "use again")


def _other(job: Job, row: EvidenceRow) -> Item:
    if row.kind == "curvature":
        on = job.zones[0].curvature
        title = row.label if on else "Curvature: switched off"
        detail = "from the picked crests"
        return _item(row, title, detail, None, "curvature off" if on else "curvature on")
    if row.kind == "focusing":
        # What its note says stands beside it in short.
        return replace(
            _item(row, row.label, "a check beside the others, never counted", None, ""), note=""
        )
    return _item(row, row.label, "", None, "")


def _item(
    row: EvidenceRow, title: str, detail: str, place: Selection | None, switch: Switch
) -> Item:
    return Item(
        kind=row.kind,
        title=title,
        detail=detail,
        value=permittivity_words(row.permittivity, row.log_u),
        middle=row.permittivity,
        interval=log_interval(row.permittivity, row.log_u),
        used=row.used,
        note=row.note,
        place=place,
        switch=switch,
    )


def _curvature_off(job: Job) -> Item:
    bars = sum(isinstance(m, BarMark) and bool(m.crest) for ln in job.lines for m in ln.marks)
    return Item(
        kind="curvature",
        title="Curvature: switched off",
        detail=f"crests of {bars} bar{'' if bars == 1 else 's'}, not counted",
        value="",
        middle=0.0,
        interval=None,
        used=False,
        switch="curvature on",
    )
