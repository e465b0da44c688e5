r"""What a bar's hyperbola says about the permittivity, condensed to one number and its slopes.

The nodes of a crest (positions :math:`x_j`, times :math:`t_j`) are explained by

.. math:: t_j = c + T(k (x_j - x_0); d, R, \varepsilon, s) + D_j , \quad T_h(d, \varepsilon) = \tau ,

with a level :math:`c` of its own, so that only the crest's shape counts (the apex's time is a separate
observation, and nothing is counted twice); :math:`T` the path over the bar's outline and :math:`D` the
computed delay by the surface (:mod:`depthwright.depth.leg_delay`). The cover :math:`d` is what the apex's
two-way time :math:`\tau` asks for. Fitted are :math:`\ln\varepsilon`, :math:`x_0` and :math:`c`; the radius
is entered, never fitted, since it is nearly degenerate with the time zero. The answer is the :math:`z` of

.. math:: z = \ln\varepsilon + a_\tau (\tau - \tau_0) + a_s (s - s_0) + a_h (h - h_0) + a_k \ln k ,

which is what the estimator takes, with the true quantities against those it was fitted with: a tie then moves
every depth without touching a node again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from depthwright import wave
from depthwright.constants import PERMITTIVITY_MIN
from depthwright.depth import priors
from depthwright.depth.leastsquares import misfit_factor
from depthwright.depth.leg_delay import leg_delay_ns

Floats = NDArray[np.float64]

_STEPS = 40
_SETTLED = 1e-6
_STILL = 1e-3
_LARGEST_STEP = 0.15
_STEP_NS, _STEP_MM, _STEP_LOG = 5e-3, 0.5, 5e-3
_DEGENERATE = 1e8
"""Condition of the scaled normal equations beyond which a crest determines nothing."""
_RANGE = (np.log(1.5), np.log(60.0))


@dataclass(frozen=True)
class Crest:
    """A bar as its hyperbola is fitted.

    Parameters
    ----------
    nodes
        Positions along the line, mm, and times, ns (from any zero), of the crest.
    apex_mm
        Where the apex was picked.
    two_way_ns
        The apex's two-way time by what is known without evidence.
    radius_mm, sine
        Of the bar; ``sine`` of the angle at which it crosses the line.
    separation_mm, height_mm, frequency_ghz
        Of the antenna; the frequency is the centre of what the traces of a line share.
    """

    nodes: tuple[tuple[float, float], ...]
    apex_mm: float
    two_way_ns: float
    radius_mm: float
    sine: float
    separation_mm: float
    height_mm: float
    frequency_ghz: float


@dataclass(frozen=True)
class Curvature:
    """What one crest says: ln permittivity, its own standard uncertainty, and its slopes.

    ``per_time`` is per ns of two-way time, ``per_separation`` and ``per_height`` per mm, ``per_scale`` per
    unit of ln of the lateral scale. ``misfit_ns`` is the nodes' root mean square.
    """

    log_permittivity: float
    u: float
    two_way_ns: float
    per_time: float
    per_separation: float
    per_height: float
    per_scale: float
    misfit_ns: float


def condense(crests: Sequence[Crest]) -> tuple[Curvature | None, ...]:
    """Fit many crests at once; None for one that determines no permittivity."""
    if not crests:
        return ()
    batch = _Batch.of(crests)
    log_eps = np.full(len(crests), np.log(7.0))
    first = np.where(batch.there, batch.time - batch.model(log_eps, batch.apex)[0], np.nan)
    found = _settle(batch, log_eps, batch.apex, np.nanmedian(first, axis=1))
    model, slopes = batch.model(found.log_eps, found.apex)
    residual = np.where(batch.there, batch.time - model - found.level[:, None], 0.0)
    weight = batch.weight(residual, model)
    matrix = np.einsum("ibj,bj,kbj->bik", slopes, weight, slopes)
    by_others = _slopes(batch, found)
    return tuple(
        _answer(batch, i, float(found.log_eps[i]), matrix[i], by_others[i], residual[i], weight[i])
        if found.moved[i] < _STILL
        else None
        for i in range(len(crests))
    )


@dataclass(frozen=True)
class _Found:
    """Where a fit stands, and how far its last step went, shape (crests,) each."""

    log_eps: Floats
    apex: Floats
    level: Floats
    moved: Floats


def _settle(batch: "_Batch", log_eps: Floats, apex: Floats, level: Floats) -> _Found:
    """Weighted Gauss-Newton on all crests side by side."""
    moved = np.full(len(log_eps), np.inf)
    for _ in range(_STEPS):
        model, slopes = batch.model(log_eps, apex)
        residual = batch.time - model - level[:, None]
        weight = batch.weight(residual, model)
        step = _normal_step(slopes, residual, weight)
        # A leap in permittivity would leave the range where its apex time can be.
        step *= np.minimum(1.0, _LARGEST_STEP / np.maximum(np.abs(step[:, 0]), 1e-12))[:, None]
        log_eps = np.clip(log_eps + step[:, 0], *_RANGE)
        apex, level = apex + step[:, 1], level + step[:, 2]
        moved = np.abs(step[:, 0])
        if np.all(moved < _SETTLED):
            break
    return _Found(log_eps, apex, level, moved)


def _slopes(batch: "_Batch", found: _Found) -> Floats:
    """Slopes of z with two-way time, separation, height and ln scale, by fitting anew, shape (crests, 4).

    With a quantity larger than taken, ln permittivity would come out lower by the slope.
    """
    steps = np.array([_STEP_NS, _STEP_MM, _STEP_MM, _STEP_LOG])
    # Side by side they take a quarter of the time.
    stepped = _Batch.joined(
        (
            replace(batch, two_way=batch.two_way + _STEP_NS),
            replace(batch, separation=batch.separation + _STEP_MM),
            replace(batch, height=batch.height + _STEP_MM),
            replace(batch, sine=batch.sine * np.exp(_STEP_LOG)),
        )
    )
    start = (np.tile(value, len(steps)) for value in (found.log_eps, found.apex, found.level))
    moved = _settle(stepped, *start).log_eps.reshape(len(steps), -1) - found.log_eps
    slopes: Floats = -(moved / steps[:, None]).T
    return slopes


def _answer(
    batch: "_Batch",
    index: int,
    log_eps: float,
    matrix: Floats,
    slope: Floats,
    residual: Floats,
    weight: Floats,
) -> Curvature | None:
    """One crest's answer from its normal equations; None when it lies at the end of the range."""
    if not _RANGE[0] + 0.01 < log_eps < _RANGE[1] - 0.01 or not np.isfinite(matrix).all():
        return None
    scale = np.sqrt(np.diag(matrix))
    if not np.all(scale > 0) or np.linalg.cond(matrix / np.outer(scale, scale)) > _DEGENERATE:
        return None
    inverse = np.linalg.inv(matrix)
    count = int(batch.there[index].sum())
    # A shape that the model does not follow is known no better than it fits.
    widened = misfit_factor(float((weight * residual**2).sum()), count - 3)
    return Curvature(
        log_permittivity=log_eps,
        u=float(np.sqrt(inverse[0, 0] * widened)),
        two_way_ns=float(batch.two_way[index]),
        per_time=float(slope[0]),
        per_separation=float(slope[1]),
        per_height=float(slope[2]),
        per_scale=float(slope[3]),
        misfit_ns=float(np.sqrt((residual**2).sum() / max(count, 1))),
    )


