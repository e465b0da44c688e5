"""Edits that survive a crash: after each of them the whole job is written to the user's own data folder.

A recovery file holds the job without results, when it was written, and which job file, in which state, the
edits started from. It goes once the job is saved, or the user wants none of it; one that is found when the
program starts has been left by a run that did not end well.
"""

import os
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from pydantic import AwareDatetime, Field

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright.files.atomic import clear_leftovers, not_written, replacing
from depthwright.files.job_reading import (
    VERSION,
    Faults,
    Parsed,
    parsed,
    program_words,
    read_bytes,
    too_much,
    validated,
    version_of,
)
from depthwright.files.job_text import json_text
from depthwright.files.job_versions import renewed
from depthwright.files.jobfile import stamp
from depthwright.files.scan_paths import absolute_path, check_stored, map_paths
from depthwright.job import Frozen, Job

SUFFIX = ".dwrecovery"
MOST_LOOKED_AT = 50
"""Recovery files read when the program starts, the newest first."""
_KEY = re.compile(r"[A-Za-z0-9_-]{1,64}")


class RecoveryFile(Frozen):
    """A job as it was after an edit; ``started_from`` is the stamp of the job file at ``path``."""

    format: Literal["depthwright-recovery"]
    version: int = Field(default=VERSION, ge=VERSION, le=VERSION)
    program: str
    written: AwareDatetime
    path: str
    started_from: str
    job: Job


@dataclass(frozen=True)
class Recovery:
    """Edits that were never saved.

    Parameters
    ----------
    file, key
        The recovery file and the key it was written under.
    job
        The job after the last edit, its scans' paths absolute.
    path
        The job file it belongs to; None when it was never saved.
    started_from
        Stamp of that file when the edits began; expect it when the job is saved there again.
    written
        When the last edit was made.
    program
        Which program wrote it.
    """

    file: Path
    key: str
    job: Job
    path: Path | None
    started_from: str
    written: datetime
    program: str

    @property
    def words(self) -> str:
        """What it is: ``deck.dwjob in /jobs: 2 lines with 12 marks, edited last on 2026-03-14 at 14:32``."""
        name = (
            f"{self.path.name} in {self.path.parent}"
            if self.path
            else f"{self.job.name} (never saved)"
        )
        marks = sum(len(line.marks) for line in self.job.lines)
        try:
            when = self.written.astimezone()
        except OverflowError:  # a spoilt date at either end of the calendar
            when = self.written
        return (
            f"{name}: {_count(len(self.job.lines), 'line')} with {_count(marks, 'mark')}, "
            f"edited last on {when:%Y-%m-%d} at {when:%H:%M}"
        )

    def origin_words(self) -> str:
        """What has become of the job file since; empty when it is as it was, or there never was one."""
        if self.path is None:
            return ""
        try:
            now = stamp(self.path)
        except DepthwrightError as problem:
            return str(problem)
        if now == self.started_from:
            return ""
        if not now:
            return f"{self.path.name} is not where it was. Save the job under a new name."
        return (
            f"{self.path.name} was changed after these edits began. Save them under another name to "
            "keep both."
        )


@dataclass(frozen=True)
class Recoveries:
    """What was found: recoveries, newest first, and sentences on files that could not be used."""

    found: tuple[Recovery, ...]
    findings: tuple[str, ...]


def recovery_path(folder: Path, key: str) -> Path:
    """Where the edits of one open job are kept; ``key`` is a word of letters, digits, ``-`` and ``_``."""
    if not _KEY.fullmatch(key):
        raise ValueError(f"{key!r} is no key")
    return folder / f"{key}{SUFFIX}"


