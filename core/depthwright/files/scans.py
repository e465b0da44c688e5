"""From a job's reference to its scan: the file must be the one the marks were made on.

A file that has moved is found again by its size and hash. One that has changed is never shown under the marks
of the other; the refusal says what differs.
"""

import hashlib
import os
import stat
from collections import deque
from collections.abc import Iterator
from itertools import islice
from pathlib import Path, PureWindowsPath

from depthwright.errors import DepthwrightError
from depthwright.files.readers import open_file
from depthwright.files.scan_paths import path_trouble, system_trouble
from depthwright.job import ScanRef
from depthwright.scan import Report, Scan, no_report

DEEPEST = 3
"""How many folders below the first a moved scan is looked for."""
MOST_ENTRIES = 2000
"""How many files and folders are looked at below one place."""
_PIECE = 2**20
_SAME_DT = 1e-6
_SAME_PLACE_MM = 0.05


def open_scan(ref: ScanRef) -> Scan:
    """Open the scan of a line, read as it was when it was added to the job, and check all of it.

    Raises
    ------
    DepthwrightError
        When the file is not there, is not the one that was added, or cannot be read.
    """
    scan = find_scan(ref).check()
    must_be(ref, scan)
    return scan


def must_be(ref: ScanRef, scan: Scan) -> None:
    """Refuse a checked scan whose contents are not those of the one that was added.

    A hash that could not be found out before the job was saved refuses nothing.

    Raises
    ------
    DepthwrightError
        When they differ.
    """
    if ref.sha256 and scan.sha256 != ref.sha256:
        differing = ", ".join(_differences(ref, scan))
        raise _changed(ref, differing or "the same size and shape, but other samples")


def find_scan(ref: ScanRef) -> Scan:
    """Open the scan of a line when its size is right; its contents are still to be checked.

    Raises
    ------
    DepthwrightError
        When the file is not there, has another size, or cannot be read.
    """
    size = scan_size(ref)
    if size != ref.size_bytes:
        raise _changed(ref, f"{size} bytes instead of {ref.size_bytes}{_as_opened(ref)}")
    return open_file(ref.path, ref.given)


def scan_size(ref: ScanRef) -> int:
    """Size of the file that a line's scan names, bytes; nothing is opened.

    Raises
    ------
    DepthwrightError
        When there is none, or it is no plain file: a pipe, say, would make the program wait for ever.
    """
    if not ref.path:
        raise DepthwrightError(
            "This line has no scan file.", "Save its scan and add the file as a line."
        )
    path = Path(ref.path)
    put_back = "Put it back there, or beside the job file, and open the job again."
    trouble = path_trouble(ref.path) or system_trouble(path)
    if trouble:
        raise DepthwrightError(
            f"The path of a scan is not followed: {trouble}.",
            "Remove the line, and add the scan from where it lies.",
        )
    try:
        status = os.stat(path)
    except (FileNotFoundError, NotADirectoryError):
        raise DepthwrightError(f"The scan {path.name} is not at {path.parent}.", put_back) from None
    except OSError as cause:
        raise DepthwrightError(
            f"The scan {path.name} could not be looked at: {cause.strerror or cause}.",
            "Check that you may read it and that its disk is there.",
        ) from cause
    if not stat.S_ISREG(status.st_mode):
        what = "a folder" if stat.S_ISDIR(status.st_mode) else "no plain file"
        raise DepthwrightError(f"What lies at {path} in the place of the scan is {what}.", put_back)
    return status.st_size


# A scan that has changed.


def _changed(ref: ScanRef, differing: str) -> DepthwrightError:
    return DepthwrightError(
        f"{Path(ref.path).name} is not the scan that was added to the job: it has {differing}.",
        "Put the original back, or add this file as a new line; the marks stay as they are.",
    )


def _as_opened(ref: ScanRef) -> str:
    """How a changed file's shape differs, as far as it can be opened: ``, 11 traces instead of 12``."""
    try:
        differing = _differences(ref, open_file(ref.path, ref.given))
    except DepthwrightError:
        return " and cannot be opened as it was"
    return "".join(f", {words}" for words in differing)


