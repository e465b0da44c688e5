"""Opening, saving and exporting: the document's traffic with the disk."""

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import QEventLoop, QObject, Signal
from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget

from depthwright.errors import DepthwrightError
from depthwright.exports.section import ImageStyle
from depthwright.exports.write import export_image, export_job
from depthwright.files.jobfile import load_job, save_job
from depthwright.files.results_block import ResultsBlock, compare_results
from depthwright.job import Antenna, Job
from depthwright_app import settings, theme
from depthwright_app.background import Background
from depthwright_app.demo import copy_demo, user_folder
from depthwright_app.dialogs.import_sheet import ImportSheet
from depthwright_app.document import Document
from depthwright_app.importing import Incoming
from depthwright_app.scan_reader import ScanReader

JOB_SUFFIX = ".dwjob"
SCAN_SUFFIXES = ("sgy", "segy", "SGY", "SEGY", "csv", "tsv", "txt", "npy", "h5", "hdf5")
OPEN_FILTER = (
    f"Scans and jobs ({' '.join(f'*.{suffix}' for suffix in SCAN_SUFFIXES)} *.dwjob);;All files (*)"
)
JOB_FILTER = "Depthwright job (*.dwjob)"
IMAGE_FILTER = "PNG image (*.png);;SVG drawing (*.svg);;PDF document (*.pdf)"


class JobKeeper(QObject):
    """Every road between the document and files."""

    settings_changed = Signal()
    save_ended = Signal()
    """The job that waited for its scans to be checked has been saved, or that has failed."""

    def __init__(
        self, document: Document, background: Background, window: QWidget, record: Path
    ) -> None:
        super().__init__(window)
        self.document, self.background, self.window = document, background, window
        self.record = record
        self.settings = settings.load(record)
        self.reader = ScanReader(document, background, window, self._ask_about)
        self._stored: ResultsBlock | None = None
        self._save_to: Path | None = None
        self.style: Callable[[], ImageStyle] = ImageStyle
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
        scans = [path for path in paths if path.suffix.lower() != JOB_SUFFIX]
        for path in paths:
            if path not in scans:
                self.open_job(path)
        if scans:
            self.reader.add(scans)

    def _ask_about(self, incoming: list[Incoming]) -> tuple[list[Incoming], Antenna | None] | None:
        """Have incoming files confirmed or corrected."""
        cards = [Path(card) for card in self.settings.cards]
        sheet = ImportSheet(self.window, incoming, self.document.job, cards, self.look())
        if not sheet.exec():
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
            self.document.open(loaded.job, path)
            self.background.cancel_all()
        except DepthwrightError as problem:
            self.document.said.emit(str(problem), True)
            return
        self._stored = loaded.results
        self.remember(self.settings.opened(path))
        self.document.said.emit(_welcome(loaded.job), False)
        for finding in loaded.findings:
            self.document.said.emit(finding, True)
        self.reader.read_scans()

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
            self.document.open(Job(unit=self.settings.unit), None)
            self.background.cancel_all()

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
        return self._write(self.document.path)

    def save_as(self) -> bool:
        """Ask where, then save."""
        start = (
            self.document.path
            or Path(self.settings.folder) / f"{self.document.job.name}{JOB_SUFFIX}"
        )
        name, _ = QFileDialog.getSaveFileName(self.window, "Save the job", str(start), JOB_FILTER)
        if not name:
            return False
        path = Path(name)
        return self._write(path if path.suffix == JOB_SUFFIX else Path(f"{path}{JOB_SUFFIX}"))

    def _write(self, path: Path, remark: str = "") -> bool:
        document, waiting = self.document, self.reader.being_checked
        if waiting:
            self._save_to = path
            scans = f"scan{'s' if len(waiting) > 1 else ''} of {', '.join(waiting)}"
            document.said.emit(f"Checking the {scans}; the job is saved when that is done.", False)
            return True
        if not self._try(
            lambda: save_job(path, document.job, document.made, datetime.now().astimezone())
        ):
            return False
        document.mark_saved(path)
        self.remember(self.settings.opened(path))
        document.said.emit(f"{remark} Saved as {path}.".lstrip(), False)
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

    # Exporting.

    def ask_export_image(self) -> None:
        """Ask where, then write the marked-up image of the line shown."""
        line = self.document.line
        if line is None:
            return
        start = str(Path(self.settings.folder) / f"{line.name}-marked.png")
        name, _ = QFileDialog.getSaveFileName(self.window, "Export the image", start, IMAGE_FILTER)
        if name:
            path = Path(name)
            self.export_line_image(path if path.suffix else path.with_suffix(".png"))

    def export_line_image(self, path: Path) -> None:
        """Write the marked-up image of the line shown."""
        document, stage = self.document, self.document.stage
        if stage is None:
            return
        line_id = document.line_id
        when, style = datetime.now().astimezone(), self.style()
        if self._try(
            lambda: export_image(
                path, document.job, line_id, stage.scan, document.made, when, style
            )
        ):
            document.said.emit(f"Image written to {path}.", False)

    def ask_export_all(self) -> None:
        """Ask for a folder, then write images and tables of all lines."""
        name = QFileDialog.getExistingDirectory(
            self.window, "Export everything to a folder", self.settings.folder
        )
        if name:
            self.export_all(Path(name))

    def export_all(self, folder: Path) -> None:
        """Write images and tables of all lines, in the background."""
        document = self.document
        job, stages, results = document.job, dict(document.stages), document.made
        when, style = datetime.now().astimezone(), self.style()
        document.said.emit("Writing images and tables.", False)
        self.background.run(
            "export",
            lambda _: export_job(job, stages, results, folder, when, style=style),
            lambda written: document.said.emit(f"{len(written)} files written to {folder}.", False),
            self._export_failed,
        )

    def _export_failed(self, fault: BaseException) -> None:
        if not isinstance(fault, DepthwrightError):
            raise fault
        self.document.said.emit(str(fault), True)

    def _try(self, act: Callable[[], object]) -> bool:
        try:
            act()
        except DepthwrightError as problem:
            self.document.said.emit(str(problem), True)
            return False
        return True


def _welcome(job: Job) -> str:
    """What was opened, and the next step."""
    count = len(job.lines)
    lines = f"{count} line{'' if count == 1 else 's'}"
    note = f" {job.note}" if job.note else ""
    marked = any(line.marks for line in job.lines)
    step = "" if marked else " Click near the apex of a bar to mark it."
    return f"{job.name}: {lines}.{note}{step}"
