"""The direct wave: when it comes, how it looks, how it jitters from trace to trace.

It is the clock of every echo, picked by the same criterion as the echoes: the maximum of the
Hilbert envelope. Its shape is learnt from bar-free traces, never from the mean of the line, which
over a regular mat holds part of the bars.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError
from depthwright.processing.envelope import envelope, refine_peak
from depthwright.processing.filters import chord, keep_band
from depthwright.scan import Block, Scan

Floats = NDArray[np.float64]

SAMPLED_TRACES = 1024
QUIET_SHARE = 0.15
SHARING_TRACES, NOT_SHARING = 128, 0.2
"""Of so many traces this share may be without what all are said to share."""
ALIVE_SHARE = 0.1
CUT_OFF_SAMPLES = 4
"""So many samples in a row at the largest value are cut off: a pulse has less than that at its maximum."""
LOWEST_GHZ = 0.3
"""No antenna used on concrete works below this: common practice, no source."""
TAPER_FROM, TAPER_TO = 0.8, 1.6
"""Where the direct wave is faded out, in periods of the centre frequency after its peak.

A line source's tail is longer, but behind it, over a regular mat, the quiet traces hold the bars:
fading out at 1.5 to 2.5 periods moves picks there by up to 36 ps (dipoles, full-wave runs).
"""
FIT_FROM, FIT_TO = -1.1, -0.3
"""The stretch that strength and delay are fitted on, in periods from the direct wave's peak.

