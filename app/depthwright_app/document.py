"""The open job in the user's hands: what clicks and typing do to its marks and their known depths."""

from collections.abc import Callable
from dataclasses import replace

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.job import BarMark, FaceMark, Job, Mark, Origin, TargetMark, Tie
from depthwright.measuring.picking import Pick, place_by_hand, snap_bar, snap_face, with_crest
from depthwright.results.values import Results
from depthwright_app.job_state import Edit, JobState, Selection
from depthwright_app.wording import replaced_words

USUAL_ORIGIN: dict[str, Origin] = {
    "bar": "cover meter",
    "face": "drilled hole or core",
    "target": "exposed target",
}
"""Where a known depth of each kind of mark usually comes from."""


class Document(JobState):
    """A job state with the edits of marks; each is one step of undo."""

    def tried(self, change: Edit) -> Results | None:
        """What an edit would give, without making it; None where it is not possible."""
        try:
            return self._evaluate(change(self.job))
        except DepthwrightError:
            return None

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
            self.say_here(
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
            self.say_marked(f", anchor {index + 1},")

    def _add(self, edit_words: str, change: Callable[[Job], tuple[Job, str]]) -> None:
        made: list[str] = []

        def apply(job: Job) -> Job:
            changed, mark_id = change(job)
            made.append(mark_id)
            return changed

        if self.edit(edit_words, apply):
            self.select(Selection(self.line_id, made[0]))
            self.say_marked()

    def say_marked(self, which: str = "") -> None:
        """What was marked, and the next step where there is one."""
        mark = self.selected
        if mark is not None:
            name = f"{mark_words(mark)}{which}"
            step = " Type its known depth and press Enter to tie it." if mark.kind != "note" else ""
            self.say_here(f"{name[:1].upper()}{name[1:]} marked.{step}")

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
        if self.selection is None or self.selected is None:
            self.say_here("Select the mark that was measured, then type its known depth.", True)
            return False
        return self.tie_at(self.selection, tie)

    def tie_at(self, place: Selection, tie: Tie | None) -> bool:
        """Attach a known depth to a mark or anchor, or take it away."""
        line_id, mark_id, anchor = place.line_id, place.mark_id, place.anchor or 0
        mark = self.job.line(line_id).mark(mark_id)
        before, name = tie_of(mark, place.anchor), mark_words(mark)
        remark = replaced_words(name, before, tie, self.job.unit) if before and tie else ""

        def change(job: Job) -> Job:
            if isinstance(mark, FaceMark):
                return edits.change_anchor(job, line_id, mark_id, anchor, tie=tie)
            return edits.tie_mark(job, line_id, mark_id, tie)

        return self.edit(f"{'Tie' if tie else 'Untie'} {name}", change, remark)

    def set_tie_aside(self, place: Selection, reason: str) -> bool:
        """Keep a known depth without counting it, for a reason; without one it counts again."""
        line_id, mark_id, anchor = place.line_id, place.mark_id, place.anchor or 0
        mark = self.job.line(line_id).mark(mark_id)
        tie = tie_of(mark, place.anchor)
        if tie is None:
            return False
        changed = tie.model_copy(update={"set_aside": reason.strip()})

        def change(job: Job) -> Job:
            if isinstance(mark, FaceMark):
                return edits.change_anchor(job, line_id, mark_id, anchor, tie=changed)
            return edits.change_mark(job, line_id, mark_id, tie=changed)

        verb = "Set aside" if reason.strip() else "Use again"
        return self.edit(f"{verb} the known depth of {mark_words(mark)}", change)

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
                place |= {"crest": crested.crest, "crest_alone": crested.crest_alone}
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


def tie_of(mark: Mark, anchor: int | None) -> Tie | None:
    """The known depth of a mark, or of an anchor of a back face."""
    if isinstance(mark, FaceMark):
        return mark.anchors[anchor or 0].tie
    return mark.tie if isinstance(mark, BarMark | TargetMark) else None
