"""Lines drawn quickly: pulses along the exact travel times of bars, for searching them again.

They check the search and its arithmetic, not physics: the pulses keep one shape, and nothing bounces twice.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.finding.bars import propose_bars
from depthwright.finding.proposal import BarProposal
from depthwright.intake import take_in
from depthwright.job import Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.results.tracking import pick_stage
from depthwright.scan import scan_from_array

DT_NS, SPACING_MM = 0.02, 5.0
SEPARATION_MM, FREQUENCY_GHZ = 40.0, 2.0
DIRECT_NS, PERMITTIVITY = 1.0, 7.5
RADIUS_MM = 6.0
ZERO_NS = DIRECT_NS - SEPARATION_MM / C_MM_PER_NS


@dataclass(frozen=True)
class Reflector:
    """A bar across the line, or with ``strength`` below zero something of the other polarity.

    ``strength`` is against a bar's usual one.
    """

    position_mm: float
    cover_mm: float
    strength: float = 1.0


@dataclass(frozen=True)
class Surveyed:
    """A drawn line ready to be searched."""

    job: Job
    line: Line
    stage: PickStage

    def proposals(self, least: float = 0.0) -> list[BarProposal]:
        """What is proposed with at least a score."""
        return [b for b in propose_bars(self.job, self.line, self.stage) if b.score >= least]


def echo_ns(away_mm: np.ndarray, cover_mm: float) -> np.ndarray:
    """File times of a bar's echo beside its apex, ns."""
    echo = wave.bar_time(away_mm, cover_mm, RADIUS_MM, PERMITTIVITY, SEPARATION_MM)
    return np.asarray(echo.time_ns) + ZERO_NS


def bar_ns(cover_mm: float) -> float:
    """File time of a bar's apex, ns."""
    return float(echo_ns(np.zeros(1), cover_mm)[0])


def survey(
    reflectors: Sequence[Reflector] = (),
    *,
    length_mm: float = 800.0,
    start_mm: float = 0.0,
    places_mm: np.ndarray | None = None,
    noise: float = 0.005,
    jitter_ns: float = 0.0,
    dead: Sequence[int] = (),
    backwards: bool = False,
    layers: Sequence[tuple[float, float]] = (),
    drift: float = 0.0,
    window_ns: float = 6.0,
    seed: int = 5,
) -> Surveyed:
    """Draw a line and take it in.

    Parameters
    ----------
    reflectors
        What lies under it.
    places_mm
        Where the traces were recorded, shape (traces,), instead of every 5 mm along a length.
    layers
        Depths of level layers, mm, with the strengths of their echoes against the direct wave's.
    drift
        Offset and slow drift of the traces, against the direct wave's strength.
    """
    random = np.random.default_rng(seed)
    x = start_mm + np.arange(0.0, length_mm + 1, SPACING_MM) if places_mm is None else places_mm
    time = np.arange(round(window_ns / DT_NS)) * DT_NS
    late = jitter_ns * random.uniform(-1, 1, len(x))
    samples = _pulses(time, DIRECT_NS + late, np.ones(len(x)))
    for one in reflectors:
        away = np.abs(x - one.position_mm)
        distance = np.hypot(one.cover_mm, away)
        strong = 0.5 * one.strength * 40.0 * one.cover_mm / distance**2
        samples -= _pulses(time, echo_ns(away, one.cover_mm) + late, strong)
    for depth, strong in layers:
        echo = wave.travel_time(depth, PERMITTIVITY, SEPARATION_MM).time_ns
        samples += _pulses(time, echo + ZERO_NS + late, np.full(len(x), strong))
    samples += noise * random.standard_normal(samples.shape)
    samples += drift * (1 + np.sin(0.5 * time + 1.0))
    samples[list(dead)] = 0.0
    if backwards:
        samples, x = samples[::-1], x[::-1]
    step = float(x[1] - x[0])
    scan = scan_from_array(samples, DT_NS, step, float(x[0]), SEPARATION_MM, FREQUENCY_GHZ)
    if places_mm is not None:
        scan = replace(scan, positions_mm=x.copy())
    job, line_id = take_in(Job(), scan)
    line = job.line(line_id)
    return Surveyed(job, line, pick_stage(job, line, scan))


def _pulses(time: np.ndarray, arrival_ns: np.ndarray, strength: np.ndarray) -> np.ndarray:
    """Ricker pulses, one for each trace, shape (traces, samples)."""
    phase = (np.pi * FREQUENCY_GHZ * (time[None, :] - np.reshape(arrival_ns, (-1, 1)))) ** 2
    return np.reshape(strength, (-1, 1)) * (1 - 2 * phase) * np.exp(-phase)


@pytest.fixture(name="survey", scope="session")
def _survey() -> Callable[..., Surveyed]:
    return survey


@pytest.fixture(name="bar_at", scope="session")
def _reflector() -> type[Reflector]:
    return Reflector


@pytest.fixture(name="bar_ns", scope="session")
def _bar_ns() -> Callable[[float], float]:
    return bar_ns


@pytest.fixture(name="echo_ns", scope="session")
def _echo_ns() -> Callable[[np.ndarray, float], np.ndarray]:
    return echo_ns
