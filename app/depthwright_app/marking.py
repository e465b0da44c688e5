"""What clicks, keys and drags on the section mean, mode by mode. No drawing, no physics."""

from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QObject, Qt, Signal

from depthwright import edits
from depthwright.constants import TYPICAL_PERMITTIVITY_U
from depthwright.errors import DepthwrightError
from depthwright.finding.proposal import BarProposal
from depthwright.job import FaceMark, Job
from depthwright.measuring.picking import Pick
from depthwright.units import format_length, parse_reading
from depthwright_app.document import USUAL_ORIGIN, Document, mark_words
from depthwright_app.job_state import Selection
from depthwright_app.picture import BarGlyph
from depthwright_app.proposal_picture import Proposal
from depthwright_app.proposing import Proposing
from depthwright_app.section.reading_box import ReadingBox
from depthwright_app.section.view import SectionPane

HIT_PX = 16.0
NOT_POSITIVE = "A known depth is more than zero. Type it like 35 or 35 ± 1."


@dataclass(frozen=True)
class Mode:
    """One way to use the mouse: its id, its button's words, and how it snaps."""

    id: str
    words: str
    tip: str
    snaps: str
    icon: str


MODES = (
    Mode(
        "look",
        "Look",
        "Select and move marks; drag to pan, wheel to zoom",
        "",
        "fa6s.arrow-pointer",
    ),
    Mode("bar", "Bar", "Click near the apex of a bar", "bar", "fa6s.circle-dot"),
    Mode("face", "Back face", "Click along the back face", "face", "fa6s.grip-lines"),
    Mode(
        "target",
        "Target",
        "Click near a duct, conduit, void or something unknown",
        "bar",
        "fa6s.diamond",
    ),
    Mode("note", "Note", "Click where a remark belongs", "", "fa6s.note-sticky"),
)


