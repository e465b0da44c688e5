"""Which parts of the bars' crests count as evidence, and the times they are read with."""

import math

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, TYPICAL_PERMITTIVITY
from depthwright.depth import priors
from depthwright.depth.curvature import Crest
from depthwright.depth.direct_wave import direct_shift
from depthwright.job import BarMark, CrestNode, Job, Line

Floats = NDArray[np.float64]

CROSSING_PERIODS = 0.6
"""A crest counts up to where another bar's hyperbola comes this near, in periods of the direct wave."""
LEAST_NODES = 5
LEAST_ON_A_FLANK = 2
"""From one flank alone, the apex's place and the curvature cannot be told apart."""


def offset_beforehand_ns(job: Job, line: Line) -> float:
    """What is added to a time after the direct wave: ``s/c``, the computed shift and the card's, ns."""
    antenna, shift = job.antenna_of(line), 0.0
    if antenna.direct_shift == "computed":
        shift = float(
            direct_shift(
                antenna.separation_mm,
                antenna.height_mm,
                TYPICAL_PERMITTIVITY,
                job.direct_frequency_ghz(line),
            ).time_ns
        )
    return antenna.separation_mm / C_MM_PER_NS + shift + antenna.time_offset_ns


def two_way_beforehand_ns(job: Job, line: Line, file_ns: float) -> float:
    """Two-way time of an echo by what is known without evidence, ns."""
    return file_ns - line.direct.time_ns + offset_beforehand_ns(job, line)


def crests_of(job: Job, line: Line, beforehand_ns: float) -> dict[str, Crest]:
    """The crests of a line that are fit to count, by the id of their bar.

    Parameters
    ----------
    job, line
        The line and its job.
    beforehand_ns
        :func:`offset_beforehand_ns` of the line.
    """
    antenna = job.antenna_of(line)
    bars = [mark for mark in line.marks if isinstance(mark, BarMark)]
    earliest = float(wave.travel_time(1.0, 1.5, antenna.separation_mm, antenna.height_mm).time_ns)
    own = own_nodes(bars, line.direct.time_ns - beforehand_ns, antenna.centre_frequency_ghz)
    crests = {}
    for bar, nodes in zip(bars, own, strict=True):
        after_ns = bar.time_ns - line.direct.time_ns
        two_way = after_ns + beforehand_ns + priors.BARS_EARLY_NS
        far = after_ns * antenna.centre_frequency_ghz >= priors.CURVATURE_LEAST_LAG
        if not nodes or not far or two_way <= earliest:
            continue
        crests[bar.id] = Crest(
            nodes=tuple((line.distance_scale * position, time) for position, time in nodes),
            apex_mm=line.distance_scale * bar.position_mm,
            two_way_ns=two_way,
            radius_mm=bar.diameter_mm / 2,
            sine=math.sin(math.radians(bar.crossing_deg)),
            separation_mm=antenna.separation_mm,
            height_mm=antenna.height_mm,
            frequency_ghz=antenna.centre_frequency_ghz,
        )
    return crests


def own_nodes(
    bars: list[BarMark], zero_ns: float, frequency_ghz: float
) -> list[tuple[CrestNode, ...]]:
    """The nodes of each bar's crest up to where another bar's hyperbola comes near; () where too few are.

    The other hyperbolas are drawn roughly, as of points in a typical concrete; ``zero_ns`` is the file
    time of no travelled distance.
    """
    place = np.array([bar.position_mm for bar in bars])
    apex = np.array([bar.time_ns for bar in bars]) - zero_ns
    slowness = 2 * math.sqrt(TYPICAL_PERMITTIVITY) / C_MM_PER_NS
    kept: list[tuple[CrestNode, ...]] = []
    for index, bar in enumerate(bars):
        if len(bar.crest) < LEAST_NODES:
            kept.append(())
            continue
        position, time = np.array(bar.crest).T
        tails = np.hypot(apex[:, None], slowness * (position[None, :] - place[:, None]))
        crossed = np.abs(tails + zero_ns - time) < CROSSING_PERIODS / frequency_ghz
        crossed[index] = False
        kept.append(_uncrossed(bar, position, crossed.any(axis=0)))
    return kept


def _uncrossed(bar: BarMark, position: Floats, crossed: NDArray[np.bool_]) -> tuple[CrestNode, ...]:
    """The nodes on both flanks before the first crossed one."""
    offset = position - bar.position_mm
    left = offset[crossed & (offset < 0)].max(initial=-math.inf)
    right = offset[crossed & (offset > 0)].min(initial=math.inf)
    use = (offset > left) & (offset < right)
    flanks = min(int((use & (offset < 0)).sum()), int((use & (offset > 0)).sum()))
    if use.sum() < LEAST_NODES or flanks < LEAST_ON_A_FLANK:
        return ()
    return tuple(node for node, counts in zip(bar.crest, use.tolist(), strict=True) if counts)
