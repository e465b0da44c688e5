"""The stage of processing that marks are picked on.

It is the same whatever is shown: a gain or a contrast never moves a pick. Its name is stored
with each mark.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from depthwright.measuring.timezero import DirectWave, alive, fit_direct_wave
from depthwright.processing.envelope import companion, envelope
from depthwright.processing.filters import Band, cache_slices
from depthwright.scan import Block, Scan

Waves = NDArray[np.complex64]

PICK_STAGE = "band-limited, aligned to the direct wave, direct wave removed"

KEPT_SAMPLES = 2**22
"""Samples of a line that is held as a whole while many picks are made on it: 50 MB with its envelopes."""


@dataclass(frozen=True)
class PickStage:
    """A scan as it is picked on: its times are file times with each trace's jitter taken out."""

    scan: Scan
    direct: DirectWave

    @property
    def period_ns(self) -> float:
        """Period of the centre frequency, ns."""
        return 1 / self.direct.centre_frequency_ghz

    def block(self, first: int, last: int) -> Block:
        """Traces ``first`` up to ``last`` on the pick stage, shape (traces, samples)."""
        scan, direct = self.scan, self.direct
        raw = scan.block(first, last)
        band = Band.of(scan.samples, scan.dt_ns, direct.centre_frequency_ghz)
        pieces = list(cache_slices(len(raw), band.padded))
        spectra = [band.spectrum(raw[piece]) for piece in pieces]
        aligned = np.empty_like(raw)
        for piece, spectrum in zip(pieces, spectra, strict=True):
            aligned[piece] = band.traces(spectrum)
        fit = fit_direct_wave(aligned, direct, scan.dt_ns)
        for piece, spectrum in zip(pieces, spectra, strict=True):
            spectrum *= band.turns(fit.delay_ns[piece])
            shared = (fit.strength[piece, None] * direct.wavelet).astype(np.float32)
            np.subtract(band.traces(spectrum), shared, out=aligned[piece])
        return aligned

    def waves(self, first: int, last: int) -> Waves:
        """Analytic signal of the same traces, shape (traces, samples); not to be written to."""
        traces = self.block(first, last)
        waves = np.empty(traces.shape, np.complex64)
        waves.real, waves.imag = traces, companion(traces)
        return waves

    def envelope(self, first: int, last: int) -> Block:
        """Envelopes of the same traces, shape (traces, samples)."""
        return envelope(self.block(first, last))

    @cached_property
    def noise(self) -> float:
        """Median of the envelope over the line: what a pick has to stand out of."""
        middle = self.scan.traces // 2
        half = min(128, middle + 1)
        sample = self.envelope(max(0, middle - half), min(self.scan.traces, middle + half))
        return float(np.median(sample[alive(sample)]))

    @cached_property
    def direct_peak(self) -> float:
        """Envelope maximum of the line's direct wave: what echo strengths are told against."""
        return float(envelope(self.direct.wavelet[None, :]).max())

    def strength_db(self, trace: int, time_ns: float) -> float:
        """Envelope of a trace at a file time over the direct wave's, dB; minus infinity for silence."""
        sample = int(np.clip(round(time_ns / self.scan.dt_ns), 0, self.scan.samples - 1))
        echo = float(self.envelope(trace, trace + 1)[0, sample])
        return 20 * math.log10(echo / self.direct_peak) if echo > 0 else -math.inf


@dataclass(frozen=True)
class KeptStage(PickStage):
    """The pick stage of a line with a stretch of it at hand, so that many picks there are quick.

    ``signal``, which is analytic, and ``envelopes`` begin with trace ``first``, shape (traces, samples)
    each.
    """

    line: PickStage
    first: int
    signal: Waves
    envelopes: Block

    @property
    def last(self) -> int:
        """The trace behind the last one at hand."""
        return self.first + len(self.signal)

    @cached_property
    def noise(self) -> float:
        """That of the whole line."""
        return self.line.noise

    def block(self, first: int, last: int) -> Block:
        """Traces on the pick stage, shape (traces, samples)."""
        if self.has(first, last):
            return self.signal[first - self.first : last - self.first].real.copy()
        return self.line.block(first, last)

    def waves(self, first: int, last: int) -> Waves:
        """Analytic signal of some traces, shape (traces, samples); not to be written to."""
        if self.has(first, last):
            return self.signal[first - self.first : last - self.first]
        return self.line.waves(first, last)

    def envelope(self, first: int, last: int) -> Block:
        """Envelopes of some traces, shape (traces, samples)."""
        if self.has(first, last):
            return self.envelopes[first - self.first : last - self.first]
        return self.line.envelope(first, last)

    def has(self, first: int, last: int) -> bool:
        """Whether traces ``first`` up to ``last`` are at hand."""
        return self.first <= first and last <= self.last


def at_hand(stage: PickStage) -> PickStage:
    """The pick stage with all of its line at hand where that is short; else as it is."""
    scan = stage.scan
    short = scan.traces * scan.samples <= KEPT_SAMPLES
    return kept(stage, 0, scan.traces) if short and not isinstance(stage, KeptStage) else stage


def kept(stage: PickStage, first: int, last: int) -> KeptStage:
    """A pick stage with traces ``first`` up to ``last`` at hand."""
    waves = stage.waves(first, last)
    if isinstance(stage, KeptStage):
        return KeptStage(
            stage.scan, stage.direct, stage.line, first, waves, stage.envelope(first, last)
        )
    return holding(stage, first, waves)


def holding(line: PickStage, first: int, signal: Waves) -> KeptStage:
    """The pick stage of a line with this analytic signal at hand, shape (traces, samples)."""
    # Several times as fast as the magnitude of complex numbers.
    envelopes = np.square(signal.real)
    envelopes += np.square(signal.imag)
    np.sqrt(envelopes, out=envelopes)
    return KeptStage(line.scan, line.direct, line, first, signal, envelopes)
