"""The job file: UTF-8 JSON with the job, its results, and references to its scans.

The published schema is ``job.schema.json`` beside this module; :func:`schema_text` makes it. Scans are
named by a path relative to the job file where they are near it, and by an absolute path in the running
program.
"""

import json
import os
import re
import shutil
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePath, PureWindowsPath
from typing import Any, Literal
from uuid import uuid4

from pydantic import AwareDatetime, Field, ValidationError

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright.files.atomic import replacing
from depthwright.files.job_versions import renewed
from depthwright.files.results_block import ResultsBlock, compare_results, results_block
from depthwright.files.results_schema import unusable_words
from depthwright.job import Frozen, Job, Line
from depthwright.results.values import Results

__all__ = [
    "JobFile",
    "LoadedJob",
    "ResultsBlock",
    "backup_path",
    "compare_results",
    "load_job",
    "results_block",
    "save_job",
    "schema_text",
]

VERSION = 2
MOST_BYTES = 64 * 2**20
NEAR_LEVELS = 2
"""How many folders up from the job file a scan's path may start and still be stored as relative."""

_NUMBER_LIST = re.compile(r'\[\n[^\[\]{}"]*\]')


class JobFile(Frozen):
    """A Depthwright job: lengths in mm, times in ns, frequencies in GHz."""

    format: Literal["depthwright-job"]
    version: int = Field(default=VERSION, ge=VERSION, le=VERSION)
    program: str
    saved: AwareDatetime
    job: Job
    results: ResultsBlock | None


@dataclass(frozen=True)
class LoadedJob:
    """A job as opened.

    Parameters
    ----------
    job
        The job, its scans' paths absolute.
    results
        The results stored with it, for comparison; None when there are none.
    findings
        Sentences on what is worth knowing.
    """

    job: Job
    results: ResultsBlock | None
    findings: tuple[str, ...]


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of the job file, as published."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **JobFile.model_json_schema(),
    }
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def backup_path(path: Path) -> Path:
    """Where the version before the last save is kept."""
    return path.with_name(path.name + ".bak")


def save_job(path: str | Path, job: Job, results: Results | None, saved_at: datetime) -> None:
    """Write a job file, whole or not at all; the version it replaces is kept as ``NAME.bak``.

    Parameters
    ----------
    path
        The job file; through a link, the file it leads to.
    job, results
        What to write.
    saved_at
        The time now; without a zone it is local time.

    Raises
    ------
    DepthwrightError
        When it cannot be written; the file is then as it was.
    """
    target = _real(path)
    if target.is_dir():
        raise DepthwrightError(f"{target.name} is a folder.", "Choose a name for the job file.")
    if not target.parent.is_dir():
        raise DepthwrightError(
            f"The folder {target.parent} is not there.", "Choose a folder that exists."
        )
    saved = JobFile(
        format="depthwright-job",
        version=VERSION,
        program=f"Depthwright {__version__}",
        saved=saved_at if saved_at.tzinfo else saved_at.astimezone(),
        job=_map_paths(job, lambda scan: _stored_path(scan, target.parent)),
        results=None if results is None else results_block(job, results),
    )
    data = _as_text(saved).encode("utf-8")
    if len(data) > MOST_BYTES:
        raise DepthwrightError(
            f"The job would take {len(data) / 2**20:.0f} MB, more than a job file may.",
            "Split its lines over two jobs.",
        )
    with replacing(target) as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
        _keep_previous(target)


def load_job(path: str | Path) -> LoadedJob:
    """Read a job file.

    Raises
    ------
    DepthwrightError
        When it is not there, not whole, or not a job file that this version reads.
    """
    source = _real(path)
    data = _parsed(source, _read(source))
    _check_kind(source, data)
    data = renewed(data, VERSION)
    findings: list[str] = []
    saved = _validated(source, data, findings)
    job = _map_paths(saved.job, lambda scan: _found_path(scan, source, findings))
    return LoadedJob(job, saved.results, tuple(findings))


def _real(path: str | Path) -> Path:
    return Path(os.path.realpath(path))


# Writing.


def _as_text(saved: JobFile) -> str:
    """Indented JSON, lists of bare numbers on one line each."""
    text = json.dumps(saved.model_dump(mode="json"), indent=1, ensure_ascii=False, allow_nan=False)
    # A raw line break never stands inside a JSON string, so only real lists match.
    return _NUMBER_LIST.sub(lambda found: re.sub(r"\s+", " ", found[0]), text) + "\n"


def _keep_previous(target: Path) -> None:
    """Give the version on disk its second name, by a link where the disk has links."""
    if not target.exists():
        return
    temporary = target.with_name(f".{target.name}.{uuid4().hex}.bak")
    try:
        try:
            os.link(target, temporary)
        except OSError:
            shutil.copy2(target, temporary)
        os.replace(temporary, backup_path(target))
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


# Paths.


def _map_paths(job: Job, change: Callable[[str], str]) -> Job:
    """The job with every scan's path changed; a line without a file keeps none."""

    def changed(line: Line) -> Line:
        path = line.scan.path and change(line.scan.path)
        return line.model_copy(update={"scan": line.scan.model_copy(update={"path": path})})

    return job.model_copy(update={"lines": tuple(changed(line) for line in job.lines)})


def _of_another_system(path: str) -> bool:
    return PureWindowsPath(path).is_absolute() and not PurePath(path).is_absolute()


