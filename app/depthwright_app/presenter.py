"""Keeps the panes true to the document: what changed is shown."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from depthwright.errors import DepthwrightError
from depthwright.exports.section import ImageStyle
from depthwright.job import Line
from depthwright.processing.shown import shown_image
from depthwright.results.focusing import focus_of
from depthwright.results.tracking import recipe_setting
from depthwright.results.words import line_title
from depthwright.scan import Block
from depthwright.units import LENGTH_UNITS, format_interval
from depthwright_app.budget import budgets
from depthwright_app.job_state import Selection
from depthwright_app.panels.details import Shown
from depthwright_app.picture import readout, resolve
from depthwright_app.section.view import COLOUR_MAPS
from depthwright_app.wording import antenna_words, place_words

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow

CONTRAST_PER_STEP = 1.12


class Presenter(QObject):
    """Between the document and the panes of one window."""

    def __init__(self, window: "MainWindow") -> None:
        super().__init__(window)
        self.window, self.document = window, window.document
        self._image_of: object = None
        self._focus_of: object = None
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
        window.tree.typed.connect(window.marking.start_reading)
        window.contrast.valueChanged.connect(self.reshade)
        window.colours.activated.connect(self.reshade)
        window.ledger.chosen.connect(self._evidence_chosen)
        window.details.budget_wanted.connect(self.show_marks)
        window.strip.cancel.clicked.connect(self._cancel)
        window.start.open_wanted.connect(window.keeper.ask_open)
        window.start.demo_wanted.connect(window.keeper.open_demo)
        window.start.recent_wanted.connect(lambda path: window.keeper.open_path(Path(path)))

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
        self._focus()
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
        window.details.show_mark(self._details())
        window.commands["budget"].setChecked(window.details.budget_open)
        self._trace_of_selection()
        window.commands.refresh()

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

    def _focus(self) -> None:
        """Focus the shown line's bars in the background when their crests are other ones."""
        document, line, stage = self.document, self.document.line, self.document.stage
        job, subject = document.job, document.unfocused
        if subject is None or line is None or stage is None or subject == self._focus_of:
            return
        self._focus_of = subject
        self.window.background.run(
            "focus",
            lambda _: focus_of(job, line, stage),
            lambda focus: document.focus_found(line.id, subject, focus),
            self._image_failed,
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
        where = place_words(line, float(stage.scan.positions_mm[trace]), self.document.job.unit)
        self.window.pane.trace.show_trace(stage, trace, where)

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
            f"{place_words(line, recorded_mm, unit)}   "
            f"{time_ns - model.zero_ns:.2f} ns   {deep}{provisional}"
        )

    def _mode_changed(self, mode_id: str) -> None:
        self.window.commands[f"mode-{mode_id}"].setChecked(True)
