"""Writing a job's exports: images and tables of its lines, each whole or not at all."""

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, get_args

import matplotlib
from matplotlib.figure import Figure

from depthwright.errors import DepthwrightError
from depthwright.exports.figure import ImageStyle, line_figure
from depthwright.exports.tables import (
    bar_schedule,
    budget_table,
    target_table,
    thickness_profile,
)
from depthwright.exports.wording import (
    EVIDENCE,
    curvature_words,
    evidence_words,
    model_words,
    program,
)
from depthwright.files.atomic import replacing
from depthwright.job import Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.results.values import Results
from depthwright.results.words import CAUTIONS
from depthwright.scan import Scan

ImageFormat = Literal["png", "svg", "pdf"]

IMAGE_FORMATS: tuple[ImageFormat, ...] = get_args(ImageFormat)

_RENDERING: dict[Any, Any] = {
    # Outlines as they are measured, so that text takes the room it was given.
    "text.hinting": "none",
    "svg.fonttype": "path",
    "svg.hashsalt": "depthwright",
    "pdf.fonttype": 42,
}
_LONGEST_NAME = 60


def export_job(
    job: Job,
    stages: Mapping[str, PickStage],
    results: Results,
    folder: str | Path,
    when: datetime,
    formats: Sequence[ImageFormat] = IMAGE_FORMATS,
    style: ImageStyle | None = None,
) -> list[Path]:
    """Write images and tables of all lines into a folder, which is made where it is not there.

    Parameters
    ----------
    job, results
        The job and its results.
    stages
        Lines at hand by their ids; the others get their tables only.
    folder
        Where to write; files of the same names are replaced.
    when
        The time now, printed on everything.
    formats
        Which images to write.
    style
        Colours and contrast of the samples.

    Returns
    -------
    What was written.
    """
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise DepthwrightError(
            f"The folder {place} could not be made: {cause.strerror or cause}.",
            "Choose a folder that you may write to.",
        ) from cause
    written = []
    for line, name in zip(job.lines, file_names(line.name for line in job.lines), strict=True):
        if line.id in stages:
            figure = line_figure(job, line.id, stages[line.id].scan, results, when, style)
            for kind in formats:
                target = place / f"{name}-marked.{kind}"
                _write(target, _rendered(figure, kind, job, line, results, when))
                written.append(target)
        for suffix, text in _tables(job, line, results, when):
            target = place / f"{name}-{suffix}.csv"
            _write(target, text.encode("utf-8"))
            written.append(target)
    return written


def export_image(
    path: str | Path,
    job: Job,
    line_id: str,
    scan: Scan,
    results: Results,
    when: datetime,
    style: ImageStyle | None = None,
) -> Path:
    """Write one line's marked-up image in the format that the file's suffix names.

    Raises
    ------
    DepthwrightError
        When the suffix is no image's or the file cannot be written.
    """
    target = Path(path)
    kind = next((each for each in IMAGE_FORMATS if target.suffix.lower() == f".{each}"), None)
    if kind is None:
        raise DepthwrightError(
            f"{target.name} does not say what kind of image it is to be.",
            "End its name with .png, .svg or .pdf.",
        )
    figure = line_figure(job, line_id, scan, results, when, style)
    _write(target, _rendered(figure, kind, job, job.line(line_id), results, when))
    return target


def file_names(names: Iterable[str]) -> list[str]:
    """Names that every system takes for files, one for each, all different."""
    made: list[str] = []
    for name in names:
        safe = re.sub(r"[^\w.()-]+", "_", name).strip("._")[:_LONGEST_NAME] or "line"
        taken = {other.casefold() for other in made}
        number, unique = 1, safe
        while unique.casefold() in taken:
            number += 1
            unique = f"{safe}_{number}"
        made.append(unique)
    return made


def _tables(job: Job, line: Line, results: Results, when: datetime) -> list[tuple[str, str]]:
    """The tables a line has anything to say in: name and contents."""
    rows = results.lines[line.id]
    tables = []
    if rows.bars:
        tables.append(("bars", bar_schedule(job, line.id, results, when)))
    if rows.faces:
        tables.append(("thickness", thickness_profile(job, line.id, results, when)))
    if rows.targets:
        tables.append(("targets", target_table(job, line.id, results, when)))
    if rows.bars or rows.faces or rows.targets:
        tables.append(("budget", budget_table(job, line.id, results, when)))
    return tables


def _rendered(
    figure: Figure, kind: ImageFormat, job: Job, line: Line, results: Results, when: datetime
) -> bytes:
    title = f"{job.name}: {line.name}"
    warnings = (f"Warning: {warning}" for warning in results.warnings)
    about = " ".join(
        (
            *warnings,
            *model_words(job, line, results),
            EVIDENCE,
            *evidence_words(results),
            *curvature_words(job, line, results),
            *CAUTIONS,
        )
    )
    dated = when if when.tzinfo else when.astimezone()
    metadata: dict[ImageFormat, dict[str, object]] = {
        "png": {"Title": title, "Description": about, "Software": program()},
        "svg": {"Title": title, "Description": about, "Creator": program(),
                "Date": dated.isoformat(timespec="seconds")},
        "pdf": {"Title": title, "Subject": about, "Creator": program(), "CreationDate": dated},
    }  # fmt: skip
    buffer = io.BytesIO()
    with matplotlib.rc_context(_RENDERING):
        figure.savefig(buffer, format=kind, metadata=metadata[kind])
    return buffer.getvalue()


def _write(target: Path, data: bytes) -> None:
    if target.is_dir():
        raise DepthwrightError(f"{target.name} is a folder.", "Choose another name.")
    with replacing(target) as file:
        file.write(data)
