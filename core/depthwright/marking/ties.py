"""Known depths put on what lies at a place along a line: a bar, or the back face."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from depthwright import edits
from depthwright.constants import PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth import priors
from depthwright.errors import DepthwrightError
from depthwright.finding.decide import accept_bars
from depthwright.finding.proposal import SAME_MM, BarProposal
from depthwright.job import BarMark, FaceMark, Job
from depthwright.marking.request import TieAt
from depthwright.measuring.picking import Pick, snap_bar, snap_face, with_crest
from depthwright.measuring.stage import PickStage
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import track
from depthwright.wave import travel_time

WITHIN_MM = 30.0
"""How far from the place named a bar may lie that a tie means."""
_STEP_PERIODS = 0.3
"""Times along a trace at which something to pick is looked for."""

Floats = NDArray[np.float64]


def tie_bar(
    job: Job,
    line_id: str,
    stage: PickStage,
    at: TieAt,
    unsure: Sequence[BarProposal],
    *,
    looked: bool,
) -> tuple[Job, dict[str, float]]:
    """The job with a known depth on the bar at a place.

    Parameters
    ----------
    job, line_id, stage
        The line with its bars so far, and as it is picked on.
    at
        The tie.
    unsure
        Bars that are proposed but too uncertain to be marked without a tie.
    looked
        Whether bars were looked for; else the apex nearest to the place is picked.

    Returns
    -------
    The job, and the score of a bar that was marked for the tie, by the mark's id.

    Raises
    ------
    DepthwrightError
        When no bar lies there, or one that has a known depth already.
    """
    meant = _bar_meant(job, line_id, stage, at, unsure)
    score: dict[str, float] = {}
    if isinstance(meant, BarProposal):
        job, (mark_id,) = accept_bars(job, line_id, [meant])
        score = {mark_id: meant.score}
    elif meant is not None:
        mark_id = meant.id
        if meant.tie is not None:
            raise DepthwrightError(
                f"Two ties mean the bar at {meant.position_mm:.0f} mm.", "Leave one of them out."
            )
    elif not looked and (pick := _apex(job, line_id, stage, at)) is not None:
        job, mark_id = edits.add_bar(job, line_id, with_crest(stage, pick))
    else:
        what = "proposed" if looked else "found"
        raise DepthwrightError(
            f"No bar was {what} within {WITHIN_MM:g} mm of {at.position_mm:g} mm, where the tie "
            f"{at.words} puts one.",
            _where_to_look(stage, at),
        )
    return edits.tie_mark(job, line_id, mark_id, at.tie), score


def tie_face(job: Job, line_id: str, stage: PickStage, at: TieAt) -> Job:
    """The job with a known depth on the back face at a place, where the face gets an anchor.

    Raises
    ------
    DepthwrightError
        When the back face shows no echo there.
    """
    low_mm, high_mm = stage.scan.edges_mm
    face = next((m for m in job.line(line_id).marks if isinstance(m, FaceMark)), None)
    pick = None
    if low_mm <= at.position_mm <= high_mm:
        if face is not None:
            points = track(stage, face)
            due_ns = float(np.interp(at.position_mm, points.position_mm, points.time_ns))
            pick = snap_face(stage, at.position_mm, due_ns)
        if pick is None:
            pick = _face_where_due(job, line_id, stage, at)
    if pick is None:
        raise DepthwrightError(
            f"The back face shows no echo at {at.position_mm:g} mm, where the tie {at.words} puts it "
            f"{at.tie.depth_mm:g} mm deep.",
            _where_to_look(stage, at),
        )
    job, face_id = edits.add_anchor(job, line_id, face.id if face else None, pick)
    marked = job.line(line_id).mark(face_id)
    assert isinstance(marked, FaceMark)
    index = next(i for i, a in enumerate(marked.anchors) if a.position_mm == pick.position_mm)
    if marked.anchors[index].tie is not None:
        raise DepthwrightError(
            f"Two ties mean the back face at {pick.position_mm:.0f} mm.", "Leave one of them out."
        )
    return edits.change_anchor(job, line_id, face_id, index, tie=at.tie)


def _bar_meant(
    job: Job, line_id: str, stage: PickStage, at: TieAt, unsure: Sequence[BarProposal]
) -> BarMark | BarProposal | None:
    """The nearest bar that is marked, else the likeliest of the unsure ones.

    Of several, first those whose echo comes when one from that depth may come.
    """
    marked = [
        mark
        for mark in job.line(line_id).marks
        if isinstance(mark, BarMark) and abs(mark.position_mm - at.position_mm) <= WITHIN_MM
    ]
    likely = [bar for bar in unsure if abs(bar.pick.position_mm - at.position_mm) <= WITHIN_MM]
    if len(marked) + len(likely) > 1:
        first_ns, last_ns = _due_ns(job, line_id, at, wide=True)
        first_ns, last_ns = first_ns - stage.period_ns / 2, last_ns + stage.period_ns / 2
        due = [mark for mark in marked if first_ns <= mark.time_ns <= last_ns]
        likely_due = [bar for bar in likely if first_ns <= bar.pick.time_ns <= last_ns]
        if due or likely_due:
            marked, likely = due, likely_due
    if marked:
        return min(marked, key=lambda bar: abs(bar.position_mm - at.position_mm))
    return max(likely, key=lambda bar: bar.score, default=None)


def _where_to_look(stage: PickStage, at: TieAt) -> str:
    low_mm, high_mm = sorted(float(stage.scan.positions_mm[end]) for end in (0, -1))
    if not low_mm <= at.position_mm <= high_mm:
        return f"The line runs from {low_mm:g} to {high_mm:g} mm: check the position of the tie."
    return "Check the position of the tie, or leave it out."


def _apex(job: Job, line_id: str, stage: PickStage, at: TieAt) -> Pick | None:
    """The apex nearest to a place among the echoes that a bar of the known depth can have.

    Where several lie one below the other, it is the strongest.
    """
    picks = [
        pick
        for pick in (
            snap_bar(stage, at.position_mm, time_ns)
            for time_ns in _times_due(job, line_id, stage, at, wide=True)
        )
        if pick is not None
        and pick.placed_by_crest
        and abs(pick.position_mm - at.position_mm) <= WITHIN_MM
    ]
    if not picks:
        return None
    nearest = min(abs(pick.position_mm - at.position_mm) for pick in picks)
    there = [p for p in picks if abs(p.position_mm - at.position_mm) <= nearest + SAME_MM / 3]
    return max(there, key=lambda pick: _strength_db(stage, pick))


def _face_where_due(job: Job, line_id: str, stage: PickStage, at: TieAt) -> Pick | None:
    """The strongest echo at a place among those due by the depth under the present model."""
    picks = [
        snap_face(stage, at.position_mm, time_ns)
        for time_ns in _times_due(job, line_id, stage, at, wide=False)
    ]
    found = [pick for pick in picks if pick is not None]
    return max(found, key=lambda pick: _strength_db(stage, pick), default=None)


def _times_due(job: Job, line_id: str, stage: PickStage, at: TieAt, *, wide: bool) -> list[float]:
    """File times to look at for an echo from the tie's depth, ns."""
    first, last = _due_ns(job, line_id, at, wide=wide)
    first, last = max(first, stage.direct.time_ns), min(last, stage.scan.time_window_ns)
    step = _STEP_PERIODS * stage.period_ns
    return np.arange(first, last + step, step).tolist() if first <= last else []


def _due_ns(job: Job, line_id: str, at: TieAt, *, wide: bool) -> tuple[float, float]:
    """File times between which an echo from the tie's depth comes, ns.

    For all permittivities that concrete usually has where ``wide``, else for those of the model (k = 2).
    """
    results = evaluate(job)
    model = results.lines[line_id].model
    spread = math.exp(2 * results.permittivity_u / results.permittivity)
    low, high = results.permittivity / spread, results.permittivity * spread
    if wide:
        usual_low, usual_high = priors.USUAL_PERMITTIVITY
        low, high = min(low, usual_low), max(high, usual_high)
    ends = np.clip([low, high], PERMITTIVITY_MIN, PERMITTIVITY_MAX)
    depth = np.clip(at.tie.depth_mm + 2 * at.tie.u_mm * np.array([-1.0, 1.0]), 0.1, None)
    way = travel_time(depth, ends, model.separation_mm, model.height_mm).time_ns
    first, last = (way + model.zero_ns).tolist()
    return first, last


def _strength_db(stage: PickStage, pick: Pick) -> float:
    return stage.strength_db(stage.scan.nearest_trace(pick.position_mm), pick.time_ns)
