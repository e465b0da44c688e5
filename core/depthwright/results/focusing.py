r"""How sharp the bars of a line become when they are migrated with one permittivity or another.

It is a check beside the curvature, never evidence of its own: both read the same hyperbolas. The curvature
follows the crest of the envelope; here the traces themselves are stacked, wave on wave, along the
hyperbola :math:`t_j` that the same model of travel time draws through points :math:`p` beside a mark,

.. math:: S(\varepsilon) = \max_p \frac{\sum_\tau |\sum_j w_j a_j(t_j + \tau)|^2}
    {\sum_j w_j \sum_\tau \sum_j w_j |a_j(t_j + \tau)|^2} ,

with :math:`a_j` the analytic signals of the traces, :math:`\tau` over the pulse, and weights :math:`w_j` for
obliquity and against the aperture's edges: 1 where all energy arrives in step. The permittivity of the
largest :math:`S` is the bar's; a line's is the median of its bars. The pulse keeps its shape along the
hyperbola: drawing another one through each of its samples stretches it, and moves the maximum.

Sources: coherence of a stack by N. S. Neidell and M. T. Taner, "Semblance and other coherency measures
for multichannel data", *Geophysics* 36 (1971), from memory. Plain norms of a migrated patch (sum of
fourth powers, peak over total) were tried: where neighbours narrow the aperture they err by up to 0.3
in ln permittivity (full-wave runs, own computation).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, TYPICAL_PERMITTIVITY
from depthwright.depth import priors
from depthwright.depth.leg_delay import leg_delay_ns
from depthwright.job import Antenna, BarMark, Job, Line
from depthwright.measuring.stage import PickStage
from depthwright.measuring.timezero import alive
from depthwright.processing.envelope import companion
from depthwright.results.crests import CROSSING_PERIODS, offset_beforehand_ns

Floats = NDArray[np.float64]

MOST_BARS = 20
APERTURE_MM = 120.0
"""How far to each side of a mark the traces are stacked."""
LEAST_REACH_MM = 30.0
"""Cut off nearer than this by another bar's hyperbola or the line's end, a bar is not focused. Bars with a
reach of 30 to 45 mm focused as well as the others (full-wave runs, own computation); nearer was not tried."""
PHASE_SHIFT = -0.10
"""By how much ln permittivity comes out low when waves are stacked along the hyperbola of their envelope.

