"""``depthwright mark``: the whole chain for one line or a thousand, without a window. No Qt here."""

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path, PurePath

from depthwright.errors import DepthwrightError
from depthwright.exports.line_report import is_report
from depthwright.files.atomic import may_write, not_written
from depthwright.files.jobfile import save_job
from depthwright.marking.gather import gathered
from depthwright.results import words
from depthwright.results.evaluate import evaluate
from depthwright_app.mark_options import Options, read_options
from depthwright_app.mark_places import relative_paths, report_paths, ties_by_line
from depthwright_app.mark_pool import run
from depthwright_app.mark_work import DIED, Done, Task, work

WRONG = 2
"""Exit status when some line is not marked."""
_JOB_SUFFIX = ".dwjob"
_MOST_EVALUATED = 100
"""Lines of a job whose joint numbers are stored. Twice as many take five times as long: 100 of eight marks
take 5 s, 200 half a minute (loaded 2 cores)."""
_BAR_SIGNS = 30


def mark(given: argparse.Namespace) -> int:
    """Mark all files; returns the exit status.

    Raises
    ------
    DepthwrightError
        When what is asked for cannot be, before anything is done.
    """
    options = read_options(given)
    tasks = _tasks(options)
    _make_folder(options.out)
    if options.job is not None:
        _check_job(options.job)
    workers = options.workers or os.cpu_count() or 1
    done: list[Done | None] = [None] * len(tasks)
    # One alone needs no process of its own.
    finishing = run(tasks, workers, work, DIED) if len(tasks) > 1 else iter([(0, work(tasks[0]))])
    for index, result in _shown(finishing, tasks, sys.stderr.isatty()):
        done[index] = result
    finished = [result for result in done if result is not None]
    failed = [(task, d) for task, d in zip(tasks, finished, strict=True) if d.failed]
    kept = options.job is None or _job_kept(options.job, tasks, finished)
    sys.stdout.write(f"{words.INTERVALS}\n")
    sys.stdout.writelines(f"{caution}\n" for caution in words.CAUTIONS)
    sys.stdout.flush()
    if failed:
        sys.stderr.write(f"{len(failed)} of {len(tasks)} lines could not be marked:\n")
        sys.stderr.writelines(
            f"  {_printable(task.name)}: {result.said}{_stale(task.report)}\n"
            for task, result in failed
        )
    return 0 if kept and not failed else WRONG


def _tasks(options: Options) -> list[Task]:
    relative = relative_paths(options.files)
    names = list(relative.values())
    return [
        Task(
            file=file,
            name=_text(name),
            request=options.request_for(ties),
            report=options.out / report,
            keep_job=options.job is not None,
        )
        for (file, name), report, ties in zip(
            relative.items(), report_paths(names), ties_by_line(options.ties, names), strict=True
        )
    ]


def _text(name: PurePath) -> str:
    """A path as text that any file can hold, whatever bytes are in it and wherever it is run."""
    return os.fsencode(name.as_posix()).decode("utf-8", "backslashreplace")


def _stale(report: Path) -> str:
    """What to say of an earlier run's report of a line that was not marked now."""
    if not is_report(report):
        return ""
    return f" {_printable(str(report))} is of an earlier run: do not take it for this one."


def _printable(name: str) -> str:
    """A name that stays on its line, and moves no cursor."""
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii")
        for sign in name
    )


def _shown(
    finished: Iterator[tuple[int, Done]], tasks: Sequence[Task], in_terminal: bool
) -> Iterator[tuple[int, Done]]:
    """Passes on what is finished, and prints it in the order of the tasks, with a bar in a terminal."""
    waiting: dict[int, Done] = {}
    at = 0
    for count, (index, result) in enumerate(finished, start=1):
        waiting[index] = result
        while at in waiting:
            ready = waiting.pop(at)
            _clear_bar(in_terminal)
            told = "not marked" if ready.failed else ready.said
            sys.stdout.write(f"{_printable(tasks[at].name)}: {told}\n")
            sys.stdout.flush()
            at += 1
        if in_terminal and count < len(tasks):
            full = _BAR_SIGNS * count // len(tasks)
            sys.stderr.write(f"\r[{'#' * full}{'.' * (_BAR_SIGNS - full)}] {count} of {len(tasks)}")
            sys.stderr.flush()
        yield index, result
    _clear_bar(in_terminal)


def _clear_bar(in_terminal: bool) -> None:
    if in_terminal:
        sys.stderr.write("\r\x1b[K")
        sys.stderr.flush()


def _make_folder(folder: Path) -> None:
    """Make the folder of the reports, before any line is marked for nothing."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise DepthwrightError(
            f"{folder} cannot be a folder, since a file is in its way.",
            "Name another folder with --out.",
        ) from None
    except OSError as fault:
        raise not_written(str(folder), fault) from None
    if not may_write(folder):
        raise DepthwrightError(
            f"Nothing can be written in {folder}.",
            "Name a folder with --out that you may write to.",
        )


def _check_job(path: Path) -> None:
    if path.suffix.lower() != _JOB_SUFFIX:
        raise DepthwrightError(
            f"{path.name} has not the ending of a job.", f"Name it like deck{_JOB_SUFFIX}."
        )
    if os.path.lexists(path):
        raise DepthwrightError(
            f"{path.name} is there already and is not written over.",
            "Choose another name for --job, or move the job away.",
        )
    if not path.absolute().parent.is_dir():
        raise DepthwrightError(
            f"The folder {path.absolute().parent} for the job is not there.", "Make it first."
        )


def _job_kept(path: Path, tasks: Sequence[Task], done: Sequence[Done]) -> bool:
    """Keep the job; whether that was possible. The reports are there in any case."""
    try:
        _keep_job(path, tasks, done)
    except (DepthwrightError, OSError) as problem:  # a scan may have gone meanwhile
        sys.stderr.write(f"depthwright: The job was not kept. {problem}\n")
        return False
    return True


def _keep_job(path: Path, tasks: Sequence[Task], done: Sequence[Done]) -> None:
    """Keep all good lines as one job, dated like its newest scan so that it comes out the same again."""
    parts = [result.part for result in done if result.part is not None]
    if not parts:
        raise DepthwrightError("No line is marked.", "See what the lines say.")
    job, tracks = gathered(parts, path.stem)
    results = None
    if len(parts) <= _MOST_EVALUATED:
        try:
            results = evaluate(job, tracks)
        except DepthwrightError as problem:
            sys.stderr.write(f"depthwright: Together the lines come to no numbers. {problem}\n")
    newest = max(t.file.stat().st_mtime for t, d in zip(tasks, done, strict=True) if d.part)
    save_job(path, job, results, datetime.fromtimestamp(newest, UTC), expected="")
    sys.stdout.write(f"job: {path}\n")
    if len(parts) > _MOST_EVALUATED:
        sys.stdout.write(
            f"{path.name} holds the marks of {len(parts)} lines and no numbers: of more than "
            f"{_MOST_EVALUATED} lines together these take long. Open it to have them; each line's own are in "
            "its report.\n"
        )
