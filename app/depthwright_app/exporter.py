"""Exporting and packing: what is handed over of the document."""

import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog, QMessageBox

from depthwright.errors import DepthwrightError
from depthwright.exports.section import ImageStyle
from depthwright.exports.write import export_image, export_job
from depthwright.files.pack import Packed, pack_job
from depthwright_app.background import Background, Report, Work
from depthwright_app.dialogs.where_to_save import ask_where
from depthwright_app.document import Document
from depthwright_app.job_keeper import PACK_SUFFIX, JobKeeper

IMAGE_FILTER = "PNG image (*.png);;SVG drawing (*.svg);;PDF document (*.pdf)"
WRITES = "export", "pack"
"""Topics of what is written in the background."""
PACK_FILTER = "Packed job (*.zip)"


class Exporter(QObject):
    """Writes images, tables and packs; the job file is the keeper's."""

    def __init__(self, document: Document, background: Background, keeper: JobKeeper) -> None:
        super().__init__(keeper)
        self.document, self.background, self.keeper = document, background, keeper
        self.style: Callable[[], ImageStyle] = ImageStyle

    def ask_export_image(self) -> None:
        """Ask where, then write the marked-up image of the line shown."""
        line = self.document.line
        if line is None:
            return
        start = str(Path(self.keeper.settings.folder) / f"{line.name}-marked.png")
        path = ask_where(
            self.keeper.window, "Export the image", start, IMAGE_FILTER, ".png", others=True
        )
        if path is not None:
            self.export_line_image(path)

    def export_line_image(self, path: Path) -> None:
        """Write the marked-up image of the line shown."""
        document, stage = self.document, self.document.stage
        if stage is None:
            return
        when, style = datetime.now().astimezone(), self.style()
        try:
            export_image(
                path, document.job, document.line_id, stage.scan, document.made, when, style
            )
        except DepthwrightError as problem:
            document.said.emit(str(problem), True)
            return
        document.said.emit(f"Image written to {path}.", False)

    def ask_export_all(self) -> None:
        """Ask for a folder, then write images and tables of all lines."""
        name = QFileDialog.getExistingDirectory(
            self.keeper.window, "Export everything to a folder", self.keeper.settings.folder
        )
        if name:
            self.export_all(Path(name))

    def export_all(self, folder: Path) -> None:
        """Write images and tables of all lines, in the background."""
        document = self.document
        job, stages, results = document.job, dict(document.stages), document.made
        when, style = datetime.now().astimezone(), self.style()
        self._hand_over(
            "export",
            "Writing images and tables.",
            lambda _: export_job(job, stages, results, folder, when, style=style),
            lambda written: document.said.emit(f"{len(written)} files written to {folder}.", False),
        )

    def _hand_over(self, topic: str, words: str, work: Work, done: Callable[[Any], None]) -> None:
        """Write something in the background; what is being written already is not given up for it."""
        if self.background.busy(topic):
            self.document.said.emit(
                "The last one is still being written. Wait until it is done, then try again.", True
            )
            return
        self.document.said.emit(words, False)
        tells = topic == "pack"
        self.background.run(topic, work, done, self.document.tell, tells=tells, apart=True)

    def may_close(self) -> bool:
        """Whether the window may close: nothing is being written, or the user gives it up."""
        if not any(map(self.background.busy, WRITES)):
            return True
        buttons = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self.keeper.window,
            "Still being written",
            "A pack, or images and tables, are still being written. Close the window and give them up?",
            buttons.Yes | buttons.No,
            buttons.No,
        )
        return answer == buttons.Yes

    def ask_pack(self) -> None:
        """Ask where, then pack the job with its scans and exports."""
        document = self.document
        name = document.path.stem if document.path else document.job.name
        start = str(Path(self.keeper.settings.folder) / f"{name}{PACK_SUFFIX}")
        path = ask_where(
            self.keeper.window, "Pack the job for hand-over", start, PACK_FILTER, PACK_SUFFIX
        )
        if path is not None:
            self.pack(path)

    def pack(self, path: Path) -> None:
        """Write one zip with the job, its scans and its exports, in the background."""
        document = self.document
        job, stages, results = document.job, dict(document.stages), document.made
        when, style = datetime.now().astimezone(), self.style()

        def work(report: Report) -> Packed:
            report(0.0)
            with tempfile.TemporaryDirectory() as folder:
                written = export_job(job, stages, results, folder, when, style=style)
                extras = {file.name: file for file in written}
                return pack_job(path, job, results, when, extras, report)

        self._hand_over("pack", f"Packing {path.name}.", work, self._packed)

    def _packed(self, packed: Packed) -> None:
        said = " ".join((f"Packed as {packed.path}.", *packed.missing))
        self.document.said.emit(said, bool(packed.missing))
