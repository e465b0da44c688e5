r"""Diffraction-stack migration: hyperbolas collapse to the points they come from.

Each sample of the image, at depth :math:`d`, is a weighted sum along the travel times :math:`t(x)` of a point
at that depth, seen from antennas at the distance :math:`x` along the line,

.. math:: m(x_0, t_0) = \sum_k w_k(t_0) \; u_{1/2}(x_0 + k\,\Delta x, t(k\,\Delta x)) .

A flat reflector's wave meets the sum at a phase :math:`\omega t'' x^2 / 2`. By stationary phase the sum is
:math:`w_0 \sqrt{2 \pi / (\omega t'')} \, e^{i \pi / 4} / \Delta x` times the wave: that turn and that
loss of high frequencies are undone beforehand by :math:`u_{1/2}`, the traces times
:math:`\sqrt{-i \omega}`, so that the pulse keeps its shape and phase. The weights are
:math:`\cos\theta / \sqrt{r}` for the distance :math:`r` and angle :math:`\theta` of the point, tapered
towards the edge of the aperture and where neighbouring traces are too far out of step. Their common
factor is taken from the discrete sum itself: a flat reflector keeps its strength at the centre frequency.

Times stay those of the file: a point at depth :math:`d` comes out where its echo was straight above it.
Nothing is recorded beyond the ends of a block or of the trace, and there is nothing to be imaged above the
surface: the image is zero up to the echo of depth zero. That, and a sum of few traces, spoil the pulse's
shape at depths below about half the separation or half a wavelength.

Sources: W. A. Schneider, "Integral formulation for migration in two and three dimensions", *Geophysics* 43
(1978); O. Yilmaz, *Seismic Data Analysis*, ch. 4 (obliquity, spreading and wavelet factors); from memory.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.sparse import csr_array

from depthwright import wave
from depthwright.constants import C_MM_PER_NS
from depthwright.processing.filters import Block, Floats, chord

APERTURE_DEG = (45.0, 75.0)
"""Angles at which the aperture's taper begins and ends; half of the weight is left at 60 degrees. Common
practice, no source. With its end at 60 degrees, flat reflectors about one wavelength deep came out up to 6 %
too strong or weak (own computation)."""
STEP_PERIODS = (0.3, 0.5)
"""Moveout from trace to trace, in periods of the centre frequency, at which the other taper begins and ends:
half a period is where a limb can be mistaken for one that runs the other way."""
LEAST_SAMPLES_PER_PERIOD = 16.0
"""With fewer, traces are interpolated first: the straight line between samples would cost strength."""
_PIECE_TRACES = 256
_PLAN_SAMPLES = 128
_GROUP = 4
"""Distances summed in one matrix product."""


@dataclass(frozen=True)
class Migration:
    """The operator of a line; it is the same at every trace.

    Parameters
    ----------
    reach
        Traces on each side of an image trace that its sum takes in.
    fineness
        Samples of the interpolated traces for each recorded one.
    response
        The half-derivative, by frequency of the padded trace, complex64.
    groups
        One matrix for each group of distances, shape (samples, rows), with the rows of the interpolated
        traces it reads for each of its distances side by side.
    """

    reach: int
    samples: int
    fineness: int
    response: NDArray[np.complex64]
    groups: tuple["Group", ...]


@dataclass(frozen=True)
class Group:
    """Weights of neighbouring distances: ``steps`` in traces, image rows from ``first_row`` on.

    ``rows`` says from which of the interpolated trace's samples up to which is read.
    """

    steps: range
    first_row: int
    rows: tuple[int, int]
    weights: csr_array


def plan_migration(
    samples: int,
    dt_ns: float,
    trace_spacing_mm: float,
    zero_ns: float,
    velocity_mm_per_ns: float,
    separation_mm: float,
    centre_frequency_ghz: float,
) -> Migration:
    """Work out the sums for traces of so many samples, whose time is counted from ``zero_ns`` on."""
    fineness = int(np.ceil(LEAST_SAMPLES_PER_PERIOD * dt_ns * centre_frequency_ghz))
    permittivity = (C_MM_PER_NS / velocity_mm_per_ns) ** 2
    spacing = abs(trace_spacing_mm)
    two_way = np.arange(samples) * dt_ns - zero_ns
    depth = wave.depth_mm(two_way, permittivity, separation_mm)
    times, weights = _sums(depth, spacing, permittivity, separation_mm, centre_frequency_ghz)
    late = np.where(weights > 0, times - two_way, 0.0)
    turning = 2 * np.pi * centre_frequency_ghz
    flat = np.abs((_both_sides(weights) * np.exp(1j * turning * late)).sum(axis=0))
    weights /= np.where(flat > 0, flat * np.sqrt(turning), 1.0)
    row = (times + zero_ns) * fineness / dt_ns
    weights[(row >= samples * fineness - 1) | (row < 0)] = 0.0
    used = np.flatnonzero(weights.any(axis=1))
    count = int(used[-1]) + 1 if len(used) else 0
    return Migration(
        reach=max(count - 1, 0),
        samples=samples,
        fineness=fineness,
        response=_half_derivative(samples, dt_ns),
        groups=tuple(
            _group(range(first, min(first + _GROUP, count)), row, weights)
            for first in range(0, count, _GROUP)
            if weights[first : first + _GROUP].any()
        ),
    )


def migrate(block: Block, plan: Migration) -> Block:
    """The migrated image of a block, shape (traces, samples): ``plan.reach`` traces at its ends lack some.

    Parameters
    ----------
    block
        Traces at even distances, shape (traces, samples).
    """
    image: Block = np.zeros(block.shape, np.float32)
    for first in range(0, len(block), _PIECE_TRACES):
        count = min(_PIECE_TRACES, len(block) - first)
        around = _around(block, first, count, plan)
        piece = np.zeros((plan.samples, count), np.float32)
        for group in plan.groups:
            low, high = group.rows
            sums = np.empty((len(group.steps), high - low, count), np.float32)
            for into, step in zip(sums, group.steps, strict=True):
                middle = around[low:high, plan.reach :]
                if step == 0:
                    into[:] = middle[:, :count]
                    continue
                before = around[low:high, plan.reach - step : plan.reach - step + count]
                np.add(before, middle[:, step : step + count], out=into)
            piece[group.first_row :] += group.weights @ sums.reshape(-1, count)
        image[first : first + count] = piece.T
    return image


def _around(block: Block, first: int, count: int, plan: Migration) -> Block:
    """Half-derivatives of an image piece's traces, shape (fine samples, count + 2 * reach); zeros beyond."""
    fine = plan.samples * plan.fineness
    around: Block = np.zeros((fine, count + 2 * plan.reach), np.float32)
    low, high = max(0, first - plan.reach), min(len(block), first + count + plan.reach)
    padded = _padded(plan.samples)
    spectrum = scipy.fft.rfft(block[low:high] - chord(block[low:high]), n=padded, axis=-1)
    spectrum *= plan.response
    half = scipy.fft.irfft(spectrum, n=padded * plan.fineness, axis=-1)
    start = low - first + plan.reach
    np.multiply(half[:, :fine].T, plan.fineness, out=around[:, start : start + high - low])
    return around


