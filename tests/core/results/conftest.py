"""A job made by hand: marks at exact ray times, so that every number is known beforehand."""

from collections.abc import Callable

import pytest

from depthwright import edits, wave
from depthwright.constants import C_MM_PER_NS
from depthwright.depth import priors
from depthwright.job import Antenna, DirectPick, Job, Line, ScanRef
from depthwright.measuring.picking import Pick

PERMITTIVITY = 8.0
SEPARATION_MM = 40.0
DIRECT_NS = 1.0


def file_ns(depth_mm: float) -> float:
    """File time of an echo from a depth, for antennas on the surface, ns."""
    travelled = float(wave.travel_time(depth_mm, PERMITTIVITY, SEPARATION_MM).time_ns)
    return DIRECT_NS - SEPARATION_MM / C_MM_PER_NS + travelled


def bar_ns(depth_mm: float) -> float:
    """File time of a bar's echo, which comes a little before its ray, ns."""
    return file_ns(depth_mm) - priors.BARS_EARLY_NS


def known_job(
    covers: tuple[float, ...] = (50.0, 30.0, 70.0), slab_mm: float | None = 160.0, lines: int = 1
) -> Job:
    """Lines with bars 200 mm apart (position_u 1 mm) and a back face; permittivity 8."""
    job = Job()
    antenna = Antenna(
        id="antenna-1",
        separation_mm=SEPARATION_MM,
        separation_u_mm=0.0,
        direct_shift="measured",
        centre_frequency_ghz=2.0,
        height_mm=0.0,
        time_offset_ns=0.0,
        time_offset_u_ns=0.04,
    )
    for number in range(1, lines + 1):
        line_id = f"line-{number}"
        line = Line(
            id=line_id,
            name=f"L{number}",
            scan=ScanRef(path="", size_bytes=0, sha256="0", traces=9, samples=9, dt_ns=0.02),
            zone="zone-1",
            antenna="antenna-1",
            direct=DirectPick(time_ns=DIRECT_NS),
        )
        job = edits.add_line(job, line, None if job.antennas else antenna)
        for index, cover in enumerate(covers):
            pick = Pick(100.0 + 200 * index, 1.0, bar_ns(cover))
            job, _ = edits.add_bar(job, line_id, pick)
        face = None
        for position in (0.0, 300.0, 600.0) if slab_mm else ():
            pick = Pick(position, float("nan"), file_ns(slab_mm or 0.0))
            job, face = edits.add_anchor(job, line_id, face, pick)
    return job


@pytest.fixture(name="file_ns")
def _file_ns() -> Callable[[float], float]:
    return file_ns


@pytest.fixture(name="bar_ns")
def _bar_ns() -> Callable[[float], float]:
    return bar_ns


@pytest.fixture(name="known_job")
def _known_job() -> Callable[..., Job]:
    return known_job
