"""The table of the window's commands, and the menus they stand in."""

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from depthwright.units import LENGTH_UNITS
from depthwright_app.actions import Command
from depthwright_app.marking import MODES
from depthwright_app.panels.display_settings import EXAGGERATIONS
from depthwright_app.panels.recipe_steps import SWITCHES

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow

MODE_KEYS = {"look": "F2", "bar": "F3", "face": "F4", "target": "F6", "note": "F7"}


Menu = tuple["str | tuple[str, Menu]", ...]
"""Ids of commands; an empty one is a separator, and a title with ids is a menu inside."""

PICTURE_MENU: Menu = (
    *(step.command for step in SWITCHES),
    "",
    "copy-recipe",
    "reset-recipe",
)
MENUS: dict[str, Menu] = {
    "&File": (
        "new",
        "open",
        "",
        "save",
        "save-as",
        "",
        "export-image",
        "export-all",
        "pack",
        "",
        "quit",
    ),
    "&Edit": (
        "undo",
        "redo",
        "",
        "delete",
        "renumber",
        "remove-line",
        "",
        "line-sheet",
        "place",
        "job-sheet",
    ),
    "&Mark": (
        *(f"mode-{mode.id}" for mode in MODES),
        "",
        "propose",
        "proposal-next",
        "proposal-previous",
        "proposal-accept",
        "proposal-reject",
        "",
        "proposal-accept-in-view",
        "proposal-accept-shown",
        "proposal-reject-shown",
        "",
        "propose-again",
        "proposal-put-away",
    ),
    "&View": (
        "zoom-in",
        "zoom-out",
        "zoom-all",
        ("&Exaggeration", tuple(f"exaggeration-{name.lower()}" for name in EXAGGERATIONS)),
        "",
        "dewow",
        "background",
        "invert",
        ("&Picture", PICTURE_MENU),
        "pin-trace",
        "",
        "evidence",
        "picture",
        "budget",
        "",
        *(f"unit-{unit}" for unit in LENGTH_UNITS),
        "",
        "appearance",
    ),
    "&Help": ("about",),
}


def command_table(window: "MainWindow") -> tuple[Command, ...]:
    """All commands of a window."""
    document, keeper, exporter = window.document, window.keeper, window.exporter
    entries = window.entries

    def has_line() -> bool:
        return document.line is not None

    def has_scan() -> bool:
        return document.stage is not None

    def has_mark() -> bool:
        return document.selected is not None

    return (
        *_mode_commands(window, has_scan),
        *_proposal_commands(window, has_scan),
        Command("new", "&New job", keeper.new_job, "Ctrl+N", "fa6s.file"),
        Command(
            "open", "&Open…", keeper.ask_open, "Ctrl+O", "fa6s.folder-open", "Open a line or a job"
        ),
        Command("save", "&Save", keeper.save, "Ctrl+S", "fa6s.floppy-disk", when=has_line),
        Command("save-as", "Save &as…", keeper.save_as, "Ctrl+Shift+S", when=has_line),
        Command(
            "export-image",
            "Export image…",
            exporter.ask_export_image,
            "Ctrl+E",
            "fa6s.image",
            "Export the marked-up image of this line",
            when=has_scan,
        ),
        Command(
            "export-all",
            "Export everything…",
            exporter.ask_export_all,
            "Ctrl+Shift+E",
            when=has_scan,
        ),
        Command(
            "pack",
            "Pack for hand-over…",
            exporter.ask_pack,
            tip="One zip with the job, its scans and its exports",
            when=has_line,
        ),
        Command("quit", "&Quit", window.close, "Ctrl+Q"),
        Command(
            "undo",
            "Undo",
            document.undo,
            "Ctrl+Z",
            "fa6s.rotate-left",
            when=lambda: bool(document.history.undo_words),
        ),
        Command(
            "redo",
            "Redo",
            document.redo,
            "Ctrl+Shift+Z",
            "fa6s.rotate-right",
            when=lambda: bool(document.history.redo_words),
        ),
        Command("delete", "Delete mark", document.delete_selected, "Ctrl+Backspace", when=has_mark),
        Command("renumber", "Number bars along the line", entries.renumber, when=has_line),
        Command("remove-line", "Remove this line", entries.remove_line, when=has_line),
        Command("line-sheet", "Line and antenna…", entries.edit_line, "Ctrl+L", when=has_line),
        Command("place", "Place the line…", entries.place_line, "Ctrl+G", when=has_scan),
        Command("job-sheet", "Job…", entries.edit_job, "Ctrl+J"),
        Command(
            "budget",
            "Budget of the mark",
            window.details.unfold_budget,
            "Ctrl+B",
            tip="What contributes to the uncertainties of the selected mark",
            checkable=True,
            when=has_mark,
        ),
        Command("zoom-in", "Zoom in", lambda: window.pane.zoom(1.3), "Ctrl++", when=has_scan),
        Command("zoom-out", "Zoom out", lambda: window.pane.zoom(1 / 1.3), "Ctrl+-", when=has_scan),
        Command("zoom-all", "Show the whole line", window.pane.show_all, "Ctrl+0", when=has_scan),
        *_picture_commands(window, has_scan),
        *(
            Command(f"unit-{unit}", f"Lengths in {unit}", partial(entries.choose_unit, unit))
            for unit in LENGTH_UNITS
        ),
        Command("appearance", "Light or dark", entries.next_appearance, "Ctrl+Shift+L"),
        Command("about", "About Depthwright", window.about),
    )


