"""Which parts of the bars' crests count as evidence, and the times they are read with."""

import math
from functools import lru_cache
from itertools import compress
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, TYPICAL_PERMITTIVITY
from depthwright.depth import priors
from depthwright.depth.curvature import Crest
from depthwright.depth.direct_wave import direct_shift
from depthwright.job import BarMark, CrestNode, Job, Line

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Number = TypeVar("Number", float, NDArray[np.float64])

CROSSING_PERIODS = 0.6
"""A crest counts up to where another bar's hyperbola comes this near, in periods of the direct wave."""
LEAST_NODES = 5
LEAST_ON_A_FLANK = 2
"""From one flank alone, the apex's place and the curvature cannot be told apart."""


def offset_beforehand_ns(job: Job, line: Line) -> float:
    """What is added to a time after the direct wave: ``s/c``, the computed shift and the card's, ns."""
    antenna, shift = job.antenna_of(line), 0.0
    if antenna.direct_shift == "computed":
        shift = _typical_shift_ns(
            antenna.separation_mm, antenna.height_mm, job.direct_frequency_ghz(line)
        )
    return antenna.separation_mm / C_MM_PER_NS + shift + antenna.time_offset_ns


@lru_cache
def _typical_shift_ns(separation_mm: float, height_mm: float, frequency_ghz: float) -> float:
    shift = direct_shift(separation_mm, height_mm, TYPICAL_PERMITTIVITY, frequency_ghz)
    return float(shift.time_ns)


def two_way_beforehand_ns(job: Job, line: Line, file_ns: Number) -> Number:
    """Two-way time of an echo, or of many, by what is known without evidence, ns."""
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

    A crest that was read with the other bars' echoes taken away counts as far as it goes.

    The other hyperbolas are drawn roughly, as of points in a typical concrete; ``zero_ns`` is the file
    time of no travelled distance.
    """
    kept: list[tuple[CrestNode, ...]] = [() for _ in bars]
    long = [index for index, bar in enumerate(bars) if len(bar.crest) >= LEAST_NODES]
    if not long:
        return kept
    place = np.array([bar.position_mm for bar in bars])
    apex = np.array([bar.time_ns for bar in bars]) - zero_ns
    position, time = np.array([node for index in long for node in bars[index].crest]).T
    count = np.array([len(bars[index].crest) for index in long])
    start, own = np.cumsum(count) - count, np.repeat(long, count)
    near_ns = CROSSING_PERIODS / frequency_ghz
    crossed = _crossed(place, apex, position, time - zero_ns, own, near_ns)
    crossed &= ~np.repeat([bars[index].crest_alone for index in long], count)
    use = _uncrossed(position - place[own], crossed, start, count)
    for index, first, length in zip(long, start.tolist(), count.tolist(), strict=True):
        kept[index] = tuple(compress(bars[index].crest, use[first : first + length].tolist()))
    return kept


def _crossed(
    place: Floats, apex: Floats, position: Floats, time: Floats, own: Indices, near_ns: float
) -> NDArray[np.bool_]:
    """Which nodes, at these positions and two-way times, lie near a hyperbola of a bar but their own."""
    slowness = 2 * math.sqrt(TYPICAL_PERMITTIVITY) / C_MM_PER_NS
    order = np.argsort(place, kind="stable")
    # A bar farther away than this has its whole hyperbola later.
    reach = (time + near_ns) / slowness
    first = np.searchsorted(place, position - reach, sorter=order)
    last = np.searchsorted(place, position + reach, side="right", sorter=order)
    crossed = np.zeros(len(position), dtype=bool)
    for further in range(int((last - first).max())):
        node = np.flatnonzero(first + further < last)
        other = order[first[node] + further]
        tail = np.hypot(apex[other], slowness * (position[node] - place[other]))
        crossed[node] |= (np.abs(tail - time[node]) < near_ns) & (other != own[node])
    return crossed


def _uncrossed(
    offset: Floats, crossed: NDArray[np.bool_], start: Indices, count: Indices
) -> NDArray[np.bool_]:
    """The nodes on both flanks before the first crossed one; none of a crest that keeps too few.

    ``offset`` is from the own apex; crests follow one another, each from its ``start`` on.
    """
    left = np.maximum.reduceat(np.where(crossed & (offset < 0), offset, -np.inf), start)
    right = np.minimum.reduceat(np.where(crossed & (offset > 0), offset, np.inf), start)
    use = (offset > np.repeat(left, count)) & (offset < np.repeat(right, count))
    flanks = [np.add.reduceat(use & side, start, dtype=int) for side in (offset < 0, offset > 0)]
    enough = (np.add.reduceat(use, start, dtype=int) >= LEAST_NODES) & (
        np.minimum(*flanks) >= LEAST_ON_A_FLANK
    )
    return use & np.repeat(enough, count)
