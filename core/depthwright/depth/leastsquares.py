r"""Least squares: weighted Gauss-Newton, private unknowns taken out first, and propagation.

Rows are *whitened*: residual and model derivative are both divided by the row's standard uncertainty, so
that the sum of squares is chi-square and the covariance is that of JCGM 100:2008 without scaling.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from depthwright.errors import DepthwrightError

Floats = NDArray[np.float64]
Linearise = Callable[[Floats], tuple[Floats, Floats]]
"""From unknowns (n,) to whitened residuals (rows,), observed minus model, and the model's
derivatives (rows, n)."""

_STEPS = 100
_SETTLED = 1e-9
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
        When the rows do not determine all unknowns.
    """
    values = np.asarray(start, dtype=np.float64)
    residual, jacobian = linearise(values)
    for _ in range(_STEPS):
        step = _step(residual, jacobian)
        now = float(residual @ residual)
        for _ in range(_HALVINGS):
            trial = values + step
            trial_residual, trial_jacobian = linearise(trial)
            then = float(trial_residual @ trial_residual)
            if then <= now * (1 + 1e-12) + 1e-300:
                break
            step = step / 2
        values, residual, jacobian = trial, trial_residual, trial_jacobian
        # In standard uncertainties of what the step is worth.
        moved = float(np.linalg.norm(jacobian @ step))
        if moved <= _SETTLED * max(1.0, np.sqrt(now)) and then >= now * (1 - 1e-12) - _SETTLED:
            break
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


def propagated(jacobian: Floats, covariance: Floats) -> Floats:
    """Covariance of outputs (outputs, outputs) from that of the inputs: J C J' (JCGM 102:2011, 6.2)."""
    outputs: Floats = jacobian @ covariance @ jacobian.T
    return outputs


def _step(residual: Floats, jacobian: Floats) -> Floats:
    scale = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-300)
    step: Floats = np.linalg.lstsq(jacobian / scale, residual, rcond=None)[0] / scale
    return step


def _covariance(jacobian: Floats) -> Floats:
    scale = np.linalg.norm(jacobian, axis=0)
    if not np.all(scale > 0) or jacobian.shape[0] < jacobian.shape[1]:
        raise _undetermined()
    triangle = np.linalg.qr(jacobian / scale, mode="r")
    pivots = np.abs(np.diag(triangle))
    if not np.all(pivots > _SINGULAR):
        raise _undetermined()
    inverse = np.linalg.inv(triangle) / scale[:, None]
    covariance: Floats = inverse @ inverse.T
    return covariance


def _undetermined() -> DepthwrightError:
    return DepthwrightError(
        "The evidence does not determine the depth model.",
        "Tie a known depth at another depth, or give the antenna's time offset an uncertainty.",
    )
