"""One line from its scan to its numbers with nobody at hand: taken in, proposed, tied, evaluated."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from depthwright import edits
from depthwright.errors import DepthwrightError, joined
from depthwright.finding.decide import accept_bars, accept_face
from depthwright.finding.proposal import SHOWN_SCORE, BarProposal, Proposals
from depthwright.finding.propose import propose
from depthwright.intake import SAME_FREQUENCY, Survey, assumed_antenna, take_in
from depthwright.job import Antenna, BarMark, Job, Line
from depthwright.marking.request import Request
from depthwright.marking.ties import tie_bar, tie_face
from depthwright.measuring.backface import FaceTrack
from depthwright.measuring.stage import PickStage, at_hand
from depthwright.results import words
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import track_faces
from depthwright.results.values import Results
from depthwright.scan import Scan

MOST_SAMPLE = 1e15
"""Samples beyond this, or all below its inverse, are a misread format; their powers are no numbers."""


@dataclass(frozen=True)
class Marked:
    """A line marked by itself.

    Parameters
    ----------
    job, line_id
        A job that holds this line alone.
    stage
        The line as it was picked on.
    tracks
        Its back face as tracked, by the mark's id.
    results
        Its numbers.
    scores
        How much speaks for each proposed bar, 0 to 1, by the mark's id.
    messages
        Sentences on what is worth knowing, the cautions last.
    """

    job: Job
    line_id: str
    stage: PickStage
    tracks: Mapping[str, FaceTrack]
    results: Results
    scores: Mapping[str, float]
    messages: tuple[str, ...]

    @property
    def line(self) -> Line:
        """The line."""
        return self.job.line(self.line_id)


def mark_line(scan: Scan, request: Request) -> Marked:
    """Mark one line by itself; the same scan and request give the same numbers.

    Raises
    ------
    DepthwrightError
        When the scan holds no pulse, nothing is where a tie says, or known depths contradict physics.
    """
    scan = scan.check()
    survey = Survey(scan)
    _refuse_unusable(survey)
    antenna = request.antenna(request.card or assumed_antenna(Job(), survey))
    antenna, heard = _as_heard(antenna, request, survey)
    job, line_id = take_in(Job(), scan, survey=survey, card=antenna, given=request.given)
    job = _as_requested(job, line_id, request)
    stage = at_hand(survey.find(antenna.centre_frequency_ghz)[1])
    proposals = propose(job, job.line(line_id), stage) if request.propose else Proposals()
    shown = [bar for bar in proposals.bars if bar.score >= SHOWN_SCORE]
    job, ids = accept_bars(job, line_id, shown)
    scores = {mark_id: bar.score for mark_id, bar in zip(ids, shown, strict=True)}
    if proposals.face is not None and proposals.face.score >= SHOWN_SCORE:
        job, _ = accept_face(job, line_id, proposals.face)
    unsure = [bar for bar in proposals.bars if bar.score < SHOWN_SCORE]
    job = _tied(job, line_id, stage, request, unsure, scores)
    tracks = track_faces(job, {line_id: stage})
    results = evaluate(job, tracks)
    job, too_early = _without_too_early(job, line_id, results)
    if too_early:
        results = evaluate(job, tracks, results.curvatures)
    messages = (
        words.footing(results),
        *results.warnings,
        *results.messages,
        *_without_bars(job.line(line_id), looked=request.propose),
        *proposals.messages,
        *too_early,
        *heard,
        *request.remarks,
        *survey.warnings,
        *scan.findings,
        *words.CAUTIONS,
    )
    kept = {mark.id for mark in job.line(line_id).marks}
    scores = {mark_id: score for mark_id, score in scores.items() if mark_id in kept}
    return Marked(job, line_id, stage, tracks, results, scores, messages)


def _refuse_unusable(survey: Survey) -> None:
    largest = survey.largest
    if largest == 0:
        raise DepthwrightError(
            "The scan holds nothing but zeros, or no number at all.",
            "Check that the right file was saved.",
        )
    if not 1 / MOST_SAMPLE < largest < MOST_SAMPLE:
        raise DepthwrightError(
            f"The largest sample is {largest:.1g}, which no radar records.",
            "Check in which sample format the file was saved.",
        )


def _as_heard(
    antenna: Antenna, request: Request, survey: Survey
) -> tuple[Antenna, tuple[str, ...]]:
    """The antenna with the centre of its pulse's spectrum, where the frequency given is near it.

    All that rests on frequency was found for that of the spectrum. Over concrete it lies below the
    nominal one by 10 to 20 % (full-wave runs, own computation).
    """
    given, own = request.centre_frequency_ghz, round(survey.frequency_ghz, 2)
    if given is None:
        return antenna, ()
    if abs(own / given - 1) > SAME_FREQUENCY:
        return antenna, (
            f"The pulse's spectrum is centred on {own:g} GHz, far from the {given:g} GHz given. The given "
            "one was used: check it, and the sample interval.",
        )
    return antenna.model_copy(update={"centre_frequency_ghz": own}), (
        f"The pulse's spectrum is centred on {own:g} GHz; that counts, near the {given:g} GHz given.",
    )


def _as_requested(job: Job, line_id: str, request: Request) -> Job:
    """The permittivity given as evidence that is kept, and how sure the trace spacing is."""
    if request.permittivity is not None:
        job = edits.change_zone(
            job,
            job.zones[0].id,
            permittivity=request.permittivity.value,
            permittivity_u=request.permittivity.u,
            typed=True,
            keep=True,
        )
    if request.trace_spacing_share_u is not None:
        job = edits.change_line(job, line_id, distance_scale_u=request.trace_spacing_share_u)
    return job


def _tied(
    job: Job,
    line_id: str,
    stage: PickStage,
    request: Request,
    unsure: list[BarProposal],
    scores: dict[str, float],
) -> Job:
    """The job with all ties on their marks: bars first, since they say when a back face is due."""
    for at in request.ties:
        if at.kind == "bar":
            job, score = tie_bar(job, line_id, stage, at, unsure, looked=request.propose)
            scores |= score
    job = _with_diameter(job, line_id, request.bar_diameter_mm)
    job = edits.renumber_bars(job, line_id)
    for at in request.ties:
        if at.kind == "face":
            job = tie_face(job, line_id, stage, at)
    return job


def _with_diameter(job: Job, line_id: str, diameter_mm: float | None) -> Job:
    if diameter_mm is None:
        return job
    marks = tuple(
        mark.model_copy(update={"diameter_mm": diameter_mm}) if isinstance(mark, BarMark) else mark
        for mark in job.line(line_id).marks
    )
    return edits.change_line(job, line_id, marks=marks)


def _without_bars(line: Line, looked: bool) -> tuple[str, ...]:
    """That no bar was found is said: a list without bars alone may be taken for a fault."""
    if not looked or any(isinstance(mark, BarMark) for mark in line.marks):
        return ()
    return ("No bars were found. Look at the line in the window before you rely on that.",)


def _without_too_early(job: Job, line_id: str, results: Results) -> tuple[Job, tuple[str, ...]]:
    """Proposed bars whose echo comes before any from inside the concrete are none."""
    places = {m.id: m.position_mm for m in job.line(line_id).marks if isinstance(m, BarMark)}
    rows = results.lines[line_id].bars
    early = [row for row in rows if row.tie is None and not math.isfinite(row.cover.value_mm)]
    if not early:
        return job, ()
    for row in early:
        job = edits.delete_mark(job, line_id, row.mark_id)
    named = joined([f"{places[row.mark_id]:.0f} mm" for row in early])
    return edits.renumber_bars(job, line_id), (
        f"What was found at {named} comes before any echo from inside the concrete could, and was "
        "left out.",
    )
