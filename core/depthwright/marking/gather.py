"""Lines that were marked one by one, gathered in one job."""

from collections.abc import Sequence

from depthwright.edits import change_job
from depthwright.job import Antenna, Job, Line
from depthwright.measuring.backface import FaceTrack


def gathered(
    parts: Sequence[tuple[Job, dict[str, FaceTrack]]], name: str
) -> tuple[Job, dict[str, FaceTrack]]:
    """One job with the lines of many jobs of one line each, and the tracks of its back faces.

    All lie in one zone; lines whose antennas are alike share one. No two lines have one name.

    Parameters
    ----------
    parts
        Jobs with the tracks of their back faces by the mark's id.
    name
        Name of the new job.
    """
    antennas: list[Antenna] = []
    lines: list[Line] = []
    tracks: dict[str, FaceTrack] = {}
    taken: dict[str, int] = {}
    names: set[str] = set()
    for job, faces in parts:
        (line,) = job.lines
        antenna = _shared(antennas, job.antenna_of(line))
        ids = {mark.id: _next(taken, mark.kind) for mark in line.marks}
        tracks |= {ids[mark_id]: track for mark_id, track in faces.items()}
        marks = tuple(mark.model_copy(update={"id": ids[mark.id]}) for mark in line.marks)
        fields = {
            "id": _next(taken, "line"),
            "name": _unlike(names, line.name),
            "antenna": antenna.id,
            "marks": marks,
        }
        lines.append(line.model_copy(update=fields))
    zones = parts[0][0].zones
    whole = {"name": name, "zones": zones, "antennas": tuple(antennas), "lines": tuple(lines)}
    return change_job(Job(), **whole), tracks


def _shared(antennas: list[Antenna], antenna: Antenna) -> Antenna:
    for other in antennas:
        if other == antenna.model_copy(update={"id": other.id}):
            return other
    antennas.append(antenna.model_copy(update={"id": f"antenna-{len(antennas) + 1}"}))
    return antennas[-1]


def _next(taken: dict[str, int], stem: str) -> str:
    taken[stem] = taken.get(stem, 0) + 1
    return f"{stem}-{taken[stem]}"


def _unlike(names: set[str], name: str) -> str:
    number, unlike = 1, name
    while unlike in names:
        number += 1
        unlike = f"{name} ({number})"
    names.add(unlike)
    return unlike
