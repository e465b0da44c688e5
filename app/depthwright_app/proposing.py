"""The program proposes, the user decides: proposals of each line, which are shown, and what becomes of them.

Proposals are no part of the job and of no undo step. They go when something changes that the search goes
by: the scan's pick stage, the antenna, the direct wave or the distance scale. Where a line lies and how it
is cropped only says where they are drawn. Accepting and rejecting are edits, so that undo makes proposals of
them again.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from PySide6.QtCore import QObject, Signal

from depthwright.finding import decide
from depthwright.finding.proposal import (
    SHOWN_SCORE,
    BarProposal,
    FaceProposal,
    Proposals,
    still_open,
)
from depthwright.finding.propose import propose
from depthwright.job import Antenna, DirectPick, Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.results.tracking import shown_edges_mm
from depthwright.results.values import Measured
from depthwright_app.background import Background
from depthwright_app.document import Document
from depthwright_app.job_state import Edit
from depthwright_app.proposal_picture import (
    Proposal,
    ProposalGlyph,
    ProposalPicture,
    Seen,
    bar_glyphs,
    capital,
    counted,
    current_words,
    depth_words,
    face_glyph,
    found_words,
)
from depthwright_app.session import WorkedOut

TOPIC = "propose"
MOST_TRIED = 10_000
"""Traces up to which a back face is followed for its thickness before it is accepted: about a second."""
MANY = 100
"""More bars than this are accepted in the background: their crests take some milliseconds each."""
ACCEPTING = "accept"
WITHDRAWN = "What the proposals rested on has changed: F5 looks for them again."
CHANGED_MEANWHILE = (
    "Nothing was marked, since the line or its proposals changed meanwhile. Accept them again."
)


@dataclass(frozen=True)
class _Basis:
    """What proposals rest on."""

    line_id: str
    stage: PickStage
    antenna: Antenna
    direct: DirectPick
    distance_scale: float


@dataclass(frozen=True)
class _Found:
    """A line's proposals, and the least score of those shown."""

    basis: _Basis
    proposals: Proposals
    least: float = SHOWN_SCORE


