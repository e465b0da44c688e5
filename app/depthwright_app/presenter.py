"""Keeps the panes true to the document: what changed is shown, what was typed becomes an edit."""

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from depthwright import edits
from depthwright.constants import TYPICAL_PERMITTIVITY_U
from depthwright.errors import DepthwrightError
from depthwright.exports.section import ImageStyle
from depthwright.job import Line, Origin, TargetKind, Tie
from depthwright.processing.shown import shown_image
from depthwright.results.tracking import recipe_setting
from depthwright.results.words import line_title
from depthwright.scan import Block
from depthwright.units import (
    LENGTH_UNITS,
    LengthUnit,
    format_interval,
    format_length,
    parse_length_mm,
)
from depthwright_app.dialogs.job_sheet import JobSheet
from depthwright_app.dialogs.line_sheet import LineSheet
from depthwright_app.picture import readout, resolve
from depthwright_app.section.view import COLOUR_MAPS

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow

CONTRAST_PER_STEP = 1.12
_HEIGHT_PLACES = {"mm": 1, "cm": 2, "in": 2}
APPEARANCES = ("system", "light", "dark")


class Presenter(QObject):
    """Between the document and the panes of one window."""

    def __init__(self, window: "MainWindow") -> None:
        super().__init__(window)
        self.window, self.document = window, window.document
        self._image_of: object = None
        self._pointed: tuple[float, float] | None = None

    def connect_all(self) -> None:
        """Listen to everything."""
        window, document = self.window, self.document
        document.job_changed.connect(self._job_changed)
        document.selection_changed.connect(self.show_marks)
        document.line_changed.connect(self.show_everything)
        document.said.connect(window.strip.say)
        window.marking.read_out.connect(self._read_out)
        window.marking.mode_changed.connect(self._mode_changed)
        window.tree.chosen.connect(document.select)
        window.tree.line_chosen.connect(self._line_chosen)
        window.tree.typed.connect(window.marking.start_reading)
        window.tree.delete_wanted.connect(document.delete_selected)
        window.ledger.permittivity_typed.connect(self._permittivity_typed)
        window.ledger.permittivity_cleared.connect(self._permittivity_cleared)
        window.ledger.complained.connect(lambda sentence: document.said.emit(sentence, True))
        window.ledger.keep_changed.connect(self._keep_changed)
        window.ledger.antenna_wanted.connect(self.edit_line)
        window.gain.sliderReleased.connect(self._gain_changed)
        window.gain.valueChanged.connect(self._gain_stepped)
        window.contrast.valueChanged.connect(self.reshade)
        window.colours.activated.connect(self.reshade)
        window.units.activated.connect(lambda index: self.choose_unit(LENGTH_UNITS[index]))
        window.strip.cancel.clicked.connect(self._cancel)
        window.start.open_wanted.connect(window.keeper.ask_open)
        window.start.demo_wanted.connect(window.keeper.open_demo)
        window.start.recent_wanted.connect(lambda path: window.keeper.open_path(Path(path)))
        self._connect_details()

    def _connect_details(self) -> None:
        details = self.window.details
        details.number_typed.connect(self._number_typed)
        details.diameter_typed.connect(self._diameter_typed)
        details.tie_typed.connect(self._tie_typed)
        details.untie_wanted.connect(lambda: self.document.tie_selected(None))
        details.kind_chosen.connect(self._kind_chosen)
        details.text_typed.connect(lambda text: self._change_mark("Write the note", text=text))
        details.delete_wanted.connect(self.document.delete_selected)

    # Showing.

    def show_everything(self) -> None:
        """Another line or job: image, marks, everything."""
        self.window.marking.forget_place()
        self._pointed = None
        self._show_image()
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
        self._switches()
        self.show_marks()
        self._show_image()
        if self._pointed is not None:
            self._read_out(*self._pointed)

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
        known = (
            readout(document.job, document.results, selection.line_id, *chosen)
            if selection and chosen
            else ()
        )
        window.details.show_mark(
            document.selected, selection.anchor if selection else None, document.job.unit, known
        )
        self._trace_of_selection()
        window.commands.refresh()

    def _title(self) -> None:
        document = self.document
        name = document.path.stem if document.path else document.job.name
        star = "*" if document.modified else ""
        line = document.line
        title = f" - {line_title(document.job, line.id)}" if line else ""
        self.window.setWindowTitle(f"{star}{name}{title} - Depthwright")

    def _antenna_words(self) -> str:
        line, job = self.document.line, self.document.job
        if line is None:
            return "No line yet."
        antenna = job.antenna_of(line)
        return (
            f"{line.name}: from {line.datum}, {line.direction}.\n"
            f"{antenna.name}: separation {format_length(antenna.separation_mm, job.unit)}, "
            f"{format_length(antenna.height_mm, job.unit, _HEIGHT_PLACES[job.unit])} above the surface, "
            f"{antenna.centre_frequency_ghz:g} GHz, time offset {1e3 * antenna.time_offset_ns:.0f} ± "
            f"{2e3 * antenna.time_offset_u_ns:.0f} ps (k = 2); {antenna.source}."
        )

    def _switches(self) -> None:
        window, line = self.window, self.document.line
        if line is None:
            return
        window.commands["dewow"].setChecked(line.recipe.dewow)
        window.commands["background"].setChecked(line.recipe.remove_background)
        window.gain.blockSignals(True)
        window.gain.setValue(round(line.recipe.gain_db_per_100mm))
        window.gain.blockSignals(False)

    def _show_image(self) -> None:
        """Run the recipe in the background when what it depends on has changed."""
        window, document = self.window, self.document
        line, stage = document.line, document.stage
        if line is None or stage is None:
            self._image_of = None
            window.pane.show_image(None, None, (0.0, 0.0))
            window.pane.trace.clear_trace()
            self._show_start(line)
            return
        window.middle.setCurrentWidget(window.pane)
        # The gain follows depth, so a permittivity that moved by a few per cent shows it anew.
        recipe, model = line.recipe, document.model
        assert model is not None
        slow = round(model.permittivity, 1) if recipe.gain_db_per_100mm else None
        wanted = (line.id, id(stage), recipe, slow, line.start_mm, line.distance_scale)
        if wanted == self._image_of:
            return
        self._image_of = wanted
        setting = recipe_setting(document.job, line, model)
        scan = stage.scan
        window.background.run(
            "image",
            lambda report: shown_image(scan, recipe, setting, report),
            lambda values: self._image_ready(values, line.id),
            self._image_failed,
            window.strip.show_progress if scan.traces > 20_000 else None,
        )

    def _show_start(self, line: Line | None) -> None:
        """The middle without a section: what to open, or why the line cannot be shown."""
        window, document = self.window, self.document
        if line is None:
            window.start.show_start(window.keeper.settings.recent)
        elif line.id in document.missing:
            window.start.show_reason(f"{line.name} cannot be shown", document.missing[line.id])
        else:
            window.start.show_reason(f"Reading {line.name}", "The scan is being read.")
        window.middle.setCurrentWidget(window.start)

    def _image_ready(self, values: Block, line_id: str) -> None:
        window, document = self.window, self.document
        window.strip.show_progress(None)
        line, stage = document.line, document.stage
        if line is None or stage is None or line.id != line_id:
            return
        left, right = (line.on_concrete_mm(edge) for edge in stage.scan.edges_mm)
        window.pane.show_image(values, stage.scan, (left, right))
        self.reshade()
        self._trace_of_selection()

    def _image_failed(self, fault: BaseException) -> None:
        self.window.strip.show_progress(None)
        if not isinstance(fault, DepthwrightError):
            raise fault
        self.document.said.emit(str(fault), True)

    def _cancel(self) -> None:
        self.window.background.cancel("image")
        self.window.strip.show_progress(None)
        self._image_of = None

    def reshade(self, *_: object) -> None:
        """Contrast and colours as the controls stand."""
        self.window.pane.show_shading(self.style())

    def style(self) -> ImageStyle:
        """Contrast and colours as the controls stand: of the window and of its exports."""
        window = self.window
        return ImageStyle(
            colour_map=list(COLOUR_MAPS.values())[window.colours.currentIndex()],
            contrast=CONTRAST_PER_STEP ** window.contrast.value(),
            inverted=window.commands["invert"].isChecked(),
        )

    def _trace_of_selection(self) -> None:
        """The trace pane shows the selected mark's trace and its picked maximum."""
        mark, selection = self.document.selected, self.document.selection
        if mark is None or selection is None:
            self.window.pane.trace.show_pick(None)
            self._trace_at(None)
            return
        place = mark.anchors[selection.anchor or 0] if mark.kind == "face" else mark
        self._trace_at(place.position_mm)
        self.window.pane.trace.show_pick(place.time_ns if mark.kind != "note" else None)

    def _trace_at(self, recorded_mm: float | None) -> None:
        line, stage = self.document.line, self.document.stage
        if line is None or stage is None:
            return
        middle = float(stage.scan.positions_mm[stage.scan.traces // 2])
        trace = stage.scan.nearest_trace(middle if recorded_mm is None else recorded_mm)
        where = line.on_concrete_mm(float(stage.scan.positions_mm[trace]))
        self.window.pane.trace.show_trace(stage, trace, where, self.document.job.unit)

    def _read_out(self, recorded_mm: float, time_ns: float) -> None:
        line, model, unit = self.document.line, self.document.model, self.document.job.unit
        if line is None or model is None:
            return
        if self.document.selected is None:
            self._trace_at(recorded_mm)
        self._pointed = (recorded_mm, time_ns)
        depth = model.read_at(time_ns)
        deep = (
            "above any depth"
            if math.isnan(depth.value_mm)
            else format_interval(depth.value_mm, depth.expanded_mm, unit)
        )
        provisional = ", provisional" if self.document.results.provisional else ""
        self.window.strip.show_place(
            f"{format_length(line.on_concrete_mm(recorded_mm), unit)}   "
            f"{time_ns - model.zero_ns:.2f} ns   {deep}{provisional}"
        )

    def _mode_changed(self, mode_id: str) -> None:
        self.window.commands[f"mode-{mode_id}"].setChecked(True)

    # What was typed or chosen becomes an edit.

    def _line_chosen(self, line_id: str) -> None:
        self.document.select(None)
        self.document.show_line(line_id)

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
        zone = self.document.job.zones[0]
        self.document.edit(
            "Keep the permittivity" if keep else "Set the permittivity aside",
            lambda job: edits.change_zone(job, zone.id, keep=keep),
        )

    def change_recipe(self, edit_words: str, **fields: object) -> None:
        """Change what is shown of the line."""
        line = self.document.line
        if line is None:
            return
        recipe = line.recipe.model_copy(update=fields)
        self.document.edit(edit_words, lambda job: edits.change_line(job, line.id, recipe=recipe))

    def _gain_stepped(self) -> None:
        if not self.window.gain.isSliderDown():
            self._gain_changed()

    def _gain_changed(self) -> None:
        self.change_recipe("Gain", gain_db_per_100mm=float(self.window.gain.value()))

    def choose_unit(self, unit: LengthUnit, _: bool = False) -> None:
        """Show and read all lengths in another unit."""
        keeper = self.window.keeper
        keeper.remember(replace(keeper.settings, unit=unit))
        self.document.edit("Change the unit", lambda job: edits.change_job(job, unit=unit))

    def _change_mark(self, edit_words: str, **fields: object) -> None:
        selection = self.document.selection
        if selection is not None:
            line_id, mark_id = selection.line_id, selection.mark_id
            self.document.edit(
                edit_words, lambda job: edits.change_mark(job, line_id, mark_id, **fields)
            )

    def _number_typed(self, text: str) -> None:
        if not text.strip().isdecimal():
            self.document.said.emit(f"“{text}” is not a bar's number. Type it like 4.", True)
            return
        selection, number = self.document.selection, int(text)
        if selection is not None:
            line_id, mark_id = selection.line_id, selection.mark_id
            self.document.edit(
                "Number the bar", lambda job: edits.number_bar(job, line_id, mark_id, number)
            )

    def _diameter_typed(self, text: str) -> None:
        diameter = self._length(text)
        if diameter is not None:
            self._change_mark("Set the diameter", diameter_mm=diameter)

    def _kind_chosen(self, kind: TargetKind) -> None:
        self._change_mark("Set the kind", what=kind)

    def _tie_typed(self, depth: str, spread: str, origin: Origin, limits: bool) -> None:
        depth_mm = self._length(depth)
        spread_mm = self._length(spread) if spread.strip() else self.document.reading_u_mm
        if depth_mm is None or spread_mm is None:
            return
        if depth_mm <= 0 or spread_mm <= 0:
            self.document.said.emit("A known depth and its uncertainty are more than zero.", True)
            return
        self.document.tie_selected(
            Tie(depth_mm=depth_mm, plus_minus_mm=spread_mm, origin=origin, limits=limits)
        )

    def _length(self, text: str) -> float | None:
        try:
            return parse_length_mm(text, self.document.job.unit)
        except DepthwrightError as problem:
            self.document.said.emit(str(problem), True)
            return None

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
        if sheet.exec():
            self.document.edit("Change line and antenna", sheet.change)

    def edit_job(self) -> None:
        """The sheet of the job: name, note, specified cover."""
        sheet = JobSheet(self.window, self.document.job)
        if sheet.exec():
            self.document.edit("Change the job", sheet.change)

    def next_appearance(self) -> None:
        """System's look, light, dark, in turn."""
        keeper = self.window.keeper
        now = APPEARANCES.index(keeper.settings.appearance)
        chosen = APPEARANCES[(now + 1) % len(APPEARANCES)]
        keeper.remember(replace(keeper.settings, appearance=chosen))  # type: ignore[arg-type]
        self.window.apply_look()
        self.document.said.emit(f"Appearance: {chosen}.", False)
