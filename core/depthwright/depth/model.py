"""The observation model: from unknowns and points to two-way times, depths and whitened rows.

:mod:`depthwright.depth.estimator` says what is observed and how the rows are used.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth.direct_wave import direct_shift
from depthwright.depth.leastsquares import eliminate
from depthwright.depth.points import Points
from depthwright.depth.unknowns import HELD, TILT_FROM_NS, Columns, Setting, columns, raised

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_DEPTH_STEPS = 30
_DEPTH_SETTLED_MM = 1e-7
_LEAST_DEPTH_MM = 1e-3
_NEWTON_STEPS, _SETTLED = 60, 1e-11


@dataclass(frozen=True)
class State:
    """The model's quantities at every point for some unknowns, shape (points,) each."""

    log_permittivity: Floats
    separation_mm: Floats
    height_mm: Floats
    height_slope: Floats
    """Change of the height with its unknown."""
    two_way_ns: Floats
    """Two-way time by the pick."""
    shift: tuple[Floats, Floats, Floats]
    """Slopes of the direct wave's shift with separation, height and ln permittivity."""
    stretch: Floats
    """What the two-way time of a point is a multiple of that of a level face without bars."""


@dataclass(frozen=True)
class Model:
    """A setting with its unknowns in order: from unknowns and points to depths and whitened rows."""

    setting: Setting
    columns: Columns

    @classmethod
    def of(cls, setting: Setting) -> "Model":
        """The model of a setting."""
        return cls(setting, columns(setting))

    def antenna_of(self, points: Points) -> Indices:
        """Index of each point's antenna."""
        return np.array([line.antenna for line in self.setting.lines], dtype=np.intp)[points.line]

    def zone_of(self, points: Points) -> Indices:
        """Index of each point's zone."""
        return np.array([line.zone for line in self.setting.lines], dtype=np.intp)[points.line]

    def state(self, points: Points, theta: Floats, log_permittivity: Floats | None = None) -> State:
        """Permittivity (the one given, or that of ``theta``), geometry and two-way time of each point."""
        at, antenna = self.columns, self.antenna_of(points)
        log_eps = log_permittivity
        if log_eps is None:
            log_eps = at.zone.of(theta, self.zone_of(points)) + at.apart.of(theta, points.line)
        separation = np.maximum(at.separation.of(theta, antenna), 0.0)
        height, per_unknown = at.height.of(theta, antenna), np.zeros(len(antenna))
        free = at.height.column[antenna] != HELD
        height[free], per_unknown[free] = raised(height[free])
        frequency = np.array([n.direct_frequency_ghz for n in self.setting.lines])[points.line]
        computed = np.array([a.computed_shift for a in self.setting.antennas])[antenna]
        eps = np.exp(np.clip(log_eps, 0.0, math.log(PERMITTIVITY_MAX)))
        shift = direct_shift(separation, height, eps, frequency)
        first = np.zeros(len(points.time_ns), dtype=np.intp)
        two_way = (
            points.time_ns
            + separation / C_MM_PER_NS
            + np.where(computed, shift.time_ns, 0.0)
            + at.offset.of(theta, antenna)
            + at.direct.of(theta, points.line)
            + points.bar * at.early.of(theta, first)
        )
        slopes = (shift.per_separation, shift.per_height, shift.per_log_permittivity)
        return State(
            log_eps,
            separation,
            height,
            per_unknown,
            two_way,
            tuple(np.where(computed, slope, 0.0) for slope in slopes),  # type: ignore[arg-type]
            (1 + at.face.of(theta, points.face)) * points.level,
        )

    def free_depths(self, points: Points, theta: Floats) -> Floats:
        """Depths that explain the times exactly, mm; NaN where no depth does."""
        state = self.state(points, theta)
        eps = np.exp(np.clip(state.log_permittivity, 0.0, math.log(PERMITTIVITY_MAX)))
        return wave.depth_mm(
            state.two_way_ns / state.stretch, eps, state.separation_mm, state.height_mm
        )

    def rows(self, points: Points, theta: Floats, depth: Floats) -> tuple[Floats, Floats, Floats]:
        """Whitened rows (time, tie, curvature) of each point at given depths.

        Returns derivatives with the own depth (points, 3), with the shared unknowns (points, 3, n), and
        residuals (points, 3); rows that a point does not have are zero.
        """
        state, antenna = self.state(points, theta), self.antenna_of(points)
        eps = np.exp(np.clip(state.log_permittivity, 0.0, math.log(PERMITTIVITY_MAX)))
        here = wave.travel_time(depth, eps, state.separation_mm, state.height_mm)
        own, residual = np.zeros((2, len(depth), 3))
        shared = np.zeros((len(depth), 3, len(theta)))
        self._time_rows(points, state, here, antenna, own, shared, residual)
        self._tie_rows(points, theta, depth, own, shared, residual)
        self._curve_rows(points, theta, state, here, antenna, own, shared, residual)
        return own, shared, residual

    def _time_rows(
        self, points: Points, state: State, here: wave.TravelTime, antenna: Indices,
        own: Floats, shared: Floats, residual: Floats,
    ) -> None:  # fmt: skip
        at, slope = self.columns, np.zeros((len(antenna), shared.shape[2]))
        stretch = state.stretch
        one = np.ones(len(antenna))
        by_eps = stretch * here.per_log_permittivity - state.shift[2]
        at.zone.add(slope, self.zone_of(points), by_eps)
        at.apart.add(slope, points.line, by_eps)
        at.offset.add(slope, antenna, -one)
        at.direct.add(slope, points.line, -one)
        at.early.add(slope, np.zeros_like(antenna), -points.bar)
        at.separation.add(
            slope, antenna, stretch * here.per_separation - 1 / C_MM_PER_NS - state.shift[0]
        )
        by_height = stretch * here.per_height - state.shift[1]
        at.height.add(slope, antenna, by_height * state.height_slope)
        at.face.add(slope, points.face, points.level * here.time_ns)
        weight = 1 / points.time_u_ns
        # At the very surface time hardly changes with depth; a floor keeps the depth in its row.
        own[:, 0] = np.maximum(stretch * here.per_mm, 1e-6) * weight
        shared[:, 0] = slope * weight[:, None]
        residual[:, 0] = (state.two_way_ns - stretch * here.time_ns) * weight

    def _tie_rows(
        self, points: Points, theta: Floats, depth: Floats,
        own: Floats, shared: Floats, residual: Floats,
    ) -> None:  # fmt: skip
        tied = points.tied
        share = np.where(points.meter >= 0, points.shared, 0.0)
        u = np.where(tied, points.tie_u_mm, 1.0)
        weight = np.where(tied, 1 / (u * np.sqrt(1 - share)), 0.0)
        common = u * np.sqrt(share)
        slope = np.zeros((len(depth), shared.shape[2]))
        self.columns.meter.add(slope, points.meter, common)
        said = depth + common * self.columns.meter.of(theta, points.meter)
        own[:, 1] = weight
        shared[:, 1] = slope * weight[:, None]
        residual[:, 1] = np.where(tied, points.tie_mm - said, 0.0) * weight

    def _curve_rows(
        self, points: Points, theta: Floats, state: State, here: wave.TravelTime, antenna: Indices,
        own: Floats, shared: Floats, residual: Floats,
    ) -> None:  # fmt: skip
        at, curved = self.columns, points.curved
        by_time, by_s, by_h, by_k = np.where(curved[:, None], points.curve_slopes, 0.0).T
        first = np.zeros_like(antenna)
        slope = np.zeros((len(antenna), shared.shape[2]))
        by_eps = 1 + by_time * here.per_log_permittivity
        at.zone.add(slope, self.zone_of(points), by_eps)
        at.apart.add(slope, points.line, by_eps)
        at.separation.add(slope, antenna, by_s + by_time * here.per_separation)
        by_height = by_h + by_time * here.per_height
        at.height.add(slope, antenna, by_height * state.height_slope)
        at.scale.add(slope, points.line, by_k)
        at.crossing.add(slope, points.line, by_k)
        at.moveout.add(slope, first, np.ones(len(antenna)))
        tilted = np.where(curved, points.curve_time_ns - TILT_FROM_NS, 0.0)
        at.tilt.add(slope, first, tilted)
        antennas = self.setting.antennas
        s0 = np.array([a.separation_mm for a in antennas])[antenna]
        h0 = np.array([a.height_mm for a in antennas])[antenna]
        lateral = at.scale.of(theta, points.line) + at.crossing.of(theta, points.line)
        said = (
            state.log_permittivity
            + by_time * (here.time_ns - np.where(curved, points.curve_time_ns, 0.0))
            + by_s * (state.separation_mm - s0)
            + by_h * (state.height_mm - h0)
            + by_k * lateral
            + at.moveout.of(theta, first)
            + at.tilt.of(theta, first) * tilted
        )
        weight = np.where(curved, 1 / np.where(curved, points.curve_u, 1.0), 0.0)
        own[:, 2] = by_time * here.per_mm * weight
        shared[:, 2] = slope * weight[:, None]
        residual[:, 2] = np.where(curved, points.curve - said, 0.0) * weight

    def settled_depths(self, points: Points, theta: Floats) -> Floats:
        """Each point's best depth for some unknowns, mm: by its time alone, or by all its rows."""
        depth = self.free_depths(points, theta)
        busy = np.flatnonzero(points.tied | points.curved)
        if not len(busy):
            return depth
        some = points.some(busy)
        at = np.where(some.tied, some.tie_mm, depth[busy])
        at = np.where(np.isfinite(at), at, 1.0)
        for _ in range(_DEPTH_STEPS):
            own, _, residual = self.rows(some, theta, at)
            step = (own * residual).sum(axis=1) / (own**2).sum(axis=1)
            at = np.maximum(at + step, _LEAST_DEPTH_MM)
            if np.all(np.abs(step) < _DEPTH_SETTLED_MM):
                break
        depth[busy] = at
        return depth

    def reduced(self, points: Points, theta: Floats) -> tuple[Floats, Floats]:
        """Rows on the shared unknowns alone, each depth at its best: residuals and derivatives."""
        depth = self.settled_depths(points, theta)
        own, shared, residual = self.rows(points, theta, depth)
        turned, left = eliminate(own, shared, residual)
        # The time's row is the one taken out; a row that a point does not have stays zero.
        there = np.stack([points.tied, points.curved], axis=1)
        return left[there], turned[there]


