"""The table of the window's commands."""

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from depthwright.units import LENGTH_UNITS
from depthwright_app.actions import Command
from depthwright_app.marking import MODES

if TYPE_CHECKING:
    from depthwright_app.main_window import MainWindow

MODE_KEYS = {"look": "F2", "bar": "F3", "face": "F4", "target": "F6", "note": "F7"}


def command_table(window: "MainWindow") -> tuple[Command, ...]:
    """All commands of a window."""
    document, keeper = window.document, window.keeper
    presenter, entries = window.presenter, window.entries

    def has_line() -> bool:
        return document.line is not None

    def has_scan() -> bool:
        return document.stage is not None

    def has_mark() -> bool:
        return document.selected is not None

    return (
        *_mode_commands(window, has_scan),
        Command("new", "&New job", keeper.new_job, "Ctrl+N", "fa6s.file"),
        Command(
            "open", "&Open…", keeper.ask_open, "Ctrl+O", "fa6s.folder-open", "Open a line or a job"
        ),
        Command("save", "&Save", keeper.save, "Ctrl+S", "fa6s.floppy-disk", when=has_line),
        Command("save-as", "Save &as…", keeper.save_as, "Ctrl+Shift+S", when=has_line),
        Command(
            "export-image",
            "Export image…",
            keeper.ask_export_image,
            "Ctrl+E",
            "fa6s.image",
            "Export the marked-up image of this line",
            when=has_scan,
        ),
        Command(
            "export-all", "Export everything…", keeper.ask_export_all, "Ctrl+Shift+E", when=has_scan
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
        Command(
            "dewow",
            "Dewow",
            lambda on: entries.change_recipe("Dewow", dewow=on),
            tip="Take away slow drift",
            checkable=True,
            when=has_scan,
        ),
        Command(
            "background",
            "Background",
            lambda on: entries.change_recipe("Background removal", remove_background=on),
            tip="Take away what all traces share. A flat back face goes with it",
            checkable=True,
            when=has_scan,
        ),
        Command("invert", "Invert colours", presenter.reshade, checkable=True, when=has_scan),
        *(
            Command(f"unit-{unit}", f"Lengths in {unit}", partial(entries.choose_unit, unit))
            for unit in LENGTH_UNITS
        ),
        Command("appearance", "Light or dark", entries.next_appearance, "Ctrl+Shift+L"),
        Command("about", "About Depthwright", window.about),
    )


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
