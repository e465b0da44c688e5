"""Opening a pack that may come from anyone: all of it into one new folder, or nothing at all.

Every name is looked at before anything is written, and bytes are counted as they come out, whatever the zip
says of itself.
"""

import os
import shutil
import stat
import struct
import unicodedata
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, BinaryIO
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from depthwright.errors import DepthwrightError
from depthwright.files.atomic import clear_leftovers, not_written, remove, temporary_beside
from depthwright.files.jobfile import load_job
from depthwright.files.pack import JOB_SUFFIX
from depthwright.files.scan_paths import name_trouble
from depthwright.scan import Report, no_report

MOST_ENTRIES = 10_000
MOST_RATIO = 200
"""How many times larger than the zip its contents may be; deflate reaches a thousand on nothing at all."""
SMALL_BYTES = 256 * 2**20
"""Contents up to this size may shrink as much as they like."""
SPARE_BYTES = 64 * 2**20
"""What is left free on the disk."""
_PIECE = 2**20
_MOST_DIRECTORY_BYTES = MOST_ENTRIES * 1200
_ENCRYPTED = 0x1
_DAMAGE = (
    BadZipFile, zlib.error, EOFError, struct.error, NotImplementedError, RuntimeError, ValueError,
    OverflowError,
)  # fmt: skip
"""What zipfile is known to raise on bytes that are no whole zip."""
_AGAIN = "Ask for the pack again, from someone you trust."


def open_pack(pack: str | Path, folder: str | Path, report: Report = no_report) -> Path:
    """Unpack a job into a new folder, which gets the pack's name, with a number if that is taken.

    Parameters
    ----------
    pack
        The zip.
    folder
        Where to make the new folder.
    report
        Hears how much has been done; may raise to end it, and then nothing is left.

    Returns
    -------
    The job file in the new folder.

    Raises
    ------
    DepthwrightError
        When it is not a whole pack, would do harm, or cannot be written; nothing is left then.
    """
    source, place = Path(pack), Path(os.path.abspath(folder))
    if not place.is_dir():
        raise DepthwrightError(f"The folder {place} is not there.", "Choose a folder that exists.")
    wanted = place / (source.stem.strip(". ") or "job")
    clear_leftovers(wanted)
    temporary = temporary_beside(wanted)
    try:
        with _opened(source) as zipped:
            entries = _checked_entries(source.name, zipped)
            temporary.mkdir()
            _unpack(source, zipped, entries, temporary, report)
        job_name = next(entry.filename for entry in entries if _is_job(entry))
        load_job(temporary / job_name, inside=True)
        return _named(temporary, wanted) / job_name
    except OSError as cause:
        raise not_written(wanted.name, cause) from cause
    finally:
        remove(temporary)


def _named(temporary: Path, wanted: Path) -> Path:
    """Give the folder its name, or the first one with a number that is free."""
    number, name = 1, wanted
    while os.path.lexists(name):
        number += 1
        name = wanted.with_name(f"{wanted.name}-{number}")
    temporary.rename(name)
    return name


# The zip.


@contextmanager
def _opened(source: Path) -> Iterator[ZipFile]:
    """The zip, once it looks like one."""
    name = source.name
    with ExitStack() as stack:
        with _reading(name):
            if not stat.S_ISREG(os.stat(source).st_mode):  # opening a pipe would wait for ever
                raise DepthwrightError(f"{name} is not a file.", "Choose a pack.")
            opened = stack.enter_context(source.open("rb"))
            _check_directory(name, opened)
            zipped = stack.enter_context(ZipFile(opened))
        yield zipped


@contextmanager
def _reading(name: str) -> Iterator[None]:
    """Turn what reading a zip may end with into the expected error."""
    try:
        yield
    except OSError as cause:
        raise DepthwrightError(
            f"{name} could not be read: {cause.strerror or cause}.",
            "Check that it is there and that you may read it.",
        ) from cause
    except _DAMAGE as cause:
        raise _damaged(name) from cause


def _damaged(name: str) -> DepthwrightError:
    return DepthwrightError(
        f"{name} is damaged or was not copied whole.", "Copy it again, or ask for it again."
    )


