"""Opening and saving: the document's traffic with its job file."""

import os
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import QEventLoop, QObject, Signal
from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget

from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import BACKUP_SUFFIX, load_job, save_job
from depthwright.files.pack import JOB_SUFFIX
from depthwright.files.readers import ENDINGS
from depthwright.files.recovery import Recovery
from depthwright.files.results_block import ResultsBlock, compare_results
from depthwright.files.unpack import open_pack
from depthwright.job import Antenna, Job
from depthwright_app import settings, theme
from depthwright_app.background import Background
from depthwright_app.demo import copy_demo, user_folder
from depthwright_app.dialogs.import_sheet import ImportSheet
from depthwright_app.dialogs.recovery_sheet import RecoverySheet
from depthwright_app.dialogs.sheet_parts import asked
from depthwright_app.dialogs.where_to_save import ask_where
from depthwright_app.document import Document
from depthwright_app.edit_keeper import EditKeeper
from depthwright_app.importing import Incoming
from depthwright_app.job_lock import JobLock
from depthwright_app.scan_reader import ScanReader

PACK_SUFFIX = ".zip"
_SUFFIXES = (*ENDINGS, *map(str.upper, ENDINGS), JOB_SUFFIX, PACK_SUFFIX, BACKUP_SUFFIX)
_PATTERNS = " ".join(f"*{suffix}" for suffix in _SUFFIXES)
OPEN_FILTER = f"Scans and jobs ({_PATTERNS});;All files (*)"
JOB_FILTER = "Depthwright job (*.dwjob)"