def _picture_commands(window: "MainWindow", when: Callable[[], bool]) -> tuple[Command, ...]:
    """What sets how the section is shown, and which side of the right column is in front."""
    viewing, entries = window.viewing, window.entries
    return (
        *(
            Command(
                step.command,
                step.words,
                _switching(window, step.field),
                tip=step.tip,
                checkable=True,
                when=when,
            )
            for step in SWITCHES
        ),
        Command("invert", "Swap light and dark", viewing.reshade, checkable=True, when=when),
        Command(
            "pin-trace",
            "Pin the trace",
            viewing.pin_trace,
            "Ctrl+T",
            tip="Keep the trace shown beside the section",
            checkable=True,
            when=when,
        ),
        *(
            Command(
                f"exaggeration-{name.lower()}",
                name,
                partial(_exaggerate, window, value),
                tip=f"Exaggeration {name}",
                checkable=True,
                when=when,
            )
            for name, value in EXAGGERATIONS.items()
        ),
        Command("copy-recipe", "Use these steps for all lines", entries.copy_recipe, when=when),
        Command("reset-recipe", "Back to the usual steps", entries.reset_recipe, when=when),
        Command("evidence", "Evidence", lambda: window.show_side(window.ledger), "F9"),
        Command("picture", "Picture settings", lambda: window.show_side(window.recipe_panel), "F8"),
    )


def _switching(window: "MainWindow", field: str) -> Callable[[bool], None]:
    return lambda on: window.recipe_panel.switch(field, on)


def _exaggerate(window: "MainWindow", value: float | None, _: bool = False) -> None:
    window.recipe_panel.choose_exaggeration(value)


def _mode_commands(window: "MainWindow", when: Callable[[], bool]) -> tuple[Command, ...]:
    return tuple(
        Command(
            f"mode-{mode.id}",
            mode.words,
            partial(_set_mode, window, mode.id),
            MODE_KEYS[mode.id],
            mode.icon,
            mode.tip,
            checkable=True,
            when=when,
        )
        for mode in MODES
    )


def _set_mode(window: "MainWindow", mode_id: str, _: bool = False) -> None:
    window.marking.set_mode(mode_id)


def _proposal_commands(window: "MainWindow", when: Callable[[], bool]) -> tuple[Command, ...]:
    """Looking for marks, and what the user decides on those that were found."""
    proposing = window.proposing

    def has_current() -> bool:
        return proposing.current is not None

    def has_shown() -> bool:
        return bool(proposing.shown)

    def has_rejected() -> bool:
        line = window.document.line
        return line is not None and bool(line.rejected) and when()

    return (
        Command(
            "propose",
            "Propose marks",
            proposing.ask,
            "F5",
            "fa6s.lightbulb",
            "Look for bars and the back face; nothing is marked until you accept it",
            when=when,
        ),
        Command(
            "proposal-next",
            "Next proposal",
            lambda: proposing.step(1),
            "Ctrl+Right",
            "fa6s.chevron-right",
            when=has_shown,
        ),
        Command(
            "proposal-previous",
            "Previous proposal",
            lambda: proposing.step(-1),
            "Ctrl+Left",
            "fa6s.chevron-left",
            when=has_shown,
        ),
        Command(
            "proposal-accept",
            "Accept proposal",
            lambda: proposing.decide_current(proposing.accept),
            "Ctrl+Up",
            tip="Mark it, and go to the next",
            when=has_current,
        ),
        Command(
            "proposal-reject",
            "Reject proposal",
            lambda: proposing.decide_current(proposing.reject),
            "Ctrl+Down",
            tip="Do not propose it again, and go to the next",
            when=has_current,
        ),
        Command(
            "proposal-accept-in-view",
            "Accept what is in view",
            lambda: proposing.accept(proposing.within(window.pane.seen)),
            tip="Mark what is proposed within the section now; one step of undo",
            when=lambda: bool(proposing.within(window.pane.seen)),
        ),
        Command(
            "proposal-accept-shown",
            "Accept what is shown",
            lambda: proposing.accept(proposing.shown),
            "Ctrl+Shift+Up",
            tip="Mark every proposal that scores enough, along the whole line; one step of undo",
            when=has_shown,
        ),
        Command(
            "proposal-reject-shown",
            "Reject what is shown",
            lambda: proposing.reject(proposing.shown),
            tip="Do not propose again what is shown, along the whole line; one step of undo",
            when=has_shown,
        ),
        Command(
            "propose-again",
            "Propose rejected ones again",
            proposing.allow_again,
            tip="Look again, also for what was rejected on this line",
            when=has_rejected,
        ),
        Command(
            "proposal-put-away",
            "Put proposals away",
            proposing.put_away,
            icon="fa6s.xmark",
            tip="Decide nothing; F5 looks for them again",
            when=lambda: proposing.count > 0,
        ),
    )
