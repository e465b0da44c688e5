"""The job file: UTF-8 JSON with the job, its results, and references to its scans.

The published schema is ``job.schema.json`` beside this module; :func:`schema_text` makes it. Scans are
named by a path relative to the job file where they are near it, and by an absolute path in the running
program.

A save writes a temporary file in the same folder, brings it to the disk and puts it in the place of the
former version, which stays as ``NAME.bak``. A file of an earlier program also stays under a name of its own
(``deck.version-1.dwjob``) when it is first saved over. A file of a newer program opens as far as this one
knows it and is never saved over, and neither is one that somebody else has changed in the meantime.
"""

import filecmp
import hashlib
import json
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, Literal

from pydantic import AwareDatetime, Field

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright.files.atomic import (
    check_replaceable,
    copy_beside,
    may_write,
    not_written,
    replacing,
)
from depthwright.files.job_reading import (
    MOST_BYTES,
    VERSION,
    Faults,
    Parsed,
    parsed,
    program_words,
    read_bytes,
    too_much,
    unknown_places,
    validated,
    version_of,
)
from depthwright.files.job_text import json_text
from depthwright.files.job_versions import renewed
from depthwright.files.results_block import ResultsBlock, compare_results, results_block
from depthwright.files.results_schema import unusable_words
from depthwright.files.scan_paths import check_stored, found_path, map_paths, stored_path
from depthwright.job import Frozen, Job
from depthwright.results.values import Results

__all__ = [
    "MOST_BYTES",
    "VERSION",
    "ChangedOnDisk",
    "JobFile",
    "LoadedJob",
    "ResultsBlock",
    "backup_path",
    "compare_results",
    "job_bytes",
    "load_job",
    "results_block",
    "save_job",
    "schema_text",
    "stamp",
]

