"""Edits: pure functions from a job to a job. Each is one step of undo."""

import itertools
import math
from collections.abc import Callable, Sequence
from typing import Any

from depthwright.constants import TYPICAL_PERMITTIVITY, TYPICAL_PERMITTIVITY_U
from depthwright.errors import DepthwrightError
from depthwright.job import (
    SCALE_LEAST,
    SCALE_MOST,
    Anchor,
    Antenna,
    BarMark,
    FaceMark,
    Job,
    Line,
    Mark,
    NoteMark,
    Taped,
    TargetKind,
    TargetMark,
    Tie,
    Zone,
)
from depthwright.measuring.picking import Pick
from depthwright.validated import valid, with_fields


def new_id(job: Job, stem: str) -> str:
    """An id that nothing in the job has: ``bar-7``."""
    return new_ids(job, stem, 1)[0]


def new_ids(job: Job, stem: str, count: int) -> tuple[str, ...]:
    """So many of them."""
    taken = {mark.id for line in job.lines for mark in line.marks}
    for parts in (job.lines, job.antennas, job.zones, job.meters):
        taken |= {part.id for part in parts}
    free = (name for number in itertools.count(1) if (name := f"{stem}-{number}") not in taken)
    return tuple(itertools.islice(free, count))


def add_line(job: Job, line: Line, antenna: Antenna | None = None) -> Job:
    """Add a line, with its antenna when the job does not have it yet."""
    antennas = job.antennas if antenna is None else (*job.antennas, antenna)
    return with_fields(job, lines=(*job.lines, line), antennas=antennas)


def remove_line(job: Job, line_id: str) -> Job:
    """Take a line and its marks out of the job; an antenna that nothing uses any more goes too."""
    lines = tuple(line for line in job.lines if line.id != line_id)
    used = {line.antenna for line in lines}
    return with_fields(job, lines=lines, antennas=tuple(a for a in job.antennas if a.id in used))


def change_line(job: Job, line_id: str, **fields: Any) -> Job:
    """Change fields of a line: datum, direction, scale, recipe, direct pick, name."""
    return _map_line(job, line_id, lambda line: with_fields(line, **fields))


def reverse_line(job: Job, line_id: str, ends_mm: tuple[float, float]) -> Job:
    """Count a line's distances from its other end; twice gives the job back.

    Parameters
    ----------
    job, line_id
        The line.
    ends_mm
        Recorded positions of its first and last trace, mm.
    """
    turned_mm = None if job.line(line_id).reversed else sum(ends_mm)
    return change_line(job, line_id, turned_mm=turned_mm)


def crop_line(job: Job, line_id: str, crop_mm: tuple[float, float] | None) -> Job:
    """Show a line between two recorded positions only, mm; None: all of it. Marks stay."""
    if crop_mm is not None and not crop_mm[0] < crop_mm[1]:
        raise DepthwrightError(
            "Between these two places nothing of the line would be shown.",
            "Give a start that lies before the end.",
        )
    return change_line(job, line_id, crop_mm=crop_mm)


def shift_line(job: Job, line_id: str, by_mm: float) -> Job:
    """Shift a line along itself: every distance from the datum grows by ``by_mm``."""
    return change_line(job, line_id, start_mm=job.line(line_id).start_mm + by_mm)


