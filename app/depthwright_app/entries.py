"""What is typed, chosen and switched in the panes becomes an edit of the job."""

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QCheckBox

from depthwright import edits
from depthwright.constants import TYPICAL_PERMITTIVITY_U
from depthwright.errors import DepthwrightError
from depthwright.job import FaceMark, Job, TargetKind
from depthwright.processing.recipe import Recipe
from depthwright.units import LENGTH_UNITS, LengthUnit, parse_length_mm
from depthwright_app.dialogs.job_sheet import JobSheet
from depthwright_app.dialogs.line_sheet import LineSheet
from depthwright_app.dialogs.place_sheet import PlaceSheet
from depthwright_app.dialogs.sheet_parts import asked
from depthwright_app.document import tie_of
from depthwright_app.job_state import Edit
from depthwright_app.panels.display_settings import EXAGGERATIONS
from depthwright_app.panels.recipe_steps import SWITCHES
from depthwright_app.wording import NO_REASON

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow

APPEARANCES = ("system", "light", "dark")


class Entries(QObject):
    """Between the fields of one window and the document."""

    def __init__(self, window: "MainWindow") -> None:
        super().__init__(window)
        self.window, self.document = window, window.document

    def connect_all(self) -> None:
        """Listen to every field."""
        window, document, ledger = self.window, self.document, self.window.ledger
        window.tree.line_chosen.connect(self._line_chosen)
        window.tree.delete_wanted.connect(document.delete_selected)
        ledger.permittivity_typed.connect(self._permittivity_typed)
        ledger.permittivity_cleared.connect(self._permittivity_cleared)
        ledger.complained.connect(self._complain)
        ledger.keep_changed.connect(self._keep_changed)
        ledger.curvature_changed.connect(self._curvature_changed)
        ledger.aside_wanted.connect(document.set_tie_aside)
        ledger.antenna_wanted.connect(self.edit_line)
        window.units.activated.connect(lambda index: self.choose_unit(LENGTH_UNITS[index]))
        self._connect_details()
        self._connect_picture()

    def _connect_details(self) -> None:
        details = self.window.details
        details.number_typed.connect(self._number_typed)
        details.diameter_typed.connect(self._diameter_typed)
        details.crossing_typed.connect(self._crossing_typed)
        details.tie_typed.connect(self.document.tie_selected)
        details.untie_wanted.connect(lambda: self.document.tie_selected(None))
        details.aside_wanted.connect(self._aside_typed)
        details.complained.connect(self._complain)
        details.kind_chosen.connect(self._kind_chosen)
        details.text_typed.connect(lambda text: self._change_mark("Write the note", text=text))
        details.delete_wanted.connect(self.document.delete_selected)

    def _connect_picture(self) -> None:
        window, panel = self.window, self.window.recipe_panel
        panel.changed.connect(lambda words, fields: self.change_recipe(words, **fields))
        panel.copy_wanted.connect(self.copy_recipe)
        panel.reset_wanted.connect(self.reset_recipe)
        panel.complained.connect(self._complain)
        panel.exaggeration_chosen.connect(self._exaggeration_chosen)
        window.gain.sliderMoved.connect(lambda value: panel.preview_gain(float(value)))
        window.gain.sliderReleased.connect(lambda: panel.enter_gain(window.gain.value()))
        window.gain.valueChanged.connect(self._gain_stepped)
        window.contrast.valueChanged.connect(panel.display.contrast.setValue)
        panel.display.contrast.valueChanged.connect(window.contrast.setValue)
        for box, command in ((panel.display.swap, "invert"), (panel.display.pin, "pin-trace")):
            self._tie_box(box, window.commands[command])
        self.document.job_changed.connect(self._show_switches)
        self.document.line_changed.connect(self._show_switches)

    @staticmethod
    def _tie_box(box: QCheckBox, action: QAction) -> None:
        """A box and a command that are one switch."""

        def clicked() -> None:
            action.trigger()
            box.setChecked(action.isChecked())

        box.clicked.connect(clicked)
        action.toggled.connect(box.setChecked)

    def _complain(self, sentence: str) -> None:
        self.document.said.emit(sentence, True)

    def _line_chosen(self, line_id: str) -> None:
        self.document.select(None)
        self.document.show_line(line_id)

    # Evidence.

    def _permittivity_typed(self, value: float, spread: float) -> None:
        zone = self.document.job.zones[0]
        u = spread or TYPICAL_PERMITTIVITY_U
        self.document.edit(
            "Type a permittivity", lambda job: edits.type_permittivity(job, zone, value, u)
        )

    def _permittivity_cleared(self) -> None:
        zone = self.document.job.zones[0]
        self.document.edit(
            "Clear the permittivity", lambda job: edits.clear_permittivity(job, zone)
        )

    def _keep_changed(self, keep: bool) -> None:
        words = "Keep the permittivity" if keep else "Let the permittivity step aside"
        zone = self.document.job.zones[0]
        self._switch(words, lambda job: edits.change_zone(job, zone.id, keep=keep))

    def _curvature_changed(self, on: bool) -> None:
        words = f"Switch the curvature {'on' if on else 'off'}"
        zone = self.document.job.zones[0]
        self._switch(words, lambda job: edits.change_zone(job, zone.id, curvature=on))

    def _switch(self, words: str, change: Edit) -> None:
        """An edit by a switch, which goes back to what is when the edit is not possible."""
        document = self.document
        if not document.edit(words, change):
            document.job_changed.emit(document.job, document.job)

    def _aside_typed(self, reason: str) -> None:
        """From the details: a reason sets the selected mark's known depth aside, none uses it again."""
        document, place = self.document, self.document.selection
        if place is None:
            return
        tie = tie_of(document.job.line(place.line_id).mark(place.mark_id), place.anchor)
        if tie is not None and tie.used and not reason.strip():
            self._complain(NO_REASON)
            return
        document.set_tie_aside(place, reason)

    # What is shown.

    def change_recipe(self, edit_words: str, **fields: object) -> None:
        """Change what is shown of the line."""
        line = self.document.line
        if line is None:
            return
        recipe = line.recipe.model_copy(update=fields)
        self._switch(edit_words, lambda job: edits.change_line(job, line.id, recipe=recipe))

    def copy_recipe(self) -> None:
        """Give every line the recipe of the line shown, in one step."""
        document, line = self.document, self.document.line
        if line is None:
            return
        ids = [other.id for other in document.job.lines if other.recipe != line.recipe]
        if not ids:
            document.said.emit("All lines have these steps already.", False)
            return

        def change(job: Job) -> Job:
            for line_id in ids:
                job = edits.change_line(job, line_id, recipe=line.recipe)
            return job

        if document.edit("Use the recipe for all lines", change):
            document.said.emit(f"Recipe used for {len(document.job.lines)} lines.", False)

    def reset_recipe(self) -> None:
        """Show the line with the usual recipe."""
        line = self.document.line
        if line is not None and line.recipe == Recipe():
            self.document.say_here("These are the usual steps already.")
            return
        self.change_recipe("Back to the usual recipe", **Recipe().model_dump())

    def _exaggeration_chosen(self, value: float | None) -> None:
        name = next(name for name, factor in EXAGGERATIONS.items() if factor == value)
        self.window.commands[f"exaggeration-{name.lower()}"].setChecked(True)

    def _gain_stepped(self, position: int) -> None:
        if not self.window.gain.isSliderDown():
            self.window.recipe_panel.enter_gain(position)

    def _show_switches(self, *_: object) -> None:
        """The commands follow the shown line's recipe."""
        line = self.document.line
        for step in SWITCHES:
            on = line is not None and bool(getattr(line.recipe, step.field))
            self.window.commands[step.command].setChecked(on)

    def choose_unit(self, unit: LengthUnit, _: bool = False) -> None:
        """Show and read all lengths in another unit."""
        keeper = self.window.keeper
        keeper.remember(replace(keeper.settings, unit=unit))
        self.document.edit("Change the unit", lambda job: edits.change_job(job, unit=unit))

    def next_appearance(self) -> None:
        """System's look, light, dark, in turn."""
        keeper = self.window.keeper
        now = APPEARANCES.index(keeper.settings.appearance)
        chosen = APPEARANCES[(now + 1) % len(APPEARANCES)]
        keeper.remember(replace(keeper.settings, appearance=chosen))  # type: ignore[arg-type]
        self.window.apply_look()
        self.document.said.emit(f"Appearance: {chosen}.", False)

    # The selected mark.

    def _change_mark(self, edit_words: str, **fields: object) -> None:
        place = self.document.selection
        if place is not None:
            self.document.edit(
                edit_words,
                lambda job: edits.change_mark(job, place.line_id, place.mark_id, **fields),
            )

    def _number_typed(self, text: str) -> None:
        if not text.strip().isdecimal():
            self._complain(f"“{text}” is not a bar's number. Type it like 4.")
            return
        place, number = self.document.selection, int(text)
        if place is not None:
            self.document.edit(
                "Number the bar",
                lambda job: edits.number_bar(job, place.line_id, place.mark_id, number),
            )

    def _diameter_typed(self, text: str) -> None:
        try:
            diameter_mm = parse_length_mm(text, self.document.job.unit)
        except DepthwrightError as problem:
            self._complain(str(problem))
            return
        self._change_mark("Set the diameter", diameter_mm=diameter_mm)

    def _crossing_typed(self, text: str) -> None:
        bare = text.strip().removesuffix("degrees").removesuffix("deg").removesuffix("°").strip()
        try:
            angle = float(bare.replace(",", "."))
        except ValueError:
            angle = 0.0
        if not 20.0 <= angle <= 90.0:
            self._complain(
                f"“{text.strip()}” is no crossing angle to work with. Type the degrees between the bar "
                "and the line, from 20 to 90; 90 is square."
            )
            return
        self._change_mark("Set the crossing angle", crossing_deg=angle)

    def _kind_chosen(self, kind: TargetKind) -> None:
        self._change_mark("Set the kind", what=kind)

    # Commands.

    def renumber(self) -> None:
        """Number the line's bars along it."""
        line_id = self.document.line_id
        self.document.edit("Number bars", lambda job: edits.renumber_bars(job, line_id))

    def remove_line(self) -> None:
        """Take the shown line out of the job."""
        line_id = self.document.line_id
        self.document.edit("Remove a line", lambda job: edits.remove_line(job, line_id))

    def edit_line(self) -> None:
        """The sheet of the shown line and its antenna."""
        line = self.document.line
        if line is None:
            return
        sheet = LineSheet(self.window, self.document.job, line)
        if asked(sheet):
            self.document.edit("Change line and antenna", sheet.change)
        if sheet.card_used is not None:
            keeper = self.window.keeper
            keeper.remember(keeper.settings.with_card(sheet.card_used))

    def place_line(self) -> None:
        """The sheet in which the shown line is laid on the concrete."""
        line, stage = self.document.line, self.document.stage
        if line is None or stage is None:
            return
        place, mark, mark_mm = self.document.selection, self.document.selected, None
        if place is not None and mark is not None:
            spot = mark.anchors[place.anchor or 0] if isinstance(mark, FaceMark) else mark
            mark_mm = spot.position_mm
        sheet = PlaceSheet(self.window, self.document.job, line, stage.scan.edges_mm, mark_mm)
        if asked(sheet):
            self.document.edit("Place the line", sheet.change)

    def edit_job(self) -> None:
        """The sheet of the job: name, note, specified cover, medium, cover meter."""
        sheet = JobSheet(self.window, self.document.job)
        if asked(sheet):
            self.document.edit("Change the job", sheet.change)
