"""Least squares for models of a few parameters, each evaluation of which is a simulation."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Found", "minimise_squares"]

Floats = NDArray[np.float64]


class Found(NamedTuple):
    """Where the sum of squares is least."""

    parameters: Floats
    residual: Floats
    covariance: Floats
    """Inverse of the normal matrix: covariance of the parameters if residuals have unit variance."""


def minimise_squares(
    residual: Callable[[Floats], Floats],
    guess: Floats,
    *,
    steps: Floats,
    lower: Floats,
    upper: Floats,
    most: int = 40,
) -> Found:
    """
    Minimise a sum of squares by damped Gauss-Newton steps within bounds.

    Parameters
    ----------
    residual : callable
        Parameters, shape (p,), to residuals, shape (n,).
    guess : ndarray, shape (p,)
        Where to begin.
    steps : ndarray, shape (p,)
        Differences for the derivatives.
    lower, upper : ndarray, shape (p,)
        Bounds.
    most : int
        Steps at most.

    Returns
    -------
    Found
        Parameters, residuals there, and covariance.

    Notes
    -----
    Levenberg (1944) with Marquardt's (1963) scaling by the diagonal, doi:10.1137/0111030; without the
    overhead of a general library, since a drop asks for dozens of such fits.

    Examples
    --------
    >>> t = np.arange(5.0)
    >>> found = minimise_squares(
    ...     lambda p: p[0] * np.exp(-p[1] * t) - 3 * np.exp(-0.5 * t), np.array([1.0, 1.0]),
    ...     steps=np.full(2, 1e-6), lower=np.zeros(2), upper=np.full(2, 10.0))
    >>> found.parameters.round(4).tolist()
    [3.0, 0.5]
    """
    best = np.clip(guess, lower, upper)
    r = residual(best)
    cost, damp = float(r @ r), 1e-3
    jacobian = _jacobian(residual, best, r, steps)
    for _ in range(most):
        normal = jacobian.T @ jacobian
        damped = normal + damp * np.diag(np.diag(normal) + 1e-300)
        trial = np.clip(best - np.linalg.solve(damped, jacobian.T @ r), lower, upper)
        r_trial = residual(trial)
        with np.errstate(over="ignore", invalid="ignore"):
            gain = cost - float(r_trial @ r_trial)
        # a simulation that ran away gives a cost that is not finite: no gain
        if gain > 0:
            best, r, cost = trial, r_trial, cost - gain
            jacobian = _jacobian(residual, best, r, steps)
            damp = max(damp / 8, 1e-9)
            if gain < 1e-4 * max(1.0, 1e-3 * cost):
                break
        else:
            damp *= 6
            if damp > 1e8:
                break
    covariance = np.asarray(np.linalg.pinv(jacobian.T @ jacobian), dtype=float)
    return Found(best, r, covariance)


def _jacobian(residual: Callable[[Floats], Floats], p: Floats, r: Floats, steps: Floats) -> Floats:
    columns = []
    for i, h in enumerate(steps):
        moved = p.copy()
        moved[i] += h
        columns.append((residual(moved) - r) / h)
    return np.stack(columns, axis=1)