def stretch_line(
    job: Job,
    line_id: str,
    recorded_a_mm: float,
    true_a_mm: float,
    recorded_b_mm: float,
    true_b_mm: float,
    known_u_mm: float,
) -> Job:
    """Stretch and shift a line so that two recorded positions lie where they are known to.

    Parameters
    ----------
    job, line_id
        The line; one recorded from its far end is reversed before.
    recorded_a_mm, recorded_b_mm
        The two places as recorded, mm.
    true_a_mm, true_b_mm
        Their distances from the datum, mm.
    known_u_mm
        Standard uncertainty of each of the two, mm: of the tape, and of finding the place in the scan.

    Notes
    -----
    With ``t = (p - a) / (b - a)`` a position is ``(1 - t) true_a + t true_b``. Two independent readings
    of one uncertainty u leave ``u² (1/2 + 2 (t - 1/2)²)`` open (law of propagation, JCGM 100:2008,
    5.1.2): ``u / sqrt(2)`` midway, and from there on the distance times that of the scale,
    ``sqrt(2) u / (b - a)``. The wheel is taken to slip evenly along the line.
    """
    line = job.line(line_id)
    if not known_u_mm > 0:
        raise DepthwrightError(
            "An uncertainty has to be greater than zero.",
            "Say how well each of the two positions is known.",
        )
    recorded_mm = recorded_b_mm - recorded_a_mm
    turned_mm = -recorded_mm if line.reversed else recorded_mm
    scale = _believable_scale(turned_mm, true_b_mm - true_a_mm)
    stretched = change_line(
        job,
        line_id,
        distance_scale=scale,
        distance_scale_u=math.sqrt(2) * known_u_mm / abs(recorded_mm),
        taped=Taped(
            recorded_mm=(recorded_a_mm + recorded_b_mm) / 2,
            u_mm=known_u_mm / math.sqrt(2),
            reversed=line.reversed,
        ),
    )
    lies_mm = stretched.line(line_id).on_concrete_mm(recorded_a_mm)
    return shift_line(stretched, line_id, true_a_mm - lies_mm)


def _believable_scale(recorded_mm: float, true_mm: float) -> float:
    """True over recorded distance from one known position to the other, both along the line."""
    if recorded_mm == 0 or true_mm == 0:
        raise DepthwrightError(
            "The two known positions are the same place.", "Give two that lie well apart."
        )
    if recorded_mm * true_mm < 0:
        raise DepthwrightError(
            "The two known positions lie in the other order along the line.",
            "If it was recorded from its far end, reverse the line first.",
        )
    scale = true_mm / recorded_mm
    if not SCALE_LEAST <= scale <= SCALE_MOST:
        raise DepthwrightError(
            f"The line would be {scale:.3g} times as long as recorded.",
            f"Check the two positions; {SCALE_LEAST:g} to {SCALE_MOST:g} times is believed.",
        )
    return scale


def change_job(job: Job, **fields: Any) -> Job:
    """Change fields of the job itself: name, note, unit, specified cover."""
    return with_fields(job, **fields)


def change_antenna(job: Job, antenna_id: str, **fields: Any) -> Job:
    """Change an antenna; every line recorded with it follows."""
    return with_fields(
        job,
        antennas=tuple(with_fields(a, **fields) if a.id == antenna_id else a for a in job.antennas),
    )


def change_zone(job: Job, zone_id: str, **fields: Any) -> Job:
    """Change a zone: its typed permittivity, and whether it is kept beside ties."""
    return with_fields(
        job, zones=tuple(with_fields(z, **fields) if z.id == zone_id else z for z in job.zones)
    )


def type_permittivity(job: Job, zone: Zone, permittivity: float, permittivity_u: float) -> Job:
    """Adopt a permittivity the user typed or dragged."""
    return change_zone(
        job, zone.id, permittivity=permittivity, permittivity_u=permittivity_u, typed=True
    )


def clear_permittivity(job: Job, zone: Zone) -> Job:
    """Go back to the permittivity typical of concrete."""
    return change_zone(
        job,
        zone.id,
        permittivity=TYPICAL_PERMITTIVITY,
        permittivity_u=TYPICAL_PERMITTIVITY_U,
        typed=False,
    )


def add_bar(job: Job, line_id: str, pick: Pick) -> tuple[Job, str]:
    """Mark a bar at a pick; gives the job and the new mark's id."""
    job, (mark_id,) = add_bars(job, line_id, (pick,))
    return job, mark_id


