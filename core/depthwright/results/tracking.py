"""What stands between scans and results: pick stages, tracked back faces, and the recipe's setting."""

from collections.abc import Mapping

import numpy as np

from depthwright.job import FaceMark, Job, Line
from depthwright.measuring.backface import FaceTrack, track_face
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import DirectWave, find_direct_wave
from depthwright.results.values import LineModel
from depthwright.scan import Scan
from depthwright.showing.setting import Setting
from depthwright.wave import travel_time


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


def recipe_setting(
    job: Job, line: Line, model: LineModel, scan: Scan, direct: DirectWave | None
) -> Setting:
    """What the recipe needs to know of a line; its direct wave only where the recipe works on it."""
    faces = [mark for mark in line.marks if isinstance(mark, FaceMark)]
    in_air_ns = float(travel_time(0.0, 1.0, 0.0, model.height_mm).time_ns)
    return Setting(
        centre_frequency_ghz=job.antenna_of(line).centre_frequency_ghz,
        zero_ns=model.zero_ns - model.residual_offset_ns + in_air_ns,
        permittivity=model.permittivity,
        separation_mm=model.separation_mm,
        trace_spacing_mm=(scan.trace_spacing_mm or 1.0) * line.distance_scale,
        direct_ns=line.direct.time_ns,
        direct=direct,
        face_ns=min((anchor.time_ns for face in faces for anchor in face.anchors), default=None),
    )


def shown_edges_mm(line: Line, scan: Scan) -> tuple[float, float]:
    """Distances from the datum between which a line is shown: its ends, or those of its crop."""
    left, right = scan.edges_mm
    if line.crop_mm is not None:
        low, high = max(left, line.crop_mm[0]), min(right, line.crop_mm[1])
        # A crop beside the line, as another scan's may be, hides nothing.
        left, right = (low, high) if low < high else (left, right)
    first, last = sorted((line.on_concrete_mm(left), line.on_concrete_mm(right)))
    return first, last