def _padded(samples: int) -> int:
    return int(scipy.fft.next_fast_len(samples + samples // 2, real=True))


def _half_derivative(samples: int, dt_ns: float) -> NDArray[np.complex64]:
    turning = 2 * np.pi * scipy.fft.rfftfreq(_padded(samples), dt_ns)
    response: NDArray[np.complex64] = np.sqrt(-1j * turning).astype(np.complex64)
    return response


def _sums(
    depth: Floats, spacing: float, permittivity: float, separation: float, frequency: float
) -> tuple[Floats, Floats]:
    """Two-way times, ns, and relative weights of each distance and image sample, shape (steps, samples)."""
    widest = np.nanmax(depth, initial=0.0) * np.tan(np.radians(APERTURE_DEG[1]))
    away = np.arange(int(widest / spacing) + 1)[:, None] * spacing
    times, weights = np.zeros((2, len(away), len(depth)))
    below = np.flatnonzero(depth > 0)
    for part in np.array_split(below, len(below) // _PLAN_SAMPLES + 1):
        deep = depth[None, part]
        point = wave.bar_time(away, deep, 0.0, permittivity, separation)
        angle = np.arctan2(away, deep)
        times[:, part] = point.time_ns
        weights[:, part] = (
            np.cos(angle)
            / np.sqrt(np.hypot(away, deep))
            * _taper(np.degrees(angle), *APERTURE_DEG)
            * _taper(np.abs(point.per_offset) * spacing * frequency, *STEP_PERIODS)
        )
    return times, weights


def _group(steps: range, row: Floats, weights: Floats) -> Group:
    """The matrix of some distances; each weight is shared by the two samples its time lies between."""
    step, image = np.nonzero(weights[steps.start : steps.stop])
    at, weight = row[step + steps.start, image], weights[step + steps.start, image]
    before = np.floor(at).astype(np.intp)
    low, high, first = int(before.min()), int(before.max()) + 2, int(image.min())
    column = step * (high - low) + before - low
    shape = (weights.shape[1] - first, len(steps) * (high - low))
    shares = np.concatenate([weight * (before + 1 - at), weight * (at - before)])
    places = np.tile(image - first, 2), np.concatenate([column, column + 1])
    matrix = csr_array((shares.astype(np.float32), places), shape=shape)
    return Group(steps, first, (low, high), matrix)


def _taper(value: Floats, begin: float, end: float) -> Floats:
    """1 up to ``begin``, then along a cosine down to 0 at ``end``."""
    taper: Floats = 0.5 + 0.5 * np.cos(np.pi * np.clip((value - begin) / (end - begin), 0, 1))
    return taper


def _both_sides(weights: Floats) -> Floats:
    """Every distance but zero counts on either side."""
    sides = np.full((len(weights), 1), 2.0)
    sides[0] = 1.0
    both: Floats = weights * sides
    return both
