"""One file marked and its report written: what a process of ``depthwright mark`` does. No Qt here."""

import os
import warnings
from dataclasses import dataclass
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.exports.line_report import line_report, write_report
from depthwright.files.facts import NEED_WORDS, MissingGeometry
from depthwright.files.readers import open_file
from depthwright.job import Job
from depthwright.marking.chain import Marked, mark_line
from depthwright.marking.request import Request
from depthwright.measuring.backface import FaceTrack
from depthwright.results.values import LineRows, Measured, Results
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
        _write(task, marked)
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
    return Done(_said(marked.results, marked.line_id), part=part)


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


def _write(task: Task, marked: Marked) -> None:
    report = line_report(
        marked.job,
        marked.line_id,
        marked.results,
        marked.stage.scan.length_mm,
        marked.scores,
        marked.messages,
        task.name,
        task.request.trace_spacing_share_u or 0.0,
    )
    write_report(task.report, report)


def _said(results: Results, line_id: str) -> str:
    """``7 bars, cover 28 to 41 mm (± 3), back face 150 to 163 mm (± 9), permittivity 8.1 ± 0.6``."""
    rows = results.lines[line_id]
    count = len(rows.bars)
    parts = [f"{count or 'no'} bar{'' if count == 1 else 's'}{_range(', cover', _covers(rows))}"]
    depths = [
        Measured(depth, u)
        for face in rows.faces
        for depth, u in zip(face.depth_mm.tolist(), face.depth_u_mm.tolist(), strict=True)
    ]
    parts.append(_range("back face", depths) or "no back face")
    spread = 2 * results.permittivity_u
    parts.append(f"permittivity {results.permittivity:.1f} ± {spread:.1f}")
    return ", ".join(parts)


def _covers(rows: LineRows) -> list[Measured]:
    return [bar.cover for bar in rows.bars]


def _range(what: str, all_of_it: list[Measured]) -> str:
    known = [one for one in all_of_it if one.value_mm == one.value_mm]
    if not known:
        return ""
    low, high = (round(end(one.value_mm for one in known)) for end in (min, max))
    spread = max(one.expanded_mm for one in known)
    ends = f"{low}" if low == high else f"{low} to {high}"
    return (
        f"{what} {ends} mm (± {spread:.0f})"
        if spread >= 0.95
        else f"{what} {ends} mm (± {spread:.1f})"
    )