The echo of a shallow bar reaches forward to half a period before its own peak: a fit as far as 0.3
takes it for a stronger direct wave. An earlier end than -0.3 leaves the delay to the noise.
"""
SHARED_STRENGTH = 0.5
"""Off the line's by less than this share, a trace's direct wave is the line's: contact with the surface and
the bars below change it by less."""
_ROUNDS = 3


@dataclass(frozen=True)
class DirectWave:
    """The line's direct wave.

    Parameters
    ----------
    time_ns
        File time of its envelope maximum.
    time_u_ns
        Standard uncertainty of that time as a reference of the line.
    wavelet
        Band-limited samples of the direct wave alone, on the scan's time axis, shape (samples,).
    centre_frequency_ghz
        Frequency it was band-limited around.
    """

    time_ns: float
    time_u_ns: float
    wavelet: NDArray[np.float32]
    centre_frequency_ghz: float


def sample_traces(scan: Scan, most: int = SAMPLED_TRACES) -> Block:
    """Traces spread evenly over the line, at most ``most``, shape (traces, samples)."""
    stride = -(-scan.traces // most)
    if stride == 1:
        return scan.block(0, scan.traces)
    # One by one: between them a long line has many times what is wanted.
    return np.concatenate([scan.block(at, at + 1) for at in range(0, scan.traces, stride)])


def alive(traces: Block) -> NDArray[np.bool_]:
    """Which traces swing at least a tenth as far as the strong ones, shape (traces,).

    The others hold no direct wave: nothing but zeros, an offset, or the noise of a lifted antenna.
    """
    swing = np.ptp(traces, axis=1)
    enough: NDArray[np.bool_] = swing >= ALIVE_SHARE * np.percentile(swing, 90)
    return enough


def is_cut_off(traces: Block) -> bool:
    """Whether most living traces, shape (traces, samples), stay at one same largest value for a while.

    That is where the recorder could go no further. A pulse's own maximum is passed in fewer samples.
    """
    living = traces[alive(traces)]
    return any(_stay_at_most(side) for side in (living, -living))


def _stay_at_most(traces: Block) -> bool:
    most = traces.max(initial=0.0)
    if most <= 0 or traces.shape[1] < CUT_OFF_SAMPLES:
        return False
    there = np.lib.stride_tricks.sliding_window_view(
        traces >= (1 - 1e-6) * most, CUT_OFF_SAMPLES, axis=1
    )
    return bool(np.mean(there.all(axis=-1).any(axis=-1)) > 0.5)


def centre_frequency_ghz(scan: Scan) -> float:
    """Centre of mass of the power spectrum of what all traces share (the direct wave), GHz."""
    return pulse_frequency_ghz(sample_traces(scan), scan.dt_ns)


def pulse_frequency_ghz(traces: Block, dt_ns: float, lowest_ghz: float = LOWEST_GHZ) -> float:
    """The same of some traces, shape (traces, samples); what is slower than the lowest is drift."""
    common = _median_trace(traces[alive(traces)])[None, :]
    power = np.abs(np.fft.rfft((common - chord(common))[0])) ** 2
    frequency = np.fft.rfftfreq(traces.shape[1], dt_ns)
    # Drift falls off with frequency: the slope's power, f^2 times the trace's, has its maximum in
    # the pulse, about a fifth above the pulse's own.
    pulse = frequency > lowest_ghz
    strongest = float(frequency[np.argmax(np.where(pulse, frequency**2 * power, 0.0))])
    near = (frequency > 0.25 * strongest) & (frequency < 2 * strongest)
    if not power[near].sum() > 0:
        raise DepthwrightError(
            f"The scan holds no pulse above {lowest_ghz:g} GHz.",
            "Check that the right file was saved, and its sample interval.",
        )
    return float((frequency[near] * power[near]).sum() / power[near].sum())


def find_direct_wave(scan: Scan, frequency_ghz: float, near_ns: float | None = None) -> DirectWave:
    """Pick the direct wave of a line and learn its shape from bar-free traces.

    Parameters
    ----------
    scan
        The line.
    frequency_ghz
        Centre frequency of the antenna, GHz.
    near_ns
        File time to look around, ns; by default the first strong arrival that all traces share.

    Raises
    ------
    DepthwrightError
        When the traces hold nothing but zeros.
    """
    found = _Found(scan, frequency_ghz)
    return found.around(found.first if near_ns is None else round(near_ns / scan.dt_ns))


def settle_direct_wave(scan: Scan, frequency_ghz: float) -> tuple[DirectWave, DirectWave]:
    """The direct wave of a line, and as it is found when looked for around the first one's time.

    The same as :func:`find_direct_wave` twice, in little more time than once.
    """
    found = _Found(scan, frequency_ghz)
    first = found.around(found.first)
    again = round(first.time_ns / scan.dt_ns)
    return first, first if again == found.first else found.around(again)


class _Found:
    """Traces of a line among which the direct wave is looked for."""

    def __init__(self, scan: Scan, frequency_ghz: float) -> None:
        raw = sample_traces(scan)
        self._raw = raw[alive(raw)]
        self._traces = keep_band(self._raw, scan.dt_ns, frequency_ghz)
        self._of = scan.dt_ns, frequency_ghz
        if not self._traces.any():
            raise DepthwrightError(
                "The scan holds only zeros, so there is no direct wave.",
                "Check that the right file was saved.",
            )

    @cached_property
    def first(self) -> int:
        """Sample of the first strong arrival that all traces share: an early bar's is missing in some."""
        some = envelope(self._traces[:: -(-len(self._traces) // SHARING_TRACES)])
        return _first_strong_peak(np.percentile(some, 100 * NOT_SHARING, axis=0))

    def around(self, rough: int) -> DirectWave:
        """The direct wave around a sample."""
        jittered = _learn(self._traces, rough, *self._of)
        # Early traces have less of the direct wave where quietness is judged: align, and judge again.
        late = fit_direct_wave(self._traces, jittered, self._of[0]).delay_ns
        aligned = keep_band(self._raw, *self._of, late - np.median(late))
        return _learn(aligned, rough, *self._of)


def _median_trace(traces: Block) -> Block:
    """Median of all traces at each sample, shape (samples,)."""
    # Along the last axis, and for one place of the order, it takes a third of numpy's median.
    half = len(traces) // 2
    ordered = np.partition(np.ascontiguousarray(traces.T), half, axis=1)
    upper: Block = ordered[:, half]
    if len(traces) % 2:
        return upper
    middle: Block = (ordered[:, :half].max(axis=1) + upper) / 2
    return middle


def _learn(traces: Block, rough: int, dt_ns: float, frequency_ghz: float) -> DirectWave:
    """The direct wave around sample ``rough`` from the quiet ones of band-limited traces."""
    period, samples = 1 / (frequency_ghz * dt_ns), traces.shape[1]
    quiet = traces[_quiet(traces, rough, period)]
    mean = quiet.mean(axis=0)[None, :]
    envelopes = envelope(np.concatenate([mean, quiet]))
    low, high = _window(rough, 0.5 * period, samples)
    index = low + envelopes[:, low:high].argmax(axis=1)
    # Where the waves in the air and in the concrete part, a stronger one may lie beyond the window: its
    # edge is no maximum, and the nearest one is meant.
    for row in np.flatnonzero((index == low) | (index == high - 1)).tolist():
        index[row] = _climb(envelopes[row], rough)
    times = refine_peak(envelopes, index) * dt_ns
    spread = 1.4826 * float(np.median(np.abs(times[1:] - np.median(times[1:]))))
    return DirectWave(
        time_ns=float(times[0]),
        time_u_ns=spread / np.sqrt(len(quiet)),
        wavelet=(mean[0] * _fade(samples, times[0] / dt_ns, period)).astype(np.float32),
        centre_frequency_ghz=frequency_ghz,
    )


@dataclass(frozen=True)
class Fit:
    """How the direct wave sits in each trace: strength, delay (ns), shape (traces,) each."""

    strength: Floats
    delay_ns: Floats


def fit_direct_wave(block: Block, direct: DirectWave, dt_ns: float) -> Fit:
    """Strength and delay of the direct wave in band-limited traces, shape (traces, samples).

    Least squares on the wave's leading flank, :data:`FIT_FROM` to :data:`FIT_TO`, with
    ``a (w(t) - tau w'(t) + tau^2 w''(t) / 2)``; the last term is repeated until it stands.
    A dead trace has strength 0.
    """
    period = 1 / (direct.centre_frequency_ghz * dt_ns)
    middle = direct.time_ns / dt_ns + 0.5 * (FIT_FROM + FIT_TO) * period
    low, high = _window(round(middle), 0.5 * (FIT_TO - FIT_FROM) * period, block.shape[-1])
    wave = direct.wavelet.astype(np.float64)
    slope = np.gradient(wave, dt_ns)
    bend = np.gradient(slope, dt_ns)[low:high, None]
    solve = np.linalg.pinv(np.stack([wave[low:high], -slope[low:high]], axis=1))
    flank = block[:, low:high].T.astype(np.float64)
    limit = 0.15 / direct.centre_frequency_ghz
    strength = delay = np.zeros(len(block))
    for _ in range(_ROUNDS):
        strength, moved = solve @ (flank - bend * (strength * delay**2 / 2))
        with np.errstate(invalid="ignore", divide="ignore"):
            delay = np.clip(np.where(strength > 0.2, moved / strength, 0.0), -limit, limit)
    return Fit(np.clip(strength, 0.0, 2.0), delay)


def is_shared(traces: Block, direct: DirectWave, dt_ns: float) -> bool:
    """Whether raw traces, shape (traces, samples), hold the line's direct wave at about its strength.

    Noise has it nowhere, and a record that begins too late neither.
    """
    plain = keep_band(traces[alive(traces)], dt_ns, direct.centre_frequency_ghz)
    strength = fit_direct_wave(plain, direct, dt_ns).strength
    return bool(np.mean(np.abs(strength - 1.0) < SHARED_STRENGTH) > 0.5)


def _first_strong_peak(shared: NDArray[np.floating]) -> int:
    """First maximum of the shared envelope that reaches half of its greatest."""
    return _climb(shared, int(np.flatnonzero(shared >= 0.5 * shared.max())[0]))


def _climb(envelope: NDArray[np.floating], start: int) -> int:
    """Sample of the maximum that lies uphill of another."""
    at = int(np.clip(start, 1, len(envelope) - 2))
    way = 1 if envelope[at + 1] >= envelope[at - 1] else -1
    while 0 < at + way < len(envelope) - 1 and envelope[at + way] >= envelope[at]:
        at += way
    return at


def _quiet(traces: Block, peak: int, period: float) -> NDArray[np.intp]:
    """The traces with least energy just behind the direct wave: nothing shallow lies under them."""
    low = min(round(peak + 0.8 * period), traces.shape[1] - 2)
    high = max(low + 1, min(round(peak + 2.5 * period), traces.shape[1]))
    energy = (traces[:, low:high].astype(np.float64) ** 2).sum(axis=1)
    count = max(min(3, len(traces)), round(QUIET_SHARE * len(traces)))
    return np.argsort(energy, kind="stable")[:count]


def _window(centre: int, half: float, samples: int) -> tuple[int, int]:
    low = int(np.clip(round(centre - half), 0, samples - 2))
    high = int(np.clip(round(centre + half) + 1, low + 2, samples))
    return low, high


def _fade(samples: int, peak: float, period: float) -> Floats:
    after = (np.arange(samples) - peak) / period
    ramp = np.clip((TAPER_TO - after) / (TAPER_TO - TAPER_FROM), 0, 1)
    fade: Floats = 0.5 - 0.5 * np.cos(np.pi * ramp)
    return fade