class Marking(QObject):
    """Connects a section pane to the document."""

    mode_changed = Signal(str)
    read_out = Signal(float, float)
    """The place under the pointer: recorded distance (mm) and file time (ns)."""

    def __init__(self, document: Document, pane: SectionPane, proposing: Proposing) -> None:
        super().__init__(pane)
        self.document, self.pane, self.proposing = document, pane, proposing
        self.mode = MODES[1]
        self.box = ReadingBox(pane)
        self._cursor: tuple[float, float] | None = None
        pane.clicked.connect(self._clicked)
        pane.hovered.connect(self._hovered)
        pane.left.connect(lambda: pane.marks.show_preview(None))
        pane.grabbed.connect(self._grabbed)
        pane.dragged.connect(self._dragged)
        pane.typed.connect(self.start_reading)
        pane.nudged.connect(self._nudged)
        pane.key_pressed.connect(self._key)
        pane.stretched.connect(self._stretched)
        self.box.entered.connect(self._entered)

    def set_mode(self, mode_id: str) -> None:
        """Use the mouse another way."""
        self.mode = next(mode for mode in MODES if mode.id == mode_id)
        self.pane.marks.show_preview(None)
        self.mode_changed.emit(mode_id)

    def forget_place(self) -> None:
        """Another line is shown: what pointed into the other one goes."""
        self.box.discard()
        self._cursor = None
        self.pane.marks.show_cursor(None)
        self.pane.marks.show_preview(None)

    def _recorded(self, distance_mm: float) -> float:
        line = self.document.line
        return line.recorded_mm(distance_mm) if line else distance_mm

    def _hit(self, distance_mm: float, time_ns: float) -> Selection | None:
        """The mark under a click."""
        picture = self.pane.marks.picture
        nearest, best = None, HIT_PX
        for glyph in picture.glyphs:
            away = self._away_px((glyph.position_mm, glyph.time_ns), (distance_mm, time_ns))
            if isinstance(glyph, BarGlyph) and _inside(glyph, distance_mm, time_ns):
                away = min(away, HIT_PX / 2)
            if away < best:
                anchor = getattr(glyph, "anchor", None)
                nearest, best = Selection(self.document.line_id, glyph.mark_id, anchor), away
        return nearest

    def _clicked(self, distance_mm: float, time_ns: float) -> None:
        self.box.discard()
        self.pane.marks.show_cursor(None)
        self._cursor = None
        self._mark(distance_mm, time_ns)

    def _mark(self, distance_mm: float, time_ns: float) -> None:
        hit = self._hit(distance_mm, time_ns)
        if hit is not None:
            self.document.select(hit)
            return
        proposal = self._proposal_at(distance_mm, time_ns)
        if proposal is not None:
            self._decide_on(proposal, distance_mm)
            return
        self.proposing.choose(None)
        recorded = self._recorded(distance_mm)
        if self.mode.id == "note" and self.document.stage is not None:
            self.document.add_note(recorded, time_ns)
            return
        pick = self.document.snap(self.mode.snaps, recorded, time_ns) if self.mode.snaps else None
        if pick is None:
            self.document.select(None)
            if self.mode.snaps and self.document.stage is not None:
                self.document.say_here(
                    "Nothing stands out here to snap to. Click on the brightest part of an echo, "
                    "or zoom in."
                )
            return
        add = {"bar": self.document.add_bar, "face": self.document.add_anchor}
        add.get(self.mode.id, self.document.add_target)(pick)
        self.pane.marks.show_preview(None)

    def _proposal_at(self, distance_mm: float, time_ns: float) -> Proposal | None:
        """The proposal under a click that this mode is for; looking is for all."""
        found: Proposal | None = None
        picture, best = self.pane.proposals.picture, HIT_PX
        reach = left, right, top, bottom = self.pane.reach(distance_mm, time_ns, HIT_PX)
        if self.mode.id in ("look", "face") and picture.face is not None:
            places = picture.face.anchors.places
            along = float(np.clip(distance_mm, places[0, 0], places[-1, 0]))
            here = float(np.interp(along, *places.T))
            if left <= along <= right and top <= here <= bottom:
                found = picture.face.proposal
        for at in picture.bars_within(reach).tolist() if self.mode.id in ("look", "bar") else ():
            bar = picture.bars[at]
            away = self._away_px((bar.position_mm, bar.time_ns), (distance_mm, time_ns))
            if away < best:
                found, best = bar.proposal, away
        return found

    def _away_px(self, place: tuple[float, float], other: tuple[float, float]) -> float:
        step = self.pane.pixels(*place) - self.pane.pixels(*other)
        return float((step.x() ** 2 + step.y() ** 2) ** 0.5)

    def _decide_on(self, proposal: Proposal, distance_mm: float) -> None:
        """A click on a proposal: looking makes it the current one, its own mode accepts it."""
        if self.mode.id == "look":
            self.proposing.choose(proposal)
            return
        line_id = self.document.line_id
        for mark_id in self.proposing.accept((proposal,)):
            mark, anchor = self.document.job.line(line_id).mark(mark_id), None
            if isinstance(mark, FaceMark):
                away = [abs(a.position_mm - self._recorded(distance_mm)) for a in mark.anchors]
                anchor = away.index(min(away))
            self.document.select(Selection(line_id, mark_id, anchor))
            self.document.say_marked("" if anchor is None else f", anchor {anchor + 1},")
        self.pane.marks.show_preview(None)

    def _hovered(self, distance_mm: float, time_ns: float) -> None:
        recorded = self._recorded(distance_mm)
        self.read_out.emit(recorded, time_ns)
        pick = None
        if self.mode.snaps and self._hit(distance_mm, time_ns) is None:
            proposal = self._proposal_at(distance_mm, time_ns)
            if isinstance(proposal, BarProposal):
                pick = proposal.pick
            elif proposal is None:
                pick = self.document.snap(self.mode.snaps, recorded, time_ns)
        self.pane.marks.show_preview(self._place(pick))

    def _place(self, pick: Pick | None) -> tuple[float, float] | None:
        line = self.document.line
        if pick is None or line is None:
            return None
        return line.on_concrete_mm(pick.position_mm), pick.time_ns

    def _grabbed(self, distance_mm: float, time_ns: float) -> None:
        """A mark was taken hold of: it is the selected one now."""
        self.box.discard()
        self.document.select(self._hit(distance_mm, time_ns))

    def _dragged(self, distance_mm: float, time_ns: float, ended: bool) -> None:
        """A selected mark follows the pointer and snaps when it is let go."""
        if not ended:
            self.pane.marks.show_preview((distance_mm, time_ns))
            return
        self.pane.marks.show_preview(None)
        mark = self.document.selected
        recorded = self._recorded(distance_mm)
        pick = None
        if mark is not None and mark.kind != "note":
            kind = "face" if isinstance(mark, FaceMark) else "bar"
            pick = self.document.snap(kind, recorded, time_ns)
        pick = pick or self.document.by_hand(recorded, time_ns)
        if pick is not None:
            self.document.place_selected(pick)

    def _nudged(self, along: int, down: int, fast: bool) -> None:
        """Arrow keys: a selected mark by one trace or sample, else the keyboard's cursor."""
        stage, line = self.document.stage, self.document.line
        if stage is None or line is None:
            return
        steps = 5 if fast else 1
        along_mm = along * steps * (stage.scan.trace_spacing_mm or 1.0)
        recorded_mm = -along_mm if line.reversed else along_mm
        down_ns = down * steps * stage.scan.dt_ns
        mark, selection = self.document.selected, self.document.selection
        if mark is not None and selection is not None:
            place = mark.anchors[selection.anchor or 0] if isinstance(mark, FaceMark) else mark
            pick = self.document.by_hand(place.position_mm + recorded_mm, place.time_ns + down_ns)
            if pick is not None:
                self.document.place_selected(pick)
            return
        at = self._cursor or (
            line.on_concrete_mm(float(stage.scan.positions_mm[stage.scan.traces // 2])),
            stage.scan.time_window_ns / 4,
        )
        self._cursor = (at[0] + 2 * along_mm * line.distance_scale, at[1] + 2 * down_ns)
        self.pane.marks.show_cursor(self._cursor)
        self.read_out.emit(self._recorded(self._cursor[0]), self._cursor[1])

    def _key(self, key: int) -> None:
        if key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self.document.delete_selected()
        elif key == Qt.Key.Key_Escape:
            self.pane.marks.show_cursor(None)
            self._cursor = None
            self.document.select(None)
            self.proposing.choose(None)
        elif self._cursor is not None:
            self._mark(*self._cursor)

    # The quick path: digits, Enter.

    def start_reading(self, first: str) -> None:
        """A digit was typed: open the box at the selected mark."""
        mark, selection = self.document.selected, self.document.selection
        if mark is None or mark.kind == "note" or selection is None:
            note = "A note has no depth. " if mark is not None else ""
            self.document.say_here(
                f"{note}Select a bar, a target or the back face, then type its known depth."
            )
            return
        unit = self.document.job.unit
        place = mark.anchors[selection.anchor or 0] if isinstance(mark, FaceMark) else mark
        line = self.document.job.line(selection.line_id)
        at = self.pane.pixels(line.on_concrete_mm(place.position_mm), place.time_ns)
        spread = format_length(self.document.reading_u_mm, unit, 0 if unit == "mm" else 2)
        origin = USUAL_ORIGIN[mark.kind]
        hint = f"{origin}, ± {spread} unless typed. Enter ties, Esc discards."
        title = f"Known depth of {mark_words(mark)}"
        self.box.ask(at, title, hint, unit, first)

    def _entered(self, text: str) -> None:
        mark = self.document.selected
        if mark is None:
            return
        if text.strip()[:1] in ("-", "−"):
            self.box.complain(NOT_POSITIVE)
            return
        try:
            reading = parse_reading(text, self.document.job.unit)
        except DepthwrightError as problem:
            self.box.complain(str(problem))
            return
        if reading.value_mm <= 0:
            self.box.complain(NOT_POSITIVE)
            return
        try:
            tie = edits.known_depth(
                depth_mm=reading.value_mm,
                plus_minus_mm=reading.plus_minus_mm or self.document.reading_u_mm,
                origin=USUAL_ORIGIN[mark.kind],
            )
        except DepthwrightError as problem:
            self.box.complain(str(problem))
            return
        if self.document.tie_selected(tie):
            self.box.discard()
        else:
            self.box.complain(self.document.refusal)

    # The live ruler.

    def _stretched(self, depth_mm: float, time_ns: float, ended: bool) -> None:
        """The depth ruler was grabbed at a depth and moved to another time."""
        document = self.document
        model = document.model
        if model is None:
            return
        zone = document.job.zones[0]
        spoken = {row.kind for row in document.results.evidence if row.used} & {"tie", "curvature"}
        if spoken and not zone.keep:
            if ended:
                document.said.emit(
                    "Depths rest on ties or curvature, so the ruler stays. Set the ties aside and switch the "
                    "curvature off in the ledger to set the permittivity by hand.",
                    False,
                )
            return
        permittivity = round(model.permittivity_for(depth_mm, time_ns), 2)

        def change(job: Job) -> Job:
            return edits.type_permittivity(job, zone, permittivity, TYPICAL_PERMITTIVITY_U)

        if not ended:
            document.preview(change)
            return
        document.preview(None)
        document.edit("Drag the depth ruler", change)


def _inside(bar: BarGlyph, distance_mm: float, time_ns: float) -> bool:
    """Whether a place lies in the box around a bar's outline."""
    if not bar.outline:
        return False
    distances = [distance for distance, _ in bar.outline]
    times = [time for _, time in bar.outline]
    across = min(distances) <= distance_mm <= max(distances)
    return across and min(times) <= time_ns <= max(times)