class Proposing(QObject):
    """Proposals beside the document."""

    changed = Signal()
    """Other proposals are there or shown, or another one is the current one."""
    went_to = Signal(object)
    """The user went to a proposal, which has to be seen."""

    def __init__(self, document: Document, background: Background, parent: QObject) -> None:
        super().__init__(parent)
        self.document, self.background = document, background
        self.picture = ProposalPicture()
        """What is drawn of the shown line's proposals."""
        self.shown: tuple[Proposal, ...] = ()
        """Those that score enough: bars in the order of their distances, then the back face."""
        self._found: dict[str, _Found] = {}
        self._asked: _Basis | None = None
        self._open = Proposals()
        self._open_by: object = None
        self._glyphs: tuple[ProposalGlyph, ...] = ()
        self._all: tuple[ProposalGlyph, ...] = ()
        self._laid: object = None
        self._depth: tuple[tuple[object, ...], Measured | None] = ((), None)
        document.job_changed.connect(self._follow)
        document.line_changed.connect(self._follow)
        document.selection_changed.connect(self._mark_selected)

    # Looking for marks.

    def ask(self) -> None:
        """Look for marks on the shown line, in the background."""
        line, stage, job = self.document.line, self.document.stage, self.document.job
        if line is None or stage is None:
            return
        antenna = job.antenna_of(line)
        basis = self._asked = _Basis(line.id, stage, antenna, line.direct, line.distance_scale)
        self.document.say_here(f"Looking for bars and the back face on {line.name}.")
        self.background.run(
            TOPIC,
            lambda report: propose(job, line, stage, report),
            partial(self._arrived, basis),
            partial(self.document.tell, here=True),
            tells=True,
        )

    def _arrived(self, basis: _Basis, proposals: Proposals) -> None:
        line = self.document.line
        if line is None or not self._holds(basis):
            return
        self._found[basis.line_id] = _Found(basis, proposals)
        self._renew()
        found = found_words(self.shown, self.count, proposals, len(line.rejected))
        self.document.say_here(found)

    def _holds(self, basis: _Basis) -> bool:
        """Whether a line still is what proposals rest on."""
        job = self.document.job
        line = next((line for line in job.lines if line.id == basis.line_id), None)
        return (
            line is not None
            and self.document.stages.get(line.id) is basis.stage
            and job.antenna_of(line) == basis.antenna
            and (line.direct, line.distance_scale) == (basis.direct, basis.distance_scale)
        )

    def _follow(self, *_: object) -> None:
        """The job or the line shown has changed: what does not hold any more goes."""
        asked = self._asked
        if asked and not (asked.line_id == self.document.line_id and self._holds(asked)):
            self.background.cancel(TOPIC)
            self._asked = None
        kept = {key: found for key, found in self._found.items() if self._holds(found.basis)}
        there = {line.id for line in self.document.job.lines}
        if (self._found.keys() & there) - kept.keys():
            self.document.asides.append(WITHDRAWN)
        self._found = kept
        self._renew()

    # What is proposed.

    @property
    def count(self) -> int:
        """How many the user has not decided on, shown or not."""
        return len(self._open.bars) + (self._open.face is not None)

    @property
    def current(self) -> Proposal | None:
        """The one that is accepted or rejected next."""
        return self.picture.current

    @property
    def least(self) -> float:
        """Score from which on proposals are shown."""
        found = self._found.get(self.document.line_id)
        return found.least if found else SHOWN_SCORE

    def within(self, seen: Seen) -> tuple[Proposal, ...]:
        """The shown ones that lie within what is seen."""
        bars: list[Proposal] = [
            self.picture.bars[at].proposal for at in self.picture.bars_within(seen).tolist()
        ]
        face = self.picture.face if self.picture.face_within(seen) else None
        return (*bars, *([face.proposal] if face else []))

    @property
    def current_words(self) -> tuple[str, str, bool]:
        """What speaks for the current proposal, the depth it would have, and whether it is provisional."""
        line, document = self.document.line, self.document
        if line is None or self.current is None:
            return "", "", False
        unit = document.job.unit
        told = current_words(line, unit, self.current)
        depth = depth_words(self.current, self._would_be(self.current), unit)
        return told, depth, document.results.provisional

    def _would_be(self, proposal: Proposal) -> Measured | None:
        """A bar's cover by the present depth model; of a back face what accepting it would give.

        None where a long line would keep the window waiting for it.
        """
        document, model, line_id = self.document, self.document.model, self.document.line_id
        if isinstance(proposal, BarProposal):
            return model.read_at(proposal.pick.time_ns) if model else None
        if document.stage is None or document.stage.scan.traces > MOST_TRIED:
            return None
        asked = (document.job, document.stage, proposal)
        # By identity: stages hold arrays, which are not equal or unequal as a whole.
        if [*map(id, self._depth[0])] != [*map(id, asked)]:
            results = document.tried(lambda job: decide.accept_face(job, line_id, proposal)[0])
            face = results.lines[line_id].faces[-1] if results else None
            self._depth = asked, face.median if face else None
        return self._depth[1]

    def _renew(self) -> None:
        """Work out what is still open on the shown line, where that may have changed."""
        line, stage, model = self.document.line, self.document.stage, self.document.model
        found = self._found.get(self.document.line_id)
        if found is None or line is None or stage is None or model is None:
            self._open, self._open_by, self._glyphs = Proposals(), None, ()
            self._all, self._laid = (), None
        else:
            laid = (found.proposals, line.start_mm, line.distance_scale, line.turned_mm)
            if laid != self._laid:
                self._laid, self._all = laid, bar_glyphs(line, model, found.proposals.bars)
            by = (laid, line.marks, line.rejected, line.crop_mm)
            if by != self._open_by:
                self._open_by = by
                self._open = _on_show(line, stage, still_open(line, found.proposals))
                there = {id(bar) for bar in self._open.bars}
                self._glyphs = tuple(one for one in self._all if id(one.proposal) in there)
        self._show()

    def _show(self) -> None:
        """Take those that score enough, and the current one if it is still among them."""
        line, face = self.document.line, self._open.face
        bars = tuple(glyph for glyph in self._glyphs if glyph.proposal.score >= self.least)
        below = face_glyph(line, face) if line and face and face.score >= self.least else None
        self.shown = (*(bar.proposal for bar in bars), *([below.proposal] if below else []))
        there = any(one is self.current for one in self.shown)
        self.picture = ProposalPicture(bars, below, self.current if there else None)
        self.changed.emit()

    # What the user does.

    def show_from(self, least: float) -> None:
        """Show those that score this much or more."""
        found = self._found.get(self.document.line_id)
        if found is not None and found.least != least:
            self._found[self.document.line_id] = replace(found, least=least)
            self._show()

    def choose(self, proposal: Proposal | None) -> None:
        """Make one the current one, instead of a selected mark."""
        if proposal is not self.current:
            self.picture = replace(self.picture, current=proposal)
            if proposal is not None:
                self.document.select(None)
            self.changed.emit()

    def _mark_selected(self) -> None:
        if self.document.selection is not None:
            self.choose(None)

    def step(self, by: int) -> None:
        """Go to the next or the one before among those shown, round the ends."""
        at = self._at()
        if self.shown:
            start = 0 if by > 0 else len(self.shown) - 1
            self._go_to(start if at is None else (at + by) % len(self.shown))

    def _at(self) -> int | None:
        places = enumerate(self.shown)
        return next((place for place, one in places if one is self.current), None)

    def _go_to(self, place: int) -> None:
        self.choose(self.shown[place] if place < len(self.shown) else None)
        if self.current is not None:
            self.went_to.emit(self.current)

    def accept(self, proposals: Sequence[Proposal]) -> tuple[str, ...]:
        """Mark proposals in one step of undo; gives the marks' ids. From the current one on to the next.

        Where that takes long it goes on in the background, and no ids are given.
        """
        bars, face = _parted(proposals)
        line_id = self.document.line_id
        made: list[str] = []

        def change(job: Job) -> Job:
            job, ids = decide.accept_bars(job, line_id, bars)
            made.extend(ids)
            if face is not None:
                job, face_id = decide.accept_face(job, line_id, face)
                made.append(face_id)
            return job

        stage = self.document.stage
        long_face = face is not None and stage is not None and stage.scan.traces > MOST_TRIED
        if len(bars) > MANY or long_face:
            self._accept_behind(proposals, change)
            return ()
        decided = self._decide("Accept", "accepted", proposals, change)
        return tuple(made) if decided else ()

    def _accept_behind(self, proposals: Sequence[Proposal], change: Edit) -> None:
        """Accept so many that the window would stand still meanwhile."""
        line_id = self.document.line_id
        work = self.document.working_out(change)

        def done(worked: WorkedOut) -> None:
            there = {id(one) for one in self.shown} if self.document.line_id == line_id else set()
            if there.issuperset(map(id, proposals)):
                self._decide("Accept", "accepted", proposals, change, worked)
            else:
                self.document.said.emit(CHANGED_MEANWHILE, True)

        self.document.say_here(f"Marking {counted(proposals)}.")
        self.background.run(
            ACCEPTING, lambda _: work(), done, partial(self.document.tell, here=True), tells=True
        )

    def reject(self, proposals: Sequence[Proposal]) -> None:
        """Take proposals away for good, in one step of undo. From the current one on to the next."""
        line_id = self.document.line_id
        self._decide(
            "Reject", "rejected", proposals, lambda job: decide.reject(job, line_id, proposals)
        )

    def _decide(
        self,
        verb: str,
        done: str,
        proposals: Sequence[Proposal],
        change: Edit,
        worked: WorkedOut | None = None,
    ) -> bool:
        if not proposals:
            return False
        left = self.count - len(proposals)
        remark = f"{capital(counted(proposals))} {done}"
        remark += f"; {left} left to decide." if left else "."
        place = self._at()
        words = f"{verb} {counted(proposals)}"
        edited = (
            self.document.edit_worked_out(words, change, remark, worked)
            if worked
            else self.document.edit(words, change, remark)
        )
        # Not round the end: what was passed over there is not to be accepted by the next press.
        if edited and place is not None and self.current is None:
            self._go_to(place)
        return edited

    def decide_current(self, decision: Callable[[Sequence[Proposal]], object]) -> None:
        """Accept or reject the current one."""
        if self.current is not None:
            decision((self.current,))

    def allow_again(self) -> None:
        """Propose again what was rejected on the shown line."""
        line_id = self.document.line_id
        words = "Propose rejected ones again"
        if self.document.edit(words, lambda job: decide.allow_again(job, line_id)):
            self.ask()

    def put_away(self) -> None:
        """Show no proposals on this line until they are asked for again."""
        self.background.cancel(TOPIC)
        if self._found.pop(self.document.line_id, None) is not None:
            self._renew()
            self.document.say_here("Proposals put away. F5 looks for them again.")


def _on_show(line: Line, stage: PickStage, found: Proposals) -> Proposals:
    """Those in the part of the line that is shown."""
    left, right = shown_edges_mm(line, stage.scan)
    inside = (
        bar for bar in found.bars if left <= line.on_concrete_mm(bar.pick.position_mm) <= right
    )
    return replace(found, bars=tuple(inside))


def _parted(proposals: Sequence[Proposal]) -> tuple[list[BarProposal], FaceProposal | None]:
    """The bars and the back face among some proposals."""
    bars = [one for one in proposals if isinstance(one, BarProposal)]
    return bars, next((one for one in proposals if isinstance(one, FaceProposal)), None)
