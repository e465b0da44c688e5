"""The observation model: from unknowns and points to two-way times, depths and whitened rows.

:mod:`depthwright.depth.estimator` says what is observed and how the rows are used.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth.direct_wave import direct_shift
from depthwright.depth.leastsquares import eliminate
from depthwright.depth.points import Points
from depthwright.depth.unknowns import (
    HELD,
    KINDS,
    TILT_FROM_NS,
    Columns,
    Setting,
    Slopes,
    columns,
    raised,
)

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

    @cached_property
    def _antenna(self) -> Indices:
        return np.array([line.antenna for line in self.setting.lines], dtype=np.intp)

    @cached_property
    def _zone(self) -> Indices:
        return np.array([line.zone for line in self.setting.lines], dtype=np.intp)

    def antenna_of(self, points: Points) -> Indices:
        """Index of each point's antenna."""
        return self._antenna[points.line]

    def zone_of(self, points: Points) -> Indices:
        """Index of each point's zone."""
        return self._zone[points.line]

    def touched(self, points: Points) -> Indices:
        """Columns of the unknowns that each point touches, in the order of KINDS, shape (points, kinds)."""
        at, antenna = self.columns, self.antenna_of(points)
        first = np.zeros_like(antenna)
        index = {
            "zone": self.zone_of(points), "apart": points.line, "direct": points.line,
            "scale": points.line, "crossing": points.line, "offset": antenna,
            "separation": antenna, "height": antenna, "face": points.face,
            # A point without a meter has no change with one, and is then like those that have.
            "meter": np.maximum(points.meter, 0),
            "early": first, "moveout": first, "tilt": first,
        }  # fmt: skip
        return np.stack([getattr(at, kind).column[index[kind]] for kind in KINDS], axis=1)

    def kin(self, points: Points) -> Indices:
        """A number that is the same for points that touch the same unknowns, shape (points,)."""
        key = points.line * (len(self.setting.faces) + 1) + points.face + 1
        return key * (len(self.setting.meters) + 1) + np.maximum(points.meter, 0)

    def state(self, points: Points, theta: Floats, log_permittivity: Floats | None = None) -> State:
        """Permittivity (the one given, or that of ``theta``), geometry and two-way time of each point."""
        at, antenna, line = self.columns, self._antenna, np.arange(len(self._antenna))
        separation = np.maximum(at.separation.of(theta, antenna), 0.0)
        height, per_unknown = at.height.of(theta, antenna), np.zeros(len(antenna))
        free = at.height.column[antenna] != HELD
        height[free], per_unknown[free] = raised(height[free])
        if log_permittivity is None:
            # The points of a line share all this, so it is worked out once for each line.
            every = at.zone.of(theta, self._zone) + at.apart.of(theta, line)
            log_eps = every[points.line]
            shift = self._shift(line, separation, height, every)[:, points.line]
        else:
            log_eps, line = log_permittivity, points.line
            shift = self._shift(line, separation[line], height[line], log_eps)
        zero = separation / C_MM_PER_NS + at.offset.of(theta, antenna)
        first = np.zeros(len(points.time_ns), dtype=np.intp)
        two_way = (
            points.time_ns
            + (zero[points.line] + shift[0])
            + at.direct.of(theta, points.line)
            + points.bar * at.early.of(theta, first)
        )
        return State(
            log_eps,
            separation[points.line],
            height[points.line],
            per_unknown[points.line],
            two_way,
            (shift[1], shift[2], shift[3]),
            (1 + at.face.of(theta, points.face)) * points.level,
        )

    def _shift(self, line: Indices, separation: Floats, height: Floats, log_eps: Floats) -> Floats:
        """Computed shift of the direct wave and its slopes with these three, shape (4, ...)."""
        frequency = np.array([n.direct_frequency_ghz for n in self.setting.lines])[line]
        computed = np.array([a.computed_shift for a in self.setting.antennas])[self._antenna[line]]
        if not computed.any():  # its table is what takes longest of all here
            return np.zeros((4, *np.broadcast_shapes(log_eps.shape, height.shape)))
        shift = direct_shift(separation, height, _permittivity(log_eps), frequency)
        slopes = shift.per_separation, shift.per_height, shift.per_log_permittivity
        return np.where(computed, np.stack([shift.time_ns, *slopes]), 0.0)

    def held(self, points: Points, theta: Floats, log_permittivity: Floats | None = None) -> "Held":
        """The rows of points with the unknowns held (and the permittivity that of ``theta``, or given)."""
        state = self.state(points, theta, log_permittivity)
        tied, curved, at = points.tied, points.curved, self.columns
        share = np.where(points.meter >= 0, points.shared, 0.0)
        tie_u = np.where(tied, points.tie_u_mm, 1.0)
        common = tie_u * np.sqrt(share)
        weight = np.stack(
            [
                1 / points.time_u_ns,
                tied / (tie_u * np.sqrt(1 - share)),
                curved / np.where(curved, points.curve_u, 1.0),
            ],
            axis=1,
        )
        by_time, by_s, by_h, by_k = np.where(curved[:, None], points.curve_slopes, 0.0).T
        curve_time = np.where(curved, points.curve_time_ns, 0.0)
        tilted = np.where(curved, curve_time - TILT_FROM_NS, 0.0)
        antenna, first = self.antenna_of(points), np.zeros_like(points.line)
        lateral = at.scale.of(theta, points.line) + at.crossing.of(theta, points.line)
        curve = (
            state.log_permittivity
            - by_time * curve_time
            + by_s * (state.separation_mm - self._cards[antenna, 0])
            + by_h * (state.height_mm - self._cards[antenna, 1])
            + by_k * lateral
            + at.moveout.of(theta, first)
            + at.tilt.of(theta, first) * tilted
        )
        tie = common * at.meter.of(theta, points.meter)
        said = [
            state.two_way_ns,
            np.where(tied, points.tie_mm, 0.0) - tie,
            np.where(curved, points.curve, 0.0) - curve,
        ]
        whitened = weight * np.stack(said, axis=1)
        return Held(self, points, theta, log_permittivity, state, weight, whitened, common, tilted)

    @cached_property
    def _cards(self) -> Floats:
        """Separation and height of each antenna as the crests were fitted with, shape (antennas, 2)."""
        cards = [(a.separation_mm, a.height_mm) for a in self.setting.antennas]
        return np.array(cards).reshape(-1, 2)

    def free_depths(self, points: Points, theta: Floats) -> Floats:
        """Depths that explain the times exactly, mm; NaN where no depth does."""
        return _free_depths(self.state(points, theta))


