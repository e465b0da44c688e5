"""The command line. Qt is imported only to open a window."""

import argparse
import os
import sys
import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright_app.arguments import Parser
from depthwright_app.terminal import write_every_sign

WRONG = 2
"""Exit status when something could not be done."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program; returns the exit status."""
    _solve_on_one_thread()
    write_every_sign((sys.stdout, sys.stderr))
    try:
        status = _run(_parse(sys.argv[1:] if arguments is None else arguments))
        sys.stdout.flush()
        return status
    except BrokenPipeError:
        # Whoever reads has had enough; nothing more may be written at the end either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except DepthwrightError as problem:
        sys.stderr.write(f"depthwright: {problem}\n")
        return WRONG
    except KeyboardInterrupt:
        return 130


def _solve_on_one_thread() -> None:
    """Before numpy is there: threads make these small solves slower (200 against 40 ms, loaded 2 cores)."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _parse(arguments: Sequence[str]) -> argparse.Namespace:
    """The arguments read; the options of ``mark`` are loaded only where they are needed."""
    parser, marking = _parsers()
    if "mark" in arguments[:1]:
        from depthwright_app.mark_pool import warm_up

        if sum(map(os.path.isfile, arguments)) > 1:
            warm_up()
        from depthwright_app.mark_options import add_options, joined

        add_options(marking)
        arguments = joined(arguments)
    return parser.read(arguments)


def _parsers() -> tuple[Parser, Parser]:
    """The whole command line's parser, and that of ``mark``, still without its options."""
    parser = Parser(
        prog="depthwright",
        description="Marks up radar line scans of concrete: cover, spacing and thickness with "
        "their intervals. Without a command it opens the window.",
    )
    parser.add_argument("--version", action="version", version=f"depthwright {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    opening = commands.add_parser("open", help="open scans or a job in the window")
    opening.add_argument("files", nargs="+", type=Path, metavar="FILE")
    demo = commands.add_parser(
        "demo", help="open the demo job; with no display, do the main job on it off-screen"
    )
    demo.add_argument("--folder", type=Path, help="where the copy of the demo job goes")
    demo.add_argument("--off-screen", action="store_true", help="never open a window")
    inspecting = commands.add_parser("inspect", help="say what a scan's file says and what follows")
    inspecting.add_argument("file", type=Path, metavar="FILE")
    exporting = commands.add_parser("export", help="write images and tables of a job")
    exporting.add_argument("job", type=Path, metavar="JOB")
    exporting.add_argument("--out", type=Path, required=True, metavar="DIR")
    marking = commands.add_parser("mark", help="find bars and back face, and write their numbers")
    return parser, marking


def _run(options: argparse.Namespace) -> int:
    if options.command == "inspect":
        return _inspect(options.file)
    if options.command == "export":
        return _export(options.job, options.out)
    if options.command == "mark":
        from depthwright_app.mark_command import mark

        return mark(options)
    if options.command == "demo":
        return _demo(options.folder, options.off_screen)
    return _window(options.files if options.command == "open" else [])


def _window(paths: list[Path]) -> int:
    if not has_display():
        raise DepthwrightError(
            "There is no display to open a window on.",
            "Use 'depthwright demo', 'inspect' or 'export' here, or start it from a desktop.",
        )
    for path in paths:
        if not path.exists():
            raise DepthwrightError(f"{path} is not there.", "Check the name.")
    try:
        from depthwright_app.window import run_window
    except ImportError as fault:
        raise DepthwrightError(
            f"The window's libraries cannot be loaded: {fault}.",
            "Run 'python3 packaging/bootstrap.py run', which names what is missing.",
        ) from None
    return run_window([path.resolve() for path in paths])


def has_display() -> bool:
    """Whether a window can be opened: always on macOS and Windows, by its variables elsewhere."""
    if sys.platform in ("darwin", "win32"):
        return True
    return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"))


def _demo(folder: Path | None, off_screen: bool) -> int:
    from depthwright_app.demo import copy_demo, main_job, user_folder

    job = copy_demo(folder or user_folder())
    if not off_screen and has_display():
        return _window([job])
    written = main_job(job)
    sys.stdout.write("The main job was done off-screen on the demo line (invented data):\n")
    sys.stdout.writelines(f"  {line}\n" for line in written)
    return 0


def _inspect(path: Path) -> int:
    from depthwright.files.facts import Fact
    from depthwright.files.pack import JOB_SUFFIX
    from depthwright.files.readers import glance

    if path.suffix.lower() in (JOB_SUFFIX, ".zip"):
        raise DepthwrightError(
            f"{path.name} is a job, not a scan.", "Open it with 'depthwright open'."
        )
    seen = glance(path)
    checked = seen.scan.check()
    samples = " ".join(checked.findings[len(seen.scan.findings) :])
    for fact in (*seen.facts.rows, Fact("Samples", "", "checked", samples)):
        made = " -> ".join(part for part in (fact.stated, fact.inferred) if part)
        sys.stdout.write(f"{fact.label}: {made or 'not told'}\n")
        if fact.why:
            sys.stdout.write(f"  {fact.why}\n")
    sys.stdout.write("What the sample interval can mean:\n")
    sys.stdout.writelines(f"  {reading.told}\n" for reading in seen.readings)
    if seen.facts.text:
        sys.stdout.write(f"The file's own words:\n{textwrap.indent(seen.facts.text, '  ')}\n")
    return 0


def _export(job_path: Path, folder: Path) -> int:
    from depthwright.exports.write import export_job
    from depthwright.files.jobfile import load_job
    from depthwright_app.session import evaluate_with_scans

    loaded = load_job(job_path)
    session = evaluate_with_scans(loaded.job, job_path.absolute().parent)
    for sentence in filter(None, (*loaded.findings, loaded.read_only, *session.missing.values())):
        sys.stderr.write(f"depthwright: {sentence}\n")
    when = datetime.now().astimezone()
    for path in export_job(loaded.job, session.stages, session.results, folder, when):
        sys.stdout.write(f"{path}\n")
    return WRONG if session.missing else 0
