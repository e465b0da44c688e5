"""Keeps every edit that is not saved yet in a recovery file, on a thread of its own.

The file goes when the job is saved or put away. What a run that did not end well has left is offered when
the program starts; a lock beside each file tells what belongs to a program that still runs.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import platformdirs
from PySide6.QtCore import QLockFile, QObject, Qt, Signal

from depthwright.errors import DepthwrightError
from depthwright.files.recovery import (
    Recoveries,
    Recovery,
    discard_recovery,
    find_recoveries,
    write_recovery,
)
from depthwright.job import Job
from depthwright_app.document import Document
from depthwright_app.job_lock import held_lock


def recovery_folder() -> Path:
    """Where edits are kept: in the user's own data folder."""
    return Path(platformdirs.user_data_dir("depthwright", appauthor=False)) / "recovery"


@dataclass(frozen=True, eq=False)
class _Kept:
    """One state on its way to the disk; each is told from all others."""

    key: str
    job: Job
    path: Path | None
    started_from: str


class EditKeeper(QObject):
    """Writes the job after each edit; the newest wins where edits come faster than the disk."""

    failed = Signal(str)
    """Edits cannot be kept, or not be deleted; why, and what to do."""
    _left_behind = Signal(str)
    _fault = Signal(object)

    def __init__(self, document: Document, folder: Path, parent: QObject) -> None:
        super().__init__(parent)
        self.document, self.folder = document, folder
        self.started_from = ""
        """The stamp of the job file that the edits began with."""
        self._key = uuid4().hex
        self._lock: QLockFile | None = None
        self._kept: Job | None = None
        self._newest: _Kept | None = None
        self._written: _Kept | None = None
        self._told = False
        self._disk = ThreadPoolExecutor(1, thread_name_prefix="depthwright-recovery")
        self._fault.connect(self._tell, Qt.ConnectionType.QueuedConnection)
        self._left_behind.connect(self.failed, Qt.ConnectionType.QueuedConnection)
        document.job_changed.connect(self._keep)

    def _keep(self) -> None:
        document = self.document
        if not document.modified:
            self.let_go()
        elif document.job is not self._kept:
            self._hold()
            self._kept = document.job
            self._newest = _Kept(self._key, document.job, document.path, self.started_from)
            self._disk.submit(self._write)

    def _write(self) -> None:
        # Read once: the window may bring a later edit at any moment, whose own call then writes it.
        newest = self._newest
        if newest is None or newest is self._written:
            return
        try:
            now = datetime.now().astimezone()
            write_recovery(
                self.folder, newest.key, newest.job, newest.path, newest.started_from, now
            )
            self._written = newest
        except Exception as fault:  # on this thread nobody else would hear of it
            self._fault.emit(fault)

    def _tell(self, fault: Exception) -> None:
        """Once between two saves: every edit would say it again."""
        if not isinstance(fault, DepthwrightError):
            raise fault
        if not self._told:
            self._told = True
            self.failed.emit(f"Edits are not kept for a crash: {fault} Save the job now and then.")

    def _hold(self) -> None:
        if self._lock is None:
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
            except OSError:
                return  # the write says it
            self._lock = self._lock_of(self._key)

    def _lock_of(self, key: str) -> QLockFile | None:
        """The lock of a key, held as far as the folder lets it; None while a running program has it."""
        lock = held_lock(self.folder / f"{key}.lock")
        if lock.tryLock(0) or lock.error() != QLockFile.LockError.LockFailedError:
            return lock
        return None

    def let_go(self) -> None:
        """The job is saved, or the user wants none of its edits."""
        self._newest, self._told = None, False
        if self._kept is not None:
            self._kept = None
            self._disk.submit(self._discard, self._key)

    def _discard(self, key: str) -> None:
        try:
            discard_recovery(self.folder, key)
        except DepthwrightError as problem:
            self._left_behind.emit(str(problem))

    def close(self) -> None:
        """Finish what is being written and let go of the thread and the lock."""
        self._disk.shutdown(wait=True)
        self._unlock()

    def _unlock(self) -> None:
        if self._lock is not None:
            self._lock.unlock()
            self._lock = None

    # What former runs have left.

    def left(self) -> Recoveries:
        """Edits that no running program keeps any more."""
        recoveries = find_recoveries(self.folder)
        orphans = tuple(one for one in recoveries.found if self._is_orphan(one))
        return Recoveries(orphans, recoveries.findings)

    def _is_orphan(self, recovery: Recovery) -> bool:
        lock = self._lock_of(recovery.key)
        if lock is None:
            return False
        lock.unlock()
        return recovery.file.exists()  # else its program has just saved the job

    def adopt(self, recovery: Recovery) -> None:
        """Go on under the key of what is recovered, so that it is not lost by another crash.

        Raises
        ------
        DepthwrightError
            When another window goes on with it already.
        """
        lock = self._lock_of(recovery.key)
        if lock is None:
            raise _taken()
        self._unlock()
        self._lock, self._key = lock, recovery.key
        self.started_from = recovery.started_from

    def leave(self) -> None:
        """Let what was adopted lie as it is; what comes is kept under a key of its own."""
        self._unlock()
        self._key, self.started_from = uuid4().hex, ""

    def forget(self, recovery: Recovery) -> None:
        """Delete what a former run has left.

        Raises
        ------
        DepthwrightError
            When it cannot be deleted, or another window goes on with it.
        """
        lock = self._lock_of(recovery.key)
        if lock is None:
            raise _taken()
        try:
            discard_recovery(self.folder, recovery.key)
        finally:
            lock.unlock()


def _taken() -> DepthwrightError:
    return DepthwrightError("Another window goes on with these edits.", "Save or close them there.")
