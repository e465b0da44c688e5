r"""One estimator: every depth comes from one joint least-squares posterior.

Unknowns: the shared ones (:mod:`depthwright.depth.unknowns`: permittivity of each zone and what its lines
differ by, each antenna's time offset, separation and height, each line's direct wave, distance scale and
crossing, each meter's error, the bars' early arrival, ...), together :math:`\theta`, and the depth
:math:`d_i` of every point. Observations, each with its own standard uncertainty:

* the picked time,
  :math:`t_i + s/c + \Delta(s, h, \varepsilon) + r + E = (1 + \varphi)\,T(d_i, \varepsilon; s, h) \cos\beta`,
  with :math:`\Delta` the computed near-field shift of the direct wave, :math:`E` for bars only,
  :math:`\varphi` for the back face under bars and :math:`\beta` its dip;
* a tie, :math:`k_i = d_i + b\,u_i\sqrt\rho`, with :math:`b` the meter's shared error;
* a crest's curvature, condensed to :math:`z_i = \ln\varepsilon + a_\tau (T - \tau_0) + \dots + m`;

and what is known beforehand. Each depth meets only its own point's rows, so it is taken out of them by a
reflection (variable projection), which costs the same for five bars or five hundred; what remains is a
small least-squares problem in :math:`\theta`. A point with neither tie nor curvature adds nothing to it: it
takes a depth and gives no evidence. With :math:`A_i` a depth's sensitivity to :math:`\theta` and
:math:`w_i` its variance at fixed :math:`\theta`,
:math:`\mathrm{cov}(d_i, d_j) = A_i \Sigma_\theta A_j^T + \delta_{ij} w_i`.
Sources: JCGM 100:2008, 5.2 and JCGM 102:2011, 6.2 (propagation in matrix form).
"""

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import C_MM_PER_NS, PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth.direct_wave import direct_shift
from depthwright.depth.leastsquares import Fit, eliminate, gauss_newton, propagated
from depthwright.depth.unknowns import Columns, Setting, columns
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_DEPTH_STEPS = 30
_HALVINGS = 45
_AT_THE_END = 1e-6
"""Where a search ends at the end of its range, the range holds no answer."""
_DEPTH_SETTLED_MM = 1e-7
_LEAST_DEPTH_MM = 1e-3
LEAST_FREEDOM = 3
"""Degrees of freedom below which nothing is read from how well the evidence fits together."""


