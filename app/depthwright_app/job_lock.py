"""Says to other windows, also on other machines, that a job file is open here."""

import os
from pathlib import Path

from PySide6.QtCore import QLockFile, QSysInfo


class JobLock:
    """A small file beside the job file, held as long as the job is open; a crash lets go of it."""

    def __init__(self) -> None:
        self._held: QLockFile | None = None
        self._path: Path | None = None

    def take(self, path: Path | None) -> str:
        """Let go of the former job and hold another; a sentence where somebody else has it open.

        A folder that cannot be written to holds nobody's lock, and nobody can save there either.
        """
        if path == self._path and self._held is not None:
            return ""
        self.release()
        if path is None:
            return ""
        real = Path(os.path.realpath(path))  # a link's name is one more name of the same job
        lock = held_lock(real.with_name(f".{real.name}.lock"))
        if lock.tryLock(0):
            self._held, self._path = lock, path
            return ""
        if lock.error() != QLockFile.LockError.LockFailedError:
            return ""
        host = lock.getLockInfo()[1]
        where, left = "", ""
        if host and host != QSysInfo.machineHostName():
            where = f" on {host}"
            left = f" If that machine has it open no more, delete .{real.name}.lock beside it."
        return (
            f"{path.name} is open in another window{where}, which may save over it. Close it there, or save "
            f"under another name here.{left}"
        )

    def release(self) -> None:
        """Let go of the job that is held."""
        if self._held is not None:
            self._held.unlock()
        self._held = self._path = None


def held_lock(path: Path) -> QLockFile:
    """A lock that stays good as long as the program that holds it runs, however long that is."""
    lock = QLockFile(str(path))
    lock.setStaleLockTime(0)
    return lock
