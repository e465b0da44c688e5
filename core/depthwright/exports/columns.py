"""The words under the picture, set in three columns: beneath the bar schedule, the depth model, the survey.

Evidence takes what room the three leave, from left to right; what finds none is counted.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from depthwright.exports import palette
from depthwright.exports.lettering import Type, wrap
from depthwright.exports.marks import notes_of
from depthwright.exports.page import Page
from depthwright.exports.wording import (
    EVIDENCE,
    MOST_KNOWN_NAMED,
    TIES,
    UNIT_WORDS,
    curvature_words,
    distance_words,
    evidence_word,
    model_words,
    recipe_words,
    source_words,
)
from depthwright.job import Job, Line
from depthwright.results.values import EvidenceRow, Results

HEAD = Type(palette.HEAD_PT, bold=True)
BODY = Type(palette.SMALL_PT)
GAP_MM = 5.5

_MOST_LINES = 4
"""Of one paragraph: what a user typed must not push out what was computed."""
_MOST_MODEL_LINES = 8
_SECTION_GAP_MM = 2.0
_PARAGRAPH_GAP_MM = 0.5
_STEP_MM = 3.0


@dataclass(frozen=True)
class SetLine:
    """A line of text at a height below the top of its column, mm."""

    down_mm: float
    text: str
    kind: Type


@dataclass
class Column:
    """A column of text being filled from its top down to ``most_mm``."""

    width_mm: float
    most_mm: float
    down_mm: float = 0.0
    lines: list[SetLine] = field(default_factory=list)

    def head(self, heading: str) -> None:
        """Begin a section."""
        self.down_mm += HEAD.line_mm + (_SECTION_GAP_MM if self.down_mm else 0.0)
        self.lines.append(SetLine(self.down_mm - 0.8, heading, HEAD))

    def put(self, paragraph: str, most_lines: int = _MOST_LINES) -> None:
        """Set a paragraph whatever room there is."""
        self.down_mm += _PARAGRAPH_GAP_MM
        for text in wrap(paragraph, BODY, self.width_mm, most=most_lines):
            self.down_mm += BODY.line_mm
            self.lines.append(SetLine(self.down_mm, text, BODY))

    def fill(self, paragraphs: Sequence[str], keep_mm: float = 0.0) -> list[str]:
        """Set paragraphs while they fit, ``keep_mm`` left free below; gives those that do not."""
        for index, paragraph in enumerate(paragraphs):
            if not self.holds([paragraph], keep_mm):
                return list(paragraphs[index:])
            self.put(paragraph)
        return []

    def section(self, heading: str, paragraphs: Sequence[str], together: int) -> list[str]:
        """Set a section as far as it fits, if its first paragraphs do; gives those left."""
        if not self.holds(paragraphs[:together], HEAD.line_mm + _SECTION_GAP_MM):
            return list(paragraphs)
        self.head(heading)
        return self.fill(paragraphs)

    def end(self, paragraphs: Sequence[str], keep_mm: float, words: Callable[[int], str]) -> bool:
        """Set paragraphs; when not all fit, say how many are left, and where. Gives whether all fit."""
        if self.holds(paragraphs, keep_mm):
            self.fill(paragraphs, keep_mm)
            return True
        self.put(words(len(self.fill(paragraphs, keep_mm + _ENDING_MM))))
        return False

    def holds(self, paragraphs: Sequence[str], keep_mm: float = 0.0) -> bool:
        """Whether all of them fit."""
        heights = (
            _PARAGRAPH_GAP_MM
            + len(wrap(paragraph, BODY, self.width_mm, most=_MOST_LINES)) * BODY.line_mm
            for paragraph in paragraphs
        )
        return self.down_mm + sum(heights) + keep_mm <= self.most_mm

    @property
    def height_mm(self) -> float:
        """Height it takes, mm."""
        return self.down_mm + 1.0

    def draw(self, page: Page, left: float, top: float) -> None:
        """Write it."""
        for line in self.lines:
            page.text(left, top + line.down_mm, line.text, line.kind)


_ENDING_MM = _PARAGRAPH_GAP_MM + 2 * BODY.line_mm
_NOTES_MM = _SECTION_GAP_MM + HEAD.line_mm + _PARAGRAPH_GAP_MM + BODY.line_mm


Widths = tuple[float, float, float]
Columns = tuple[Column, ...]


@dataclass(frozen=True)
class Said:
    """What the two columns have to say; ``aside`` tells which of the evidence is a known depth set aside."""

    model: tuple[str, ...]
    remarks: tuple[str, ...]
    evidence: tuple[str, ...]
    aside: tuple[bool, ...]
    survey: tuple[str, ...]
    notes: tuple[str, ...]


def said_of(job: Job, line: Line, results: Results) -> Said:
    """The sentences of a line."""
    rows = in_order(results)
    return Said(
        model=model_words(job, line, results),
        remarks=(f"{EVIDENCE} {TIES}", *curvature_words(job, line, results)),
        evidence=tuple(evidence_word(row) for row in rows),
        aside=tuple(row.kind == "tie" and not row.used for row in rows),
        survey=(
            distance_words(job, line),
            source_words(line),
            recipe_words(line),
            f"Lengths in {UNIT_WORDS[job.unit]}; cover and depth from the surface to the top of the "
            "target.",
        ),
        notes=tuple(
            f"Note {number}: {note.text}" for number, note in enumerate(notes_of(line), start=1)
        ),
    )


def in_order(results: Results) -> tuple[EvidenceRow, ...]:
    """Evidence as the ledger has it; many known depths that count come last, since they are alike."""
    rows = results.evidence
    if sum(_counts(row) for row in rows) <= MOST_KNOWN_NAMED:
        return rows
    return tuple(sorted(rows, key=_counts))


def _counts(row: EvidenceRow) -> bool:
    return row.kind == "tie" and row.used


def columns(said: Said, widths_mm: Widths, taken_mm: float, most_mm: float) -> Columns:
    """The columns, as low as all of it fits: the picture gets what they leave.

    ``taken_mm`` is what stands at the top of the first. Evidence stays in one of the first two columns
    where it can, else it takes what room there is.
    """
    most_mm = max(most_mm, _least_mm(said, widths_mm[2]))
    heights = [*np.arange(min(taken_mm, most_mm), most_mm, _STEP_MM).tolist(), most_mm]
    together = len(said.remarks) + 1
    for places, least in ((((0,), (1,)), together), (_ALL, together), (_ALL, together - 1)):
        for height in heights:
            for place in places:
                made, whole = _set(said, widths_mm, taken_mm, height, place, least)
                if whole:
                    return made
    return made


_ALL = ((0, 1, 2),)


def _least_mm(said: Said, width_mm: float) -> float:
    """Height of the survey with a word on evidence and notes below it."""
    column = Column(width_mm, 0.0)
    column.head("Line and scan")
    for paragraph in said.survey:
        column.put(paragraph)
    notes_mm = _NOTES_MM if said.notes else 0.0
    return column.down_mm + _SECTION_GAP_MM + HEAD.line_mm + _ENDING_MM + notes_mm


def _set(
    said: Said,
    widths_mm: Widths,
    taken_mm: float,
    most_mm: float,
    places: tuple[int, ...],
    together: int,
) -> tuple[Columns, bool]:
    """The columns at most so high, evidence in some of them, and whether all is in them.

    Depth model and survey are set in any case; the first ``together`` sentences on evidence stay in one
    column.
    """
    first, second, third = made = tuple(Column(width, most_mm) for width in widths_mm)
    first.down_mm = taken_mm
    second.head("Depth model")
    for paragraph in said.model:
        second.put(paragraph, _MOST_MODEL_LINES)
    third.head("Line and scan")
    for paragraph in said.survey:
        third.put(paragraph)
    left, heading = [*said.remarks, *said.evidence], "Evidence"
    for column in (made[place] for place in places if place < 2):
        before = len(left)
        left = column.section(heading, left, together) if left else []
        if len(left) < before:
            heading, together = "Evidence, continued", 1
    whole = not left or 2 in places
    if left:
        third.head(heading)
        whole &= third.end(left, _NOTES_MM if said.notes else 0.0, lambda n: _counted(said, n))
    if said.notes:
        third.head("Notes")
        whole &= third.end(said.notes, 0.0, lambda _: _ELSEWHERE)
    return made, whole


_ELSEWHERE = "… the rest stands in the job."


def _counted(said: Said, left: int) -> str:
    """How much evidence has no room on the page, and how many set-aside depths are among it."""
    left = min(left, len(said.evidence))
    aside = sum(said.aside[len(said.aside) - left :])
    more = f", {aside} of them set aside" if aside else ""
    what = "more" if left < len(said.evidence) else "pieces"
    return f"… {left} {what} in the tables and the job{more}."