@dataclass(frozen=True)
class Points:
    """Picked points; all arrays have the shape (points,).

    Parameters
    ----------
    time_ns, time_u_ns
        Time after the line's direct wave, and the pick's own standard uncertainty, ns.
    line
        Index of the line in the setting.
    bar
        1 for a bar, 0 for another point.
    face, level
        Index of the back face the point is on, -1 for none; and the cosine of its dip.
    tie_mm, tie_u_mm
        Known depth and its standard uncertainty, mm; NaN where there is none.
    meter, shared
        Index of the meter that read the tie (-1 for none), and the share of the tie's variance that
        all its readings have in common.
    curve, curve_u, curve_time_ns, curve_slopes
        The condensed curvature: ln permittivity and its standard uncertainty (NaN for none), the two-way
        time it holds for, and its slopes with time, separation, height and ln scale, shape (points, 4).
    """

    time_ns: Floats
    time_u_ns: Floats
    line: Indices
    bar: Floats
    face: Indices
    level: Floats
    tie_mm: Floats
    tie_u_mm: Floats
    meter: Indices
    shared: Floats
    curve: Floats
    curve_u: Floats
    curve_time_ns: Floats
    curve_slopes: Floats

    @property
    def tied(self) -> NDArray[np.bool_]:
        """Which points have a known depth."""
        return np.isfinite(self.tie_mm)

    @property
    def curved(self) -> NDArray[np.bool_]:
        """Which points have a curvature."""
        return np.isfinite(self.curve)

    def some(self, which: Indices | NDArray[np.bool_]) -> "Points":
        """Some of the points by themselves."""
        return Points(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    def with_ties(self, tie_mm: Floats, tie_u_mm: Floats) -> "Points":
        """The same points with other known depths, shape (points,)."""
        return replace(self, tie_mm=tie_mm, tie_u_mm=tie_u_mm)

    def without_ties(self) -> "Points":
        """The same points with no known depth."""
        nothing = np.full_like(self.tie_mm, np.nan)
        return self.with_ties(nothing, nothing)

    def without_curvature(self) -> "Points":
        """The same points with no curvature."""
        return replace(self, curve=np.full_like(self.curve, np.nan))


def plain_points(
    time_ns: Floats,
    time_u_ns: Floats,
    *,
    line: int = 0,
    bar: float = 0.0,
    face: int = -1,
    level: float = 1.0,
    tie_mm: Floats | None = None,
    tie_u_mm: Floats | None = None,
) -> Points:
    """Points of one line, alike but for their times and ties, without curvature, shape (points,)."""
    count = len(time_ns)
    nothing = np.full(count, np.nan)
    return Points(
        time_ns=time_ns,
        time_u_ns=time_u_ns,
        line=np.full(count, line, dtype=np.intp),
        bar=np.full(count, bar),
        face=np.full(count, face, dtype=np.intp),
        level=np.full(count, level),
        tie_mm=nothing if tie_mm is None else tie_mm,
        tie_u_mm=nothing if tie_u_mm is None else tie_u_mm,
        meter=np.full(count, -1, dtype=np.intp),
        shared=np.zeros(count),
        curve=nothing,
        curve_u=nothing,
        curve_time_ns=nothing,
        curve_slopes=np.full((count, 4), np.nan),
    )


@dataclass(frozen=True)
class State:
    """The model's quantities at every point for some unknowns, shape (points,) each."""

    log_permittivity: Floats
    separation_mm: Floats
    height_mm: Floats
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
        height = np.exp(at.log_height.of(theta, antenna))
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
        at.log_height.add(slope, antenna, by_height * state.height_mm)
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
        at.log_height.add(slope, antenna, by_height * state.height_mm)
        at.scale.add(slope, points.line, by_k)
        at.crossing.add(slope, points.line, by_k)
        at.moveout.add(slope, first, np.ones(len(antenna)))
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


@dataclass(frozen=True)
class Depths:
    """Depths of points under a posterior, shape (points,) each, mm.

    ``sensitivity`` is the change with the shared unknowns, shape (points, n); ``own_variance`` the variance
    with those held.
    """

    depth_mm: Floats
    sensitivity: Floats
    own_variance: Floats
    u_mm: Floats


@dataclass(frozen=True)
class Posterior:
    """The joint answer: the shared unknowns with their covariance, from which every depth follows."""

    model: Model
    theta: Floats
    covariance: Floats
    fit: Fit
    freedom: int
    """Degrees of freedom: rows of evidence less what nothing is known of beforehand."""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the shared unknowns."""
        return self.model.columns.names

    def column(self, name: str) -> int | None:
        """Column of an unknown, or None when it is exact."""
        return self.names.index(name) if name in self.names else None

    def zone_log_permittivity(self, zone: int) -> tuple[float, float]:
        """ln permittivity of a zone and its standard uncertainty."""
        return self._one(self.model.columns.zone.column[zone], zone)

    def _one(self, column: int, zone: int) -> tuple[float, float]:
        if column < 0:
            return float(self.model.columns.zone.exact[zone]), 0.0
        return float(self.theta[column]), float(np.sqrt(self.covariance[column, column]))

    def line_log_permittivity(self, line: int) -> tuple[float, float]:
        """ln permittivity along a line and its standard uncertainty."""
        at = self.model.columns
        zone = self.model.setting.lines[line].zone
        index = np.array([line]), np.array([zone])
        value = at.zone.of(self.theta, index[1]) + at.apart.of(self.theta, index[0])
        slope = np.zeros((1, len(self.theta)))
        at.zone.add(slope, index[1], np.ones(1))
        at.apart.add(slope, index[0], np.ones(1))
        return float(value[0]), float(np.sqrt(propagated(slope, self.covariance)[0, 0]))

    def time_zero(self, line: int) -> tuple[float, float]:
        """How long before the direct wave a line's two-way times begin, and its standard uncertainty, ns."""
        at, model = self.model.columns, self.model
        here = plain_points(np.zeros(1), np.ones(1), line=line)
        state, antenna = model.state(here, self.theta), model.antenna_of(here)
        slope, one = np.zeros((1, len(self.theta))), np.ones(1)
        at.offset.add(slope, antenna, one)
        at.direct.add(slope, here.line, one)
        at.separation.add(slope, antenna, 1 / C_MM_PER_NS + state.shift[0])
        at.log_height.add(slope, antenna, state.shift[1] * state.height_mm)
        at.zone.add(slope, model.zone_of(here), state.shift[2])
        at.apart.add(slope, here.line, state.shift[2])
        variance = propagated(slope, self.covariance)[0, 0]
        return float(state.two_way_ns[0]), float(np.sqrt(variance))

    def depths(self, points: Points) -> Depths:
        """Depths of points; ties and curvature count for those that were solved with them."""
        depth = self.model.settled_depths(points, self.theta)
        own, shared, _ = self.model.rows(points, self.theta, np.nan_to_num(depth, nan=1.0))
        square = (own**2).sum(axis=1)
        sensitivity = -np.einsum("pr,prn->pn", own, shared) / square[:, None]
        used = np.flatnonzero(np.any(sensitivity != 0, axis=0))
        few = sensitivity[:, used]
        common = np.einsum("pi,ij,pj->p", few, self.covariance[np.ix_(used, used)], few)
        u = np.where(np.isfinite(depth), np.sqrt(common + 1 / square), np.nan)
        return Depths(depth, sensitivity, 1 / square, u)


def solve(points: Points, setting: Setting, start: Floats | None = None) -> Posterior:
    """The posterior of all points, ties, curvatures and what is known beforehand, together.

    Parameters
    ----------
    points, setting
        What was picked, and what is known without it.
    start
        Unknowns near the answer, in the setting's order, where they are at hand.

    Raises
    ------
    DepthwrightError
        When a known depth would need a wave faster than in air or slower than in water, or when the
        evidence does not determine the unknowns.
    """
    model = Model.of(setting)
    evidence = points.some(points.tied | points.curved)
    if not len(evidence.time_ns) and any(
        not math.isfinite(z.permittivity_u) for z in setting.zones
    ):
        raise DepthwrightError(
            "Nothing speaks about the permittivity.", "Type a permittivity or tie a known depth."
        )

    asked = implied_log_permittivity(evidence, model, model.columns.means)
    _refuse_impossible(asked)

    def linearise(theta: Floats) -> tuple[Floats, Floats]:
        prior_residual, prior_rows = model.columns.prior_rows(theta)
        if not len(evidence.time_ns):
            return prior_residual, prior_rows
        residual, rows = model.reduced(evidence, theta)
        return np.concatenate([residual, prior_residual]), np.concatenate([rows, prior_rows])

    fit = gauss_newton(linearise, _start(model, evidence, asked) if start is None else start)
    count = int(evidence.tied.sum() + evidence.curved.sum())
    free = sum(not math.isfinite(unknown.u) for unknown in model.columns.unknowns)
    freedom = count - free
    # Evidence that does not fit together is known no better than it fits (Birge 1932, from memory).
    spread = max(1.0, fit.chi_square / freedom) if freedom >= LEAST_FREEDOM else 1.0
    return Posterior(model, fit.values, fit.covariance * spread, fit, freedom)


def implied_log_permittivity(points: Points, model: Model, theta: Floats) -> Floats:
    """ln permittivity that each tie alone asks for with all else as in ``theta``, shape (points,).

    By bisection on the model's whole range; the range's ends where none fits, NaN without a tie.
    """
    low = np.full(points.time_ns.shape, math.log(PERMITTIVITY_MIN))
    high = np.full(points.time_ns.shape, math.log(PERMITTIVITY_MAX))
    tie = np.where(points.tied, points.tie_mm, 1.0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        # The direct wave's shift follows the permittivity too, slowly.
        state = model.state(points, theta, middle)
        there = wave.travel_time(tie, np.exp(middle), state.separation_mm, state.height_mm)
        slower = there.time_ns * state.stretch < state.two_way_ns
        low, high = np.where(slower, middle, low), np.where(slower, high, middle)
    return np.where(points.tied, (low + high) / 2, np.nan)


def _start(model: Model, evidence: Points, asked: Floats) -> Floats:
    """What is known beforehand, with the permittivities that ties and curvatures ask for."""
    theta = model.columns.means
    asked = np.where(np.isfinite(asked), asked, evidence.curve)
    zones = model.zone_of(evidence)
    for zone, column in enumerate(model.columns.zone.column[:-1]):
        here = asked[zones == zone]
        if column >= 0 and len(here):
            theta[column] = float(np.median(here))
    return theta


def _refuse_impossible(asked: Floats) -> None:
    """A tie that no permittivity explains is refused, whatever stands beside it."""
    hint = "Check the depth just typed, the bar it belongs to and the antenna separation."
    if np.any(asked < math.log(PERMITTIVITY_MIN) + _AT_THE_END):
        raise DepthwrightError("The known depths would need a wave faster than in air.", hint)
    if np.any(asked > math.log(PERMITTIVITY_MAX) - _AT_THE_END):
        raise DepthwrightError("The known depths would need a wave slower than in water.", hint)
