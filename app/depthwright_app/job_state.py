"""The one mutable holder: history, selection, scans at hand, and the results that follow from them.

Edits are pure functions handed to :meth:`JobState.edit`; a failed one has changed nothing and its
sentence goes to the message strip. Views listen to the signals and read; they never write here
except by calling edits. What clicks and typing do to marks is in
:class:`~depthwright_app.document.Document`, which this is the ground of.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from depthwright.depth.curvature import Crest
from depthwright.errors import DepthwrightError
from depthwright.history import History
from depthwright.intake import hash_found, scan_at
from depthwright.job import FaceMark, Job, Line, Mark
from depthwright.measuring.backface import FaceTrack
from depthwright.measuring.stage import PickStage
from depthwright.results import words
from depthwright.results.evaluate import evaluate
from depthwright.results.focusing import Focus
from depthwright.results.spots import Curvatures
from depthwright.results.tracking import track
from depthwright.results.values import LineModel, Results
from depthwright.scan import Scan
from depthwright_app.session import WorkedOut, focus_subject, shows
from depthwright_app.speech import Speech

Edit = Callable[[Job], Job]


@dataclass(frozen=True)
class Selection:
    """The mark that typing and nudging go to; ``anchor`` is the place in a back face."""

    line_id: str
    mark_id: str
    anchor: int | None = None


class JobState(Speech):
    """The open job and everything that is derived from it."""

    job_changed = Signal(object, object)
    """The job before and after an edit, undo or redo."""
    selection_changed = Signal()
    line_changed = Signal()
    """Another line is shown, or its scan has arrived."""
    scans_wanted = Signal()
    """Lines may have come back whose scans are not at hand."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.path: Path | None = None
        self.refusal = ""
        """Why the last refused edit was not possible."""
        self._adopt(Job())

    def _adopt(self, job: Job) -> None:
        # First what can fail, so that a job that cannot be is not adopted by half.
        self.made: Results = evaluate(job)
        self._previewed: Results | None = None
        self.history = History.start(job)
        self.saved: Job | None = job
        """The state on disk; None where what is there is another one."""
        self.stages: dict[str, PickStage] = {}
        self._hashes: dict[str, str] = {}
        self.missing: dict[str, str] = {}
        self.line_id = job.lines[0].id if job.lines else ""
        self.selection: Selection | None = None
        self._tracks: dict[tuple[str, FaceMark], tuple[PickStage, FaceTrack]] = {}
        self._focuses: dict[str, tuple[dict[str, Crest], Focus | None]] = {}
        self._moved: tuple[Results, Results] | None = None
        self._left: Curvatures = {}

    @property
    def results(self) -> Results:
        """The numbers shown: of the job as :attr:`made`, or of a preview in progress."""
        return self._previewed or self.made

    @property
    def moved_words(self) -> str:
        """What the last edit that moved a number moved."""
        return words.what_moved(*self._moved, self.job.unit) if self._moved else ""

    @property
    def job(self) -> Job:
        """The present state."""
        return self.history.job

    @property
    def modified(self) -> bool:
        """Whether the present state differs from the one on disk."""
        return self.job is not self.saved and (self.saved is None or self.job != self.saved)

    @property
    def line(self) -> Line | None:
        """The line shown."""
        return self.job.line(self.line_id) if self.line_id else None

    @property
    def stage(self) -> PickStage | None:
        """The shown line's scan as it is picked on, once it has been read."""
        return self.stages.get(self.line_id)

    @property
    def model(self) -> LineModel | None:
        """The shown line's depth model."""
        rows = self.results.lines.get(self.line_id)
        return rows.model if rows else None

    @property
    def reading_u_mm(self) -> float:
        """Standard uncertainty of a reading when none is typed, mm."""
        return self.job.meters[0].reading_u_mm

    @property
    def selected(self) -> Mark | None:
        """The selected mark."""
        return self._mark_in(self.job)

    def open(self, job: Job, path: Path | None, unsaved: bool = False) -> None:
        """Take another job; nothing to undo. ``unsaved`` where it is not on disk as it is.

        Raises
        ------
        DepthwrightError
            When its known depths contradict physics; the job at hand stays.
        """
        before = self.job
        self._adopt(job)
        self.path = path
        self.saved = None if unsaved else job
        self.job_changed.emit(before, job)
        self.line_changed.emit()
        self.selection_changed.emit()

    def mark_saved(self, path: Path) -> None:
        """The present state is on disk at ``path``."""
        self.saved, self.path = self.job, path
        self.job_changed.emit(self.job, self.job)

    def edit(self, edit_words: str, change: Edit, remark: str = "") -> bool:
        """Apply an edit as one step of undo; False (and a sentence) when it is not possible.

        A ``remark`` is said before what moved.
        """
        try:
            job = change(self.job)
            results = self._evaluate(job)
        except DepthwrightError as problem:
            self.refusal = str(problem)
            self.say_here(self.refusal, True)
            return False
        self._move_to(self.history.push(job, edit_words), results, remark)
        return True

    def working_out(self, change: Edit) -> Callable[[], WorkedOut]:
        """What a long edit comes to: a call for another thread, which alters nothing."""
        before, made, stages = self.job, self.made, tuple(self.stages.values())

        def work() -> WorkedOut:
            job = change(before)
            return WorkedOut(before, made, stages, job, self._evaluate(job))

        return work

    def edit_worked_out(
        self, edit_words: str, change: Edit, remark: str, worked: WorkedOut
    ) -> bool:
        """Apply an edit that was worked out, or work it out here where what it rests on has changed since."""
        if not worked.holds(self.job, self.made, self.stages.values()):
            return self.edit(edit_words, change, remark)
        self._move_to(self.history.push(worked.job, edit_words), worked.results, remark)
        return True

    def add_line(self, edit_words: str, job: Job, line_id: str, stage: PickStage) -> bool:
        """Take the job with one line more, whose scan is at hand, and show it; as :meth:`edit` does."""
        self.missing.pop(line_id, None)
        self.stages[line_id], self._hashes[line_id] = stage, stage.scan.sha256
        if not self.edit(edit_words, lambda _: job):
            self._forget_scan(line_id)
            return False
        self.show_line(line_id)
        return True

    def preview(self, change: Edit | None) -> None:
        """Show what an edit would give without making it; None goes back to what is."""
        try:
            self._previewed = None if change is None else self._evaluate(change(self.job))
        except DepthwrightError:
            return
        self.job_changed.emit(self.job, self.job)

    def undo(self) -> None:
        """One step back."""
        history = self.history.undo()
        self._move_to(history, self._evaluate(history.job))
        self.scans_wanted.emit()

    def redo(self) -> None:
        """One step forward."""
        history = self.history.redo()
        self._move_to(history, self._evaluate(history.job))
        self.scans_wanted.emit()

    def _move_to(self, history: History, results: Results, remark: str = "") -> None:
        before_job, before = self.job, self.made
        self._left = before.curvatures
        self.history, self.made, self._previewed = history, results, None
        self._forget_other_scans()
        if history.job is before_job:
            return
        moved = words.what_moved(before, results, history.job.unit)
        if moved:
            self._moved = (before, results)
        gone = self.line_id not in {line.id for line in history.job.lines}
        if gone:
            self.leave_line()
            self.line_id = history.job.lines[0].id if history.job.lines else ""
        self._drop_stale_selection(before_job)
        self.asides.clear()
        if gone:
            self.line_changed.emit()
        self.job_changed.emit(before_job, history.job)
        fresh = [warning for warning in results.warnings if warning not in before.warnings]
        said = " ".join(part for part in (remark, *(fresh or [moved]), *self.asides) if part)
        if fresh:
            self.said.emit(said, True)  # a warning is about the whole job
        elif said:
            self.say_here(said)

    def _forget_other_scans(self) -> None:
        """Ids are used again after a removal, so a stage counts only with its own line's scan."""
        lines = {line.id: line for line in self.job.lines}
        for line_id in list(self.stages):
            if line_id not in lines or self._stage_of(lines[line_id]) is None:
                self._forget_scan(line_id)
                self.missing.pop(line_id, None)

    def _forget_scan(self, line_id: str) -> None:
        self.stages.pop(line_id, None)
        self._hashes.pop(line_id, None)
        tracks = list(self._tracks.items())  # at once: another thread may be adding one
        self._tracks = {key: value for key, value in tracks if key[0] != line_id}

    def _stage_of(self, line: Line) -> PickStage | None:
        """The stage at hand for a line, if it was made from the scan that the line shows."""
        stage = self.stages.get(line.id)
        known = stage is not None and shows(stage, line, self._hashes.get(line.id, ""))
        return stage if known else None

    def _evaluate(self, job: Job) -> Results:
        tracks = {
            mark.id: self._track(stage, line.id, mark)
            for line in job.lines
            if (stage := self._stage_of(line))
            for mark in line.marks
            if isinstance(mark, FaceMark)
        }
        # With those of the state left last, so that to undo and redo condenses no crest again.
        known = {**self._left, **self.made.curvatures}
        return evaluate(job, tracks, known, self._focuses_of(job))

    def _focuses_of(self, job: Job) -> dict[str, Focus]:
        """What is known of how lines focus, as far as their marks are those it was found for."""
        known = {line.id: self._focuses.get(line.id) for line in job.lines}
        return {
            line.id: found[1]
            for line in job.lines
            if (found := known[line.id]) and found[1] and found[0] == focus_subject(job, line)
        }

    @property
    def unfocused(self) -> dict[str, Crest] | None:
        """What of the shown line has not been focused yet; None when there is nothing to do."""
        line = self.line
        if line is None or self.stage is None:
            return None
        subject = focus_subject(self.job, line)
        found = self._focuses.get(line.id)
        return None if found and found[0] == subject else subject

    def focus_found(self, line_id: str, subject: dict[str, Crest], focus: Focus | None) -> None:
        """A line's bars have been focused; shown beside the evidence while its marks stay."""
        self._focuses[line_id] = subject, focus
        if focus is not None:
            self.made = self._evaluate(self.job)
            self.job_changed.emit(self.job, self.job)

    def _track(self, stage: PickStage, line_id: str, face: FaceMark) -> FaceTrack:
        # Ties do not move a track: only the anchors' places do.
        bare = tuple(anchor.model_copy(update={"tie": None}) for anchor in face.anchors)
        key = (line_id, face.model_copy(update={"anchors": bare}))
        found = self._tracks.get(key)
        if found is None or found[0] is not stage:
            # With its stage: the scan may go, or be read anew, while another thread follows a face.
            found = self._tracks[key] = stage, track(stage, face)
        return found[1]

    def scan_arrived(self, line_id: str, stage: PickStage) -> None:
        """A line's scan has been read; one that the line no longer shows is not taken."""
        at_hand = self.stages.get(line_id)
        again = at_hand is not None and at_hand.scan is stage.scan
        sha256 = self._hashes.get(line_id, "") if again else stage.scan.sha256
        line = next((line for line in self.job.lines if line.id == line_id), None)
        if line is None or not shows(stage, line, sha256):
            return
        self._forget_scan(line_id)
        self.stages[line_id], self._hashes[line_id] = stage, sha256
        self.missing.pop(line_id, None)
        faces = any(isinstance(mark, FaceMark) for mark in line.marks)
        # Other marks carry all that counts of the scan: the same numbers, but another object, so that an
        # edit that was being worked out with the former scan is worked out again.
        self.made = self._evaluate(self.job) if faces else replace(self.made)
        if line_id == self.line_id:
            self.line_changed.emit()
        else:
            self.job_changed.emit(self.job, self.job)

    def scan_checked(self, line_id: str, opened: Scan, checked: Scan) -> None:
        """All of a line's scan has been read: its hash is known to every state that waits for it.

        That is no edit: nothing to undo, nothing more to save.
        """
        self.history = self.history.amend(lambda job: hash_found(job, line_id, checked))
        self.saved = self.saved and hash_found(self.saved, line_id, checked)
        stage = self.stages.get(line_id)
        if stage is not None and stage.scan is opened:
            self._hashes[line_id] = checked.sha256

    def scan_moved(self, line: Line, path: str) -> Line:
        """A line's scan has been found again elsewhere: every state names it there. No edit.

        Gives the line as it is then.
        """
        self.history = self.history.amend(lambda job: scan_at(job, line.scan, path))
        self.saved = self.saved and scan_at(self.saved, line.scan, path)
        self.job_changed.emit(self.job, self.job)
        self.said.emit(f"The scan of {line.name} was found at {path}.", False)
        return line.model_copy(update={"scan": line.scan.model_copy(update={"path": path})})

    def scan_missing(self, line_id: str, sentence: str) -> None:
        """A line's scan could not be read, or is not the one that was added; its marks stay."""
        self.missing[line_id] = sentence
        if line_id in self.stages:
            self._forget_scan(line_id)
            self.made = self._evaluate(self.job)
            self.job_changed.emit(self.job, self.job)
        line = next((line for line in self.job.lines if line.id == line_id), None)
        if line is not None and any(isinstance(mark, FaceMark) for mark in line.marks):
            sentence += " Until then its back face counts at your clicks alone."
        self.said.emit(sentence, True)
        if line_id == self.line_id:
            self.line_changed.emit()

    def show_line(self, line_id: str) -> None:
        """Show another line."""
        if line_id != self.line_id:
            if self.selection is not None and self.selection.line_id != line_id:
                self.select(None)
            self.leave_line()
            self.line_id = line_id
            self.line_changed.emit()

    def select(self, selection: Selection | None) -> None:
        """Select a mark (and show its line), or nothing."""
        if selection is not None:
            self.show_line(selection.line_id)
        if selection != self.selection:
            self.selection = selection
            self.selection_changed.emit()

    def _drop_stale_selection(self, before: Job) -> None:
        """A mark that is gone is not selected, nor an anchor whose number may mean another one."""
        if self.selection is None:
            return
        mark, was = self._mark_in(self.job), self._mark_in(before)
        other_anchors = (
            isinstance(mark, FaceMark)
            and isinstance(was, FaceMark)
            and len(mark.anchors) != len(was.anchors)
        )
        if mark is None or other_anchors:
            self.select(None)

    def _mark_in(self, job: Job) -> Mark | None:
        """The selected mark as it is in some state of the job."""
        chosen = self.selection
        if chosen is None:
            return None
        return next(
            (
                mark
                for line in job.lines
                if line.id == chosen.line_id
                for mark in line.marks
                if mark.id == chosen.mark_id
            ),
            None,
        )
