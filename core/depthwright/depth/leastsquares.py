r"""Least squares: weighted Gauss-Newton, private unknowns taken out first, and propagation.

Rows are *whitened*: residual and model derivative are both divided by the row's standard uncertainty, so
that the sum of squares is chi-square and the covariance is that of JCGM 100:2008 without scaling.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.stats
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]
Linearise = Callable[[Floats], tuple[Floats, Floats]]
"""From unknowns (n,) to whitened residuals (rows,), observed minus model, and the model's
derivatives (rows, n)."""

_STEPS = 100
_SETTLED = 1e-7
_STANDSTILL, _SMALL = 1e-2, 0.3
"""A small step that brings a hundredth of what it promises has met a bend of the model: it stays there."""
_HALVINGS = 25
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
    for _ in range(_STEPS):
        if not (np.isfinite(residual).all() and np.isfinite(jacobian).all()):
            raise _unsettled()
        step = _step(residual, jacobian)
        now = float(residual @ residual)
        # What the step should gain, in standard uncertainties: with nothing left it is the last one.
        gain = float(np.linalg.norm(jacobian @ step))
        if gain <= _SETTLED * max(1.0, np.sqrt(now)):
            values = values + step
            residual, jacobian = linearise(values)
            return Fit(values, _covariance(jacobian), residual, jacobian)
        for _ in range(_HALVINGS):
            trial = values + step
            trial_residual, trial_jacobian = linearise(trial)
            then = float(trial_residual @ trial_residual)
            if then <= now * (1 + 1e-12):
                break
            step = step / 2
        else:
            break
        values, residual, jacobian = trial, trial_residual, trial_jacobian
        if now - then <= _STANDSTILL * gain**2 and gain <= _SMALL:
            break
    if gain > _SMALL:
        raise _unsettled()
    return Fit(values, _covariance(jacobian), residual, jacobian)


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


def misfit_factor(chi_square: float, freedom: int) -> float:
    """What a variance is widened by when rows do not fit together as well as they claim.

    Birge's ratio chi2/freedom (Birge 1932, from memory) once it is more than chance makes it in one case of
    twenty; one where chi2 is no more than its mean; in between a ramp, so that nothing jumps. Applied
    from the mean on it would widen every second consistent set.
    """
    if freedom < 1 or chi_square <= freedom:
        return 1.0
    rare = float(scipy.stats.chi2.ppf(0.95, freedom))
    ramp = min(1.0, (chi_square - freedom) / (rare - freedom))
    return 1.0 + (chi_square / freedom - 1.0) * ramp


def propagated(jacobian: Floats, covariance: Floats) -> Floats:
    """Covariance of outputs (outputs, outputs) from that of the inputs: J C J' (JCGM 102:2011, 6.2)."""
    outputs: Floats = jacobian @ covariance @ jacobian.T
    return outputs


def _triangle(jacobian: Floats) -> tuple[Floats, Floats, Floats]:
    """Q, R and column lengths of the scaled derivatives; refuses what leaves an unknown open."""
    scale = np.linalg.norm(jacobian, axis=0)
    if not np.all(scale > 0) or jacobian.shape[0] < jacobian.shape[1]:
        raise _undetermined()
    orthogonal, triangle = np.linalg.qr(jacobian / scale)
    if not np.all(np.abs(np.diag(triangle)) > _SINGULAR):
        raise _undetermined()
    return orthogonal, triangle, scale


def _step(residual: Floats, jacobian: Floats) -> Floats:
    orthogonal, triangle, scale = _triangle(jacobian)
    step: Floats = solve_triangular(triangle, orthogonal.T @ residual) / scale
    return step


def _covariance(jacobian: Floats) -> Floats:
    _, triangle, scale = _triangle(jacobian)
    inverse = solve_triangular(triangle, np.eye(len(scale))) / scale[:, None]
    covariance: Floats = inverse @ inverse.T
    return covariance


def _undetermined() -> DepthwrightError:
    return DepthwrightError(
        "The evidence does not determine the depth model.",
        "Tie a known depth at another depth, or give the antenna's time offset an uncertainty.",
    )


def _unsettled() -> DepthwrightError:
    return DepthwrightError(
        "The depth model does not settle on the evidence.",
        "Undo the last known depth, or check the antenna's separation and the direct wave.",
    )