def _check_directory(name: str, opened: BinaryIO) -> None:
    """Refuse a zip with far too long a list of contents before that is read into memory.

    The list's length stands in the zip's last record, or in a longer one before that (APPNOTE.TXT of the
    zip format, 4.3.14 to 4.3.16, from memory).
    """
    size = opened.seek(0, os.SEEK_END)
    start = max(0, size - 70_000)
    opened.seek(start)
    tail = opened.read()
    last = tail.rfind(b"PK\5\6")
    opened.seek(0)
    if last < 0 or len(tail) < last + 22:
        if opened.read(4) == b"PK\3\4":
            raise _damaged(name)
        raise DepthwrightError(f"{name} is not a pack.", "Choose a zip that Depthwright has made.")
    (length,) = struct.unpack_from("<L", tail, last + 12)
    if last >= 76 and tail[last - 20 : last - 16] == b"PK\6\7":
        (length,) = struct.unpack_from("<Q", tail, last - 76 + 40)
    if length > _MOST_DIRECTORY_BYTES:
        raise _too_many(name)


def _too_many(name: str) -> DepthwrightError:
    return DepthwrightError(f"{name} holds more than {MOST_ENTRIES:,} files.", _AGAIN)


def _is_job(entry: ZipInfo) -> bool:
    return entry.filename.lower().endswith(JOB_SUFFIX)


def _checked_entries(name: str, zipped: ZipFile) -> list[ZipInfo]:
    """The files of a pack, once every one of its names can do no harm."""
    entries = zipped.infolist()
    if len(entries) > MOST_ENTRIES:
        raise _too_many(name)
    for entry in entries:
        if trouble := _trouble(entry):
            shown = "".join(sign if sign.isprintable() else "?" for sign in entry.filename)[:60]
            raise DepthwrightError(f"{name} was not opened: “{shown}” in it {trouble}.", _AGAIN)
    files = [entry for entry in entries if not entry.is_dir()]
    _check_distinct(name, files)
    jobs = sum(map(_is_job, files))
    if jobs != 1:
        what = "no job" if jobs == 0 else f"{jobs} jobs"
        raise DepthwrightError(
            f"{name} holds {what}, where a pack holds one.",
            "Choose a pack, or unpack the zip yourself and open the job that you want.",
        )
    return files


def _trouble(entry: ZipInfo) -> str:
    """Why an entry is not unpacked; empty when it may be."""
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind and not (stat.S_ISREG(kind) or stat.S_ISDIR(kind)):
        return "is a link or a device"
    if entry.flag_bits & _ENCRYPTED:
        return "is encrypted"
    if entry.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        return "is packed in a way that is not read"
    # The name as it stands in the zip: the other one has been made to look harmless.
    return name_trouble(getattr(entry, "orig_filename", entry.filename)) or name_trouble(
        entry.filename
    )


def _check_distinct(name: str, files: list[ZipInfo]) -> None:
    """Refuse names that some disk would take for one, and a file that is to be a folder too."""
    seen: set[str] = set()
    folders: set[str] = set()
    for entry in files:
        key = unicodedata.normalize("NFC", entry.filename).casefold()
        if key in seen:
            raise DepthwrightError(f"{name} holds two files of one name: {key[:60]}.", _AGAIN)
        seen.add(key)
        parts = key.split("/")
        folders.update("/".join(parts[:count]) for count in range(1, len(parts)))
    if both := seen & folders:
        raise DepthwrightError(
            f"{name} holds a file that is a folder too: {min(both)[:60]}.", _AGAIN
        )


# Unpacking.


def _unpack(
    source: Path, zipped: ZipFile, entries: list[ZipInfo], folder: Path, report: Report
) -> None:
    """Write all files, counting what really comes out of the zip."""
    size = source.stat().st_size
    believable = max(SMALL_BYTES, MOST_RATIO * size)
    room = shutil.disk_usage(folder).free - SPARE_BYTES
    claimed = sum(entry.file_size for entry in entries)
    _check_bytes(source.name, claimed, believable, room)
    written = 0
    for entry in entries:
        target = folder / entry.filename
        target.parent.mkdir(parents=True, exist_ok=True)
        with ExitStack() as stack:
            with _reading(source.name):
                packed = stack.enter_context(zipped.open(entry))
            file = stack.enter_context(target.open("xb"))
            while piece := _piece(source.name, packed):
                written += len(piece)
                _check_bytes(source.name, written, believable, room)
                file.write(piece)
                report(min(1.0, written / max(1, claimed)))
    report(1.0)


def _piece(name: str, packed: IO[bytes]) -> bytes:
    with _reading(name):
        return packed.read(_PIECE)


def _check_bytes(name: str, count: int, believable: int, room: int) -> None:
    if count > believable:
        raise DepthwrightError(
            f"{name} was not opened: it would unpack to more than {MOST_RATIO} times its size.",
            _AGAIN,
        )
    if count > room:
        raise DepthwrightError(
            f"{name} does not fit on the disk: it needs {max(1, count // 2**20):,} MB.",
            "Make room on the disk, or choose a folder on another one.",
        )