def write_recovery(
    folder: Path, key: str, job: Job, path: Path | None, started_from: str, written: datetime
) -> Path:
    """Keep a job as it is after an edit, whole or not at all.

    Parameters
    ----------
    folder
        In the user's own data folder; made when it is not there.
    key
        One for each open job, such as a random word: two running programs have two.
    job
        The job after the edit.
    path
        The job file it belongs to, if it has one.
    started_from
        The stamp of that file when it was opened or last saved; empty without one.
    written
        The time now.

    Returns
    -------
    The recovery file.

    Raises
    ------
    DepthwrightError
        When it cannot be written; what was kept before is then still there.
    """
    target = recovery_path(folder, key)
    kept = RecoveryFile(
        format="depthwright-recovery",
        version=VERSION,
        program=f"Depthwright {__version__}",
        written=written if written.tzinfo else written.astimezone(),
        path=str(path.absolute()) if path else "",
        started_from=started_from,
        job=map_paths(job, absolute_path),
    )
    data = json_text(kept).encode("utf-8")
    if excess := too_much(data):
        raise DepthwrightError(
            f"The job {excess}; its edits are not kept for a crash.",
            "Split its lines over two jobs.",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise not_written(target.name, cause) from cause
    with replacing(target) as file:
        file.write(data)
    return target


def find_recoveries(folder: Path) -> Recoveries:
    """Edits that former runs have left.

    A file that is not whole is put aside under another name, never deleted; one of a newer program stays
    where it is. Both are told.
    """
    found: list[Recovery] = []
    findings: list[str] = []
    for file in _candidates(folder):
        try:
            raw = read_bytes(file, "a recovery file")
        except DepthwrightError as problem:
            findings.append(f"Edits that were not saved could not be read. {problem}")
            continue
        try:
            data = _recovery_data(file, raw)
            if version_of(data) > VERSION:
                findings.append(
                    f"Edits that were not saved were left by a newer Depthwright"
                    f"{program_words(data)}. Open that program to go on with them."
                )
                continue
            found.append(_recovery(file, data))
        except DepthwrightError as problem:
            findings.append(_put_aside(file, problem))
    newest_first = sorted(found, key=lambda recovery: recovery.written, reverse=True)
    return Recoveries(tuple(newest_first), tuple(findings))


def discard_recovery(folder: Path, key: str) -> None:
    """Let go of what was kept under a key: the job is saved, or the user wants none of it.

    Raises
    ------
    DepthwrightError
        When it cannot be deleted.
    """
    target = recovery_path(folder, key)
    clear_leftovers(target)
    try:
        target.unlink(missing_ok=True)
    except OSError as cause:
        raise DepthwrightError(
            f"The edits kept in {target} could not be deleted: {cause.strerror or cause}.",
            "Delete the file yourself; else they are offered again.",
        ) from cause


def _candidates(folder: Path) -> list[Path]:
    """Recovery files in a folder, the newest of them."""
    dated: list[tuple[int, str]] = []
    try:
        for entry in os.scandir(folder):
            stem, suffix = os.path.splitext(entry.name)
            if suffix == SUFFIX and _KEY.fullmatch(stem):
                dated.append((entry.stat(follow_symlinks=False).st_mtime_ns, entry.path))
    except OSError:  # no folder, nothing kept
        return []
    return [Path(name) for _, name in sorted(dated, reverse=True)[:MOST_LOOKED_AT]]


def _recovery_data(file: Path, raw: bytes) -> Parsed:
    data = parsed(file.name, raw, "")
    if not isinstance(data, dict) or data.get("format") != "depthwright-recovery":
        raise DepthwrightError(f"{file.name} is no recovery file.")
    return data


def _recovery(file: Path, data: Parsed) -> Recovery:
    current = renewed(data, VERSION)
    try:
        kept = validated(RecoveryFile, file.name, current)
    except Faults as faults:
        raise DepthwrightError(f"{file.name} is damaged{faults.words(current)}.") from None
    check_stored(kept.job, file.name, inside=False)
    return Recovery(
        file=file,
        key=file.stem,
        job=kept.job,
        path=Path(kept.path) if kept.path else None,
        started_from=kept.started_from,
        written=kept.written,
        program=kept.program,
    )


def _put_aside(file: Path, problem: DepthwrightError) -> str:
    """Rename a file that cannot be used, and say so."""
    number = 1
    while os.path.lexists(aside := file.with_name(f"{file.name}.unreadable-{number}")):
        number += 1
    said = f"Edits that were not saved could not be read. {problem.message}"
    try:
        file.rename(aside)
    except OSError as cause:
        return f"{said} It could not be put aside: {cause.strerror or cause}."
    return f"{said} It was put aside as {aside}."


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
