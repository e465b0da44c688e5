"""The one mutable holder: history, selection, scans at hand, and the results that follow from them.

Edits are pure functions handed to :meth:`Document.edit`; a failed one has changed nothing and its
sentence goes to the message strip. Views listen to the signals and read; they never write here
except by calling edits.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.history import History
from depthwright.job import BarMark, FaceMark, Job, Line, Mark, TargetMark, Tie
from depthwright.measuring.backface import FaceTrack
from depthwright.measuring.picking import Pick, place_by_hand, snap_bar, snap_face, with_crest
from depthwright.measuring.stage import PickStage
from depthwright.results import words
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import track
from depthwright.results.values import LineModel, Results

Edit = Callable[[Job], Job]


@dataclass(frozen=True)
class Selection:
    """The mark that typing and nudging go to; ``anchor`` is the place in a back face."""

    line_id: str
    mark_id: str
    anchor: int | None = None


class Document(QObject):
    """The open job and everything that is derived from it."""

    job_changed = Signal(object, object)
    """The job before and after an edit, undo or redo."""
    selection_changed = Signal()
    line_changed = Signal()
    """Another line is shown, or its scan has arrived."""
    scans_wanted = Signal()
    """Lines may have come back whose scans are not at hand."""
    said = Signal(str, bool)
    """A sentence for the message strip; True for a warning."""

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
        self.saved = job
        self.stages: dict[str, PickStage] = {}
        self.missing: dict[str, str] = {}
        self.line_id = job.lines[0].id if job.lines else ""
        self.selection: Selection | None = None
        self._tracks: dict[tuple[str, FaceMark], FaceTrack] = {}
        self._moved: tuple[Results, Results] | None = None

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
        return self.job is not self.saved and self.job != self.saved

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

    def open(self, job: Job, path: Path | None) -> None:
        """Take another job; nothing to undo.

        Raises
        ------
        DepthwrightError
            When its known depths contradict physics; the job at hand stays.
        """
        before = self.job
        self._adopt(job)
        self.path = path
        self.job_changed.emit(before, job)
        self.line_changed.emit()
        self.selection_changed.emit()

    def mark_saved(self, path: Path) -> None:
        """The present state is on disk at ``path``."""
        self.saved, self.path = self.job, path
        self.job_changed.emit(self.job, self.job)

    def edit(self, edit_words: str, change: Edit) -> bool:
        """Apply an edit as one step of undo; False (and a sentence) when it is not possible."""
        try:
            job = change(self.job)
            results = self._evaluate(job)
        except DepthwrightError as problem:
            self.refusal = str(problem)
            self.said.emit(self.refusal, True)
            return False
        self._move_to(self.history.push(job, edit_words), results)
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

    def _move_to(self, history: History, results: Results) -> None:
        before_job, before = self.job, self.made
        self.history, self.made, self._previewed = history, results, None
        self._forget_other_scans()
        if history.job is before_job:
            return
        moved = words.what_moved(before, results, history.job.unit)
        if moved:
            self._moved = (before, results)
        gone = self.line_id not in {line.id for line in history.job.lines}
        if gone:
            self.line_id = history.job.lines[0].id if history.job.lines else ""
        self._drop_stale_selection(before_job)
        if gone:
            self.line_changed.emit()
        self.job_changed.emit(before_job, history.job)
        fresh = [warning for warning in results.warnings if warning not in before.warnings]
        if fresh:
            self.said.emit(" ".join(fresh), True)
        elif moved:
            self.said.emit(moved, False)

    def _forget_other_scans(self) -> None:
        """Ids are used again after a removal, so a stage counts only with its own line's scan."""
        lines = {line.id: line for line in self.job.lines}
        for line_id in list(self.stages):
            if line_id not in lines or not shows(self.stages[line_id], lines[line_id]):
                del self.stages[line_id]
                self.missing.pop(line_id, None)
                self._tracks = {k: v for k, v in self._tracks.items() if k[0] != line_id}

    def _evaluate(self, job: Job) -> Results:
        tracks = {
            mark.id: self._track(self.stages[line.id], line.id, mark)
            for line in job.lines
            if line.id in self.stages and shows(self.stages[line.id], line)
            for mark in line.marks
            if isinstance(mark, FaceMark)
        }
        return evaluate(job, tracks, self.made.curvatures)

    def _track(self, stage: PickStage, line_id: str, face: FaceMark) -> FaceTrack:
        # Ties do not move a track: only the anchors' places do.
        bare = tuple(anchor.model_copy(update={"tie": None}) for anchor in face.anchors)
        key = (line_id, face.model_copy(update={"anchors": bare}))
        if key not in self._tracks:
            self._tracks[key] = track(stage, face)
        return self._tracks[key]

    def scan_arrived(self, line_id: str, stage: PickStage) -> None:
        """A line's scan has been read; one that the line no longer shows is not taken."""
        if not any(line.id == line_id and shows(stage, line) for line in self.job.lines):
            return
        self.stages[line_id] = stage
        self.missing.pop(line_id, None)
        self._tracks = {key: value for key, value in self._tracks.items() if key[0] != line_id}
        self.made = self._evaluate(self.job)
        self.job_changed.emit(self.job, self.job)
        if line_id == self.line_id:
            self.line_changed.emit()

    def scan_missing(self, line_id: str, sentence: str) -> None:
        """A line's scan could not be read; its marks stay."""
        self.missing[line_id] = sentence
        self.said.emit(sentence, True)
        if line_id == self.line_id:
            self.line_changed.emit()

    def show_line(self, line_id: str) -> None:
        """Show another line."""
        if line_id != self.line_id:
            if self.selection is not None and self.selection.line_id != line_id:
                self.select(None)
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

    # What a click means.

    def snap(self, kind: str, position_mm: float, time_ns: float) -> Pick | None:
        """Where a click with this kind of mark would snap to, on the shown line."""
        if self.stage is None:
            return None
        snap = snap_face if kind == "face" else snap_bar
        return snap(self.stage, position_mm, time_ns)

    def by_hand(self, position_mm: float, time_ns: float) -> Pick | None:
        """A pick just there, on the shown line."""
        return place_by_hand(self.stage, position_mm, time_ns) if self.stage else None

    def add_bar(self, pick: Pick) -> None:
        """Mark a bar, or select the one that is already there."""
        there = self._bar_at(pick)
        if there is not None:
            self.select(Selection(self.line_id, there.id))
            return
        crested = with_crest(self.stage, pick) if self.stage else pick
        self._add("Mark a bar", lambda job: edits.add_bar(job, self.line_id, crested))
        if not pick.placed_by_crest:
            self.said.emit(
                "Marked, but the echo there is not curved like a bar's: it may be a crossing or a "
                "layer. Its position is uncertain. Undo it unless you know better.",
                True,
            )

    def add_anchor(self, pick: Pick) -> None:
        """Add an anchor to the line's back face (the selected one, else the first)."""
        face = self._face_for_anchor()
        made: list[str] = []

        def change(job: Job) -> Job:
            changed, face_id = edits.add_anchor(job, self.line_id, face, pick)
            made.append(face_id)
            return changed

        if self.edit("Mark the back face", change):
            mark = self.job.line(self.line_id).mark(made[0])
            assert isinstance(mark, FaceMark)
            index = [anchor.position_mm for anchor in mark.anchors].index(pick.position_mm)
            self.select(Selection(self.line_id, mark.id, index))
            self._say_marked(f", anchor {index + 1},")

    def _add(self, edit_words: str, change: Callable[[Job], tuple[Job, str]]) -> None:
        made: list[str] = []

        def apply(job: Job) -> Job:
            changed, mark_id = change(job)
            made.append(mark_id)
            return changed

        if self.edit(edit_words, apply):
            self.select(Selection(self.line_id, made[0]))
            self._say_marked("")

    def _say_marked(self, which: str) -> None:
        """What was marked, and the next step where there is one."""
        mark = self.selected
        if mark is not None:
            name = f"{mark_words(mark)}{which}"
            step = " Type its known depth and press Enter to tie it." if mark.kind != "note" else ""
            self.said.emit(f"{name[:1].upper()}{name[1:]} marked.{step}", False)

    def add_target(self, pick: Pick) -> None:
        """Mark another target; its kind is chosen in its details."""
        self._add("Mark a target", lambda job: edits.add_target(job, self.line_id, pick, "unknown"))

    def add_note(self, position_mm: float, time_ns: float) -> None:
        """Pin a remark; its text is written in its details."""
        self._add(
            "Pin a note",
            lambda job: edits.add_note(job, self.line_id, position_mm, time_ns, "Note"),
        )

    def _bar_at(self, pick: Pick) -> BarMark | None:
        line = self.line
        for mark in line.marks if line else ():
            if (
                isinstance(mark, BarMark)
                and abs(mark.position_mm - pick.position_mm) < max(5.0, mark.diameter_mm / 2)
                and abs(mark.time_ns - pick.time_ns) < 0.1
            ):
                return mark
        return None

    def _face_for_anchor(self) -> str | None:
        if isinstance(self.selected, FaceMark) and self.selection is not None:
            return self.selection.mark_id
        line = self.line
        faces = [mark.id for mark in line.marks if isinstance(mark, FaceMark)] if line else []
        return faces[0] if faces else None

    # What is done to the selected mark.

    def tie_selected(self, tie: Tie | None) -> bool:
        """Attach a known depth to the selected mark or anchor, or take it away."""
        selection, mark = self.selection, self.selected
        if selection is None or mark is None:
            self.said.emit("Select the mark that was measured, then type its known depth.", True)
            return False
        line_id, mark_id, anchor = selection.line_id, selection.mark_id, selection.anchor or 0
        edit_words = f"{'Tie' if tie else 'Untie'} {mark_words(mark)}"
        if isinstance(mark, FaceMark):
            return self.edit(
                edit_words,
                lambda job: edits.change_anchor(job, line_id, mark_id, anchor, tie=tie),
            )
        return self.edit(edit_words, lambda job: edits.tie_mark(job, line_id, mark_id, tie))

    @property
    def selected_tie(self) -> Tie | None:
        """The known depth of the selected mark or anchor."""
        mark, selection = self.selected, self.selection
        if isinstance(mark, FaceMark) and selection is not None:
            return mark.anchors[selection.anchor or 0].tie
        return mark.tie if isinstance(mark, BarMark | TargetMark) else None

    def place_selected(self, pick: Pick) -> bool:
        """Put the selected mark (or anchor) where it was picked, snapped or by hand."""
        selection, mark = self.selection, self.selected
        if selection is None or mark is None:
            return False
        line_id, mark_id, anchor = selection.line_id, selection.mark_id, selection.anchor or 0
        place: dict[str, object] = {"position_mm": pick.position_mm, "time_ns": pick.time_ns}
        edit_words = f"Move {mark_words(mark)}"
        if not isinstance(mark, FaceMark):
            if mark.kind != "note":
                place |= {
                    "position_u_mm": pick.position_u_mm,
                    "overlaps_direct": pick.overlaps_direct,
                }
            if isinstance(mark, BarMark):
                crested = with_crest(self.stage, pick) if self.stage else pick
                place["crest"] = crested.crest
            return self.edit(
                edit_words, lambda job: edits.change_mark(job, line_id, mark_id, **place)
            )
        moved = self.edit(
            edit_words, lambda job: edits.change_anchor(job, line_id, mark_id, anchor, **place)
        )
        # Anchors stay in their order along the line, so a moved one may have another place.
        face = self.job.line(line_id).mark(mark_id)
        if moved and isinstance(face, FaceMark):
            put = (pick.position_mm, pick.time_ns)
            at = [(other.position_mm, other.time_ns) for other in face.anchors].index(put)
            self.select(replace(selection, anchor=at))
        return moved

    def delete_selected(self) -> None:
        """Take the selected mark (or anchor) away."""
        selection, mark = self.selection, self.selected
        if selection is None or mark is None:
            return
        line_id, mark_id = selection.line_id, selection.mark_id
        if isinstance(mark, FaceMark) and selection.anchor is not None:
            anchor = selection.anchor
            self.edit(
                "Delete an anchor",
                lambda job: edits.delete_anchor(job, line_id, mark_id, anchor),
            )
            return
        self.edit(
            f"Delete {mark_words(mark)}", lambda job: edits.delete_mark(job, line_id, mark_id)
        )


def mark_words(mark: Mark) -> str:
    """What the user calls a mark: "bar 4"."""
    if isinstance(mark, FaceMark):
        return "back face" if mark.number == 1 else f"back face {mark.number}"
    if mark.kind == "note":
        return "note"
    return f"{'bar' if mark.kind == 'bar' else mark.what} {mark.number}"


def shows(stage: PickStage, line: Line) -> bool:
    """Whether a stage was made from the scan that a line shows."""
    return stage.scan.sha256 == line.scan.sha256 and stage.scan.dt_ns == line.scan.dt_ns