class JobKeeper(QObject):
    """Every road between the document and its job file; the edits between two saves are kept too."""

    settings_changed = Signal()
    save_ended = Signal()
    """The job that waited for its scans to be checked has been saved, or that has failed."""

    def __init__(
        self,
        document: Document,
        background: Background,
        window: QWidget,
        record: Path,
        recoveries: Path,
    ) -> None:
        super().__init__(window)
        self.document, self.background, self.window = document, background, window
        self.record = record
        self.settings = settings.load(record)
        self.reader = ScanReader(document, background, window, self._ask_about)
        self.edits = EditKeeper(document, recoveries, self)
        self.edits.failed.connect(lambda words: document.said.emit(words, True))
        self.lock = JobLock()
        self.read_only = ""
        """Why the job may not be saved where it came from, whoever has it open; empty when it may."""
        self._stored: ResultsBlock | None = None
        self._save_to: Path | None = None
        self.look: Callable[[], theme.Look] = theme.system_look
        document.open(Job(unit=self.settings.unit), None)
        self.reader.added.connect(lambda path: self.remember(self.settings.opened(path)))
        self.reader.checked.connect(self._scan_checked)
        document.job_changed.connect(self._forget_stored)

    def remember(self, changed: settings.Settings) -> None:
        """Keep other settings."""
        self.settings = changed
        settings.save(self.record, changed)
        self.settings_changed.emit()

    # Opening.

    def ask_open(self) -> None:
        """Let the user choose a scan or a job."""
        names, _ = QFileDialog.getOpenFileNames(
            self.window, "Open", self.settings.folder, OPEN_FILTER
        )
        self.open_paths([Path(name) for name in names])

    def open_path(self, path: Path) -> None:
        """Open a job, or add a scan to the job at hand."""
        self.open_paths([path])

    def open_paths(self, paths: Sequence[Path]) -> None:
        """Open the job among some files, then add the scans among them, as one batch."""
        scans = [path for path in paths if not _is_job(path) and path.suffix.lower() != PACK_SUFFIX]
        for path in paths:
            if _is_job(path):
                self.open_job(path)
            elif path.suffix.lower() == PACK_SUFFIX:
                self.unpack(path)
        if scans:
            self.reader.add(scans)

    def unpack(self, pack: Path) -> None:
        """Unpack a job that was packed into a new folder beside it, and open it.

        Where nothing can be written beside it, as on a disc, the user says where.
        """
        place = pack.parent
        if not os.access(place, os.W_OK):
            name = QFileDialog.getExistingDirectory(
                self.window, f"Unpack {pack.name} into a folder", self.settings.folder
            )
            if not name:
                return
            place = Path(name)
        self.document.said.emit(f"Unpacking {pack.name}.", False)
        self.background.run(
            "unpack",
            lambda report: open_pack(pack, place, report),
            self._unpacked,
            self.document.tell,
            tells=True,
        )

    def _unpacked(self, path: Path) -> None:
        self.document.said.emit(f"Unpacked to {path.parent}.", False)
        self.open_job(path)

    def _ask_about(self, incoming: list[Incoming]) -> tuple[list[Incoming], Antenna | None] | None:
        """Have incoming files confirmed or corrected."""
        cards = [Path(card) for card in self.settings.cards]
        sheet = ImportSheet(self.window, incoming, self.document.job, cards, self.look())
        if not asked(sheet):
            return None
        card = sheet.chosen_antenna()
        if sheet.card_used is not None:
            self.remember(self.settings.with_card(sheet.card_used))
        return sheet.incoming, card

    def open_job(self, path: Path) -> None:
        """Open a job file, once unsaved edits are dealt with."""
        if not self.may_leave():
            return
        try:
            loaded = load_job(path)
            self._adopt(loaded.job, path, loaded.stamp)
        except DepthwrightError as problem:
            self.document.said.emit(str(problem), True)
            return
        self._stored = loaded.results
        self.remember(self.settings.opened(path))
        self.read_only = loaded.read_only
        self.document.said.emit(_welcome(loaded.job), False)
        worth_knowing = " ".join(part for part in (*loaded.findings, self._trouble()) if part)
        if worth_knowing:
            self.document.said.emit(worth_knowing, True)
        self.reader.read_scans()

    def _adopt(self, job: Job, path: Path | None, stamp: str, unsaved: bool = False) -> None:
        """Put another job in the place of the one at hand."""
        self.document.open(job, path, unsaved)
        self.edits.started_from = stamp
        self.background.leave_job()
        self.lock.release()
        self.read_only = ""

    def offer_recoveries(self) -> bool:
        """Offer edits that a former run has left; whether the user goes on with some."""
        left = self.edits.left()
        if left.findings:
            self.document.said.emit(" ".join(left.findings), True)
        if not left.found:
            return False
        sheet = RecoverySheet(self.window, left, self.edits.forget)
        if not asked(sheet) or sheet.chosen is None:
            return False
        return self.recover(sheet.chosen)

    def recover(self, recovery: Recovery) -> bool:
        """Go on with edits that were not saved; False where that cannot be, and they stay as they are."""
        path, trouble = recovery.path, recovery.origin_words()
        try:
            self.edits.adopt(recovery)
        except DepthwrightError as problem:
            self.document.said.emit(str(problem), True)
            return False
        try:
            self._adopt(recovery.job, path, recovery.started_from, unsaved=True)
        except DepthwrightError as problem:
            self.edits.leave()
            self.document.said.emit(str(problem), True)
            return False
        self.read_only = trouble
        told, trouble = f"Not saved yet: {recovery.words}.", self._trouble()
        self.document.said.emit(f"{told} {trouble}".rstrip(), bool(trouble))
        self.reader.read_scans()
        return True

    def open_demo(self) -> None:
        """Open the user's copy of the demo job."""
        try:
            path = copy_demo(user_folder())
        except DepthwrightError as problem:
            self.document.said.emit(str(problem), True)
            return
        self.open_job(path)

    def new_job(self) -> None:
        """Start an empty job."""
        if self.may_leave():
            self._adopt(Job(unit=self.settings.unit), None, "")

    def _scan_checked(self, said: str) -> None:
        """Go on with what waited for the last of the scans."""
        document = self.document
        if self.reader.being_checked:
            return
        if self._stored is not None and all(ln.id in document.stages for ln in document.job.lines):
            difference = compare_results(self._stored, document.made)
            self._stored = None
            if difference:
                document.said.emit(difference, True)
        if self._save_to is not None:
            path, self._save_to = self._save_to, None
            self._write(path, said)
            self.save_ended.emit()

    def _forget_stored(self, before: Job, after: Job) -> None:
        """Stored results are those of the job as it was opened."""
        if after is not before:
            self._stored = None

    # Saving.

    def save(self) -> bool:
        """Save where the job came from, else ask; True when that is done or only waits for a check."""
        if self.document.path is None:
            return self.save_as()
        trouble = self._trouble()
        if trouble:
            self.document.said.emit(trouble, True)
            return self.save_as()
        return self._write(self.document.path)

    def _trouble(self) -> str:
        """Why the job is not saved where it came from, as things are now; empty when it is."""
        return self.read_only or self.lock.take(self.document.path)

    def save_as(self) -> bool:
        """Ask where, then save."""
        folder, at = Path(self.settings.folder), self.document.path
        start = at or folder / f"{self.document.job.name}{JOB_SUFFIX}"
        if at is not None and self._trouble():  # it is not to be saved there
            start = at.with_name(f"{at.name.split('.')[0]}-copy{JOB_SUFFIX}")
        path = ask_where(self.window, "Save the job", str(start), JOB_FILTER, JOB_SUFFIX)
        return path is not None and self._write(path)

    def _write(self, path: Path, remark: str = "") -> bool:
        document, waiting = self.document, self.reader.being_checked
        if waiting:
            self._save_to = path
            scans = f"scan{'s' if len(waiting) > 1 else ''} of {', '.join(waiting)}"
            document.said.emit(f"Checking the {scans}; the job is saved when that is done.", False)
            return True
        # What the user names in the dialog may be replaced; the file at hand only as it was left.
        expected = self.edits.started_from if path == document.path else None
        try:
            stamp = save_job(
                path, document.job, document.made, datetime.now().astimezone(), expected
            )
        except DepthwrightError as problem:
            document.said.emit(str(problem), True)
            return False
        self.edits.started_from = stamp
        document.mark_saved(path)
        self.read_only = ""
        self.remember(self.settings.opened(path))
        trouble = self._trouble()
        document.said.emit(f"{remark} Saved as {path}. {trouble}".strip(), bool(trouble))
        return True

    def may_leave(self) -> bool:
        """Whether the job at hand may be put away: saved, or the user says so."""
        if self._save_to is not None:
            return self._saved_at_last()
        if not self.document.modified:
            return True
        buttons = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self.window,
            "Unsaved marks",
            "The job has changes that are not saved.",
            buttons.Save | buttons.Discard | buttons.Cancel,
            buttons.Save,
        )
        if answer == buttons.Save:
            return self.save() and self._saved_at_last()
        return answer == buttons.Discard

    def _saved_at_last(self) -> bool:
        """Wait for a save that waits for a check; whether there is nothing left to save."""
        if self._save_to is not None:
            loop = QEventLoop()
            self.save_ended.connect(loop.quit)
            loop.exec(QEventLoop.ProcessEventsFlag.ExcludeUserInputEvents)
        return not self.document.modified

    def close(self) -> None:
        """The window closes: nothing is left beside the job, and no thread."""
        self.edits.let_go()
        self.edits.close()
        self.lock.release()


def _is_job(path: Path) -> bool:
    """Whether a file is a job by its name, also the version before the last save."""
    return path.name.lower().endswith((JOB_SUFFIX, JOB_SUFFIX + BACKUP_SUFFIX))


def _welcome(job: Job) -> str:
    """What was opened, and the next step."""
    count = len(job.lines)
    lines = f"{count} line{'' if count == 1 else 's'}"
    note = f" {job.note}" if job.note else ""
    marked = any(line.marks for line in job.lines)
    step = "" if marked else " Click near the apex of a bar to mark it."
    return f"{job.name}: {lines}.{note}{step}"
