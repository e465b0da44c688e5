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
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from depthwright.constants import C_MM_PER_NS, PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.depth.leastsquares import Alike, Fit, gauss_newton, misfit_factor, propagated
from depthwright.depth.model import Model, implied_log_permittivity
from depthwright.depth.points import Points, plain_points
from depthwright.depth.unknowns import Setting, Slopes
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]

LEAST_FREEDOM = 3
"""Degrees of freedom below which nothing is read from how well the evidence fits together."""
_AT_THE_END = 1e-6
"""Where a search ends at the end of its range, the range holds no answer."""


@dataclass(frozen=True)
class Depths:
    """Depths of points under a posterior, shape (points,) each, mm.

    ``slopes`` is the change with the shared unknowns; ``own_variance`` the variance with those held;
    ``two_way_ns`` the two-way time that the depth belongs to, by the pick.
    """

    depth_mm: Floats
    slopes: Slopes
    own_variance: Floats
    u_mm: Floats
    two_way_ns: Floats
    unknowns: int

    @cached_property
    def sensitivity(self) -> Floats:
        """Change with the shared unknowns, shape (points, n)."""
        return self.slopes.dense(self.unknowns)[:, 0]


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
        at.height.add(slope, antenna, state.shift[1] * state.height_slope)
        at.zone.add(slope, model.zone_of(here), state.shift[2])
        at.apart.add(slope, here.line, state.shift[2])
        variance = propagated(slope, self.covariance)[0, 0]
        return float(state.two_way_ns[0]), float(np.sqrt(variance))

    def depths(self, points: Points) -> Depths:
        """Depths of points; ties and curvature count for those that were solved with them."""
        held = self.model.held(points, self.theta)
        depth = held.depths()
        own, shared, _ = held.rows(np.nan_to_num(depth, nan=1.0))
        square = (own**2).sum(axis=1)
        slope = -(own[:, :, None] * shared.value).sum(axis=1, keepdims=True)
        slopes = Slopes(shared.column, slope / square[:, None, None])
        common = slopes.variance(self.covariance)
        u = np.where(np.isfinite(depth), np.sqrt(common + 1 / square), np.nan)
        return Depths(depth, slopes, 1 / square, u, held.state.two_way_ns, len(self.theta))


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
    return solve_model(points, Model.of(setting), start)


def solve_model(points: Points, model: Model, start: Floats | None = None) -> Posterior:
    """The same for a model at hand, such as one with other values beforehand."""
    setting = model.setting
    evidence = points.some(points.tied | points.curved)
    if not len(evidence.time_ns) and any(
        not math.isfinite(z.permittivity_u) for z in setting.zones
    ):
        raise DepthwrightError(
            "Nothing speaks about the permittivity.", "Give a permittivity or tie a known depth."
        )

    if start is None:
        asked = implied_log_permittivity(evidence, model, model.columns.means)
        _refuse_impossible(asked)
        start = _start(model, evidence, asked)

    there = np.stack([evidence.tied, evidence.curved], axis=1)
    point = np.nonzero(there)[0]
    alike = Alike.of(model.touched(evidence)[point], model.kin(evidence)[point])
    depth: Floats | None = None

    def linearise(theta: Floats) -> tuple[Floats, Floats]:
        nonlocal depth
        prior_residual, prior_rows = model.columns.prior_rows(theta)
        if not len(evidence.time_ns):
            return prior_residual, prior_rows
        held = model.held(evidence, theta)
        depth = held.depths(near_mm=depth)
        shared, left = held.reduced(depth)
        residual, value = alike.condensed(left[there], shared.value[there])
        rows = Slopes(alike.column, value).dense(len(theta)).reshape(residual.size, -1)
        return np.concatenate([residual.ravel(), prior_residual]), np.concatenate(
            [rows, prior_rows]
        )

    fit = gauss_newton(linearise, start)
    count = int(evidence.tied.sum() + evidence.curved.sum())
    free = sum(not math.isfinite(unknown.u) for unknown in model.columns.unknowns)
    freedom = count - free
    # Evidence that does not fit together is known no better than it fits.
    spread = misfit_factor(fit.chi_square, freedom) if freedom >= LEAST_FREEDOM else 1.0
    return Posterior(model, fit.values, fit.covariance * spread, fit, freedom)


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
    hint = "Check each known depth, the bar or face it belongs to and the antenna separation."
    if np.any(asked < math.log(PERMITTIVITY_MIN) + _AT_THE_END):
        raise DepthwrightError("The known depths would need a wave faster than in air.", hint)
    if np.any(asked > math.log(PERMITTIVITY_MAX) - _AT_THE_END):
        raise DepthwrightError("The known depths would need a wave slower than in water.", hint)