Bars of five full-wave lines focused 0.08 to 0.13 low, two other lines 0.04 to 0.06 low, drawn pulses at the
truth (own computation): the model holds the envelope's delay by the surface, and likely the phase has
another one.
"""
TRIALS: Floats = math.exp(PHASE_SHIFT) * np.geomspace(*priors.USUAL_PERMITTIVITY, 30)
"""Trial permittivities, before that is taken out."""
BAR_U = 0.03
"""Least scatter of ln permittivity from bar to bar (full-wave runs, own computation)."""
_BESIDE_MM = 10.0
"""How far beside a mark its image is looked for."""
_PULSE_PERIODS = 0.35
_PULSE_TIMES = 8
_TAPER = 0.3


@dataclass(frozen=True)
class Focus:
    """The permittivity that makes the bars of a line sharpest.

    ``log_u`` is the standard uncertainty of its natural logarithm, from the scatter of the bars and what
    the model of the hyperbolas leaves open; ``bars`` how many bars it comes from.
    """

    permittivity: float
    log_u: float
    bars: int


@dataclass(frozen=True)
class _View:
    """A bar and the traces it is focused from: ``trace`` under its mark, ``first`` up to ``last``."""

    bar: BarMark
    trace: int
    first: int
    last: int


def focus_of(
    job: Job, line: Line, stage: PickStage, report: Callable[[float], None] | None = None
) -> Focus | None:
    """The permittivity at which a line's bars focus best; None where no bar can be focused.

    Parameters
    ----------
    job, line
        The line and its job.
    stage
        The line's scan as its marks were picked on.
    report
        Told the share that is done, 0 to 1, after each bar; it may raise to cancel.
    """
    views = _views(job, line, stage)
    chosen = np.unique(np.linspace(0, len(views) - 1, min(len(views), MOST_BARS)).round())
    found = []
    for done, index in enumerate(chosen.astype(int).tolist(), start=1):
        best = _optimum(_sharpness(job, line, stage, views[index], TRIALS))
        if best is not None:
            found.append(best)
        if report is not None:
            report(done / len(chosen))
    return _together(np.array(found)) if found else None


def sharpness_of(
    job: Job, line: Line, stage: PickStage, bar: BarMark, permittivity: Floats
) -> Floats | None:
    """How sharp one bar becomes, 0 to 1, shape (trials,); None where it cannot be focused.

    Parameters
    ----------
    job, line, stage, bar
        The bar, its line, and the line as it was picked on.
    permittivity
        Trial permittivities, shape (trials,).
    """
    view = next((view for view in _views(job, line, stage) if view.bar.id == bar.id), None)
    return None if view is None else _sharpness(job, line, stage, view, permittivity)


def _views(job: Job, line: Line, stage: PickStage) -> list[_View]:
    """The bars that can be focused, along the line, each with the traces that are its own."""
    antenna, scan = job.antenna_of(line), stage.scan
    bars = sorted(
        (mark for mark in line.marks if isinstance(mark, BarMark)), key=lambda bar: bar.position_mm
    )
    zero_ns = line.direct.time_ns - offset_beforehand_ns(job, line)
    spacing = scan.trace_spacing_mm
    views = []
    for bar in bars:
        lag = (bar.time_ns - line.direct.time_ns) * antenna.centre_frequency_ghz
        if lag < priors.CURVATURE_LEAST_LAG:
            continue
        near_ns = CROSSING_PERIODS / antenna.centre_frequency_ghz
        left, right = (int(r / spacing) for r in _reach(bar, bars, zero_ns, near_ns))
        trace = scan.nearest_trace(bar.position_mm)
        first, last = max(0, trace - left), min(scan.traces, trace + right + 1)
        if min(trace - first, last - 1 - trace) * spacing >= LEAST_REACH_MM:
            views.append(_View(bar, trace, first, last))
    return views


def _reach(
    bar: BarMark, bars: list[BarMark], zero_ns: float, near_ns: float
) -> tuple[float, float]:
    """How far to both sides no other bar's hyperbola comes near, drawn roughly in a typical concrete, mm."""
    step = 5.0
    away = np.arange(step, APERTURE_MM + step / 2, step)
    apex = np.array([other.time_ns for other in bars]) - zero_ns
    place = np.array([other.position_mm for other in bars])
    slowness = 2 * math.sqrt(TYPICAL_PERMITTIVITY) / C_MM_PER_NS
    own = bars.index(bar)
    reach = []
    for side in (-1, 1):
        from_others = bar.position_mm + side * away - place[:, None]
        tails = np.hypot(apex[:, None], slowness * from_others)
        crossed = np.abs(tails - tails[own]) < near_ns
        crossed[own] = False
        free = ~crossed.any(axis=0)
        reach.append(step * (len(away) if free.all() else int(np.argmin(free))))
    return reach[0], reach[1]


def _sharpness(job: Job, line: Line, stage: PickStage, view: _View, permittivity: Floats) -> Floats:
    """The coherence's maximum over the places beside a mark, shape (trials,)."""
    antenna, scan = job.antenna_of(line), stage.scan
    traces = stage.block(view.first, view.last).astype(np.float64)
    signal = (traces + 1j * companion(traces)).astype(np.complex128, copy=False)
    living = alive(np.abs(signal))
    row = np.arange(view.last - view.first)[living]
    beside = max(1, int(_BESIDE_MM / scan.trace_spacing_mm))
    place = view.trace - view.first + np.arange(-beside, beside + 1)
    steps = np.abs(row - place[:, None])
    scale = line.distance_scale * math.sin(math.radians(view.bar.crossing_deg))
    offset = scale * scan.trace_spacing_mm * np.arange(steps.max() + 1)
    two_way = view.bar.time_ns - line.direct.time_ns + offset_beforehand_ns(job, line)
    moveout, oblique = moveout_of(
        offset, two_way + priors.BARS_EARLY_NS, view.bar.diameter_mm / 2, antenna, permittivity
    )
    pulse = np.linspace(-1, 1, _PULSE_TIMES) * _PULSE_PERIODS / antenna.centre_frequency_ghz
    # From here on the axes are trials, times along the pulse, places, traces.
    time = view.bar.time_ns + pulse[:, None, None] + moveout[:, None, steps]
    value = _read(signal, row, time / scan.dt_ns)
    weight = oblique[:, None, steps] * _taper(view)[living]
    stacked = (np.abs((weight * value).sum(axis=-1)) ** 2).sum(axis=1)
    energy = (weight.sum(axis=-1) * (weight * np.abs(value) ** 2).sum(axis=-1)).sum(axis=1)
    coherence = stacked / np.maximum(energy, np.finfo(np.float64).tiny)
    sharpest: Floats = coherence.max(axis=1)
    return sharpest


