"""Opening, saving and exporting: the document's traffic with the disk."""

from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget

from depthwright.errors import DepthwrightError
from depthwright.exports.section import ImageStyle
from depthwright.exports.write import export_image, export_job
from depthwright.files.facts import MissingGeometry
from depthwright.files.jobfile import load_job, save_job
from depthwright.files.results_block import ResultsBlock, compare_results
from depthwright.files.scans import open_scan
from depthwright.files.segy import read_segy
from depthwright.intake import take_in
from depthwright.job import DirectPick, Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.results.tracking import pick_stage
from depthwright.scan import Scan
from depthwright_app import settings
from depthwright_app.background import Background, Report
from depthwright_app.demo import copy_demo, user_folder
from depthwright_app.dialogs.file_questions import FileQuestions
from depthwright_app.document import Document

JOB_SUFFIX = ".dwjob"
OPEN_FILTER = "Scans and jobs (*.sgy *.segy *.SGY *.SEGY *.dwjob);;All files (*)"
JOB_FILTER = "Depthwright job (*.dwjob)"
IMAGE_FILTER = "PNG image (*.png);;SVG drawing (*.svg);;PDF document (*.pdf)"


class JobKeeper(QObject):
    """Every road between the document and files."""

    settings_changed = Signal()

    def __init__(
        self, document: Document, background: Background, window: QWidget, record: Path
    ) -> None:
        super().__init__(window)
        self.document, self.background, self.window = document, background, window
        self.record = record
        self.settings = settings.load(record)
        self._check: ResultsBlock | None = None
        self.style: Callable[[], ImageStyle] = ImageStyle
        document.open(Job(unit=self.settings.unit), None)
        document.scans_wanted.connect(self.read_scans)
        document.job_changed.connect(self._renew_stages)

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
        for name in names:
            self.open_path(Path(name))

    def open_path(self, path: Path) -> None:
        """Open a job, or add a scan to the job at hand."""
        if path.suffix.lower() == JOB_SUFFIX:
            self.open_job(path)
        else:
            self.add_scan(path)

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
        self._check = loaded.results
        self.remember(self.settings.opened(path))
        self.document.said.emit(_welcome(loaded.job), False)
        for finding in loaded.findings:
            self.document.said.emit(finding, True)
        self.read_scans()

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

    def read_scans(self) -> None:
        """Read the scans that are neither at hand nor known to be missing, in the background."""
        for line in self.document.job.lines:
            if line.id not in self.document.stages and line.id not in self.document.missing:
                self._read_line(self.document.job, line)

    def _read_line(self, job: Job, line: Line) -> None:
        def work(_: Report) -> PickStage:
            return pick_stage(job, line, open_scan(line.scan))

        self.background.run(
            f"scan {line.id}",
            work,
            partial(self._scan_arrived, line.id),
            partial(self._scan_failed, line.id),
        )

    def _scan_arrived(self, line_id: str, stage: PickStage) -> None:
        self.document.scan_arrived(line_id, stage)
        waiting = [ln for ln in self.document.job.lines if ln.id not in self.document.stages]
        if self._check is not None and not waiting:
            difference = compare_results(self._check, self.document.made)
            self._check = None
            if difference:
                self.document.said.emit(difference, True)

    def _scan_failed(self, line_id: str, fault: BaseException) -> None:
        if not isinstance(fault, DepthwrightError):
            raise fault
        self.document.scan_missing(line_id, str(fault))

    def _renew_stages(self, before: Job, after: Job) -> None:
        """Prepare the pick stages again whose direct wave or frequency changed, also by undo."""
        was = {line.id: _picked_by(before, line) for line in before.lines}
        for line in after.lines:
            stage = self.document.stages.get(line.id)
            if stage is not None and was.get(line.id) not in (None, _picked_by(after, line)):
                self._renew_stage(after, line, stage.scan)

    def _renew_stage(self, job: Job, line: Line, scan: Scan) -> None:
        self.background.run(
            f"scan {line.id}",
            lambda _: pick_stage(job, line, scan),
            partial(self._scan_arrived, line.id),
            partial(self._scan_failed, line.id),
        )

    def add_scan(
        self, path: Path, dt_ns: float | None = None, trace_spacing_mm: float | None = None
    ) -> None:
        """Read a scan and add it as a line; what the file does not say is asked for."""

        def work(_: Report) -> Scan:
            return read_segy(path, trace_spacing_mm=trace_spacing_mm, dt_ns=dt_ns)

        self.document.said.emit(f"Reading {path.name}.", False)
        self.background.run(
            f"add {path}",
            work,
            partial(self._add_line, path, dt_ns, trace_spacing_mm),
            partial(self._add_failed, path, dt_ns, trace_spacing_mm),
        )

    def _add_line(
        self, path: Path, dt_ns: float | None, trace_spacing_mm: float | None, scan: Scan
    ) -> None:
        made: list[str] = []

        def change(job: Job) -> Job:
            changed, line_id = take_in(
                job, scan, given_dt_ns=dt_ns, given_trace_spacing_mm=trace_spacing_mm
            )
            made.append(line_id)
            return changed

        if not self.document.edit(f"Add {path.name}", change):
            return
        job = self.document.job
        line = job.line(made[0])
        self.document.scan_arrived(line.id, pick_stage(job, line, scan))
        self.document.show_line(line.id)
        self.remember(self.settings.opened(path))
        self.document.said.emit(
            " ".join(scan.findings) or "Click near the apex of a bar to mark it.", False
        )

    def _add_failed(
        self,
        path: Path,
        dt_ns: float | None,
        trace_spacing_mm: float | None,
        fault: BaseException,
    ) -> None:
        if isinstance(fault, MissingGeometry):
            dialog = FileQuestions(
                self.window, path.name, str(fault), fault.needs, self.document.job.unit
            )
            if dialog.exec():
                spacing = dialog.trace_spacing_mm or trace_spacing_mm
                self.add_scan(path, dialog.dt_ns or dt_ns, spacing)
            else:
                self.document.said.emit(f"{path.name} was not opened.", False)
        elif isinstance(fault, DepthwrightError):
            self.document.said.emit(str(fault), True)
        else:
            raise fault

    # Saving.

    def save(self) -> bool:
        """Save where the job came from, else ask."""
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

    def _write(self, path: Path) -> bool:
        document = self.document
        if not self._try(
            lambda: save_job(path, document.job, document.made, datetime.now().astimezone())
        ):
            return False
        document.mark_saved(path)
        self.remember(self.settings.opened(path))
        document.said.emit(f"Saved as {path}.", False)
        return True

    def may_leave(self) -> bool:
        """Whether the job at hand may be put away: saved, or the user says so."""
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
        return self.save() if answer == buttons.Save else answer == buttons.Discard

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


def _picked_by(job: Job, line: Line) -> tuple[DirectPick, float]:
    """What a line's pick stage depends on, besides its scan."""
    return line.direct, job.antenna_of(line).centre_frequency_ghz


def _welcome(job: Job) -> str:
    """What was opened, and the next step."""
    count = len(job.lines)
    lines = f"{count} line{'' if count == 1 else 's'}"
    note = f" {job.note}" if job.note else ""
    marked = any(line.marks for line in job.lines)
    step = "" if marked else " Click near the apex of a bar to mark it."
    return f"{job.name}: {lines}.{note}{step}"
