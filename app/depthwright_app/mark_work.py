"""One file marked and its report written: what a process of ``depthwright mark`` does. No Qt here."""

import os
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.exports.line_report import LineReport, line_report, write_report
from depthwright.files.facts import NEED_WORDS, MissingGeometry
from depthwright.files.readers import open_file
from depthwright.job import Job
from depthwright.marking.chain import Marked, mark_line
from depthwright.marking.request import Request
from depthwright.measuring.backface import FaceTrack
from depthwright.results.values import COVERAGE_FACTOR, Results
from depthwright.scan import Scan


@dataclass(frozen=True)
class Task:
    """One file: where it is, how it is named, what is asked, and where its report goes."""

    file: Path
    name: str
    request: Request
    report: Path
    keep_job: bool


@dataclass(frozen=True)
class Done:
    """What became of a file: a sentence on its numbers, or on why there are none.

    ``part`` is the line as a job of its own with the tracks of its back face, where that is wanted.
    """

    said: str
    failed: bool = False
    part: tuple[Job, dict[str, FaceTrack]] | None = None


DIED = Done(
    "Its process was ended: by the file, from outside, or for want of memory. Try it alone, or with fewer "
    "--workers.",
    failed=True,
)


def work(task: Task) -> Done:
    """Mark a file and write its report; never raises but for what ends the process."""
    try:
        with warnings.catch_warnings():
            # A damaged sample may be so large that its square is not finite.
            warnings.simplefilter("ignore", RuntimeWarning)
            marked = mark_line(_opened(task), task.request)
        report = _report(task, marked)
        write_report(task.report, report)
    except DepthwrightError as problem:
        return Done(str(problem), failed=True)
    except MemoryError:
        return Done("It needs more memory than there is. Use fewer --workers.", failed=True)
    except Exception as fault:
        first = next(iter(str(fault).splitlines()), "")
        return Done(
            f"An unexpected fault stopped it ({type(fault).__name__}: {first}). Report it with the file.",
            failed=True,
        )
    part = (marked.job, dict(marked.tracks)) if task.keep_job else None
    return Done(_said(report, marked.results), part=part)


def _opened(task: Task) -> Scan:
    if task.file.is_dir():
        raise DepthwrightError(
            "It is a folder.", f"Name the files in it, like {os.path.join(task.file, '*.sgy')}."
        )
    try:
        return open_file(task.file, task.request.given)
    except MissingGeometry as missing:
        examples = {
            "trace_spacing": "--trace-spacing, as in 5mm,",
            "sample_interval": "--sample-interval, as in 20ps,",
        }
        wanted = " and ".join(
            f"the {NEED_WORDS[need]} with {examples[need]}" for need in missing.needs
        )
        raise DepthwrightError(missing.message, f"Give {wanted.rstrip(',')}.") from None


def _report(task: Task, marked: Marked) -> LineReport:
    return line_report(
        marked.job,
        marked.line_id,
        marked.results,
        marked.stage.scan.length_mm,
        marked.scores,
        marked.messages,
        task.name,
        task.request.trace_spacing_share_u or 0.0,
    )


def _said(report: LineReport, results: Results) -> str:
    """``7 bars, cover 28 to 41 mm (± 3), back face 150 to 163 mm (± 9), permittivity 8.1 ± 0.6``.

    What puts its numbers in doubt goes with them: that they are provisional, and the first warning.
    """
    count = len(report.bars)
    covers = [(bar.cover_mm, bar.cover_u_mm) for bar in report.bars]
    depths = [(point.depth_mm, point.depth_u_mm) for point in report.face]
    model = report.depth_model
    parts = [
        f"{count or 'no'} bar{'' if count == 1 else 's'}",
        *_range("cover", covers),
        *(_range("back face", depths) or ["no back face"]),
        f"permittivity {model.permittivity:.1f} ± {COVERAGE_FACTOR * model.permittivity_u:.1f}",
        *(["provisional"] if results.provisional else []),
    ]
    numbers = ", ".join(parts)
    if not results.warnings:
        return numbers
    first = results.warnings[0].partition(". ")[0].rstrip(".")
    return f"{numbers}. {first}: see the report's messages"


def _range(what: str, lengths: Iterable[tuple[float | None, float | None]]) -> list[str]:
    """Least and greatest of some lengths, with the widest of their intervals; none of nothing."""
    known = [(value, u) for value, u in lengths if value is not None and u is not None]
    if not known:
        return []
    low, high = (f"{end(value for value, _ in known):.0f}" for end in (min, max))
    spread = COVERAGE_FACTOR * max(u for _, u in known)
    shown = f"{spread:.0f}" if spread >= 0.95 else f"{spread:.1f}"
    return [f"{what} {low if low == high else f'{low} to {high}'} mm (± {shown})"]
