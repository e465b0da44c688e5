"""A pack: one zip with a job, its scans and what was exported of it, for handing over.

The job in it names its scans by their places in the pack. Scans go in as they are, read in pieces; one that
is missing or has changed stays out, and the pack says so. :mod:`depthwright.files.unpack` is the way back.
"""

import hashlib
import os
import re
import textwrap
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PureWindowsPath
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright.files.atomic import replacing
from depthwright.files.jobfile import job_bytes
from depthwright.files.scan_paths import is_device
from depthwright.files.scans import scan_size
from depthwright.job import Job, Line, ScanRef
from depthwright.results.values import Results
from depthwright.results.words import CAUTIONS, INTERVALS, footing
from depthwright.scan import Report, no_report

JOB_SUFFIX = ".dwjob"
SCANS, EXPORTS, READ_ME = "scans", "exports", "READ-ME.txt"
_PIECE = 2**20
_LONGEST_NAME = 100
_WORTH_DEFLATING = 0.95
_SUSPICIOUS = 0.01
"""What shrinks to less than this is stored as it is: a pack must not look like a zip made to fill disks."""
_LEVEL = 1  # scans are mostly noise, of which more work gets little


@dataclass(frozen=True)
class Packed:
    """A pack as made: where it is, and sentences on what is not in it."""

    path: Path
    missing: tuple[str, ...]


@dataclass(frozen=True)
class _Entry:
    """A file that goes into the pack under a name."""

    name: str
    source: Path
    size: int
    sha256: str = ""


class _Told:
    """Tells how much of the work is done: bytes read so far of all to be read."""

    def __init__(self, report: Report) -> None:
        self.report, self.total, self.done = report, 1, 0

    def add(self, count: int) -> None:
        self.done += count
        self.report(min(1.0, self.done / self.total))


def pack_job(
    target: str | Path,
    job: Job,
    results: Results | None,
    saved_at: datetime,
    extras: Mapping[str, Path] | None = None,
    report: Report = no_report,
) -> Packed:
    """Write a job with its scans into one zip, whole or not at all.

    Parameters
    ----------
    target
        The zip; an existing one is replaced.
    job, results
        What to hand over.
    saved_at
        The time now; without a zone it is local time.
    extras
        Files that were exported, by the names they get in the pack.
    report
        Hears how much has been done; may raise to end it, and then nothing is left.

    Raises
    ------
    DepthwrightError
        When the pack cannot be written, or a file changes while it is packed.
    """
    path = Path(target)
    told = _Told(report)
    told.total = 1 + 2 * sum(line.scan.size_bytes for line in job.lines)
    told.total += sum(max(0, _size(source)) for source in (extras or {}).values())
    packed, entries, missing = _gathered_scans(job, told)
    for name, source in _distinct(extras or {}).items():
        if _size(source) < 0:
            missing.append(f"{source.name} was not there to be packed.")
        else:
            entries.append(_Entry(f"{EXPORTS}/{name}", source, _size(source)))
    told.total = told.done + sum(entry.size for entry in entries)
    job_name = f"{_safe(path.stem)}{JOB_SUFFIX}"
    contents = job_bytes(packed, results, saved_at, lambda scan: scan)
    about = _read_me(job, results, saved_at, job_name, entries, missing)
    with replacing(path) as file, ZipFile(file, "w") as pack:
        pack.writestr(_info(READ_ME, saved_at), about.encode("utf-8"))
        pack.writestr(_info(job_name, saved_at), contents)
        for entry in entries:
            _write_entry(pack, entry, saved_at, told)
    return Packed(path, tuple(missing))


def _size(path: Path) -> int:
    """Size of a plain file, bytes; -1 where there is none."""
    try:
        return path.stat().st_size if path.is_file() else -1
    except OSError:
        return -1


# Gathering.


def _gathered_scans(job: Job, told: _Told) -> tuple[Job, list[_Entry], list[str]]:
    """The job as it stands in the pack, the scans that go with it, and sentences on those that do not."""
    taken: set[str] = set()
    entries: dict[tuple[str, str], _Entry] = {}
    lines, missing = [], []
    for line in job.lines:
        if not line.scan.path:
            missing.append(f"Line “{line.name}” has no scan file.")
            lines.append(line)
            continue
        key = (os.path.realpath(line.scan.path), line.scan.sha256)
        if key not in entries:
            name = f"{SCANS}/{_unlike(taken, _safe(PureWindowsPath(line.scan.path).name))}"
            try:
                entries[key] = _checked(line.scan, name, told)
            except DepthwrightError as problem:
                missing.append(
                    f"The scan of line “{line.name}” is not in the pack. {problem.message} "
                    f"Its place in the pack is {name}."
                )
                lines.append(_at(line, name, line.scan.sha256))
                continue
        lines.append(_at(line, entries[key].name, entries[key].sha256))
    return job.model_copy(update={"lines": tuple(lines)}), list(entries.values()), missing


def _at(line: Line, path: str, sha256: str) -> Line:
    scan = line.scan.model_copy(update={"path": path, "sha256": sha256})
    return line.model_copy(update={"scan": scan})


