r"""Least squares: weighted Gauss-Newton, private unknowns taken out first, and propagation.

Rows are *whitened*: residual and model derivative are both divided by the row's standard uncertainty, so
that the sum of squares is chi-square and the covariance is that of JCGM 100:2008 without scaling.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import chdtri

from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Linearise = Callable[[Floats], tuple[Floats, Floats]]
"""From unknowns (n,) to whitened residuals (rows,), observed minus model, and the model's
derivatives (rows, n)."""

_STEPS = 100
_SETTLED = 1e-7
_STANDSTILL, _SMALL = 1e-2, 0.3
"""A small step that brings a hundredth of what it promises has met a bend of the model: it stays there."""
_HALVINGS = 25
_LOOK_BACK = 3
"""How many of the last steps are looked back at."""
_SINGULAR = 1e-11


@dataclass(frozen=True)
class Fit:
    """The minimum of a sum of squares.

    Parameters
    ----------
    values
        Unknowns at the minimum, shape (n,).
    covariance
        Their covariance, with the rows' uncertainties taken as they are, shape (n, n).
    residual
        Whitened residuals there, shape (rows,).
    jacobian
        Whitened derivatives of the model there, shape (rows, n).
    """

    values: Floats
    covariance: Floats
    residual: Floats
    jacobian: Floats

    @property
    def chi_square(self) -> float:
        """Sum of the squared whitened residuals."""
        return float(self.residual @ self.residual)

    @property
    def u(self) -> Floats:
        """Standard uncertainties, shape (n,)."""
        u: Floats = np.sqrt(np.diag(self.covariance))
        return u


def gauss_newton(linearise: Linearise, start: Floats) -> Fit:
    """Minimise the sum of squares of whitened residuals.

    Full Gauss-Newton steps by QR, halved while they make the sum larger. Columns are scaled to unit
    length, so that unknowns of any unit go together.

    Raises
    ------
    DepthwrightError
        When the rows do not determine all unknowns, or no minimum is found.
    """
    values = np.asarray(start, dtype=np.float64)
    residual, jacobian = linearise(values)
    path: list[tuple[Floats, Floats]] = []
    for _ in range(_STEPS):
        if not (np.isfinite(residual).all() and np.isfinite(jacobian).all()):
            raise _unsettled()
        step = _step(residual, jacobian)
        now = float(residual @ residual)
        # What the step should gain, in standard uncertainties: with nothing left it is the last one.
        gain = float(np.linalg.norm(jacobian @ step))
        if gain <= _SETTLED * max(1.0, np.sqrt(now)):
            values = values + step
            return _fit(values, *linearise(values))
        path = [*path[-_LOOK_BACK:], (values, step)] if gain <= _SMALL else []
        tries = [step / 2**halving for halving in range(_HALVINGS)]
        if len(path) > 1:
            tries.insert(0, _looking_back(path, jacobian))
        for tried in tries:
            trial = values + tried
            trial_residual, trial_jacobian = linearise(trial)
            then = float(trial_residual @ trial_residual)
            if then <= now * (1 + 1e-12):
                break
        else:
            break
        values, residual, jacobian = trial, trial_residual, trial_jacobian
        if now - then <= _STANDSTILL * gain**2 and gain <= _SMALL:
            break
    if gain > _SMALL:
        raise _unsettled()
    return _fit(values, residual, jacobian)


def _looking_back(path: Sequence[tuple[Floats, Floats]], jacobian: Floats) -> Floats:
    """The step that the last ones point to: Anderson's acceleration of a fixed point (1965, from memory).

    Where residuals stay large, Gauss-Newton steps shrink by a constant factor only. The combination of
    the last places whose own steps nearly cancel is nearer to where none is left.
    """
    values, steps = (np.stack(each) for each in zip(*path, strict=True))
    moved, changed = np.diff(values, axis=0).T, np.diff(steps, axis=0).T
    share = np.linalg.lstsq(jacobian @ changed, jacobian @ steps[-1], rcond=None)[0]
    further: Floats = steps[-1] - (moved + changed) @ share
    return further


def eliminate(own: Floats, shared: Floats, residual: Floats) -> tuple[Floats, Floats]:
    """Take one private unknown per item out of its rows by a Householder reflection.

    Parameters
    ----------
    own
        Derivatives of each item's whitened rows with its private unknown, shape (items, rows).
    shared
        Derivatives with the shared unknowns, shape (items, rows, n).
    residual
        Whitened residuals, shape (items, rows).

    Returns
    -------
    Derivatives (items, rows - 1, n) and residuals (items, rows - 1) whose least squares in the shared
    unknowns is that of all rows with the private unknown at its best (Golub and Pereyra 1973, variable
    projection, from memory).
    """
    length = np.linalg.norm(own, axis=1)
    mirror = own.copy()
    mirror[:, 0] += np.where(own[:, 0] >= 0, length, -length)
    square = np.maximum((mirror**2).sum(axis=1), 1e-300)
    along = np.einsum("ir,irn->in", mirror, shared) * (2 / square)[:, None]
    turned = shared - mirror[:, :, None] * along[:, None, :]
    turned_residual = residual - mirror * ((mirror * residual).sum(axis=1) * 2 / square)[:, None]
    return turned[:, 1:], turned_residual[:, 1:]


@dataclass(frozen=True)
class Alike:
    """Which rows touch the same unknowns: a triangle says as much as all rows of such a group.

    Parameters
    ----------
    group, seat
        Each row's group and its place in it, shape (rows,).
    column
        The unknowns that each group touches, shape (groups, kinds).
    most
        Rows of the largest group.
    """

    group: Indices
    seat: Indices
    column: Indices
    most: int

    @classmethod
    def of(cls, column: Indices, key: Indices) -> "Alike":
        """The groups of rows with one key (rows,), which touch the same unknowns (rows, kinds)."""
        _, first, group, count = np.unique(
            key, return_index=True, return_inverse=True, return_counts=True
        )
        order = np.argsort(group, kind="stable")
        seat = np.empty_like(group)
        seat[order] = np.arange(len(group)) - np.repeat(np.cumsum(count) - count, count)
        return cls(group, seat, column[first], int(count.max(initial=0)))

    def condensed(self, residual: Floats, value: Floats) -> tuple[Floats, Floats]:
        """Rows with the same sum of squares and the same derivatives of it, fewer where groups are large.

        Takes residuals (rows,) and derivatives (rows, kinds), gives those of (groups, few) and
        (groups, few, kinds).
        """
        groups, kinds = self.column.shape
        rows = np.zeros((groups, self.most, kinds + 1))
        rows[self.group, self.seat, :kinds] = value
        rows[self.group, self.seat, kinds] = residual
        if self.most > kinds + 1:
            rows = _r_of(rows)
        return rows[..., kinds], rows[..., :kinds]


def misfit_factor(chi_square: float, freedom: int) -> float:
    """What a variance is widened by when rows do not fit together as well as they claim.

    Birge's ratio chi2/freedom (Birge 1932, from memory) once it is more than chance makes it in one case of
    twenty; one where chi2 is no more than its mean; in between a ramp, so that nothing jumps. Applied
    from the mean on it would widen every second consistent set.
    """
    if freedom < 1 or chi_square <= freedom:
        return 1.0
    rare = float(chdtri(freedom, 0.05))
    ramp = min(1.0, (chi_square - freedom) / (rare - freedom))
    return 1.0 + (chi_square / freedom - 1.0) * ramp


def propagated(jacobian: Floats, covariance: Floats) -> Floats:
    """Covariance of outputs (outputs, outputs) from that of the inputs: J C J' (JCGM 102:2011, 6.2)."""
    outputs: Floats = jacobian @ covariance @ jacobian.T
    return outputs


