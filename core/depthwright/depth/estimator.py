r"""One estimator: every depth comes from one joint least-squares posterior.

Unknowns: the shared parameters :math:`\theta = (\ln\varepsilon, r_1, \dots)` (the permittivity, and for each
antenna what is left of its time offset) and the depth :math:`d_i` of every point. Observations: each
point's two-way time, with model

.. math:: \tau_i + r_{a(i)} = T(d_i, \varepsilon; s_i, h_i) ,

each tie :math:`k_i = d_i`, and the priors. Gauss-Newton on all of them together. Each depth meets only the
shared parameters, so the normal matrix is an arrow; its depth block is diagonal and is eliminated
(Schur complement), which costs the same for five bars or five hundred:

.. math::
    S = H_{\theta\theta} - \sum_i H_{\theta i} H_{ii}^{-1} H_{i\theta}, \quad
    \Sigma_{\theta} = S^{-1}, \quad
    A_i = -H_{ii}^{-1} H_{i\theta}, \quad
    \mathrm{cov}(d_i, d_j) = A_i \Sigma_\theta A_j^T + \delta_{ij} H_{ii}^{-1} .

A point without a tie adds nothing to :math:`S`: it takes a depth and gives no evidence. Source of the
propagation: JCGM 100:2008, 5.2 and JCGM 102:2011, 6.2 (matrix form).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import PERMITTIVITY_MAX, PERMITTIVITY_MIN
from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_STEPS = 50
_SETTLED = 1e-10


@dataclass(frozen=True)
class Points:
    """Picked points; all arrays have the shape (points,).

    Parameters
    ----------
    time_ns
        Two-way time by the antenna card, without the unknown ``r``, ns.
    time_u_ns
        Standard uncertainty of the pick, ns; above zero.
    separation_mm, height_mm
        Geometry of the antenna pair, mm.
    antenna
        Which of the antennas (index into the time-offset priors).
    tie_mm, tie_u_mm
        Known depth and its standard uncertainty, mm; NaN where there is none.
    """

    time_ns: Floats
    time_u_ns: Floats
    separation_mm: Floats
    height_mm: Floats
    antenna: Indices
    tie_mm: Floats
    tie_u_mm: Floats

    @property
    def tied(self) -> NDArray[np.bool_]:
        """Which points have a known depth."""
        return np.isfinite(self.tie_mm)

    def some(self, indices: Indices) -> "Points":
        """Some of the points by themselves."""
        return Points(**{name: values[indices] for name, values in vars(self).items()})


@dataclass(frozen=True)
class Priors:
    """What is known without the points.

    ``permittivity`` and ``permittivity_u`` are the typed value when it counts as evidence, None when
    the permittivity is free; ``time_offset_u_ns`` holds the standard uncertainty of each antenna's
    ``r`` (its mean is zero), shape (antennas,).
    """

    time_offset_u_ns: Floats
    permittivity: float | None
    permittivity_u: float | None


@dataclass(frozen=True)
class Posterior:
    """The joint answer.

    Parameters
    ----------
    permittivity
        Best value.
    time_offset_ns
        Best ``r`` of each antenna, ns, shape (antennas,).
    covariance
        Of (ln permittivity, r of each antenna), shape (1 + antennas, 1 + antennas).
    depth_mm
        Depth of each point, mm, shape (points,); NaN where the echo comes before any depth could.
    sensitivity
        Change of each depth with the shared parameters, shape (points, 1 + antennas).
    own_variance
        Each depth's variance with the shared parameters held, mm2, shape (points,).
    """

    permittivity: float
    time_offset_ns: Floats
    covariance: Floats
    depth_mm: Floats
    sensitivity: Floats
    own_variance: Floats

    @property
    def permittivity_u(self) -> float:
        """Standard uncertainty of the permittivity."""
        return self.permittivity * float(np.sqrt(self.covariance[0, 0]))

    @property
    def depth_u_mm(self) -> Floats:
        """Standard uncertainty of each depth, mm, shape (points,)."""
        shared = np.einsum("ij,jk,ik->i", self.sensitivity, self.covariance, self.sensitivity)
        u: Floats = np.sqrt(shared + self.own_variance)
        return u

    def depth_covariance(self) -> Floats:
        """Covariance of all depths, mm2, shape (points, points)."""
        shared = self.sensitivity @ self.covariance @ self.sensitivity.T
        full: Floats = shared + np.diag(self.own_variance)
        return full

    def more(self, points: Points) -> "Posterior":
        """The same posterior for further points without ties, which change nothing in it."""
        theta = np.concatenate([[np.log(self.permittivity)], self.time_offset_ns])
        depth = _free_depths(points, theta)
        sensitivity, own, _ = _eliminate(points, theta, depth)
        return Posterior(
            self.permittivity, self.time_offset_ns, self.covariance, depth, sensitivity, own
        )


def solve(points: Points, priors: Priors) -> Posterior:
    """Depths, permittivity and time offsets from all points, ties and priors together.

    Raises
    ------
    DepthwrightError
        When a known depth would need a wave faster than in air or slower than in water, or when
        nothing determines the permittivity.
    """
    if priors.permittivity is None and not points.tied.any():
        raise DepthwrightError(
            "Nothing speaks about the permittivity.", "Type a permittivity or tie a known depth."
        )
    theta = _start(points, priors)
    depth = np.where(points.tied, points.tie_mm, _free_depths(points, theta))
    for _ in range(_STEPS):
        sensitivity, own, step = _eliminate(points, theta, depth)
        matrix, right = _shared(points, priors, theta, depth, sensitivity, own)
        change = np.linalg.solve(matrix, right)
        # The permittivity may not leap out of the model's range on the way.
        change *= min(1.0, 0.5 / max(abs(float(change[0])), 1e-300))
        theta = theta + change
        moved = np.where(points.tied, step + sensitivity @ change, 0.0)
        depth = np.where(points.tied, np.maximum(depth + moved, 1e-3), _free_depths(points, theta))
        _check(theta)
        if max(np.abs(change).max(), np.abs(np.nan_to_num(moved)).max(initial=0.0)) < _SETTLED:
            break
    sensitivity, own, _ = _eliminate(points, theta, depth)
    matrix, _ = _shared(points, priors, theta, depth, sensitivity, own)
    return Posterior(
        permittivity=float(np.exp(theta[0])),
        time_offset_ns=theta[1:],
        covariance=np.asarray(np.linalg.inv(matrix), dtype=np.float64),
        depth_mm=depth,
        sensitivity=sensitivity,
        own_variance=own,
    )


def implied_permittivity(points: Points) -> Floats:
    """The permittivity that each tie alone asks for with ``r = 0``, shape (points,); NaN if untied.

    By bisection on the model's whole range; the ends of the range where none fits.
    """
    low = np.full(points.time_ns.shape, np.log(PERMITTIVITY_MIN))
    high = np.full(points.time_ns.shape, np.log(PERMITTIVITY_MAX))
    tie = np.where(points.tied, points.tie_mm, 1.0)
    for _ in range(60):
        middle = (low + high) / 2
        at = wave.travel_time(tie, np.exp(middle), points.separation_mm, points.height_mm)
        slower = at.time_ns < points.time_ns
        low, high = np.where(slower, middle, low), np.where(slower, high, middle)
    return np.where(points.tied, np.exp((low + high) / 2), np.nan)


def disagreement(points: Points, priors: Priors) -> Floats:
    """How far each tie lies from what all other evidence says there, shape (points,).

    In standard uncertainties of the difference (the normalised difference of JCGM 100 users, E_n
    without its factor 2); NaN where there is no tie or nothing else speaks; infinite where the others
    contradict physics.
    """
    tied = np.flatnonzero(points.tied)
    apart = np.full(points.time_ns.shape, np.nan)
    if len(tied) + (priors.permittivity is not None) < 2:
        return apart
    alone = points.some(tied)
    for place, index in enumerate(tied):
        others = alone.tie_mm.copy()
        others[place] = np.nan
        try:
            said = solve(replace(alone, tie_mm=others), priors)
        except DepthwrightError:
            apart[index] = np.inf
            continue
        spread = np.hypot(said.depth_u_mm[place], points.tie_u_mm[index])
        apart[index] = abs(said.depth_mm[place] - points.tie_mm[index]) / spread
    return apart


def _start(points: Points, priors: Priors) -> Floats:
    if points.tied.any():
        permittivity = float(np.nanmedian(implied_permittivity(points)))
    else:
        permittivity = float(priors.permittivity or 1.0)
    return np.concatenate([[np.log(permittivity)], np.zeros(len(priors.time_offset_u_ns))])


def _free_depths(points: Points, theta: Floats) -> Floats:
    """Depths that explain the times exactly, mm."""
    return wave.depth_mm(
        points.time_ns + theta[1:][points.antenna],
        max(float(np.exp(theta[0])), PERMITTIVITY_MIN),
        points.separation_mm,
        points.height_mm,
    )


def _eliminate(points: Points, theta: Floats, depth: Floats) -> tuple[Floats, Floats, Floats]:
    """Each depth's sensitivity to the shared parameters, own variance, and own step (mm)."""
    at = wave.travel_time(
        np.nan_to_num(depth), np.exp(theta[0]), points.separation_mm, points.height_mm
    )
    weight = 1 / points.time_u_ns**2
    tie_weight = np.where(points.tied, 1 / points.tie_u_mm**2, 0.0)
    # At the very surface time hardly changes with depth; a floor keeps the depth block invertible.
    per_mm = np.maximum(at.per_mm, 1e-6)
    diagonal = per_mm**2 * weight + tie_weight
    by_shared = np.zeros((len(depth), len(theta)))
    by_shared[:, 0] = at.per_log_permittivity
    by_shared[np.arange(len(depth)), 1 + points.antenna] = -1.0
    sensitivity = -(per_mm * weight / diagonal)[:, None] * by_shared
    misfit = points.time_ns + theta[1:][points.antenna] - at.time_ns
    off = np.where(points.tied, points.tie_mm - depth, 0.0)
    step = (per_mm * weight * misfit + tie_weight * off) / diagonal
    return sensitivity, 1 / diagonal, step


