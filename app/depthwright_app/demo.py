"""The demo job: a copy in the user's own folder, and the main job done on it without a window."""

import filecmp
import json
import shutil
import sysconfig
from datetime import datetime
from pathlib import Path
from typing import Any

import platformdirs

from depthwright import edits
from depthwright.errors import DepthwrightError
from depthwright.exports.write import export_job
from depthwright.files.jobfile import load_job, save_job
from depthwright.job import BarMark, FaceMark, Job, Line, Tie
from depthwright.measuring.picking import snap_bar, snap_face, with_crest
from depthwright.measuring.stage import PickStage
from depthwright.results import words
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import track_faces
from depthwright.results.values import Results
from depthwright.units import format_interval
from depthwright_app.session import evaluate_with_scans

JOB_NAME = "demo.dwjob"


def sample_folder() -> Path:
    """The sample data: beside the source in a checkout, else where the wheel put it.

    Raises
    ------
    DepthwrightError
        When it is in neither place.
    """
    checkout = Path(__file__).resolve().parents[2] / "sample_data"
    installed = Path(sysconfig.get_path("data")) / "share" / "depthwright" / "sample_data"
    for folder in (checkout, installed):
        if (folder / JOB_NAME).is_file():
            return folder
    raise DepthwrightError("The sample data is not installed.", "Install the program again.")


def user_folder() -> Path:
    """Where the user's copy of the demo job goes."""
    return Path(platformdirs.user_data_dir("depthwright", appauthor=False)) / "demo"


def copy_demo(folder: Path) -> Path:
    """Copy the demo job and give its path; a copy that is there already, edited or not, is kept.

    When its scans are of another version of the program, the new copy goes beside it.

    Raises
    ------
    DepthwrightError
        When the folder cannot be written to.
    """
    source = sample_folder()
    scans = [path.name for path in source.glob("*.sgy")]
    number = 1
    target = folder
    while target.exists() and filecmp.cmpfiles(source, target, scans, shallow=False)[0] != scans:
        number += 1
        target = folder.with_name(f"{folder.name} {number}")
    if not (target / JOB_NAME).exists():
        try:
            target.mkdir(parents=True, exist_ok=True)
            for path in source.iterdir():
                if path.suffix in (".sgy", ".json", ".dwjob", ".md"):
                    shutil.copyfile(path, target / path.name)
        except OSError as fault:
            raise DepthwrightError(
                f"The demo job cannot be copied to {target}: {fault.strerror}.",
                "Name another folder with --folder.",
            ) from None
    return target / JOB_NAME


def main_job(job_path: Path) -> list[str]:
    """Do the main job off-screen: click, tie, save, export. Gives the lines to print.

    The clicks are those of the tour that comes with the sample data; they go through the same
    snapping, edits, estimator and exports as clicks in the window.
    """
    folder = job_path.parent
    tour = json.loads((folder / "tour.json").read_text("utf-8"))
    loaded = load_job(folder / JOB_NAME)
    session = evaluate_with_scans(loaded.job)
    for sentence in session.missing.values():
        raise DepthwrightError(sentence)
    job = loaded.job
    for click in tour["clicks"]:
        job = mark_click(job, session.stages, click)
    before = evaluate(job, track_faces(job, session.stages))
    job = tie_reading(job, tour["tie"])
    results = evaluate(job, track_faces(job, session.stages))
    when = datetime.now().astimezone()
    marked = folder / "demo-marked.dwjob"
    save_job(marked, job, results, when)
    written = export_job(job, session.stages, results, folder / "exports", when)
    return [
        words.footing(results, job.unit),
        words.what_moved(before, results, job.unit),
        *_summary(job, results),
        f"job: {marked}",
        *(f"{_kind(path)}: {path}" for path in written),
    ]


def mark_click(job: Job, stages: dict[str, PickStage], click: dict[str, Any]) -> Job:
    """One click of the tour: snapped, then marked.

    Raises
    ------
    DepthwrightError
        When nothing is there to snap to.
    """
    line = line_named(job, click["line"])
    snap = snap_face if click["kind"] == "face" else snap_bar
    pick = snap(stages[line.id], click["position_mm"], click["time_ns"])
    if pick is None:
        raise DepthwrightError(
            f"Nothing to snap to near {click['position_mm']:g} mm on {line.name}."
        )
    if click["kind"] == "bar":
        return edits.add_bar(job, line.id, with_crest(stages[line.id], pick))[0]
    if click["kind"] == "target":
        return edits.add_target(job, line.id, pick, "conduit")[0]
    face = next((mark.id for mark in line.marks if isinstance(mark, FaceMark)), None)
    return edits.add_anchor(job, line.id, face, pick)[0]


def tie_reading(job: Job, reading: dict[str, Any]) -> Job:
    """Tie the bar that a reading was taken on."""
    line = line_named(job, reading["line"])
    bar = next(
        mark
        for mark in line.marks
        if isinstance(mark, BarMark) and abs(mark.position_mm - reading["position_mm"]) < 30
    )
    tie = Tie(
        depth_mm=reading["depth_mm"],
        plus_minus_mm=job.meters[0].reading_u_mm,
        origin=reading["origin"],
    )
    return edits.tie_mark(job, line.id, bar.id, tie)


def line_named(job: Job, name: str) -> Line:
    """The line with a name."""
    return next(line for line in job.lines if line.name == name)


def _summary(job: Job, results: Results) -> list[str]:
    lines = []
    for line in job.lines:
        rows = results.lines[line.id]
        covers = ", ".join(
            format_interval(bar.cover.value_mm, bar.cover.expanded_mm, job.unit)
            for bar in rows.bars
        )
        lines.append(f"{line.name}: covers {covers}")
        for face in rows.faces:
            middle = face.median
            thick = format_interval(middle.value_mm, middle.expanded_mm, job.unit)
            lines.append(f"{line.name}: thickness {thick} (median along the line)")
    return lines


def _kind(path: Path) -> str:
    kinds = {".csv": "table", ".png": "image", ".svg": "image", ".pdf": "image"}
    return kinds.get(path.suffix, "file")
