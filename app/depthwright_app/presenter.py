"""Keeps the panes true to the document: what changed is shown."""

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from depthwright.finding.proposal import BarProposal
from depthwright.job import FaceMark, Job, Line, Mark, NoteMark
from depthwright.measuring.stage import PickStage
from depthwright.results.focusing import focus_of
from depthwright.results.words import line_title
from depthwright.units import LENGTH_UNITS
from depthwright_app.budget import budgets
from depthwright_app.job_state import Selection
from depthwright_app.panels.details import Shown
from depthwright_app.panels.proposals_bar import Offer
from depthwright_app.picture import readout, resolve
from depthwright_app.proposal_picture import Proposal
from depthwright_app.wording import antenna_words

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow


class Presenter(QObject):
    """Between the document and the panes of one window."""

    def __init__(self, window: "MainWindow") -> None:
        super().__init__(window)
        self.window, self.document = window, window.document
        self._focus_of: object = None
        self._focus_asked: tuple[Job, Line, PickStage] | None = None

    def connect_all(self) -> None:
        """Listen to everything."""
        window, document = self.window, self.document
        document.job_changed.connect(self._job_changed)
        document.selection_changed.connect(self.show_marks)
        document.line_changed.connect(self.show_everything)
        document.said.connect(window.strip.say)
        window.proposing.changed.connect(self.show_proposals)
        window.proposing.went_to.connect(self._went_to)
        window.proposals.least_chosen.connect(window.proposing.show_from)
        window.pane.box.sigRangeChanged.connect(self._view_moved)
        for name in ("accept", "reject", "accept-shown", "accept-in-view", "reject-shown"):
            # A key that is held down decides on one, not on one after the other.
            window.commands[f"proposal-{name}"].setAutoRepeat(False)
        window.marking.mode_changed.connect(self._mode_changed)
        window.tree.chosen.connect(document.select)
        window.tree.typed.connect(window.marking.start_reading)
        window.ledger.chosen.connect(self._evidence_chosen)
        window.details.budget_wanted.connect(self.show_marks)
        window.start.open_wanted.connect(window.keeper.ask_open)
        window.start.demo_wanted.connect(window.keeper.open_demo)
        window.start.recent_wanted.connect(lambda path: window.keeper.open_path(Path(path)))

    # Showing.

    def show_everything(self) -> None:
        """Another line or job: image, marks, everything."""
        self.window.marking.forget_place()
        self.window.viewing.forget_place()
        self._job_changed(None, None)

    def _job_changed(self, before: object, after: object) -> None:
        window, document = self.window, self.document
        job = document.job
        self._title()
        window.pane.show_units(job.unit)
        window.pane.ruler.show_model(document.model, job.unit, document.results.provisional)
        if document.model is not None:
            window.pane.time_axis.show_zero(document.model.zero_ns)
        window.units.setCurrentIndex(LENGTH_UNITS.index(job.unit))
        window.ledger.show_results(
            job, document.results, self._antenna_words(), document.moved_words
        )
        self._gain()
        self.show_marks()
        self._show_middle()
        window.viewing.show_line()
        window.viewing.renew_read_out()
        self._focus()

    def show_marks(self) -> None:
        """Marks, tree, details and trace follow the selection."""
        window, document = self.window, self.document
        selection = document.selection
        chosen = (selection.mark_id, selection.anchor) if selection else None
        picture = resolve(document.job, document.results, document.line_id, chosen)
        window.pane.show_picture(picture, document.job.unit)
        window.tree.show_job(
            document.job, document.results, document.line_id, selection, set(document.missing)
        )
        window.details.show_mark(self._details())
        window.commands["budget"].setChecked(window.details.budget_open)
        self.show_proposals()

    def show_proposals(self) -> None:
        """Proposals over the section, and the row that decides on them."""
        window, proposing = self.window, self.window.proposing
        window.pane.proposals.show_picture(proposing.picture)
        shown = len(proposing.shown)
        every = {0: "all", 1: "1"}.get(shown, f"all {shown}")
        for name, words in (
            ("accept", "Accept"),
            ("reject", "Reject"),
            ("accept-shown", f"Accept {every}"),
            ("reject-shown", f"Reject {every}"),
        ):
            window.commands[f"proposal-{name}"].setIconText(words)
        self._count_in_view()
        if not proposing.count and window.proposals.isAncestorOf(window.focusWidget()):
            window.pane.setFocus()
        offer = Offer(proposing.count, shown, proposing.least, *proposing.current_words)
        window.proposals.show_offer(offer if proposing.count else None)
        window.viewing.trace_of_selection()
        window.commands.refresh()

    def _view_moved(self, *_: object) -> None:
        if self.window.proposing.shown:
            self._count_in_view()

    def _count_in_view(self) -> None:
        """How many of the shown ones are in view; to accept those is offered unless it is all."""
        proposing, action = self.window.proposing, self.window.commands["proposal-accept-in-view"]
        count = len(proposing.within(self.window.pane.seen))
        action.setIconText(f"Accept {count} in view")
        action.setVisible(count < len(proposing.shown))
        action.setEnabled(count > 0)

    def _went_to(self, proposal: Proposal) -> None:
        """The section pans to where the user goes: to an apex, or the middle of a back face."""
        line = self.document.line
        if line is not None:
            if isinstance(proposal, BarProposal):
                pick = proposal.pick
            else:
                pick = proposal.anchors[len(proposal.anchors) // 2]
            self.window.pane.bring_into_view(line.on_concrete_mm(pick.position_mm), pick.time_ns)

    def _details(self) -> Shown | None:
        document, place, mark = self.document, self.document.selection, self.document.selected
        if place is None or mark is None:
            return None
        where = (place.line_id, place.mark_id, place.anchor)
        unfolded = self.window.details.budget_open
        return Shown(
            mark=mark,
            anchor=place.anchor,
            unit=document.job.unit,
            known=readout(document.job, document.results, *where),
            budgets=budgets(document.job, document.results, *where) if unfolded else (),
            reading_u_mm=document.reading_u_mm,
        )

    def _evidence_chosen(self, place: Selection) -> None:
        """A row of the ledger was clicked: its mark is selected, and typing goes to it."""
        self.document.select(place)
        self.window.pane.setFocus()

    def _title(self) -> None:
        document = self.document
        name = document.path.stem if document.path else document.job.name
        star = "*" if document.modified else ""
        line = document.line
        title = f" - {line_title(document.job, line.id)}" if line else ""
        self.window.setWindowTitle(f"{star}{name}{title} - Depthwright")

    def _antenna_words(self) -> str:
        line, job = self.document.line, self.document.job
        return "No line yet." if line is None else antenna_words(job, line)

    def _gain(self) -> None:
        window, line = self.window, self.document.line
        if line is None:
            return
        window.gain.blockSignals(True)
        window.gain.setValue(round(line.recipe.gain_db_per_100mm))
        window.gain.blockSignals(False)

    def _focus(self) -> None:
        """Focus the shown line's bars in the background when their crests are other ones."""
        document, line, stage = self.document, self.document.line, self.document.stage
        job, asked = document.job, self._focus_asked
        if line is None or stage is None:
            return
        self._focus_asked = (job, line, stage)
        if asked and asked[2] is stage and _same_but_ties(asked[0], asked[1], job, line):
            return
        subject = document.unfocused
        if subject is None or subject == self._focus_of:
            return
        self._focus_of = subject
        self.window.background.run(
            "focus",
            lambda _: focus_of(job, line, stage),
            lambda focus: document.focus_found(line.id, subject, focus),
            document.tell,
        )

    def _show_middle(self) -> None:
        """The section, or what to open, or why the line cannot be shown."""
        window, document = self.window, self.document
        line = document.line
        if line is not None and document.stage is not None:
            window.middle.setCurrentWidget(window.pane)
            return
        if line is None:
            window.start.show_start(window.keeper.settings.recent)
        elif line.id in document.missing:
            window.start.show_reason(f"{line.name} cannot be shown", document.missing[line.id])
        else:
            window.start.show_reason(f"Reading {line.name}", "The scan is being read.")
        window.middle.setCurrentWidget(window.start)

    def _mode_changed(self, mode_id: str) -> None:
        self.window.commands[f"mode-{mode_id}"].setChecked(True)


def _same_but_ties(before: Job, line_before: Line, after: Job, line_after: Line) -> bool:
    """Whether nothing but known depths differs between two states of a line, as fast as a glance."""
    if before.antennas != after.antennas or len(line_before.marks) != len(line_after.marks):
        return False
    bare = {"marks": ()}
    return line_before.model_copy(update=bare) == line_after.model_copy(update=bare) and all(
        one is other or _untied(one) == _untied(other)
        for one, other in zip(line_before.marks, line_after.marks, strict=True)
    )


def _untied(mark: Mark) -> Mark:
    if isinstance(mark, FaceMark | NoteMark):
        return mark
    return mark.model_copy(update={"tie": None})
