"""What stands between scans and results: pick stages, tracked back faces, and the recipe's setting."""

from collections.abc import Mapping

import numpy as np

from depthwright.job import FaceMark, Job, Line
from depthwright.measuring.backface import FaceTrack, track_face
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import find_direct_wave
from depthwright.processing.recipe import Setting
from depthwright.results.values import LineModel
from depthwright.scan import Scan
from depthwright.wave import velocity_mm_per_ns


def pick_stage(job: Job, line: Line, scan: Scan) -> PickStage:
    """A line's scan as its marks are picked on."""
    frequency = job.antenna_of(line).centre_frequency_ghz
    return PickStage(scan, find_direct_wave(scan, frequency, near_ns=line.direct.time_ns))


def track_faces(job: Job, stages: Mapping[str, PickStage]) -> dict[str, FaceTrack]:
    """Tracks of all back faces by mark id, for the lines whose stage is at hand (by line id)."""
    return {
        mark.id: track(stages[line.id], mark)
        for line in job.lines
        if line.id in stages
        for mark in line.marks
        if isinstance(mark, FaceMark)
    }


def track(stage: PickStage, face: FaceMark) -> FaceTrack:
    """The track of one back face between its anchors."""
    return track_face(
        stage,
        np.array([anchor.position_mm for anchor in face.anchors]),
        np.array([anchor.time_ns for anchor in face.anchors]),
    )


def recipe_setting(job: Job, line: Line, model: LineModel) -> Setting:
    """What the recipe needs to know of a line."""
    return Setting(
        centre_frequency_ghz=job.antenna_of(line).centre_frequency_ghz,
        gain_start_ns=line.direct.time_ns,
        ns_per_100mm=200 / velocity_mm_per_ns(model.permittivity),
    )
