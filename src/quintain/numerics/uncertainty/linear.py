"""First-order propagation of uncertainty, and the small types in which results carry it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Contribution", "Estimate", "combine", "propagate_linear", "welch_satterthwaite"]


class Contribution(NamedTuple):
    """What one source of doubt adds: its sensitivity times its standard uncertainty, signed."""

    name: str
    u: float


class Estimate(NamedTuple):
    """A value, its standard uncertainty, and the contributions it was combined from."""

    value: float
    u: float
    contributions: tuple[Contribution, ...] = ()


def combine(value: float, **contributions: float) -> Estimate:
    r"""
    Combine independent contributions into one standard uncertainty.

    Parameters
    ----------
    value : float
        The estimate. [its unit]
    **contributions : float
        Sensitivity times standard uncertainty of each source, by name; the sign is kept. [as value]

    Returns
    -------
    Estimate
        Value, root sum of squares of the contributions, and the contributions themselves.

    Raises
    ------
    ValueError
        If the value or a contribution is not finite.

    Notes
    -----
    :math:`u^2 = \sum_i (c_i u_i)^2`, JCGM 100:2008 equation 10. Sources that share a cause are not
    independent: use :func:`propagate_linear` with their covariance.

    Examples
    --------
    >>> combine(20.0, zero=0.03, gain=-0.04).u
    0.05
    """
    for name, u in {"value": value, **contributions}.items():
        if not math.isfinite(u):
            raise ValueError(f"every contribution must be finite, but {name} is {u}")
    named = tuple(Contribution(name, float(u)) for name, u in contributions.items())
    return Estimate(float(value), math.hypot(*contributions.values()), named)


def propagate_linear(
    function: Callable[..., float],
    values: ArrayLike,
    covariance: ArrayLike,
    *,
    names: Sequence[str] | None = None,
    jacobian: ArrayLike | None = None,
) -> Estimate:
    r"""
    Propagate the covariance of inputs through a function, to first order.

    Parameters
    ----------
    function : callable
        Takes the inputs as separate arguments, returns one number.
    values : array_like, shape (n,)
        Best estimates of the inputs. [each its own unit]
    covariance : array_like, shape (n, n) or (n,)
        Covariance of the inputs, or the standard uncertainties of independent inputs. [units of the
        inputs, multiplied pairwise; or as the inputs]
    names : sequence of str, optional
        Names of the inputs; ``x1``, ``x2``, ... by default.
    jacobian : array_like, shape (n,), optional
        Partial derivatives at ``values``; central differences are taken where it is not given.

    Returns
    -------
    Estimate
        Value, standard uncertainty, and one signed contribution for each input. With correlated
        inputs the contributions do not add in squares; :func:`~quintain.numerics.uncertainty.budget.
        build_budget` takes the correlation.

    Raises
    ------
    ValueError
        If shapes disagree, the covariance is not symmetric and positive semidefinite, or the function
        is not finite near ``values``.

    Notes
    -----
    :math:`u^2(y) = \mathbf{c}^T \mathbf{V} \mathbf{c}`, JCGM 100:2008 equation 13. It takes the function
    as a straight line over the spread of its inputs: near an extremum the true uncertainty is larger
    than stated, and the mean of the output is displaced by half the second derivative times the
    variance. Compare with :func:`~quintain.numerics.uncertainty.monte_carlo.propagate_monte_carlo`.

    Examples
    --------
    Effective mass from an impulse of 25 N·s (1 %) and a speed of 8 m/s (3 %), 3.16 % together:

    >>> mass = propagate_linear(lambda j, v: j / v, [25.0, 8.0], [0.25, 0.24], names=["impulse", "speed"])
    >>> round(mass.u / mass.value, 4)
    0.0316
    >>> [(c.name, round(c.u, 4)) for c in mass.contributions]
    [('impulse', 0.0312), ('speed', -0.0938)]
    """
    x = np.atleast_1d(np.asarray(values, dtype=float))
    v = _covariance_matrix(covariance, x.size)
    names = [f"x{i + 1}" for i in range(x.size)] if names is None else names
    if len(names) != x.size:
        raise ValueError(f"need one name for each of {x.size} inputs, got {len(names)}")
    u = np.sqrt(np.diag(v))
    value = float(function(*x))
    c = _central_differences(function, x, u) if jacobian is None else np.asarray(jacobian, dtype=float)
    if c.shape != x.shape:
        raise ValueError(f"jacobian must have shape {x.shape}, got {c.shape}")
    if not (np.isfinite(value) and np.isfinite(c).all()):
        raise ValueError(f"the function or a derivative of it is not finite at {x.tolist()}")
    contributions = tuple(Contribution(n, float(s)) for n, s in zip(names, c * u, strict=True))
    return Estimate(value, math.sqrt(max(float(c @ v @ c), 0.0)), contributions)


def welch_satterthwaite(contributions: ArrayLike, degrees_of_freedom: ArrayLike) -> float:
    r"""
    Effective degrees of freedom of a sum of independent contributions.

    Parameters
    ----------
    contributions : array_like, shape (n,)
        Standard uncertainties in the unit of the output. [any, the same for all]
    degrees_of_freedom : array_like, shape (n,)
        Degrees of freedom of each; ``inf`` where the uncertainty itself is taken as known. [1]

    Returns
    -------
    degrees_of_freedom : float
        Not rounded; ``inf`` if only exactly known contributions count. [1]

    Raises
    ------
    ValueError
        If a number of degrees of freedom is not positive, or every contribution is zero.

    Notes
    -----
    :math:`\nu_\mathrm{eff} = u^4 / \sum_i u_i^4/\nu_i`, JCGM 100:2008 equation G.2b. It holds for
    independent contributions only.

    Examples
    --------
    >>> round(welch_satterthwaite([3.0, 4.0], [4, 9]), 2)
    12.84
    """
    u2 = np.asarray(contributions, dtype=float) ** 2
    nu = np.asarray(degrees_of_freedom, dtype=float)
    if not (nu > 0).all():
        raise ValueError(f"degrees of freedom must be positive, got {nu.tolist()}")
    if not u2.sum() > 0:
        raise ValueError("at least one contribution must be larger than zero")
    spread = float((u2**2 / nu).sum())
    return float(u2.sum() ** 2 / spread) if spread > 0 else float("inf")


def _covariance_matrix(covariance: ArrayLike, n: int) -> NDArray[np.float64]:
    v = np.asarray(covariance, dtype=float)
    if v.ndim <= 1:
        v = np.atleast_1d(v)
        if v.size and not (v >= 0).all():
            raise ValueError(f"standard uncertainties must not be negative, got {v.tolist()}")
        v = np.diag(v**2)
    if v.shape != (n, n):
        raise ValueError(f"need a covariance of shape ({n}, {n}) or ({n},), got {v.shape}")
    scale = np.sqrt(np.abs(np.diag(v)))
    scale[scale == 0] = 1.0
    correlation = v / np.outer(scale, scale)
    # 1e-9: far above rounding in a correlation matrix, far below any correlation that matters
    if not np.allclose(correlation, correlation.T, atol=1e-9) or np.linalg.eigvalsh(correlation)[0] < -1e-9:
        raise ValueError("the covariance must be symmetric and positive semidefinite")
    return v


def _central_differences(
    function: Callable[..., float], x: NDArray[np.float64], u: NDArray[np.float64]
) -> NDArray[np.float64]:
    # a hundredth of u keeps to the slope at the estimate; the cube root of machine precision keeps
    # rounding out where u is tiny
    steps = np.maximum(0.01 * u, np.cbrt(np.finfo(float).eps) * np.abs(x))
    slopes = np.zeros(x.size)
    for i in np.flatnonzero(u):
        up, down = x.copy(), x.copy()
        up[i] += steps[i]
        down[i] -= steps[i]
        slopes[i] = (float(function(*up)) - float(function(*down))) / (up[i] - down[i])
    return slopes