def moveout_of(
    offset: Floats,
    two_way_ns: float | Floats,
    radius_mm: float,
    antenna: Antenna,
    permittivity: Floats,
) -> tuple[Floats, Floats]:
    """Times after the apex by the curvature's model, ns, and the weights for obliquity.

    Times and permittivities broadcast; both results have their shape and then that of the offsets. The
    weight is the squared cosine of the way down.
    """
    two_way, eps = np.broadcast_arrays(np.asarray(two_way_ns)[..., None], permittivity[..., None])
    cover = wave.depth_mm(two_way, eps, antenna.separation_mm, antenna.height_mm)
    # Too slow a wave leaves no depth at all for the apex's time.
    cover = np.where(np.isfinite(cover), np.maximum(cover, 1.0), 1.0)
    echo = wave.bar_time(offset, cover, radius_mm, eps, antenna.separation_mm)
    pulse = antenna.centre_frequency_ghz * priors.PULSE_PER_LINE_FREQUENCY
    height = max(antenna.height_mm, 0.1)
    delay = leg_delay_ns(echo.leg_mm, echo.leg_angle_rad, height, eps, pulse).sum(axis=0)
    time = echo.time_ns + delay
    return time - time[..., :1], cover**2 / (cover**2 + offset**2)


def _read(
    signal: NDArray[np.complex128], row: NDArray[np.intp], sample: Floats
) -> NDArray[np.complex128]:
    """Values of traces ``row`` at places between samples; the last axis of ``sample`` runs along ``row``."""
    sample = np.clip(sample, 0.0, signal.shape[1] - 1.001)
    before = sample.astype(np.intp)
    share = sample - before
    value: NDArray[np.complex128] = (
        signal[row, before] * (1 - share) + signal[row, before + 1] * share
    )
    return value


def _taper(view: _View) -> Floats:
    """Weights that fall to zero at the ends of the aperture, shape (traces,)."""
    away = np.arange(view.first, view.last) - view.trace
    end = np.where(away < 0, view.trace - view.first, view.last - 1 - view.trace) + 1
    fall = np.clip((1 - np.abs(away) / end) / _TAPER, 0.0, 1.0)
    weight: Floats = np.sin(fall * np.pi / 2) ** 2
    return weight


def _optimum(sharpness: Floats) -> float | None:
    """Ln permittivity of the sharpest trial, refined by a parabola; None at the ends of the range."""
    at = int(np.argmax(sharpness))
    if at in (0, len(sharpness) - 1):
        return None
    before, top, after = sharpness[at - 1 : at + 2]
    bend = before - 2 * top + after
    shift = 0.5 * (before - after) / bend if bend < 0 else 0.0
    step = math.log(TRIALS[1] / TRIALS[0])
    return math.log(TRIALS[at]) + float(shift) * step


def _together(log_permittivity: Floats) -> Focus:
    """The bars' median, with the scatter by the median deviation (1.4826 of it for normal errors)."""
    middle = float(np.median(log_permittivity))
    spread = 1.4826 * float(np.median(np.abs(log_permittivity - middle)))
    bars = len(log_permittivity)
    own = max(spread, BAR_U) / math.sqrt(bars)
    return Focus(math.exp(middle - PHASE_SHIFT), math.hypot(priors.MOVEOUT_U, own), bars)