def _triangle(residual: Floats, jacobian: Floats) -> tuple[Floats, Floats, Floats]:
    """R of the derivatives with their columns scaled, Q'r, and the columns' lengths.

    Refuses what leaves an unknown open.
    """
    count = jacobian.shape[1]
    scale = np.linalg.norm(jacobian, axis=0)
    if not np.all(scale > 0) or jacobian.shape[0] < count:
        raise _undetermined()
    # With the residuals as one column more, R holds Q'r, and Q itself is not needed.
    whole = _r_of(np.column_stack([jacobian / scale, residual]))
    triangle = whole[:count, :count]
    if not np.all(np.abs(np.diag(triangle)) > _SINGULAR):
        raise _undetermined()
    return triangle, whole[:count, count], scale


def _r_of(matrix: Floats) -> Floats:
    return cast(Floats, np.linalg.qr(matrix, mode="r"))


def _step(residual: Floats, jacobian: Floats) -> Floats:
    triangle, right, scale = _triangle(residual, jacobian)
    step: Floats = solve_triangular(triangle, right) / scale
    return step


def _fit(values: Floats, residual: Floats, jacobian: Floats) -> Fit:
    triangle, _, scale = _triangle(residual, jacobian)
    inverse = solve_triangular(triangle, np.eye(len(scale))) / scale[:, None]
    return Fit(values, inverse @ inverse.T, residual, jacobian)


def _undetermined() -> DepthwrightError:
    return DepthwrightError(
        "The evidence does not determine the depth model.",
        "Tie a known depth at another depth, or give the antenna's time offset an uncertainty.",
    )


def _unsettled() -> DepthwrightError:
    return DepthwrightError(
        "The depth model does not settle on the evidence.",
        "Check each known depth, the permittivity given, the antenna separation and the direct wave, and "
        "leave out what is wrong.",
    )