def add_bars(job: Job, line_id: str, picks: Sequence[Pick]) -> tuple[Job, tuple[str, ...]]:
    """Mark bars at picks, numbered in the order given; gives the job and the new marks' ids."""
    line = job.line(line_id)
    bars = [mark for mark in line.marks if isinstance(mark, BarMark)]
    last = bars[-1].diameter_mm if bars else BarMark.model_fields["diameter_mm"].default
    ids, first = new_ids(job, "bar", len(picks)), _next_number(line, "bar")
    marks = [
        BarMark(
            id=mark_id,
            number=number,
            position_mm=pick.position_mm,
            position_u_mm=pick.position_u_mm,
            time_ns=pick.time_ns,
            overlaps_direct=pick.overlaps_direct,
            crest=pick.crest,
            crest_alone=pick.crest_alone,
            diameter_mm=last,
        )
        for number, (mark_id, pick) in enumerate(zip(ids, picks, strict=True), start=first)
    ]
    return change_line(job, line_id, marks=(*line.marks, *marks)), ids


def add_target(job: Job, line_id: str, pick: Pick, what: TargetKind) -> tuple[Job, str]:
    """Mark another target at a pick; gives the job and the new mark's id."""
    mark = TargetMark(
        id=new_id(job, "target"),
        number=_next_number(job.line(line_id), "target"),
        position_mm=pick.position_mm,
        position_u_mm=pick.position_u_mm,
        time_ns=pick.time_ns,
        overlaps_direct=pick.overlaps_direct,
        what=what,
    )
    return _append(job, line_id, mark), mark.id


def add_note(
    job: Job, line_id: str, position_mm: float, time_ns: float, text: str
) -> tuple[Job, str]:
    """Pin a remark; gives the job and the new mark's id."""
    mark = NoteMark(id=new_id(job, "note"), position_mm=position_mm, time_ns=time_ns, text=text)
    return _append(job, line_id, mark), mark.id


def add_face(job: Job, line_id: str, picks: Sequence[Pick]) -> tuple[Job, str]:
    """Mark a back face through picks, of two on one trace the later; gives the job and the face's id."""
    by_place = {pick.position_mm: _anchor(pick) for pick in picks}
    mark = FaceMark(
        id=new_id(job, "face"),
        number=_next_number(job.line(line_id), "face"),
        anchors=tuple(by_place[place] for place in sorted(by_place)),
    )
    return _append(job, line_id, mark), mark.id


def _anchor(pick: Pick) -> Anchor:
    return Anchor(position_mm=pick.position_mm, time_ns=pick.time_ns)


def add_anchor(job: Job, line_id: str, face_id: str | None, pick: Pick) -> tuple[Job, str]:
    """Add an anchor to a back face, or start one; gives the job and the face's id."""
    if face_id is None:
        return add_face(job, line_id, (pick,))
    anchor = _anchor(pick)
    face = _face(job, line_id, face_id)
    # A second click on the same trace moves the anchor there; what is known of it stays.
    there = next((a for a in face.anchors if a.position_mm == anchor.position_mm), None)
    if there is not None:
        anchor = with_fields(there, time_ns=pick.time_ns)
    others = tuple(a for a in face.anchors if a is not there)
    anchors = tuple(sorted((*others, anchor), key=lambda a: a.position_mm))
    return change_mark(job, line_id, face_id, anchors=anchors), face_id


def change_anchor(job: Job, line_id: str, face_id: str, index: int, **fields: Any) -> Job:
    """Change one anchor of a back face: its place or its tie."""
    face = _face(job, line_id, face_id)
    changed = tuple(
        with_fields(anchor, **fields) if i == index else anchor
        for i, anchor in enumerate(face.anchors)
    )
    ordered = tuple(sorted(changed, key=lambda anchor: anchor.position_mm))
    return change_mark(job, line_id, face_id, anchors=ordered)