def implied_log_permittivity(points: Points, model: Model, theta: Floats) -> Floats:
    """ln permittivity that each tie alone asks for with all else as in ``theta``, shape (points,).

    By Newton's method kept inside the model's whole range; the range's ends where none fits, NaN without
    a tie.
    """
    asked = np.full(points.time_ns.shape, np.nan)
    index = np.flatnonzero(points.tied)
    if not len(index):
        return asked
    tied = points.some(index)
    low = np.full(len(index), math.log(PERMITTIVITY_MIN))
    high = np.full(len(index), math.log(PERMITTIVITY_MAX))
    at = (low + high) / 2
    for _ in range(_NEWTON_STEPS):
        # The direct wave's shift follows the permittivity too, slowly.
        state = model.state(tied, theta, at)
        there = wave.travel_time(tied.tie_mm, np.exp(at), state.separation_mm, state.height_mm)
        late = there.time_ns * state.stretch - state.two_way_ns
        low, high = np.where(late < 0, at, low), np.where(late < 0, high, at)
        slope = there.per_log_permittivity * state.stretch - state.shift[2]
        with np.errstate(divide="ignore", invalid="ignore"):
            guess = at - late / slope
        inside = (guess > low) & (guess < high)
        found = np.where(inside, guess, (low + high) / 2)
        settled = np.all(np.abs(found - at) < _SETTLED)
        at = found
        if settled:
            break
    asked[index] = at
    return asked