def _differences(ref: ScanRef, scan: Scan) -> list[str]:
    """What differs in the shape of a scan, in words."""
    first_mm = float(scan.positions_mm[0])
    words = []
    if scan.traces != ref.traces:
        words.append(f"{scan.traces} traces instead of {ref.traces}")
    if scan.samples != ref.samples:
        words.append(f"{scan.samples} samples a trace instead of {ref.samples}")
    if abs(scan.dt_ns - ref.dt_ns) > _SAME_DT * ref.dt_ns:
        words.append(f"a sample interval of {scan.dt_ns:g} ns instead of {ref.dt_ns:g} ns")
    if abs(first_mm - ref.first_mm) > _SAME_PLACE_MM:
        words.append(f"a first trace at {first_mm:g} mm instead of {ref.first_mm:g} mm")
    return words


# A scan that has moved.


def followed(ref: ScanRef, job_folder: str | Path | None, report: Report = no_report) -> ScanRef:
    """The reference as it is, or to where its scan has been moved if that can be found."""
    if not ref.path or os.path.lexists(ref.path):
        return ref
    moved = find_moved(ref, job_folder, report)
    return ref if moved is None else ref.model_copy(update={"path": str(moved)})


def find_moved(
    ref: ScanRef, job_folder: str | Path | None, report: Report = no_report
) -> Path | None:
    """Look for a scan that is no longer where it was: by its size, then by its hash.

    Looked through are the job's folder and those below it, then the folder above the one where the scan
    was; files of its name come first. Links to folders are not followed.

    Parameters
    ----------
    ref
        The scan as the job knows it.
    job_folder
        Where the job file lies; None where it was never saved.
    report
        Hears how much of the candidates has been read; may raise to end the search.

    Returns
    -------
    The file with exactly the contents that were added, or None. None too where their hash was never
    found out: nothing else tells two scans of one size apart.
    """
    if not ref.sha256 or not ref.size_bytes:
        return None
    name = PureWindowsPath(ref.path).name.casefold()
    candidates: dict[Path, None] = {}
    for place in _places(ref, job_folder):
        here = [file for file in _files_below(place) if _plain_size(file) == ref.size_bytes]
        here.sort(key=lambda file: file.name.casefold() != name)
        candidates.update(dict.fromkeys(here))
    for index, file in enumerate(candidates):
        share = _Share(report, index / len(candidates), 1 / (len(candidates) * ref.size_bytes))
        try:
            if file_hash(file, share) == ref.sha256:
                return file
        except OSError:
            continue
    return None


def file_hash(path: Path, report: Report = no_report) -> str:
    """SHA-256 of a file in hex, read in pieces; ``report`` hears how many bytes have been read."""
    digest, read = hashlib.sha256(), 0
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
            read += len(piece)
            report(read)
    return digest.hexdigest()


class _Share:
    """Bytes read of one candidate, told as a part of all the work."""

    def __init__(self, report: Report, before: float, per_byte: float) -> None:
        self.report, self.before, self.per_byte = report, before, per_byte

    def __call__(self, read: float) -> None:
        self.report(min(1.0, self.before + read * self.per_byte))


def _places(ref: ScanRef, job_folder: str | Path | None) -> Iterator[Path]:
    """Folders to look below, each once, and never a whole disk."""
    former = Path(ref.path)
    wanted = [Path(job_folder)] if job_folder is not None else []
    if ref.path and not path_trouble(ref.path) and former.is_absolute():
        wanted.append(former.parent.parent)
    seen: set[Path] = set()
    for place in wanted:
        real = Path(os.path.realpath(place))
        if real != Path(real.anchor) and real not in seen and not system_trouble(real):
            seen.add(real)
            yield real


def _files_below(top: Path) -> Iterator[Path]:
    """Files in a folder and a few levels below it, the nearest first, and only so many."""
    folders, looked_at = deque([(top, 0)]), 0
    while folders:
        folder, depth = folders.popleft()
        try:
            with os.scandir(folder) as found:
                entries = sorted(islice(found, MOST_ENTRIES), key=lambda entry: entry.name)
        except OSError:
            continue
        for entry in entries:
            looked_at += 1
            if looked_at > MOST_ENTRIES:
                return
            if _is_folder(entry):
                if depth < DEEPEST:
                    folders.append((Path(entry.path), depth + 1))
            else:
                yield Path(entry.path)


def _is_folder(entry: "os.DirEntry[str]") -> bool:
    try:
        return entry.is_dir(follow_symlinks=False)
    except OSError:
        return False


def _plain_size(path: Path) -> int:
    """Size of a plain file, bytes; -1 for anything else."""
    try:
        status = os.stat(path)
    except OSError:
        return -1
    return status.st_size if stat.S_ISREG(status.st_mode) else -1