_NUMBER_LIST = re.compile(r'\[\n[^\[\]{}"]*\]')
BACKUP_SUFFIX = ".bak"
_OWN_HEAD = re.compile(rb'\{\s*"format": "depthwright-job",\s*"version": (\d{1,9}),')
"""How every file begins that was saved by the program itself."""
_NAMED = 3


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
    read_only
        Why it may not be saved over the file it came from, and what to do; empty when it may.
    stamp
        Of the file as it was read: see :func:`stamp`.
    """

    job: Job
    results: ResultsBlock | None
    findings: tuple[str, ...]
    read_only: str = ""
    stamp: str = ""


class ChangedOnDisk(DepthwrightError):  # noqa: N818
    """A job file is not the one that was opened or saved last; the user has to say what counts."""


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of the job file, as published."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **JobFile.model_json_schema(),
    }
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def backup_path(path: Path) -> Path:
    """Where the version before the last save is kept."""
    return path.with_name(path.name + BACKUP_SUFFIX)


def stamp(path: str | Path) -> str:
    """What tells one state of a job file from another: its SHA-256 in hex; empty when there is none.

    Raises
    ------
    DepthwrightError
        When it is there but cannot be read.
    """
    source = _real(path)
    return _stamp_of(read_bytes(source, "a job file")) if os.path.lexists(source) else ""


def save_job(
    path: str | Path,
    job: Job,
    results: Results | None,
    saved_at: datetime,
    expected: str | None = None,
) -> str:
    """Write a job file, whole or not at all; the version it replaces is kept as ``NAME.bak``.

    Parameters
    ----------
    path
        The job file; through a link, the file it leads to.
    job, results
        What to write.
    saved_at
        The time now; without a zone it is local time.
    expected
        The stamp that a file there is to have; None where any may be replaced.

    Returns
    -------
    The stamp of what was written.

    Raises
    ------
    ChangedOnDisk
        When the file there has another stamp than was expected.
    DepthwrightError
        When it cannot be written, or comes from a newer program; the file is then as it was.
    """
    target = _real(path)
    check_replaceable(target)
    former = read_bytes(target, "a job file") if os.path.isfile(target) else None
    if former is not None and expected not in (None, _stamp_of(former)):
        raise ChangedOnDisk(
            f"{target.name} was changed by another program since it was opened here.",
            "Save under another name to keep both, or open it again to see what it holds now.",
        )
    data = job_bytes(job, results, saved_at, partial(stored_path, folder=target.parent))
    version = 0 if former is None else _former_version(target, former)
    with replacing(target, before=partial(_keep_former, target, version)) as file:
        file.write(data)
    return _stamp_of(data)


def load_job(path: str | Path, inside: bool = False) -> LoadedJob:
    """Read a job file.

    Parameters
    ----------
    path
        The job file.
    inside
        Whether its scans may lie in its own folder only, as those of a packed job do.

    Raises
    ------
    DepthwrightError
        When it is not there, not whole, or not a job file that this version reads.
    """
    source = _real(path)
    raw = read_bytes(source, "a job file")
    data = parsed(source.name, raw, _instead(source))
    if not isinstance(data, dict) or data.get("format") != "depthwright-job":
        raise DepthwrightError(
            f"{source.name} is JSON, but not a Depthwright job.", "Choose a *.dwjob file."
        )
    findings: list[str] = []
    newer = version_of(data) > VERSION
    saved = _newer(source, data, findings) if newer else _known(source, data, findings)
    check_stored(saved.job, source.name, inside)
    job = map_paths(saved.job, partial(found_path, folder=source.parent, findings=findings))
    return LoadedJob(job, saved.results, tuple(findings), _read_only(source, data), _stamp_of(raw))


def _real(path: str | Path) -> Path:
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError):  # told when it is read or written
        return Path(path)


def _stamp_of(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


# Writing.


def job_bytes(
    job: Job, results: Results | None, saved_at: datetime, stored: Callable[[str], str]
) -> bytes:
    """A job file's contents.

    Parameters
    ----------
    job, results, saved_at
        What to write, and the time now.
    stored
        From a scan's path to how it is named in the file.

    Raises
    ------
    DepthwrightError
        When it would be too large to be opened again.
    """
    saved = JobFile(
        format="depthwright-job",
        version=VERSION,
        program=f"Depthwright {__version__}",
        saved=saved_at if saved_at.tzinfo else saved_at.astimezone(),
        job=map_paths(job, stored),
        results=None if results is None else results_block(job, results),
    )
    data = _as_text(saved).encode("utf-8")
    if excess := too_much(data):
        raise DepthwrightError(f"The job {excess}.", "Split its lines over two jobs.")
    return data


def _as_text(saved: JobFile) -> str:
    """Indented JSON, lists of bare numbers on one line each."""
    text = json_text(saved)
    # A raw line break never stands inside a JSON string, so only real lists match.
    return _NUMBER_LIST.sub(lambda found: re.sub(r"\s+", " ", found[0]), text) + "\n"


def _former_version(target: Path, former: bytes) -> int:
    """The version of the job file that is to be replaced; 0 when it is none.

    Raises
    ------
    DepthwrightError
        When it comes from a newer program: what it alone knows would be lost.
    """
    head = _OWN_HEAD.match(former)
    data: Parsed = {"version": int(head[1])} if head else _if_job(former)
    version = version_of(data)
    if version > VERSION:
        raise DepthwrightError(
            f"{target.name} was saved by a newer Depthwright{program_words(data)}; this one would "
            "lose what it does not know.",
            "Save under another name.",
        )
    return version


def _if_job(raw: bytes) -> Parsed:
    try:
        data = parsed("", raw, "")
    except DepthwrightError:
        return {}
    return data if isinstance(data, dict) and data.get("format") == "depthwright-job" else {}


def _keep_former(target: Path, version: int) -> None:
    """Give the version on disk its second name, and one of its own when it is of an earlier program."""
    if not os.path.exists(target):
        return
    if 0 < version < VERSION:
        place = _original_path(target, version)
        if not os.path.exists(place):
            copy_beside(target, place)
    try:
        copy_beside(target, backup_path(target), link=True)
    except OSError as cause:
        raise not_written(backup_path(target).name, cause) from cause


def _original_path(target: Path, version: int) -> Path:
    """Where a file of an earlier program is kept, or is kept already: never over another one."""
    number, ending = 1, target.suffix
    while True:
        count = "" if number == 1 else f"-{number}"
        place = target.with_name(f"{target.stem}.version-{version}{count}{ending}")
        if not os.path.lexists(place):
            return place
        if os.path.isfile(place) and filecmp.cmp(place, target, shallow=False):
            return place
        number += 1


# Reading.


def _instead(source: Path) -> str:
    backup = backup_path(source)
    if os.path.isfile(backup):
        return f"Open {backup.name}, the version before the last save."
    return "Open a copy of it, or start a new job."


def _known(source: Path, data: Parsed, findings: list[str]) -> JobFile:
    """A job of this version, or of an earlier one brought up to it."""
    current = renewed(data, VERSION)
    saved = _with_results(source, current, findings)
    if current is not data:
        kept = _original_path(source, version_of(data)).name
        findings.append(
            f"{source.name} was saved by an earlier Depthwright{program_words(data)} and was brought "
            f"up to date. The first save over it keeps it as it is now under the name {kept}."
        )
    return saved


def _with_results(source: Path, data: Parsed, findings: list[str]) -> JobFile:
    """The file, without its results where only those cannot be used."""
    try:
        return validated(JobFile, source.name, data)
    except Faults as faults:
        if not all(fault["loc"][:1] == ("results",) for fault in faults.found):
            raise DepthwrightError(
                f"{source.name} is damaged{faults.words(data)}.", _instead(source)
            ) from None
    findings.append(unusable_words(data.get("results")))
    return _with_results(source, {**data, "results": None}, findings)


def _newer(source: Path, data: Parsed, findings: list[str]) -> JobFile:
    """A job of a newer program, as far as this one knows it; its results are computed again."""
    known: dict[str, Any] = {**data, "version": VERSION, "results": None}
    try:
        saved = validated(JobFile, source.name, known, extra="ignore")
    except Faults as faults:
        raise DepthwrightError(
            f"{source.name} was saved by a newer Depthwright{program_words(data)}, and this one does "
            f"not understand it{faults.words(known)}.",
            "Open it with the newer program.",
        ) from None
    left_out = list(unknown_places(known, saved.model_dump(mode="json")))
    more = f" and {len(left_out) - _NAMED} more" if len(left_out) > _NAMED else ""
    if left_out:
        findings.append(f"Left out: {', '.join(left_out[:_NAMED])}{more}.")
    return saved


def _read_only(source: Path, data: Parsed) -> str:
    """Why this file may not be saved over, and what to do; empty when it may."""
    if version_of(data) > VERSION:
        return (
            f"{source.name} was saved by a newer Depthwright{program_words(data)} and is opened to be "
            "read. Save it under another name to go on; that keeps only what this version knows."
        )
    if source.name.endswith(BACKUP_SUFFIX):
        return (
            f"{source.name} is the version before the last save and is opened to be read. Save it under "
            "another name to go on with it."
        )
    what = source.name if not may_write(source) else ""
    if not what and not may_write(source.parent):
        what = f"The folder {source.parent.name or source.parent}"
    if not what:
        return ""
    return f"{what} may not be written to. Save the job under another name or in another folder."