def _stored_path(scan: str, folder: Path) -> str:
    if _of_another_system(scan):
        return scan
    absolute = os.path.abspath(scan)
    try:
        relative = PurePath(os.path.relpath(absolute, folder))
        shared = PurePath(os.path.commonpath([absolute, folder]))
    except ValueError:  # two drives
        return absolute
    near = relative.parts.count("..") <= NEAR_LEVELS and shared != PurePath(shared.anchor)
    return relative.as_posix() if near else absolute


def _found_path(stored: str, source: Path, findings: list[str]) -> str:
    """Absolute path of a scan; a file of the same name beside the job stands in for one not there."""
    away = _of_another_system(stored)
    absolute = stored if away else os.path.abspath(source.parent / stored)
    beside = source.parent / PureWindowsPath(stored).name
    if not os.path.exists(absolute) and beside.is_file():
        findings.append(f"{stored} is not there any more; {beside.name} beside the job is used.")
        return str(beside)
    return absolute


# Reading.


def _read(source: Path) -> bytes:
    name = source.name
    if source.is_dir():
        raise DepthwrightError(f"{name} is a folder.", "Choose a job file in it.")
    try:
        size = source.stat().st_size
        if size > MOST_BYTES:
            raise DepthwrightError(
                f"{name} takes {size / 2**20:.0f} MB, more than a job file may.",
                "Choose a job file; scans are opened as lines.",
            )
        return source.read_bytes()
    except FileNotFoundError as cause:
        raise DepthwrightError(
            f"{name} is not there.", "It may have been moved, renamed or deleted."
        ) from cause
    except OSError as cause:
        raise DepthwrightError(
            f"{name} could not be read: {cause.strerror or cause}.",
            "Check that you may read it and that its disk is there.",
        ) from cause


def _parsed(source: Path, raw: bytes) -> Any:
    name = source.name
    if not raw.strip():
        raise DepthwrightError(f"{name} is empty.", _instead(source))
    try:
        text = raw.decode("utf-8-sig")
        return json.loads(text, parse_constant=_refuse_constant)
    except UnicodeDecodeError:
        raise DepthwrightError(f"{name} is not a job file.", "Choose a *.dwjob file.") from None
    except json.JSONDecodeError as cause:
        # Cut inside a word or a number, the last piece has no delimiter after it.
        last = text[cause.pos :].strip()
        delimited = any(sign in last for sign in ',:[]{}" \n')
        cut_off = not delimited or cause.msg.startswith("Unterminated string")
        if cut_off and text.lstrip().startswith("{"):
            message = (
                f"{name} ends in the middle, in line {cause.lineno}: it was not written whole."
            )
            raise DepthwrightError(message, _instead(source)) from None
        raise DepthwrightError(
            f"{name} is not a job file: what stands in line {cause.lineno} is not JSON.",
            _instead(source),
        ) from None
    except RecursionError:
        raise DepthwrightError(
            f"{name} is not a job file: it is nested too deeply.", "Choose a *.dwjob file."
        ) from None
    except ValueError as cause:  # NaN, infinity, numbers of thousands of digits
        raise DepthwrightError(
            f"{name} holds a number that cannot be: {cause}.", _instead(source)
        ) from None


def _refuse_constant(word: str) -> float:
    raise ValueError(word)


def _instead(source: Path) -> str:
    backup = backup_path(source)
    if backup.is_file():
        return f"Open {backup.name}, the version before the last save."
    return "Open a copy of it, or start a new job."


def _check_kind(source: Path, data: Any) -> None:
    if not isinstance(data, dict) or data.get("format") != "depthwright-job":
        raise DepthwrightError(
            f"{source.name} is JSON, but not a Depthwright job.", "Choose a *.dwjob file."
        )
    version = data.get("version")
    if isinstance(version, int) and version > VERSION:
        program = data.get("program")
        by = f" ({program})" if isinstance(program, str) else ""
        raise DepthwrightError(
            f"{source.name} was saved by a newer Depthwright{by}, in version {version} of the job "
            f"file; this one reads up to version {VERSION}.",
            "Open it with the newer program.",
        )


def _validated(source: Path, data: dict[str, Any], findings: list[str]) -> JobFile:
    try:
        return JobFile.model_validate_json(json.dumps(data), strict=True)
    except ValidationError as problem:
        errors = problem.errors(include_url=False)
    if all(error["loc"][:1] == ("results",) for error in errors):
        findings.append(unusable_words(data.get("results")))
        return _validated(source, {**data, "results": None}, findings)
    first = errors[0]
    reason = first["msg"].removeprefix("Value error, ")
    raise DepthwrightError(
        f"{source.name} is damaged{_place(data, first['loc'])}: {reason[:1].lower() + reason[1:]}.",
        _instead(source),
    )


def _place(data: Any, location: tuple[int | str, ...]) -> str:
    """Where in the file: `` at job.lines[0].marks[2].time_ns``."""
    words, here = "", data
    for index, piece in enumerate(location):
        if isinstance(here, list) and isinstance(piece, int) and piece < len(here):
            words, here = f"{words}[{piece}]", here[piece]
        elif isinstance(here, dict) and (piece in here or index == len(location) - 1):
            words, here = f"{words}.{piece}", here.get(str(piece))
        # What is left is the kind of a mark, which validation adds to the place.
    return f" at {words.removeprefix('.')}" if words else ""
