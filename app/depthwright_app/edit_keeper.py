"""Keeps every edit that is not saved yet in a recovery file, on a thread of its own.

The file goes when the job is saved or put away. What a run that did not end well has left is offered when
the program starts; a lock beside each file tells what belongs to a program that still runs.
"""

from concurrent.futures import ThreadPoolExecutor
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


class EditKeeper(QObject):
    """Writes the job after each edit; the newest wins where edits come faster than the disk."""

    failed = Signal(str)
    """Edits cannot be kept; why, and what to do."""
    _fault = Signal(str)

    def __init__(self, document: Document, folder: Path, parent: QObject) -> None:
        super().__init__(parent)
        self.document, self.folder = document, folder
        self.started_from = ""
        """The stamp of the job file that the edits began with."""
        self._key = uuid4().hex
        self._lock: QLockFile | None = None
        self._kept: Job | None = None
        self._newest: tuple[Job, Path | None, str] | None = None
        self._told = False
        self._disk = ThreadPoolExecutor(1, thread_name_prefix="depthwright-recovery")
        self._fault.connect(self._tell, Qt.ConnectionType.QueuedConnection)
        document.job_changed.connect(self._keep)

    def _keep(self) -> None:
        document = self.document
        if not document.modified:
            self.let_go()
        elif document.job is not self._kept:
            self._hold()
            self._kept = document.job
            self._newest = document.job, document.path, self.started_from
            self._disk.submit(self._write)

    def _write(self) -> None:
        newest, self._newest = self._newest, None
        if newest is None:  # a later edit has been written, or the job was saved
            return
        try:
            write_recovery(self.folder, self._key, *newest, datetime.now().astimezone())
        except DepthwrightError as problem:
            self._fault.emit(str(problem))

    def _tell(self, words: str) -> None:
        """Once: every edit would say it again."""
        if not self._told:
            self._told = True
            self.failed.emit(f"Edits are not kept for a crash: {words} Save the job now and then.")

    def _hold(self) -> None:
        if self._lock is None:
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
            except OSError:
                return  # the write says it
            self._lock = held_lock(self._lock_path(self._key))
            self._lock.tryLock(0)

    def _lock_path(self, key: str) -> Path:
        return self.folder / f"{key}.lock"

    def let_go(self) -> None:
        """The job is saved, or the user wants none of its edits."""
        self._newest = None
        if self._kept is not None:
            self._kept = None
            self._disk.submit(self._discard, self._key)

    def _discard(self, key: str) -> None:
        try:
            discard_recovery(self.folder, key)
        except DepthwrightError as problem:
            self._fault.emit(str(problem))

    def close(self) -> None:
        """Finish what is being written and let go of the thread and the lock."""
        self._disk.shutdown(wait=True)
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
        lock = held_lock(self._lock_path(recovery.key))
        if not lock.tryLock(0):
            return lock.error() != QLockFile.LockError.LockFailedError
        lock.unlock()
        return True

    def adopt(self, recovery: Recovery) -> None:
        """Go on under the key of what is recovered, so that it is not lost by another crash."""
        self.close_lock()
        self._key, self.started_from = recovery.key, recovery.started_from
        self._hold()

    def close_lock(self) -> None:
        """Let go of the lock of the edits kept so far."""
        if self._lock is not None:
            self._lock.unlock()
            self._lock = None

    def forget(self, recovery: Recovery) -> None:
        """Delete what a former run has left.

        Raises
        ------
        DepthwrightError
            When it cannot be deleted.
        """
        discard_recovery(self.folder, recovery.key)
