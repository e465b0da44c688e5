"""What results need from the scans: the pick stage of each line and the back faces tracked on it."""

from collections.abc import Mapping

import numpy as np

from depthwright.job import FaceMark, Job, Line
from depthwright.measuring.backface import FaceTrack, track_face
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import find_direct_wave
from depthwright.scan import Scan


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
