"""The chain: a recipe made ready for one scan.

Some steps need to know the whole line (its background, its usual strength); that is learnt once from traces
spread over it. What is left works on any stretch of the line and gives the same wherever the line is cut,
since each step says how many traces it needs on either side.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from depthwright.measuring.timezero import SAMPLED_TRACES, DirectWave, fit_direct_wave
from depthwright.processing import filters, migration, repair
from depthwright.processing.envelope import envelope
from depthwright.processing.recipe import Recipe
from depthwright.scan import Block, Scan
from depthwright.showing.background import (
    Background,
    flat_echo,
    median_trace,
    quiet_mean,
    sparing,
)
from depthwright.showing.setting import Setting

Floats = NDArray[np.float64]

GROUP_TRACES = 32
"""The line is learnt from groups of neighbouring traces, since steps look at neighbours."""
LEAST_SHARED_TRACES = 8
"""Fewer traces than this share everything: no background can be told from the echoes."""
UNEVEN = 0.2
"""Scatter of the trace spacing, over its median, up to which a line counts as even."""
FAINT = 0.2
"""Strength of the direct wave in a trace, over its usual one, below which it is not seen."""
QUIET_FLOOR = 0.05
"""Share of the usual strength up to which the even gain raises what is weak."""


@dataclass(frozen=True)
class Step:
    """One step on a block, shape (traces, samples); ``reach`` traces on either side take part."""

    run: Callable[[Block], Block]
    reach: int = 0


@dataclass(frozen=True)
class Piece:
    """A stretch of the line after the recipe, and what was repaired in it."""

    values: Block
    traces_filled: int = 0
    spikes_replaced: int = 0


@dataclass(frozen=True)
class Chain:
    """Steps ready to run on any stretch of a scan.

    Parameters
    ----------
    scan, recipe, setting
        What it was made for.
    usual_swing
        Median swing of the line's traces, by which dead ones are known; None when nothing is repaired.
    steps
        The steps after that, in order, but for the gain with depth, which belongs to the shades.
    sample
        The sampled traces after all steps, shape (traces, samples).
    spectrum
        Frequencies, GHz, and mean amplitudes of the sampled traces before the band-pass, shape (n,).
    findings
        Sentences on what a step did or why it cannot work here, by its field of the recipe.
    """

    scan: Scan
    recipe: Recipe
    setting: Setting
    usual_swing: float | None = None
    steps: tuple[Step, ...] = ()
    sample: Block = field(default_factory=lambda: np.zeros((0, 0), np.float32), repr=False)
    spectrum: tuple[Floats, Floats] = field(
        default_factory=lambda: (np.zeros(0), np.zeros(0)), repr=False
    )
    findings: Mapping[str, str] = field(default_factory=dict)

    @property
    def reach(self) -> int:
        """Traces read on either side of those wanted."""
        own = repair.REACH if self.usual_swing is not None else 0
        return own + sum(step.reach for step in self.steps)

    def run(self, first: int, last: int) -> Piece:
        """Traces ``first`` up to ``last`` after the recipe, but for its gain with depth."""
        low, high = max(0, first - self.reach), min(self.scan.traces, last + self.reach)
        block = self.scan.block(low, high)
        inside = slice(first - low, last - low)
        filled = spikes = 0
        if self.usual_swing is not None:
            block, repaired = repair.repair(block, self.usual_swing)
            filled = int(repaired.traces[inside].sum())
            spikes = int(repaired.spikes[inside].sum())
        for step in self.steps:
            block = step.run(block)
        return Piece(block[inside], filled, spikes)

    def block(self, first: int, last: int) -> Block:
        """The values of :meth:`run`, shape (traces, samples)."""
        return self.run(first, last).values


def make_chain(scan: Scan, recipe: Recipe, setting: Setting) -> Chain:
    """Make a recipe ready for a scan; reads at most about a thousand of its traces."""
    making = _Making(scan, recipe, setting)
    making.repair()
    making.dewow_and_band()
    making.direct_wave()
    making.background()
    making.smoothing_and_migration()
    making.envelope_and_even_gain()
    return Chain(
        scan,
        recipe,
        setting,
        making.usual_swing,
        tuple(making.steps),
        making.sample(),
        making.spectrum,
        making.findings,
    )


class _Making:
    """A chain while its steps are being made ready, one after the other."""

    def __init__(self, scan: Scan, recipe: Recipe, setting: Setting) -> None:
        self.scan, self.recipe, self.setting = scan, recipe, setting
        self.usual_swing: float | None = None
        self.steps: list[Step] = []
        self.findings: dict[str, str] = {}
        self._sampled: tuple[tuple[float | None, int], Block] | None = None
        self.spectrum: tuple[Floats, Floats] = (np.zeros(0), np.zeros(0))

    def sample(self) -> Block:
        """Traces spread over the line as the steps made ready so far leave them."""
        made_by = (self.usual_swing, len(self.steps))
        if self._sampled is None or self._sampled[0] != made_by:
            scan, steps = self.scan, tuple(self.steps)
            so_far = Chain(scan, self.recipe, self.setting, self.usual_swing, steps)
            blocks = [so_far.block(first, last) for first, last in sampled_groups(scan.traces)]
            self._sampled = made_by, np.concatenate(blocks)
        return self._sampled[1]

    def repair(self) -> None:
        if self.recipe.repair:
            self.usual_swing = float(np.median(np.ptp(self.sample(), axis=1)))

    def dewow_and_band(self) -> None:
        recipe, dt_ns = self.recipe, self.scan.dt_ns
        frequency = self.setting.centre_frequency_ghz
        if recipe.dewow:
            self._add(lambda block: filters.dewow(block, dt_ns, frequency))
        self.spectrum = filters.amplitude_spectrum(self.sample(), dt_ns)
        low, high = band_of(recipe, frequency)
        highest = 0.5 / dt_ns
        if recipe.band and low >= min(high, highest):
            self.findings["band"] = (
                f"The samples hold nothing above {highest:.2f} GHz. Choose a band below."
            )
        elif recipe.band:
            self._add(lambda block: filters.band_pass(block, dt_ns, low, high))

    def direct_wave(self) -> None:
        recipe, direct, dt_ns = self.recipe, self.setting.direct, self.scan.dt_ns
        if direct is None or not (recipe.align or recipe.remove_direct):
            return
        plain = filters.keep_band(self.sample(), dt_ns, direct.centre_frequency_ghz)
        faint = float((fit_direct_wave(plain, direct, dt_ns).strength < FAINT).mean())
        asked = "align" if recipe.align else "remove_direct"
        if faint > 0.5:
            self.findings[asked] = (
                "The direct wave is not seen in most traces, so it is left as it is. "
                "Set its time under Line and antenna."
            )
            return
        if faint > 0:
            self.findings[asked] = (
                f"The direct wave is not seen in {max(faint, 0.01):.0%} of the traces, "
                "which stay as they are."
            )
        self._add(
            partial(
                follow_direct_wave,
                dt_ns=dt_ns,
                direct=direct,
                level=recipe.align,
                remove=recipe.remove_direct,
            )
        )

    def background(self) -> None:
        recipe, setting, dt_ns = self.recipe, self.setting, self.scan.dt_ns
        if not recipe.remove_background:
            return
        if self.scan.traces < LEAST_SHARED_TRACES:
            self.findings["remove_background"] = (
                f"The line has {self.scan.traces} traces, too few to tell what they share."
            )
            return
        traces = self.sample()
        weights = np.ones(self.scan.samples, np.float32)
        face = self._flat_face(traces) if recipe.keep_flat_face else None
        if face is not None:
            period = setting.period_ns / dt_ns
            weights = sparing(self.scan.samples, face - period, period)
        trace = None
        half = round(recipe.background_window_mm / setting.trace_spacing_mm / 2)
        if recipe.background_from == "whole line":
            trace = median_trace(traces)
        elif recipe.background_from == "bar-free traces":
            trace = quiet_mean(traces, round((setting.direct_ns + setting.period_ns) / dt_ns))
        background = Background(trace, max(1, half), weights)
        self._add(background.remove, background.reach)

    def _flat_face(self, traces: Block) -> float | None:
        """Sample from which a flat back face is spared; says so."""
        setting, dt_ns = self.setting, self.scan.dt_ns
        marked = setting.face_ns is not None
        period = setting.period_ns / dt_ns
        if setting.face_ns is not None:
            face = setting.face_ns / dt_ns
        else:
            found = flat_echo(traces, setting.direct_ns / dt_ns, period)
            if found is None:
                return None
            face = float(found)
        until_ns = (face - period) * dt_ns - setting.zero_ns
        what = "the marked back face" if marked else "what looks like a flat back face"
        self.findings["remove_background"] = (
            f"Taken away up to a two-way time of {until_ns:.2f} ns only, to spare {what}."
        )
        return face

    def smoothing_and_migration(self) -> None:
        recipe, setting, scan = self.recipe, self.setting, self.scan
        if recipe.smooth:
            sigma = recipe.smooth_mm / setting.trace_spacing_mm
            smooth = partial(filters.smooth_along, sigma_traces=sigma)
            self._add(smooth, filters.smooth_reach(sigma))
        if not recipe.migrate:
            return
        refusal = self._why_not_migrated()
        if refusal:
            self.findings["migrate"] = refusal
            return
        plan = migration.plan_migration(
            samples=scan.samples,
            dt_ns=scan.dt_ns,
            trace_spacing_mm=setting.trace_spacing_mm,
            zero_ns=setting.zero_ns,
            velocity_mm_per_ns=setting.velocity_mm_per_ns,
            separation_mm=setting.separation_mm,
            centre_frequency_ghz=setting.centre_frequency_ghz,
        )
        self._add(partial(migration.migrate, plan=plan), plan.reach)

    def _why_not_migrated(self) -> str:
        setting, scan = self.setting, self.scan
        wavelength_mm = setting.velocity_mm_per_ns / setting.centre_frequency_ghz
        if scan.traces < LEAST_SHARED_TRACES:
            return f"The line has {scan.traces} traces, too few to collapse hyperbolas."
        if setting.trace_spacing_mm > wavelength_mm / 2:
            return (
                f"The traces are {setting.trace_spacing_mm:.0f} mm apart, more than half the wavelength of "
                f"{wavelength_mm:.0f} mm: hyperbolas cannot be followed from trace to trace."
            )
        steps = np.abs(np.diff(scan.positions_mm))
        if np.std(steps) > UNEVEN * np.median(steps):
            return "The traces lie unevenly along the line, and migration needs them evenly spaced."
        return ""

    def envelope_and_even_gain(self) -> None:
        recipe, setting = self.recipe, self.setting
        if recipe.envelope:
            self._add(envelope)
        if recipe.even_gain:
            strength = np.sqrt(np.mean(np.square(self.sample(), dtype=np.float64), axis=1))
            floor = QUIET_FLOOR * float(np.median(strength))
            if floor == 0:
                self.findings["even_gain"] = "Most traces hold nothing to bring to one strength."
                return
            window_ns = 2 * recipe.even_window_mm / setting.velocity_mm_per_ns
            even = partial(
                filters.even_gain, dt_ns=self.scan.dt_ns, window_ns=window_ns, floor=floor
            )
            self._add(even)

    def _add(self, run: Callable[[Block], Block], reach: int = 0) -> None:
        self.steps.append(Step(run, reach))


def sampled_groups(traces: int) -> list[tuple[int, int]]:
    """First and last of groups of neighbouring traces spread over a line; the whole of a short one."""
    if traces <= SAMPLED_TRACES:
        return [(0, traces)]
    starts = np.linspace(0, traces - GROUP_TRACES, SAMPLED_TRACES // GROUP_TRACES).round()
    return [(int(start), int(start) + GROUP_TRACES) for start in starts]


def band_of(recipe: Recipe, centre_frequency_ghz: float) -> tuple[float, float]:
    """Edges of the band-pass, GHz: as typed, else those of the pulse's own band."""
    low, high = pulse_band_ghz(centre_frequency_ghz)
    return recipe.band_low_ghz or low, recipe.band_high_ghz or high


def pulse_band_ghz(centre_frequency_ghz: float) -> tuple[float, float]:
    """The pulse's own band, GHz."""
    return filters.LOW_EDGE * centre_frequency_ghz, filters.HIGH_EDGE * centre_frequency_ghz


def follow_direct_wave(
    block: Block, dt_ns: float, direct: DirectWave, level: bool, remove: bool
) -> Block:
    """Traces with their direct wave taken away, brought to one time, or both; shape (traces, samples)."""
    plain = filters.keep_band(block, dt_ns, direct.centre_frequency_ghz)
    fit = fit_direct_wave(plain, direct, dt_ns)
    if remove:
        waves = np.broadcast_to(direct.wavelet, block.shape)
        late = filters.shift_times(np.ascontiguousarray(waves), dt_ns, -fit.delay_ns)
        block = block - late * fit.strength[:, None].astype(np.float32)
    return filters.shift_times(block, dt_ns, fit.delay_ns) if level else block
