"""Synthetic lines shared by the tests of the core.

They are drawn with Ricker pulses at exact ray times, so they check picking and arithmetic, not
physics; physics is checked by the simulator and in ``tests/reference``.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import find_direct_wave
from depthwright.scan import Scan, scan_from_array

DT_NS = 0.02
SEPARATION_MM = 40.0
FREQUENCY_GHZ = 2.0
DIRECT_NS = 1.0
PERMITTIVITY = 8.0


@dataclass(frozen=True)
class Drawn:
    """A drawn line and what is in it: bars as (position, cover), back face thickness."""

    scan: Scan
    bars: tuple[tuple[float, float], ...]
    thickness_mm: float

    def echo_ns(self, depth_mm: float) -> float:
        """File time of an echo, ns."""
        travelled = wave.travel_time(depth_mm, PERMITTIVITY, SEPARATION_MM).time_ns
        return float(travelled) + DIRECT_NS - SEPARATION_MM / C_MM_PER_NS


def ricker(time_ns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Ricker pulse around zero."""
    phase = (np.pi * FREQUENCY_GHZ * time_ns) ** 2
    return (1 - 2 * phase) * np.exp(-phase)


def draw_line(
    bars: tuple[tuple[float, float], ...] = ((150.0, 50.0), (350.0, 70.0), (550.0, 60.0)),
    thickness_mm: float = 160.0,
    noise: float = 0.002,
    jitter_ns: float = 0.0,
    dead: tuple[int, ...] = (),
    backwards: bool = False,
    face_gap_mm: tuple[float, float] | None = None,
) -> Drawn:
    """Draw a line of 700 mm, 5 mm a trace."""
    random = np.random.default_rng(5)
    x = np.arange(0.0, 701.0, 5.0)
    time = np.arange(400) * DT_NS
    late = jitter_ns * random.uniform(-1, 1, len(x))
    zero = DIRECT_NS - SEPARATION_MM / C_MM_PER_NS
    samples = ricker(time[None, :] - DIRECT_NS - late[:, None])
    for position, cover in bars:
        radius = 6.0
        away = np.hypot(cover + radius, x - position) - radius
        echo = wave.travel_time(away, PERMITTIVITY, SEPARATION_MM).time_ns + zero + late
        samples -= 0.5 * np.sqrt(cover / away)[:, None] * ricker(time[None, :] - echo[:, None])
    echo = wave.travel_time(thickness_mm, PERMITTIVITY, SEPARATION_MM).time_ns + zero + late
    face = 0.3 * ricker(time[None, :] - echo[:, None])
    if face_gap_mm is not None:
        face[(x > face_gap_mm[0]) & (x < face_gap_mm[1])] = 0.0
    samples += face + noise * random.standard_normal(samples.shape)
    samples[list(dead)] = 0.0
    if backwards:
        scan = scan_from_array(samples[::-1], DT_NS, -5.0, 700.0, SEPARATION_MM, FREQUENCY_GHZ)
    else:
        scan = scan_from_array(samples, DT_NS, 5.0, 0.0, SEPARATION_MM, FREQUENCY_GHZ)
    return Drawn(scan, bars, thickness_mm)


def stage_of(drawn: Drawn) -> PickStage:
    """The pick stage of a drawn line."""
    return PickStage(drawn.scan, find_direct_wave(drawn.scan, FREQUENCY_GHZ))


@pytest.fixture(name="draw_line")
def _draw_line() -> Callable[..., Drawn]:
    return draw_line


@pytest.fixture(name="stage_of")
def _stage_of() -> Callable[[Drawn], PickStage]:
    return stage_of


@pytest.fixture(scope="session")
def plain_line() -> Drawn:
    """Three bars and a back face, a little noise."""
    return draw_line()


@pytest.fixture(scope="session")
def plain_stage(plain_line: Drawn) -> PickStage:
    """Its pick stage."""
    return stage_of(plain_line)