def _checked(ref: ScanRef, name: str, told: _Told) -> _Entry:
    """A scan that is the one that was added, ready to be packed."""
    source = Path(ref.path)
    size = scan_size(ref)
    changed = f"{source.name} is not the scan that was added to the job"
    if size != ref.size_bytes:
        raise DepthwrightError(f"{changed}: it has {size} bytes instead of {ref.size_bytes}.")
    digest = hashlib.sha256()
    for piece in _pieces(source):
        digest.update(piece)
        told.add(len(piece))
    if ref.sha256 and digest.hexdigest() != ref.sha256:
        raise DepthwrightError(f"{changed}: its contents differ.")
    return _Entry(name, source, size, digest.hexdigest())


def _pieces(source: Path) -> Iterator[bytes]:
    try:
        with source.open("rb") as file:
            while piece := file.read(_PIECE):
                yield piece
    except OSError as cause:
        raise DepthwrightError(
            f"{source.name} could not be read: {cause.strerror or cause}.",
            "Check that you may read it and that its disk is there.",
        ) from cause


def _distinct(extras: Mapping[str, Path]) -> dict[str, Path]:
    taken: set[str] = set()
    return {_unlike(taken, _safe(name)): source for name, source in extras.items()}


def _safe(name: str) -> str:
    """A name that every system takes for a file."""
    stem, suffix = os.path.splitext(re.sub(r"[^\w.()-]+", "_", name).strip("._"))
    short = stem[: _LONGEST_NAME - len(suffix)].rstrip("._") or "file"
    return f"_{short}{suffix}" if is_device(short) else f"{short}{suffix}"


def _unlike(taken: set[str], name: str) -> str:
    """The name, with a number where another one has it already."""
    stem, suffix = os.path.splitext(name)
    number, unique = 1, name
    while unique.casefold() in taken:
        number += 1
        unique = f"{stem}_{number}{suffix}"
    taken.add(unique.casefold())
    return unique


# Writing.


def _info(name: str, when: datetime, method: int = ZIP_DEFLATED) -> ZipInfo:
    year = min(max(when.year, 1980), 2107)  # what a zip can say
    info = ZipInfo(name, (year, when.month, when.day, when.hour, when.minute, when.second))
    info.compress_type = method
    info.external_attr = 0o644 << 16
    return info


def _write_entry(pack: ZipFile, entry: _Entry, when: datetime, told: _Told) -> None:
    """Stream a file into the pack, and make sure that it is still what was looked at."""
    info = _info(entry.name, when, _method(entry.source))
    info.file_size = entry.size  # decides whether the large form of the zip is needed
    digest, count = hashlib.sha256(), 0
    with pack.open(info, "w") as place:
        for piece in _pieces(entry.source):
            count += len(piece)
            if count > entry.size:
                break
            digest.update(piece)
            place.write(piece)
            told.add(len(piece))
    if count != entry.size or (entry.sha256 and digest.hexdigest() != entry.sha256):
        raise DepthwrightError(
            f"{entry.source.name} changed while it was packed.", "Pack the job again."
        )


def _method(source: Path) -> int:
    """Stored where the first piece of a file does not shrink, or shrinks beyond belief."""
    first = next(_pieces(source), b"")
    share = len(zlib.compress(first, _LEVEL)) / max(1, len(first))
    return ZIP_DEFLATED if _SUSPICIOUS < share < _WORTH_DEFLATING else ZIP_STORED


def _read_me(
    job: Job,
    results: Results | None,
    when: datetime,
    job_name: str,
    entries: list[_Entry],
    missing: list[str],
) -> str:
    """What the pack is, in plain words, with the cautions."""
    parts = [f"{job_name}  the job: lines, marks, known depths and results, as UTF-8 JSON"]
    for folder, what in ((SCANS, "the scans as recorded"), (EXPORTS, "images and tables")):
        if any(entry.name.startswith(f"{folder}/") for entry in entries):
            parts.append(f"{folder}/  {what}")
    dated = when if when.tzinfo else when.astimezone()
    paragraphs = [
        f"{job.name}\nPacked on {dated:%Y-%m-%d at %H:%M %z} by Depthwright {__version__}.",
        "A job of Depthwright: what ground-penetrating radar has shown of a concrete member.",
        "\n".join(parts),
        f"To go on with it, open this pack in Depthwright, or unpack it and open {job_name}.",
    ]
    if missing:
        paragraphs.append("\n".join(["Not in this pack:", *(f"- {words}" for words in missing)]))
    if results is not None:
        paragraphs += [footing(results, job.unit), INTERVALS]
        paragraphs += [f"Warning: {warning}" for warning in results.warnings]
    paragraphs += CAUTIONS
    wrapped = ("\n".join(map(_wrapped, paragraph.split("\n"))) for paragraph in paragraphs)
    return "\n\n".join(wrapped) + "\n"


def _wrapped(line: str) -> str:
    indent = "  " if line.startswith("- ") else ""
    return textwrap.fill(
        line, 90, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
