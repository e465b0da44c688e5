"""How the shown line is seen: its recipe run in the background, shades, scale, the trace and the read-out."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer

from depthwright.errors import DepthwrightError
from depthwright.exports.section import ImageStyle
from depthwright.finding.proposal import BarProposal
from depthwright.job import Line
from depthwright.measuring.stage import PickStage
from depthwright.processing.recipe import Recipe
from depthwright.results.tracking import recipe_setting, shown_edges_mm
from depthwright.showing.chain import Chain, make_chain, pulse_band_ghz
from depthwright.showing.levels import Levels, make_levels, quick_level
from depthwright.showing.setting import Setting
from depthwright.showing.shades import Gain, Shades, gain_with_depth
from depthwright.units import format_interval
from depthwright_app.background import Report
from depthwright_app.section.scan_item import Sheet
from depthwright_app.section.view import COLOUR_MAPS
from depthwright_app.wording import place_words

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow

CONTRAST_PER_STEP = 1.12
SHORT_TRACES = 4096
"""A line this short is run through its recipe at once; a longer one is looked at first."""
LOOK_COLUMNS = 1600
PREVIEW_MS = 30
DETAIL_MS = 120
DETAIL_TRACES = 8192


@dataclass(frozen=True, eq=False)
class _Shown:
    """What is on screen: of which line, made by which chain, as far as it has been run."""

    line_id: str
    chain: Chain
    levels: Levels


class Viewing(QObject):
    """Keeps the section's samples, shades and scale true to the document and the controls."""

    def __init__(self, window: "MainWindow") -> None:
        super().__init__(window)
        self.window, self.document = window, window.document
        self.exaggeration: float | None = None
        self._setting: Setting | None = None
        self._shown: _Shown | None = None
        self._asked: object = None
        self._placed: object = None
        self._scaled: tuple[object, Gain, Shades] | None = None
        self._pinned_mm: float | None = None
        self._pointed: tuple[float, float] | None = None
        self._preview: Mapping[str, object] = {}
        self._previewing = QTimer(self, singleShot=True, interval=PREVIEW_MS)
        self._previewing.timeout.connect(self.show_line)
        self._zoomed = QTimer(self, singleShot=True, interval=DETAIL_MS)
        self._zoomed.timeout.connect(self._detail)

    def connect_all(self) -> None:
        """Listen to the controls that only change how the line is seen."""
        window = self.window
        window.contrast.valueChanged.connect(self.reshade)
        window.colours.activated.connect(self.reshade)
        window.recipe_panel.previewed.connect(self.preview)
        window.recipe_panel.exaggeration_chosen.connect(self.choose_exaggeration)
        window.marking.read_out.connect(self.read_out)
        window.strip.stop_wanted.connect(self._stop)
        window.pane.box.sigXRangeChanged.connect(lambda *_: self._zoomed.start())

    # The line through its recipe.

    def show_line(self) -> None:
        """Bring the picture up to date; what takes long runs in the background."""
        window, document = self.window, self.document
        line, stage, model = document.line, document.stage, document.model
        if line is None or stage is None or model is None:
            self._setting = None
            self._show_nothing()
            window.pane.trace.clear_trace()
            window.recipe_panel.show_nothing()
            return
        if self._shown is not None and self._shown.line_id != line.id:
            self._show_nothing()
        recipe = line.recipe.model_copy(update=dict(self._preview))
        setting = recipe_setting(document.job, line, model, stage.scan, stage.direct)
        self._setting = setting
        if not self._preview:
            band = pulse_band_ghz(setting.centre_frequency_ghz)
            window.recipe_panel.show_recipe(recipe, document.job.unit, band)
        self._scale()
        final = not self._preview
        asked = (line.id, id(stage.scan), id(stage.direct), final, *_needs(recipe, setting))
        if asked != self._asked:
            self._asked = asked
            self._run(line.id, stage, recipe, setting, final)
        elif self._shown is not None:
            self._place(line, stage)
            self.reshade()

    def _show_nothing(self) -> None:
        """No picture: no line, or another one than the picture's, which must not be clicked on."""
        self._asked = self._shown = self._placed = self._scaled = None
        for topic in ("look", "image", "detail"):
            self.window.background.cancel(topic)
        self.window.pane.show_sheet(None)
        self.window.recipe_panel.show_findings({})
        self.window.recipe_panel.show_spectrum(None, None)

    def preview(self, fields: Mapping[str, object] | None) -> None:
        """Show what other settings would give, while a control is moved; None goes back to what is."""
        self._preview = dict(fields or {})
        if not self._previewing.isActive():
            self._previewing.start()

    def _run(
        self, line_id: str, stage: PickStage, recipe: Recipe, setting: Setting, final: bool
    ) -> None:
        scan = stage.scan
        short = scan.traces <= SHORT_TRACES
        seen = self._traces_seen() if self._shown else None

        def look(report: Report) -> _Shown:
            chain = make_chain(scan, recipe, setting)
            if short:
                return _Shown(line_id, chain, make_levels(chain, report))
            report(0.0)
            looks = [quick_level(chain, 0, scan.traces, LOOK_COLUMNS)]
            if seen is not None:
                looks.append(quick_level(chain, *seen, LOOK_COLUMNS))
            return _Shown(line_id, chain, Levels(tuple(looks)))

        self.window.background.cancel("image")
        self.window.background.run(
            "look",
            look,
            lambda shown: self._looked(shown, whole=short or not final),
            self._failed,
        )

    def _looked(self, shown: _Shown, whole: bool) -> None:
        self._take(shown)
        if whole:
            return
        self.window.background.run(
            "image",
            lambda report: replace(shown, levels=make_levels(shown.chain, report)),
            self._take,
            self._failed,
            tells=True,
        )

    def _take(self, shown: _Shown) -> None:
        """A picture is ready: show it, if it is still of the shown line."""
        line, stage = self.document.line, self.document.stage
        if line is None or stage is None or line.id != shown.line_id:
            return
        self._shown, self._placed = shown, None
        self._place(line, stage)
        self.reshade()
        panel = self.window.recipe_panel
        panel.show_spectrum(*shown.chain.spectrum)
        panel.show_findings(shown.levels.findings(shown.chain))

    def _place(self, line: Line, stage: PickStage) -> None:
        """Lay the samples where the line lies on the concrete."""
        assert self._shown is not None
        scan = stage.scan
        edges = shown_edges_mm(line, scan)
        placed = (id(self._shown), edges, line.start_mm, line.distance_scale, line.turned_mm)
        if placed == self._placed:
            return
        self._placed = placed
        where = line.on_concrete_mm(scan.positions_mm)
        self.window.pane.show_sheet(
            Sheet(self._shown.levels.levels, where, edges, scan.dt_ns, scan.samples)
        )
        self._zoomed.start()

    def _traces_seen(self) -> tuple[int, int]:
        """First trace in view and the one after the last."""
        line, stage = self.document.line, self.document.stage
        assert line is not None
        assert stage is not None
        ends = (line.recorded_mm(edge) for edge in self.window.pane.seen_mm)
        first, last = sorted(stage.scan.nearest_trace(end) for end in ends)
        return first, last + 1

    def _detail(self) -> None:
        """Of a line too long to be kept whole, run the part in view again at its finest."""
        shown, stage = self._shown, self.document.stage
        if shown is None or stage is None or self.window.background.busy("image"):
            return
        if shown.line_id != self.document.line_id or shown.chain.scan is not stage.scan:
            return
        first, last = self._traces_seen()
        here = [v for v in shown.levels.levels if v.first <= first and last <= v.last]
        finest = min(level.step for level in here)
        wanted = (last - first) / max(self.window.pane.box.width(), 1.0)
        if finest == 1 or wanted >= finest or last - first > DETAIL_TRACES:
            return
        beside = (last - first) // 2
        low, high = max(0, first - beside), min(shown.chain.scan.traces, last + beside)

        def take(levels: Levels) -> None:
            if self._shown is shown:
                self._take(replace(shown, levels=levels))

        self.window.background.run(
            "detail", lambda _: shown.levels.with_detail(shown.chain, low, high), take, self._failed
        )

    def _failed(self, fault: BaseException) -> None:
        self._asked = None  # with the next change it is tried again
        self.document.tell(fault)

    def _stop(self, topic: str) -> None:
        """The user does not want to wait; of a picture the first look stays."""
        self.window.background.cancel(topic)
        shown = self._shown
        if topic != "image":
            self.document.said.emit("Stopped. Nothing was changed.", False)
        elif shown is not None:
            step = max(level.step for level in shown.levels.levels)
            self.document.say_here(
                f"Stopped. The picture shows one trace of every {step}; change a switch to go on."
            )

    # Shades and scale.

    def reshade(self, *_: object) -> None:
        """Contrast, colours and gain as the controls and the recipe stand."""
        line, setting, shown = self.document.line, self._setting, self._shown
        if line is None or setting is None or shown is None:
            return
        recipe = line.recipe.model_copy(update=dict(self._preview))
        style = self.style()
        deep = (setting.zero_ns, setting.permittivity, setting.separation_mm)
        scaled_by = (id(shown), recipe.gain_db_per_100mm, recipe.gain_from_mm, *deep)
        if self._scaled is None or self._scaled[0] != scaled_by:
            gain = gain_with_depth(recipe, setting, shown.chain.scan)
            self._scaled = scaled_by, gain, Shades.of(shown.chain)
        gain, shades = self._scaled[1:]
        self.window.pane.show_shading(style, gain, shades.times(1 / style.contrast))

    def style(self) -> ImageStyle:
        """Contrast and colours as the controls stand: of the window and of its exports."""
        window = self.window
        return ImageStyle(
            colour_map=list(COLOUR_MAPS.values())[window.colours.currentIndex()],
            contrast=CONTRAST_PER_STEP ** window.contrast.value(),
            inverted=window.commands["invert"].isChecked(),
        )

    def choose_exaggeration(self, exaggeration: float | None) -> None:
        """Depths drawn so many times larger than distances; None fills the view."""
        self.exaggeration = exaggeration
        self._scale()

    def _scale(self) -> None:
        if self._setting is not None:
            ns_per_mm = 2 / self._setting.velocity_mm_per_ns
            self.window.pane.show_scale(ns_per_mm, self.exaggeration)

    # The trace and the read-out.

    def pin_trace(self, on: bool) -> None:
        """Hold the trace pane at the trace it shows, or let it follow again."""
        self._pinned_mm = self.window.pane.trace.place_mm if on else None
        self.trace_of_selection()

    def forget_place(self) -> None:
        """Another line: nothing is pointed at, nothing pinned."""
        self._pointed = self._pinned_mm = None
        self._preview = {}
        self.window.commands["pin-trace"].setChecked(False)

    def trace_of_selection(self) -> None:
        """The trace pane shows the trace and the picked maximum of the selected mark or current proposal."""
        mark, selection = self.document.selected, self.document.selection
        proposed = self.window.proposing.current
        if isinstance(proposed, BarProposal):
            self._trace_with(proposed.pick.position_mm, proposed.pick.time_ns)
            return
        if mark is None or selection is None:
            self.window.pane.trace.show_pick(None)
            self._trace_at(None)
            return
        place = mark.anchors[selection.anchor or 0] if mark.kind == "face" else mark
        self._trace_with(place.position_mm, None if mark.kind == "note" else place.time_ns)

    def _trace_with(self, recorded_mm: float, picked_ns: float | None) -> None:
        """The trace at a place, with its pick unless another trace is pinned."""
        self._trace_at(recorded_mm)
        elsewhere = self._pinned_mm is not None and self._pinned_mm != recorded_mm
        self.window.pane.trace.show_pick(None if elsewhere else picked_ns)

    def _trace_at(self, recorded_mm: float | None) -> None:
        line, stage = self.document.line, self.document.stage
        if line is None or stage is None:
            return
        if self._pinned_mm is not None:
            recorded_mm = self._pinned_mm
        if recorded_mm is None and self._pointed is not None:
            recorded_mm = self._pointed[0]
        if recorded_mm is None:
            recorded_mm = line.recorded_mm(sum(shown_edges_mm(line, stage.scan)) / 2)
        trace = stage.scan.nearest_trace(recorded_mm)
        recorded = float(stage.scan.positions_mm[trace])
        held = "Pinned" if self._pinned_mm is not None else "Trace"
        title = f"{held} at {place_words(line, recorded, self.document.job.unit)}"
        try:
            self.window.pane.trace.show_trace(stage, trace, title, recorded)
        except DepthwrightError as problem:
            self.window.pane.trace.clear_trace()
            self.document.say_here(str(problem), True)
            return
        self.window.pane.show_trace_place(line.on_concrete_mm(recorded))

    def read_out(self, recorded_mm: float, time_ns: float) -> None:
        """Position, time, depth with its interval and echo strength under the pointer."""
        self._pointed = (recorded_mm, time_ns)
        self.renew_read_out()

    def renew_read_out(self) -> None:
        """The place pointed at, read by the present depth model."""
        document = self.document
        line, stage, model, unit = document.line, document.stage, document.model, document.job.unit
        if line is None or stage is None or model is None or self._pointed is None:
            return
        recorded_mm, time_ns = self._pointed
        if document.selected is None and self.window.proposing.current is None:
            self._trace_at(recorded_mm)
        depth = model.read_at(time_ns)
        deep = (
            "above any depth"
            if math.isnan(depth.value_mm)
            else format_interval(depth.value_mm, depth.expanded_mm, unit)
        )
        provisional = ", provisional" if document.results.provisional else ""
        try:
            strength = stage.strength_db(stage.scan.nearest_trace(recorded_mm), time_ns)
        except DepthwrightError as problem:
            document.say_here(str(problem), True)
            return
        seen = math.isfinite(strength)
        level = f"{strength:.0f} dB of direct wave".replace("-", "−") if seen else "no echo"
        self.window.strip.show_place(
            f"{place_words(line, recorded_mm, unit)}   {time_ns - model.zero_ns:.2f} ns   "
            f"{deep}{provisional}   {level}"
        )


def _needs(recipe: Recipe, setting: Setting) -> tuple[object, ...]:
    """What the steps of a recipe depend on: not the gain with depth, which is no step."""
    steps = recipe.model_copy(update={"gain_db_per_100mm": 0.0, "gain_from_mm": 0.0})
    deep = recipe.migrate or recipe.even_gain
    spared = recipe.remove_background and recipe.keep_flat_face
    return (
        steps,
        setting.centre_frequency_ghz,
        setting.trace_spacing_mm,
        (round(setting.permittivity, 2), round(setting.zero_ns, 3)) if deep else None,
        (setting.face_ns, round(setting.zero_ns, 3)) if spared else None,
    )
