"""Scans on their way into the document: read, shown at once, and checked behind the picture."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from depthwright.errors import DepthwrightError
from depthwright.files.readers import open_file
from depthwright.files.scans import find_scan, followed, must_be
from depthwright.intake import Survey, take_in
from depthwright.job import Antenna, DirectPick, Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.results.tracking import pick_stage
from depthwright.scan import Scan
from depthwright_app.background import Background, Report
from depthwright_app.document import Document
from depthwright_app.importing import Incoming, look_at

Ask = Callable[[list[Incoming]], tuple[list[Incoming], Antenna | None] | None]
"""Has incoming files confirmed or corrected: they, and the antenna card for them; None to add none."""
MOST_NAMED = 3


class ScanReader(QObject):
    """Reads the scans of the document's lines, and new ones."""

    added = Signal(object)
    """The path of a scan that has become a line."""
    checked = Signal(str)
    """The check of a scan has ended; what was said of it."""

    def __init__(
        self, document: Document, background: Background, window: QWidget, ask: Ask
    ) -> None:
        super().__init__(window)
        self.document, self.background, self.ask = document, background, ask
        self._not_read = ""
        self._looking_at: list[Path] = []
        document.scans_wanted.connect(self.read_scans)
        document.job_changed.connect(self._renew_stages)

    @property
    def being_checked(self) -> list[str]:
        """Names of the lines whose scans are being checked."""
        return [
            line.name
            for line in self.document.job.lines
            if self.background.busy(_check_topic(line.id))
        ]

    def read_scans(self) -> None:
        """Read the scans that are neither at hand nor known to be missing, in the background."""
        for line in self.document.job.lines:
            if line.id not in self.document.stages and line.id not in self.document.missing:
                self._read_line(self.document.job, line)

    def _read_line(self, job: Job, line: Line) -> None:
        folder = self.document.path.parent if self.document.path else None

        def work(report: Report) -> PickStage:
            report(0.0)
            scan = find_scan(followed(line.scan, folder, lambda _: report(0.0)))
            report(0.5)
            return pick_stage(job, line, scan)

        self.background.run(
            f"scan {line.id}", work, partial(self._read, line), partial(self._failed, line.id)
        )

    def _read(self, line: Line, stage: PickStage) -> None:
        if stage.scan.source != line.scan.path:
            line = self.document.scan_moved(line, stage.scan.source)
        self.document.scan_arrived(line.id, stage)
        if self.document.stages.get(line.id) is stage:
            self._check(line, stage.scan)

    def _failed(self, line_id: str, fault: BaseException) -> None:
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
            partial(self.document.scan_arrived, line.id),
            partial(self._failed, line.id),
        )

    # Adding.

    def add(self, paths: Sequence[Path]) -> None:
        """Add scans as lines; what has to be confirmed or is not told is asked for in one sheet.

        Those that are still being looked at make one batch with them.
        """
        before = self._looking_at if self.background.busy("look at files") else []
        batch = self._looking_at = list(dict.fromkeys((*before, *paths)))
        names = ", ".join(path.name for path in batch[:MOST_NAMED])
        more = f" and {len(batch) - MOST_NAMED} more" if len(batch) > MOST_NAMED else ""
        self.document.said.emit(f"Reading {names}{more}.", False)

        def work(report: Report) -> list[Incoming]:
            seen = []
            for at, path in enumerate(batch):
                report(at / len(batch))
                seen.append(look_at(path))
            return seen

        self.background.run("look at files", work, self._looked_at, self.document.tell, tells=True)

    def _looked_at(self, incoming: list[Incoming]) -> None:
        document = self.document
        if len(incoming) == 1 and incoming[0].problem:
            document.said.emit(incoming[0].problem, True)
            return
        known = bool(document.job.antennas)
        card: Antenna | None = None
        if not all(file.settled(antenna_known=known) for file in incoming):
            asked = self.ask(incoming)
            if asked is None:
                names = ", ".join(file.path.name for file in incoming[:MOST_NAMED])
                document.said.emit(f"Nothing was added of {names}.", False)
                return
            incoming, card = asked
        # Said with each line that is added: the strip holds one message.
        self._not_read = " ".join(file.problem for file in incoming if file.problem)
        if self._not_read:
            document.said.emit(self._not_read, True)
        for file in incoming:
            if not file.problem:
                self._prepare(file, card)

    def _prepare(self, file: Incoming, card: Antenna | None) -> None:
        """Find what taking a file in asks for, in the background."""
        job, seen = self.document.job, file.glance
        assert seen is not None

        def work(report: Report) -> Survey:
            report(0.0)
            # As it was looked at, unless something was said of it since.
            scan = seen.scan if file.given == file.looked_with else open_file(file.path, file.given)
            report(0.5)
            return Survey(scan).prepare(job, card)

        self._survey(file, card, work)

    def _survey(
        self, file: Incoming, card: Antenna | None, work: Callable[[Report], Survey]
    ) -> None:
        self.background.run(
            f"add {file.path}", work, partial(self._add_line, file, card), self.document.tell
        )

    def _add_line(self, file: Incoming, card: Antenna | None, survey: Survey) -> None:
        document, scan, job = self.document, survey.scan, self.document.job
        if not survey.serves(job, card):  # another scan has brought its antenna meanwhile
            self._survey(file, card, lambda _: survey.prepare(job, card))
            return
        try:
            changed, line_id = take_in(job, scan, survey=survey, card=card, given=file.given)
        except DepthwrightError as problem:
            document.said.emit(str(problem), True)
            return
        line = changed.line(line_id)
        _, stage = survey.find(changed.antenna_of(line).centre_frequency_ghz)
        if not document.add_line(f"Add {file.path.name}", changed, line_id, stage):
            return
        self.added.emit(file.path)
        told = (
            " ".join((*survey.warnings, *scan.findings))
            or "Click near the apex of a bar to mark it."
        )
        if self._not_read:
            document.said.emit(f"{self._not_read} {told}", True)
        else:
            document.say_here(told)
        self._check(line, scan)

    # Checking.

    def _check(self, line: Line, scan: Scan) -> None:
        """Have all of a scan read behind the picture: its hash, and what its samples are worth."""
        self.background.run(
            _check_topic(line.id),
            scan.check,
            partial(self._checked, line, scan),
            partial(self._check_failed, line, scan),
            behind=True,
        )

    def _checked(self, line: Line, opened: Scan, scan: Scan) -> None:
        try:
            must_be(line.scan, scan)
        except DepthwrightError as problem:
            self._check_failed(line, opened, problem)
            return
        self.document.scan_checked(line.id, opened, scan)
        is_new = not line.scan.sha256
        said = " ".join(scan.findings) if is_new and scan.findings != opened.findings else ""
        if said:
            self.document.said.emit(said, False)
        self.checked.emit(said)

    def _check_failed(self, line: Line, opened: Scan, fault: BaseException) -> None:
        said = ""
        try:
            stage = self.document.stages.get(line.id)
            if not isinstance(fault, DepthwrightError):
                raise fault
            if stage is not None and stage.scan is opened:
                said = str(fault)
                self.document.scan_missing(line.id, said)
        finally:
            self.checked.emit(said)


def _check_topic(line_id: str) -> str:
    return f"check {line_id}"


def _picked_by(job: Job, line: Line) -> tuple[DirectPick, float]:
    """What a line's pick stage depends on, besides its scan."""
    return line.direct, job.antenna_of(line).centre_frequency_ghz
