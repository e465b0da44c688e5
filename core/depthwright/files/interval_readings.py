"""What the numbers in a file can mean as a sample interval: each reading with its window and its pulse.

Exporters store the interval in units that they do not name. Two things tell readings apart: the time
window, and where the pulse's spectrum comes to lie.
"""

from dataclasses import dataclass

import numpy as np

from depthwright.errors import DepthwrightError
from depthwright.files.facts import FileFacts, Stated
from depthwright.files.segy_geometry import WINDOW_NS, rounded_from_ps
from depthwright.measuring.timezero import pulse_frequency_ghz
from depthwright.scan import Block

PULSE_GHZ = (0.3, 6.0)
"""Centre frequencies of antennas used on concrete: common practice, no source."""
_UNITS = (("ps", 1e-3), ("ns", 1.0), ("µs", 1e3))
_LEAST_IN_PS = 1e-6
"""A smaller number may be in seconds."""
_USUAL_WINDOWS_NS = (6.0, 8.0, 10.0, 12.0, 15.0)
"""Windows that lines on slabs and walls are recorded with: common practice, no source."""
_LEAST, _MOST = 1e-12, 1e12
"""No interval is stated beyond these in any unit; far beyond them its frequencies overflow."""
_SLOWEST_PERIODS = 4
"""Slower than so many periods in the window is drift, whatever the unit."""


@dataclass(frozen=True)
class IntervalReading:
    """One thing that the stated sample interval can mean.

    Parameters
    ----------
    words
        How it is read, like "20 in bytes 3217 as ps".
    dt_ns
        Sample interval, ns.
    samples
        Samples in a trace.
    pulse_ghz
        Centre frequency of what all traces share, GHz; None where they share no pulse.
    """

    words: str
    dt_ns: float
    samples: int
    pulse_ghz: float | None

    @property
    def window_ns(self) -> float:
        """Time window, ns."""
        return self.samples * self.dt_ns

    @property
    def doubt(self) -> str:
        """Why it cannot be meant on concrete; empty where it can."""
        low, high = WINDOW_NS
        if not low <= self.window_ns <= high:
            return "window too " + ("long" if self.window_ns > high else "short")
        if self.pulse_ghz is None:
            return ""
        slowest, fastest = PULSE_GHZ
        if not slowest <= self.pulse_ghz <= fastest:
            return "pulse too " + ("slow" if self.pulse_ghz < slowest else "fast")
        return ""

    @property
    def told(self) -> str:
        """It with its window, its pulse and what speaks against it."""
        pulse = "" if self.pulse_ghz is None else f", pulse {frequency_words(self.pulse_ghz)}"
        verdict = self.doubt or "plausible"
        return f"{self.words}: window {interval_words(self.window_ns)}{pulse}; {verdict}"


def interval_words(dt_ns: float) -> str:
    """A sample interval or a window in the unit that suits it: ``19.53 ps``, ``20 ns``, ``20 µs``."""
    for size_ns, unit in ((1e6, "ms"), (1e3, "µs"), (1.0, "ns")):
        if dt_ns >= size_ns:
            return f"{dt_ns / size_ns:.4g} {unit}"
    return f"{1e3 * dt_ns:.4g} ps"


def frequency_words(ghz: float) -> str:
    """A frequency in the unit that suits it: ``1.89 GHz``."""
    for size_ghz, unit in ((1e3, "THz"), (1.0, "GHz"), (1e-3, "MHz"), (1e-6, "kHz")):
        if ghz >= size_ghz:
            return f"{ghz / size_ghz:.3g} {unit}"
    return f"{1e9 * ghz:.3g} Hz"


def interval_readings(
    facts: FileFacts, traces: Block, read_ns: float | None
) -> tuple[IntervalReading, ...]:
    """What the file's numbers can mean: each in three units, and what they may be rounded from.

    Where the file gives none, windows that are usual stand in their place.

    Parameters
    ----------
    facts
        What the file says.
    traces
        Some of its traces, shape (traces, samples).
    read_ns
        The interval that the reader took, ns, if it took one.
    """
    try:
        per_sample = pulse_frequency_ghz(traces, 1.0, _SLOWEST_PERIODS / facts.samples)
    except DepthwrightError:
        per_sample = None
    meanings = [each for stated in facts.intervals for each in _meanings(stated, facts.samples)]
    if read_ns is not None and not any(np.isclose(read_ns, dt_ns) for _, dt_ns in meanings):
        meanings.insert(0, (f"{1e3 * read_ns:.7g} ps, as the file says elsewhere", read_ns))
    if not meanings:
        meanings = [
            (f"{1e3 * window_ns / facts.samples:.4g} ps", window_ns / facts.samples)
            for window_ns in _USUAL_WINDOWS_NS
        ]
    found: dict[float, IntervalReading] = {}
    for words, dt_ns in meanings:
        pulse_ghz = None if per_sample is None else per_sample / dt_ns
        reading = IntervalReading(words, dt_ns, facts.samples, pulse_ghz)
        found.setdefault(round(dt_ns, 9), reading)
    return tuple(found.values())


def _meanings(stated: Stated, samples: int) -> list[tuple[str, float]]:
    value = stated.value
    if not _LEAST <= value <= _MOST:
        return []
    units = _UNITS if value >= _LEAST_IN_PS else (("s", 1e9), *_UNITS)
    meanings = [
        (f"{value:g} in {stated.place} as {unit}", value * size_ns) for unit, size_ns in units
    ]
    low, high = WINDOW_NS
    plausible = low <= value * samples / 1e3 <= high
    exact_ps = rounded_from_ps(value, samples) if plausible else None
    if exact_ps is not None:
        words = f"{value:g} in {stated.place} rounded from {exact_ps:.6g} ps"
        meanings.insert(1, (words, exact_ps / 1e3))
    return meanings
