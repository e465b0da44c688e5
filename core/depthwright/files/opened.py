"""A scan's file as it was when it was opened: read again only while it is still that."""

import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from depthwright.errors import DepthwrightError
from depthwright.scan import Report

_PIECE_BYTES = 2**20


@dataclass(frozen=True)
class File:
    """A file as it was when it was opened."""

    path: Path
    size: int
    modified_ns: int

    @classmethod
    def find(cls, path: Path) -> "File":
        """Look the file up.

        Raises
        ------
        OSError
            If there is none.
        DepthwrightError
            If it is a folder or anything else that holds no bytes of its own.
        """
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise DepthwrightError(f"{name_of(path)} is a folder.", "Choose a scan's file in it.")
        if not stat.S_ISREG(status.st_mode):
            raise DepthwrightError(f"{name_of(path)} is not a file.", "Choose a scan's file.")
        return cls(path.absolute(), status.st_size, status.st_mtime_ns)

    @property
    def name(self) -> str:
        """What it is called in sentences."""
        return name_of(self.path)

    @property
    def has_changed(self) -> bool:
        """Whether it is no longer the file that was opened."""
        status = os.stat(self.path)
        return (status.st_size, status.st_mtime_ns) != (self.size, self.modified_ns)


def name_of(path: Path) -> str:
    """What a file is called in sentences."""
    return path.name or str(path)


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turn what the system says about a file into the expected error."""
    try:
        yield
    except FileNotFoundError as cause:
        raise DepthwrightError(
            f"{name_of(path)} does not exist.", "It may have been moved, renamed or deleted."
        ) from cause
    except (OSError, ValueError, RuntimeError) as cause:
        reason = getattr(cause, "strerror", None) or cause
        raise DepthwrightError(
            f"{name_of(path)} could not be read: {reason}.",
            "Check that the file is in place and readable.",
        ) from cause


@contextmanager
def opened(file: File) -> Iterator[BufferedReader]:
    """Open a file again, if it is still as it was, also while it is being read."""
    with reading(file.path):
        if file.has_changed:
            raise changed(file)
        with file.path.open("rb") as again:
            try:
                yield again
            except EOFError as cause:
                raise changed(file) from cause


def changed(file: File) -> DepthwrightError:
    """What is said of a file that is no longer the one that was opened."""
    return DepthwrightError(f"{file.path.name} has changed since it was opened.", "Open it again.")


def sha256_of(file: File, report: Report) -> str:
    """Hex digest of the whole file; ``report`` hears of every megabyte and may raise."""
    digest = hashlib.sha256()
    done = 0
    with opened(file) as again:
        while piece := again.read(_PIECE_BYTES):
            digest.update(piece)
            done += len(piece)
            report(min(done / file.size, 1.0))
    with opened(file):  # a hash of half the old file and half the new one is no hash
        return digest.hexdigest()