@dataclass(frozen=True)
class Held:
    """Points with the shared unknowns held: what is left open are the depths.

    Each point has three rows: its time, its tie and its curvature. Row by row, shape (points, 3), ``said`` is
    what is observed less what does not change with the depth, whitened by ``weight``; both are zero for a
    row that a point does not have.
    """

    model: Model
    points: Points
    theta: Floats
    log_permittivity: Floats | None
    """The one given, where it is not that of ``theta``."""
    state: State
    weight: Floats
    said: Floats
    common_mm: Floats
    """What of a tie's standard uncertainty its meter's readings share, shape (points,)."""
    tilted_ns: Floats

    @cached_property
    def _by_time(self) -> Floats:
        """Change of each row with the travel time, whitened."""
        curve = np.where(self.points.curved, self.points.curve_slopes[:, 0], 0.0)
        by_time = np.stack([self.state.stretch, np.zeros_like(curve), curve], axis=1)
        return by_time * self.weight

    @cached_property
    def _by_depth(self) -> Floats:
        """Change of each row with the depth itself, whitened."""
        return self.weight * (0.0, 1.0, 0.0)

    def _travel(self, depth: Floats) -> wave.TravelTime:
        state = self.state
        eps = _permittivity(state.log_permittivity)
        return wave.travel_time(depth, eps, state.separation_mm, state.height_mm)

    def _own(self, here: wave.TravelTime, depth: Floats) -> tuple[Floats, Floats]:
        own = self._by_time * here.per_mm[:, None] + self._by_depth
        # At the very surface time hardly changes with depth; a floor keeps the depth in its row.
        own[:, 0] = np.maximum(own[:, 0], 1e-6 * self.weight[:, 0])
        explained = self._by_time * here.time_ns[:, None] + self._by_depth * depth[:, None]
        return own, self.said - explained

    def rows(self, depth: Floats) -> tuple[Floats, Slopes, Floats]:
        """Whitened rows at given depths.

        Returns derivatives with the own depth (points, 3), with the shared unknowns, and residuals
        (points, 3); rows that a point does not have are zero.
        """
        here = self._travel(depth)
        own, residual = self._own(here, depth)
        value = np.zeros((len(depth), 3, len(KINDS)))
        for row, slopes in enumerate(self._slopes(here)):
            for kind, slope in slopes.items():
                value[:, row, KINDS.index(kind)] = slope
        column = self.model.touched(self.points)
        value *= self.weight[:, :, None] * (column != HELD)[:, None, :]
        return own, Slopes(column, value), residual

    def _slopes(self, here: wave.TravelTime) -> tuple[dict[str, Floats | float], ...]:
        """Change of what the time's, the tie's and the curvature's row say with each kind of unknown."""
        points, state = self.points, self.state
        stretch, shift = state.stretch, state.shift
        by_time, by_s, by_h, by_k = np.where(points.curved[:, None], points.curve_slopes, 0.0).T
        by_eps = stretch * here.per_log_permittivity - shift[2]
        curve_by_eps = 1 + by_time * here.per_log_permittivity
        time: dict[str, Floats | float] = {
            "zone": by_eps,
            "apart": by_eps,
            "direct": -1.0,
            "offset": -1.0,
            "separation": stretch * here.per_separation - 1 / C_MM_PER_NS - shift[0],
            "height": (stretch * here.per_height - shift[1]) * state.height_slope,
            "face": points.level * here.time_ns,
            "early": -points.bar,
        }
        curve: dict[str, Floats | float] = {
            "zone": curve_by_eps,
            "apart": curve_by_eps,
            "scale": by_k,
            "crossing": by_k,
            "separation": by_s + by_time * here.per_separation,
            "height": (by_h + by_time * here.per_height) * state.height_slope,
            "moveout": 1.0,
            "tilt": self.tilted_ns,
        }
        return time, {"meter": self.common_mm}, curve

    def depths(self, near_mm: Floats | None = None) -> Floats:
        """Each point's best depth, mm: by its time alone, or by all its rows; NaN where there is none.

        ``near_mm`` are depths near them, of points that all have a tie or a curvature.
        """
        if near_mm is not None and np.isfinite(near_mm).all():
            return self._settled(near_mm)
        busy = self.points.tied | self.points.curved
        if not busy.any():
            return _free_depths(self.state)
        if busy.all():
            return self._settled(self._start())
        depth = np.empty(len(busy))
        for which in (busy, ~busy):
            given = None if self.log_permittivity is None else self.log_permittivity[which]
            depth[which] = self.model.held(self.points.some(which), self.theta, given).depths()
        return depth

    def _start(self) -> Floats:
        """Near enough to settle from: the tie, or the depth under antennas on the surface."""
        state = self.state
        eps = _permittivity(state.log_permittivity)
        rough = wave.depth_mm(state.two_way_ns / state.stretch, eps, state.separation_mm)
        start = np.where(self.points.tied, self.points.tie_mm, rough)
        return np.where(np.isfinite(start), start, 1.0)

    def _settled(self, depth: Floats) -> Floats:
        for _ in range(_DEPTH_STEPS):
            own, residual = self._own(self._travel(depth), depth)
            step = (own * residual).sum(axis=1) / (own**2).sum(axis=1)
            depth = np.maximum(depth + step, _LEAST_DEPTH_MM)
            if np.all(np.abs(step) < _DEPTH_SETTLED_MM):
                break
        return depth

    def reduced(self, depth: Floats) -> tuple[Slopes, Floats]:
        """Rows on the shared unknowns alone, two for each point, each depth at its best: what ``depth`` is.

        Of a tie and of a curvature; a row that a point does not have is zero.
        """
        own, shared, residual = self.rows(depth)
        # The time's row is the one taken out.
        turned, left = eliminate(own, shared.value, residual)
        return Slopes(shared.column, turned), left


def _permittivity(log_permittivity: Floats) -> Floats:
    """Permittivity within the range that the model is computed for."""
    eps: Floats = np.exp(np.clip(log_permittivity, 0.0, math.log(PERMITTIVITY_MAX)))
    return eps


def _free_depths(state: State) -> Floats:
    return wave.depth_mm(
        state.two_way_ns / state.stretch,
        _permittivity(state.log_permittivity),
        state.separation_mm,
        state.height_mm,
    )


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
