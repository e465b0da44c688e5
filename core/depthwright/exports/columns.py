"""The words under the picture: depth model, evidence, survey and notes, set in two columns.

Evidence that finds no room in the first column goes on in the second; what finds none there is counted.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from depthwright.exports import palette
from depthwright.exports.lettering import Type, shorten, wrap
from depthwright.exports.marks import notes_of
from depthwright.exports.page import Page
from depthwright.exports.wording import (
    TIES,
    UNIT_WORDS,
    curvature_words,
    distance_words,
    evidence_words,
    model_words,
    recipe_words,
    source_words,
)
from depthwright.job import Job, Line
from depthwright.results.values import Results

HEAD = Type(palette.HEAD_PT, bold=True)
BODY = Type(palette.SMALL_PT)
GAP_MM = 5.5

_MOST_LINES = 6
"""Of one paragraph: what a user typed must not push out what was computed."""
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
    lines: list[SetLine] = field(default_factory=list)
    down_mm: float = 0.0

    def head(self, heading: str) -> None:
        """Begin a section."""
        self.down_mm += HEAD.line_mm + (_SECTION_GAP_MM if self.lines else 0.0)
        self.lines.append(SetLine(self.down_mm - 0.8, heading, HEAD))

    def fill(self, paragraphs: Sequence[str], keep_mm: float = 0.0) -> list[str]:
        """Set paragraphs while they fit, ``keep_mm`` left free below; gives those that do not."""
        for index, paragraph in enumerate(paragraphs):
            texts = wrap(paragraph, BODY, self.width_mm, most=_MOST_LINES)
            height = _PARAGRAPH_GAP_MM + len(texts) * BODY.line_mm
            if self.down_mm + height > self.most_mm - keep_mm:
                return list(paragraphs[index:])
            self.down_mm += _PARAGRAPH_GAP_MM
            for text in texts:
                self.down_mm += BODY.line_mm
                self.lines.append(SetLine(self.down_mm, text, BODY))
        return []

    def say(self, text: str) -> None:
        """Set one line whatever room there is."""
        self.down_mm += _PARAGRAPH_GAP_MM + BODY.line_mm
        self.lines.append(SetLine(self.down_mm, shorten(text, BODY, self.width_mm), BODY))

    @property
    def height_mm(self) -> float:
        """Height it takes, mm."""
        return self.down_mm + 1.0

    def draw(self, page: Page, left: float, top: float) -> None:
        """Write it."""
        for line in self.lines:
            page.text(left, top + line.down_mm, line.text, line.kind)


ONE_LINE_MM = _PARAGRAPH_GAP_MM + BODY.line_mm
_HEADED_MM = _SECTION_GAP_MM + HEAD.line_mm + ONE_LINE_MM


@dataclass(frozen=True)
class Said:
    """What the two columns have to say. ``aside`` counts the known depths that are set aside."""

    model: tuple[str, ...]
    evidence: tuple[str, ...]
    remarks: tuple[str, ...]
    survey: tuple[str, ...]
    notes: tuple[str, ...]
    aside: tuple[bool, ...]


def said_of(job: Job, line: Line, results: Results) -> Said:
    """The sentences of a line."""
    return Said(
        model=model_words(job, line, results),
        evidence=evidence_words(results),
        remarks=(*curvature_words(job, line, results), TIES),
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
        aside=tuple(row.kind == "tie" and not row.used for row in results.evidence),
    )


def columns(
    said: Said, widths_mm: tuple[float, float], least_mm: float, most_mm: float
) -> tuple[Column, Column]:
    """Both columns, as low as all of it fits between two heights; the picture gets what they leave."""
    height = min(least_mm, most_mm)
    while True:
        first, second, left = _set(said, widths_mm, height)
        if not left or height >= most_mm:
            return first, second
        height = min(height + _STEP_MM, most_mm)


def _set(said: Said, widths_mm: tuple[float, float], most_mm: float) -> tuple[Column, Column, bool]:
    """Both columns at most so high, and whether anything is left out."""
    first, second = (Column(width, most_mm) for width in widths_mm)
    first.head("Depth model")
    model = first.fill(said.model)
    second.head("Line and scan")
    cut = bool(second.fill([*model, *said.survey]))
    evidence = list(said.evidence)
    # Remarks on the evidence stand above it, so that they are never among what is left out.
    opening = [*said.remarks]
    begun = not model and first.down_mm + _HEADED_MM <= most_mm
    if begun:
        first.head("Evidence")
        opening = first.fill(opening)
        evidence = evidence if opening else first.fill(evidence)
    keep_mm = _HEADED_MM if said.notes else 0.0
    if opening or evidence:
        second.head("Evidence, continued" if begun else "Evidence")
        left = second.fill([*opening, *evidence], keep_mm)
        if left:
            left = _make_room(second, [*opening, *evidence], keep_mm)
            cut = True
    if said.notes:
        second.head("Notes")
        rest = second.fill(said.notes)
        cut = cut or bool(rest)
    return first, second, cut