def _shared(
    points: Points, priors: Priors, theta: Floats, depth: Floats, sensitivity: Floats, own: Floats
) -> tuple[Floats, Floats]:
    """Schur complement on the shared parameters and its right-hand side.

    For one point, with ``m`` the misfit of its time and ``J`` its time's derivatives, eliminating the
    depth leaves an observation of the shared parameters with variance
    ``u_t^2 + (dT/dd u_tie)^2``, which is what is summed here.
    """
    tied = points.tied
    matrix = np.diag(np.concatenate([[0.0], 1 / priors.time_offset_u_ns**2]))
    right = np.concatenate([[0.0], -theta[1:] / priors.time_offset_u_ns**2])
    if priors.permittivity is not None and priors.permittivity_u is not None:
        weight = (priors.permittivity / priors.permittivity_u) ** 2
        matrix[0, 0] += weight
        right[0] += weight * (np.log(priors.permittivity) - theta[0])
    at = wave.travel_time(
        depth[tied], np.exp(theta[0]), points.separation_mm[tied], points.height_mm[tied]
    )
    variance = points.time_u_ns[tied] ** 2 + (at.per_mm * points.tie_u_mm[tied]) ** 2
    slope = np.zeros((int(tied.sum()), len(theta)))
    slope[:, 0] = at.per_log_permittivity
    slope[np.arange(len(slope)), 1 + points.antenna[tied]] = -1.0
    misfit = (
        points.time_ns[tied]
        + theta[1:][points.antenna[tied]]
        - at.time_ns
        - at.per_mm * (points.tie_mm[tied] - depth[tied])
    )
    matrix += (slope / variance[:, None]).T @ slope
    right += (slope / variance[:, None]).T @ misfit
    return matrix, right


def _check(theta: Floats) -> None:
    permittivity = float(np.exp(theta[0]))
    if permittivity < PERMITTIVITY_MIN:
        raise DepthwrightError(
            "The known depths would need a wave faster than in air.",
            "Check the depth just typed, the bar it belongs to and the antenna separation.",
        )
    if permittivity > PERMITTIVITY_MAX:
        raise DepthwrightError(
            "The known depths would need a wave slower than in water.",
            "Check the depth just typed, the bar it belongs to and the antenna separation.",
        )