def _normal_step(slopes: Floats, residual: Floats, weight: Floats) -> Floats:
    """Weighted least-squares steps of the three unknowns of each crest, shape (crests, 3)."""
    matrix = np.einsum("ibj,bj,kbj->bik", slopes, weight, slopes)
    right = np.einsum("ibj,bj,bj->bi", slopes, weight, residual)
    scale = np.sqrt(np.maximum(np.einsum("bii->bi", matrix), 1e-30))
    matrix = matrix / scale[:, :, None] / scale[:, None, :] + 1e-9 * np.eye(3)
    step: Floats = np.linalg.solve(matrix, (right / scale)[:, :, None])[:, :, 0] / scale
    return step


@dataclass(frozen=True)
class _Batch:
    """Crests of different lengths side by side; arrays (crests,) and (crests, nodes)."""

    position: Floats
    time: Floats
    there: NDArray[np.bool_]
    apex: Floats
    two_way: Floats
    radius: Floats
    sine: Floats
    separation: Floats
    height: Floats
    pulse: Floats

    @classmethod
    def of(cls, crests: Sequence[Crest]) -> "_Batch":
        most = max(len(crest.nodes) for crest in crests)
        position, time = np.zeros((2, len(crests), most))
        there = np.zeros((len(crests), most), dtype=bool)
        for index, crest in enumerate(crests):
            count = len(crest.nodes)
            position[index, :count], time[index, :count] = np.transpose(crest.nodes)
            position[index, count:] = crest.apex_mm
            there[index, :count] = True

        def each(name: str) -> Floats:
            return np.array([getattr(crest, name) for crest in crests], dtype=np.float64)

        return cls(
            position, time, there, each("apex_mm"), each("two_way_ns"), each("radius_mm"),
            each("sine"), each("separation_mm"), each("height_mm"),
            each("frequency_ghz") * priors.PULSE_PER_LINE_FREQUENCY,
        )  # fmt: skip

    @classmethod
    def joined(cls, batches: Sequence["_Batch"]) -> "_Batch":
        """Batches of equally many nodes one after the other."""
        names = [field.name for field in fields(cls)]
        return cls(*(np.concatenate([getattr(one, name) for one in batches]) for name in names))

    def model(self, log_eps: Floats, apex: Floats) -> tuple[Floats, Floats]:
        """Times after the apex, and their slopes with ln permittivity, x0 and level, shape (3, ...)."""
        eps = np.exp(log_eps)
        cover, top = self._cover(eps)
        offset = self.sine[:, None] * (self.position - apex[:, None])
        # The apex beside the nodes: one call for both.
        echo = self._echo(np.pad(offset, ((0, 0), (0, 1))), cover, eps)

        def after(values: Floats) -> Floats:
            return values[:, :-1] - values[:, -1:]

        per_depth = after(echo.per_mm) / top.per_mm[:, None]
        by_eps = after(echo.per_log_permittivity) - per_depth * top.per_log_permittivity[:, None]
        by_apex = -self.sine[:, None] * echo.per_offset[:, :-1]
        slopes = np.stack([by_eps, by_apex, np.ones_like(offset)])
        return after(echo.time_ns + self._delay(echo, eps)), slopes

    def weight(self, residual: Floats, model: Floats) -> Floats:
        """Weights of the nodes, 1/ns2: less for far ones, and less for outliers (Huber 1964)."""
        u = np.hypot(priors.CREST_U_NS, priors.CREST_SHARE_U * model)
        outlying = np.maximum(1.0, np.abs(residual) / (1.5 * u))
        return np.where(self.there, 1 / (u**2 * outlying), 0.0)

    def _cover(self, eps: Floats) -> tuple[Floats, wave.TravelTime]:
        cover = wave.depth_mm(self.two_way, eps, self.separation, self.height)
        # Too slow a wave leaves no depth at all for the apex's time.
        cover = np.where(np.isfinite(cover), np.maximum(cover, 1.0), 1.0)
        return cover, wave.travel_time(cover, eps, self.separation, self.height)

    def _echo(self, offset: Floats, cover: Floats, eps: Floats) -> wave.BarTime:
        cover, radius, eps, separation = (
            value[:, None] for value in (cover, self.radius, eps, self.separation)
        )
        return wave.bar_time(offset, cover, radius, eps, separation)

    def _delay(self, echo: wave.BarTime, eps: Floats) -> Floats:
        delay: Floats = leg_delay_ns(
            echo.leg_mm,
            echo.leg_angle_rad,
            np.maximum(self.height, 0.1)[:, None],
            np.maximum(eps, PERMITTIVITY_MIN)[:, None],
            self.pulse[:, None],
        ).sum(axis=0)
        return delay
