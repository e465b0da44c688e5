r"""What single pieces of evidence do to a posterior: taken out, added, or counted up in a budget.

All of it is linear algebra on a posterior that is at hand. Taking out one observation :math:`k` of
:math:`y` with variance :math:`v`, where the posterior says :math:`\hat y` with variance :math:`V` and
covariance :math:`c` with the unknowns, gives back the rest of the evidence:

.. math:: \theta^- = \theta + \frac{c\,(\hat y - k)}{v - V}, \quad
    \Sigma^- = \Sigma + \frac{c c^T}{v - V}, \quad
    y^- = \hat y + \frac{V (\hat y - k)}{v - V}, \quad V^- = \frac{V v}{v - V} .

Adding one goes the other way (the update of a linear least-squares estimate, JCGM 102:2011, 6; the forms
follow from the product of two normal densities).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from depthwright.depth.estimator import Depths, Posterior
from depthwright.depth.points import Points

Floats = NDArray[np.float64]

_ALONE = 1e-6
"""A piece of evidence whose variance the posterior has to within this share is all there is."""


@dataclass(frozen=True)
class Without:
    """A posterior's unknowns without one tie.

    ``apart`` is how far the tie lies from what the rest says there, in standard uncertainties of the
    difference; None for all when the rest says nothing.
    """

    theta: Floats
    covariance: Floats
    apart: float


def without_tie(
    posterior: Posterior, points: Points, index: int, depths: Depths | None = None
) -> Without | None:
    """What the posterior would be without the tie of one of its points, to first order.

    ``depths`` are those of all points, where they are at hand.
    """
    point = points.some(np.array([index]))
    if depths is None:
        depths, index = posterior.depths(point), 0
    share = float(point.shared[0]) if point.meter[0] >= 0 else 0.0
    u = float(point.tie_u_mm[0])
    slope = depths.sensitivity[index].copy()
    common = np.zeros((1, len(slope)))
    posterior.model.columns.meter.add(common, point.meter, np.array([u * math.sqrt(share)]))
    slope += common[0]
    # The evidence as it was weighed, before any widening by how badly it fits together.
    covariance = posterior.fit.covariance
    variance = (1 - share) * u**2
    mine = covariance @ slope
    own = float(depths.own_variance[index])
    said_variance = float(slope @ mine) + own
    left = variance - said_variance
    if left <= _ALONE * variance:
        return None
    meter = float(posterior.model.columns.meter.of(posterior.theta, point.meter)[0])
    off = float(depths.depth_mm[index]) + u * math.sqrt(share) * meter - float(point.tie_mm[0])
    spread = math.sqrt(said_variance * variance / left + variance)
    return Without(
        theta=posterior.theta + mine * off / left,
        covariance=covariance + np.outer(mine, mine) / left,
        apart=abs(off * (1 + said_variance / left)) / spread,
    )


def with_reading(posterior: Posterior, there: Points, u_mm: float) -> Floats:
    """Covariance of the unknowns after one more reading with standard uncertainty ``u_mm``.

    Parameters
    ----------
    posterior
        The posterior so far.
    there
        The one untied point that would be read.
    u_mm
        Standard uncertainty of the reading, mm.
    """
    depths = posterior.depths(there)
    slope = depths.sensitivity[0]
    mine = posterior.covariance @ slope
    variance = float(slope @ mine) + float(depths.own_variance[0]) + u_mm**2
    after: Floats = posterior.covariance - np.outer(mine, mine) / variance
    return after


def curvature_apart(without: Posterior, points: Points) -> float:
    """How far the crests together lie from a posterior without them, in standard uncertainties."""
    curved = points.some(points.curved)
    bare = curved.without_ties()
    held = without.model.held(bare, without.theta)
    own, shared, residual = held.rows(without.model.free_depths(bare, without.theta))
    rows = shared.dense(len(without.theta))
    weight = 1 / np.maximum(curved.curve_u, 1e-9)
    # Depths follow the picked times, so a row's slopes are those with the depth carried along.
    carried = rows[:, 2] - (own[:, 2] / own[:, 0])[:, None] * rows[:, 0]
    off = residual[:, 2] / weight
    slopes = carried / weight[:, None]
    total = float((weight**2).sum())
    mean = float((weight**2 * off).sum()) / total
    slope = (weight[:, None] ** 2 * slopes).sum(axis=0) / total
    variance = float(slope @ without.fit.covariance @ slope) + 1 / total
    return abs(mean) / math.sqrt(variance)


@dataclass(frozen=True)
class Share:
    """What one source contributes to a standard uncertainty, mm; squares add up to the whole."""

    source: str
    u_mm: float


def budgets(
    posterior: Posterior, points: Points, labels: Sequence[str], targets: Sequence[int]
) -> list[tuple[Share, ...]]:
    """What contributes how much to the standard uncertainty of some points' depths.

    Parameters
    ----------
    posterior
        The posterior of ``points``.
    points
        All points it was solved with.
    labels
        What each point is called, shape (points,).
    targets
        Indices of the points whose depths are asked for.

    Returns
    -------
    For each target its contributions, the greatest first. With every row of evidence whitened, the
    estimate is a linear function of the rows, x = (A'A)^-1 A' b, so the squares of one line of
    (A'A)^-1 A' are the variances that the rows bring (JCGM 100:2008, 5.1.2).
    """
    kept = points.tied | points.curved
    kept[list(targets)] = True
    index = np.flatnonzero(kept)
    rows = _all_rows(posterior, points.some(index))
    scale = np.maximum(np.linalg.norm(rows, axis=0), 1e-300)
    orthogonal, triangle = np.linalg.qr(rows / scale)
    asked = len(posterior.theta) + np.searchsorted(index, list(targets))
    chosen = np.zeros((len(scale), len(asked)))
    chosen[asked, np.arange(len(asked))] = 1 / scale[asked]
    gains = orthogonal @ solve_triangular(triangle, chosen, trans="T")
    whole = posterior.depths(points.some(np.array(targets, dtype=np.intp))).u_mm
    return [
        _shares(posterior, labels, index.tolist(), target, gain, float(u))
        for target, gain, u in zip(targets, gains.T, whole, strict=True)
    ]


def _all_rows(posterior: Posterior, some: Points) -> Floats:
    """Every whitened row on (shared unknowns, depth of each point): three to a point, then the priors."""
    held = posterior.model.held(some, posterior.theta)
    depth = np.nan_to_num(held.depths(), nan=1.0)
    own, slopes, _ = held.rows(depth)
    count, unknowns = len(depth), len(posterior.theta)
    shared = slopes.dense(unknowns)
    matrix = np.zeros((count, 3, unknowns + count))
    matrix[:, :, :unknowns] = shared
    matrix[np.arange(count), :, unknowns + np.arange(count)] = own
    _, prior_rows = posterior.model.columns.prior_rows(posterior.theta)
    prior = np.pad(prior_rows, ((0, 0), (0, count)))
    return np.concatenate([matrix.reshape(-1, unknowns + count), prior])


def _shares(
    posterior: Posterior,
    labels: Sequence[str],
    index: Sequence[int],
    target: int,
    gain: Floats,
    whole_u: float,
) -> tuple[Share, ...]:
    """One depth's gains on all rows, summed up by where the rows come from."""
    names = [
        name
        for place in index
        for name in (
            "pick of this mark" if place == target else "picks of the tied and curved bars",
            f"known depth of {labels[place]}",
            "curvature of the crests",
        )
    ]
    known = [u for u in posterior.model.columns.unknowns if math.isfinite(u.u)]
    names += [unknown.group for unknown in known]
    sums: dict[str, float] = {}
    for name, part in zip(names, gain.tolist(), strict=True):
        sums[name] = sums.get(name, 0.0) + part**2
    # What the posterior was widened by because its evidence does not fit together.
    sums["evidence that does not fit together"] = max(0.0, whole_u**2 - sum(sums.values()))
    shares = [
        Share(name, math.sqrt(value)) for name, value in sums.items() if value > 1e-8 * whole_u**2
    ]
    return tuple(sorted(shares, key=lambda share: -share.u_mm))