def delete_anchor(job: Job, line_id: str, face_id: str, index: int) -> Job:
    """Take one anchor away; the last one takes the back face with it."""
    face = _face(job, line_id, face_id)
    left = tuple(anchor for i, anchor in enumerate(face.anchors) if i != index)
    if not left:
        return delete_mark(job, line_id, face_id)
    return change_mark(job, line_id, face_id, anchors=left)


def change_mark(job: Job, line_id: str, mark_id: str, **fields: Any) -> Job:
    """Change fields of a mark: place, number, diameter, text, tie."""
    job.line(line_id).mark(mark_id)
    return _map_line(
        job,
        line_id,
        lambda line: with_fields(
            line,
            marks=tuple(with_fields(m, **fields) if m.id == mark_id else m for m in line.marks),
        ),
    )


def delete_mark(job: Job, line_id: str, mark_id: str) -> Job:
    """Take a mark away."""
    return _map_line(
        job,
        line_id,
        lambda line: with_fields(line, marks=tuple(m for m in line.marks if m.id != mark_id)),
    )


def known_depth(**fields: Any) -> Tie:
    """A known depth of what was typed.

    Raises
    ------
    DepthwrightError
        When it cannot be.
    """
    return valid(Tie, fields)


def tie_mark(job: Job, line_id: str, mark_id: str, tie: Tie | None) -> Job:
    """Attach a known depth to a bar or another target, or take it away with None.

    Raises
    ------
    DepthwrightError
        For a note, and for a back face as a whole: there a tie sits on one of its anchors.
    """
    mark = job.line(line_id).mark(mark_id)
    if isinstance(mark, NoteMark):
        raise DepthwrightError(
            "A note has no depth.", "Select the bar, target or back face that was measured."
        )
    if isinstance(mark, FaceMark):
        raise DepthwrightError(
            "A back face takes a known depth at one of its anchors.", "Select the anchor first."
        )
    return change_mark(job, line_id, mark_id, tie=tie)


def number_bar(job: Job, line_id: str, bar_id: str, number: int) -> Job:
    """Give a bar a number; a bar of the line that has it takes the old one."""
    line = job.line(line_id)
    old = getattr(line.mark(bar_id), "number", number)
    for other in line.marks:
        if isinstance(other, BarMark) and other.number == number and other.id != bar_id:
            job = change_mark(job, line_id, other.id, number=old)
    return change_mark(job, line_id, bar_id, number=number)


def renumber_bars(job: Job, line_id: str) -> Job:
    """Number a line's bars 1, 2, 3 in the order they lie along it, from the datum on."""
    line = job.line(line_id)
    bars = [mark for mark in line.marks if isinstance(mark, BarMark)]
    order = sorted(bars, key=lambda bar: line.on_concrete_mm(bar.position_mm))
    numbers = {bar.id: index for index, bar in enumerate(order, start=1)}
    marks = tuple(
        with_fields(m, number=numbers[m.id]) if m.id in numbers else m for m in line.marks
    )
    return change_line(job, line_id, marks=marks)


def _face(job: Job, line_id: str, face_id: str) -> FaceMark:
    mark = job.line(line_id).mark(face_id)
    if not isinstance(mark, FaceMark):
        raise DepthwrightError("Only a back face has anchors.", "Select a back face first.")
    return mark


def _next_number(line: Line, kind: str) -> int:
    numbers = [getattr(mark, "number", 0) for mark in line.marks if mark.kind == kind]
    return max(numbers, default=0) + 1


def _append(job: Job, line_id: str, mark: Mark) -> Job:
    return _map_line(job, line_id, lambda line: with_fields(line, marks=(*line.marks, mark)))


def _map_line(job: Job, line_id: str, change: Callable[[Line], Line]) -> Job:
    job.line(line_id)
    return with_fields(
        job, lines=tuple(change(line) if line.id == line_id else line for line in job.lines)
    )
