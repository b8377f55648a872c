"""Propagation of distributions by random draws, after JCGM 101."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.numerics.uncertainty.linear import Estimate

__all__ = [
    "Draw",
    "MonteCarloEstimate",
    "draw_normal",
    "first_order_holds",
    "numerical_tolerance",
    "propagate_adaptively",
    "propagate_monte_carlo",
    "shortest_interval",
]

Draw = Callable[[np.random.Generator, int], Sequence[NDArray[np.float64]]]
"""Takes a generator and a number n; returns n draws of each input, one array an input."""


class MonteCarloEstimate(NamedTuple):
    """Mean and standard deviation of the output, and its coverage intervals."""

    value: float
    u: float
    symmetric: tuple[float, float]
    """Interval that leaves equal probability on both sides."""
    shortest: tuple[float, float]
    n_draws: int


def draw_normal(values: ArrayLike, covariance: ArrayLike) -> Draw:
    """
    Draws of jointly normal inputs.

    Parameters
    ----------
    values : array_like, shape (n,)
        Means. [each its own unit]
    covariance : array_like, shape (n, n) or (n,)
        Covariance, or standard deviations of independent inputs.

    Returns
    -------
    Draw
        For :func:`propagate_monte_carlo`.

    Raises
    ------
    ValueError
        If shapes disagree or the covariance is not positive semidefinite.

    Examples
    --------
    >>> draw = draw_normal([25.0, 8.0], [0.25, 0.24])
    >>> [d.shape for d in draw(np.random.default_rng(1), 10)]
    [(10,), (10,)]
    """
    mean = np.atleast_1d(np.asarray(values, dtype=float))
    v = np.asarray(covariance, dtype=float)
    v = np.diag(v**2) if v.ndim == 1 else v
    if v.shape != (mean.size, mean.size):
        raise ValueError(f"need a covariance of shape ({mean.size}, {mean.size}), got {v.shape}")
    sizes, axes = np.linalg.eigh(v)
    if sizes[0] < -1e-9 * max(sizes[-1], 0.0):  # rounding of a singular covariance
        raise ValueError("the covariance must be positive semidefinite")
    root = axes * np.sqrt(np.maximum(sizes, 0.0))

    def draw(rng: np.random.Generator, n: int) -> Sequence[NDArray[np.float64]]:
        return list(mean[:, None] + root @ rng.standard_normal((mean.size, n)))

    return draw


def propagate_monte_carlo(
    function: Callable[..., ArrayLike],
    draw: Draw,
    *,
    n_draws: int = 200_000,
    probability: float = 0.95,
    seed: int = 0,
) -> MonteCarloEstimate:
    r"""
    Propagate the distributions of inputs through a function by random draws.

    Parameters
    ----------
    function : callable
        Takes one array of draws for each input, returns an array of outputs.
    draw : Draw
        Draws the inputs; :func:`draw_normal`, or a function of your own.
    n_draws : int
        Number of draws, at least 100.
    probability : float
        Coverage probability of both intervals. [1]
    seed : int
        Of the generator: the same seed gives the same result.

    Returns
    -------
    MonteCarloEstimate
        Mean, standard deviation, intervals. [unit of the output]

    Raises
    ------
    ValueError
        If there are too few draws, or the function gives another shape or a number that is not finite.

    Notes
    -----
    JCGM 101:2008, clause 7. Ends of a 95 % interval of a normal output are good to about
    :math:`3\,u/\sqrt n` (derived here).

    Examples
    --------
    A mass J/v from a speed known to 10 % is lopsided, which first order cannot say:

    >>> mass = propagate_monte_carlo(lambda j, v: j / v, draw_normal([25.0, 8.0], [0.25, 0.8]))
    >>> print(f"{mass.value:.2f} kg, {mass.symmetric[0]:.1f} to {mass.symmetric[1]:.1f} kg")
    3.16 kg, 2.6 to 3.9 kg
    """
    if n_draws < 100:
        raise ValueError(f"need at least 100 draws for an interval, got {n_draws}")
    outputs = _outputs(function, draw, np.random.default_rng(seed), n_draws)
    return _summary(np.sort(outputs), probability)


def propagate_adaptively(
    function: Callable[..., ArrayLike],
    draw: Draw,
    *,
    digits: int = 2,
    probability: float = 0.95,
    seed: int = 0,
    max_draws: int = 10_000_000,
) -> MonteCarloEstimate:
    r"""
    Draw until mean, standard uncertainty and interval have settled to the digits wanted.

    Parameters
    ----------
    function, draw, probability, seed
        As for :func:`propagate_monte_carlo`.
    digits : int
        Significant digits of the standard uncertainty that must be stable.
    max_draws : int
        Where to give up.

    Returns
    -------
    MonteCarloEstimate
        From all draws together. [unit of the output]

    Raises
    ------
    ValueError
        As :func:`propagate_monte_carlo`, or if the results have not settled within ``max_draws``.

    Notes
    -----
    JCGM 101:2008, 7.9.4: blocks of 10 000 draws (more for probabilities nearer to 1), until twice the
    standard deviation of the mean over the blocks of each of the four results is below the
    :func:`numerical_tolerance`.

    Examples
    --------
    >>> propagate_adaptively(lambda x: x, draw_normal([5.0], [1.0])).n_draws >= 20_000
    True
    """
    if not 0 < probability < 1:
        raise ValueError(f"the probability must lie between 0 and 1, got {probability}")
    block = max(10_000, math.ceil(100 / (1 - probability)))
    rng = np.random.default_rng(seed)
    blocks: list[NDArray[np.float64]] = []
    results: list[tuple[float, ...]] = []
    while len(blocks) * block < max_draws:
        outputs = np.sort(_outputs(function, draw, rng, block))
        blocks.append(outputs)
        part = _summary(outputs, probability)
        results.append((part.value, part.u, *part.symmetric))
        if len(blocks) < 2:
            continue
        scatter = np.std(results, axis=0, ddof=1) / np.sqrt(len(blocks))
        tolerance = numerical_tolerance(float(np.mean([r[1] for r in results])), digits)
        if (2 * scatter <= tolerance).all():
            return _summary(np.sort(np.concatenate(blocks)), probability)
    raise ValueError(f"the results have not settled to {digits} digits within {max_draws} draws")


def shortest_interval(outputs: ArrayLike, probability: float = 0.95) -> tuple[float, float]:
    """
    Shortest interval that holds a stated part of the draws.

    Parameters
    ----------
    outputs : array_like, shape (n,)
        Draws of the output, in any order. [any]
    probability : float
        Part of the draws it must hold. [1]

    Returns
    -------
    low, high : float
        Its ends. [as outputs]

    Raises
    ------
    ValueError
        If the probability is not between 0 and 1, or there are too few draws for it.

    Notes
    -----
    JCGM 101:2008, 5.3.4 and 7.7. Where the density is flat at both ends the place of the interval wanders
    from run to run while its length does not.

    Examples
    --------
    >>> shortest_interval([0.0, 1.0, 1.1, 1.2, 1.3, 9.0], 0.5)
    (1.0, 1.3)
    """
    y = np.sort(np.asarray(outputs, dtype=float))
    if not 0 < probability < 1:
        raise ValueError(f"the probability must lie between 0 and 1, got {probability}")
    q = round(probability * y.size)
    if not 0 < q < y.size:
        raise ValueError(f"{y.size} draws are too few for an interval of probability {probability}")
    i = int(np.argmin(y[q:] - y[:-q]))
    return float(y[i]), float(y[i + q])


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """
    Half a unit in the last of the significant digits of a standard uncertainty.

    Parameters
    ----------
    u : float
        Standard uncertainty, above 0. [any]
    digits : int
        Significant digits in which it is stated.

    Returns
    -------
    tolerance : float
        JCGM 101:2008, 7.9.2. [as u]

    Raises
    ------
    ValueError
        If u is not above 0 or there is no digit.

    Examples
    --------
    >>> numerical_tolerance(0.0754), numerical_tolerance(0.0754, 1)
    (0.0005, 0.005)
    """
    if not (u > 0 and digits >= 1):
        raise ValueError(f"need a standard uncertainty above 0 and at least one digit, got {u} and {digits}")
    return float(f"5e{math.floor(math.log10(u)) - digits}")


def first_order_holds(
    estimate: Estimate, draws: MonteCarloEstimate, *, probability: float = 0.95, digits: int = 2
) -> bool:
    """
    Whether first-order propagation agrees with the draws, so that it may be used alone.

    Parameters
    ----------
    estimate : Estimate
        From :func:`~quintain.numerics.uncertainty.linear.propagate_linear`.
    draws : MonteCarloEstimate
        Of the same quantity, with the same coverage probability.
    probability : float
        That probability. [1]
    digits : int
        Significant digits of the standard uncertainty to which they must agree.

    Returns
    -------
    holds : bool
        True if both ends of the first-order interval lie within the :func:`numerical_tolerance` of the
        symmetric interval of the draws.

    Notes
    -----
    JCGM 101:2008, 8.1 with 8.2. Two digits ask for some 100 000 draws or more.

    Examples
    --------
    >>> draws = propagate_monte_carlo(lambda x: 2 * x, draw_normal([3.0], [0.5]))
    >>> first_order_holds(Estimate(6.0, 1.0), draws, digits=1)
    True
    """
    half = coverage_factor(probability) * estimate.u
    tolerance = numerical_tolerance(estimate.u, digits)
    ends = zip((estimate.value - half, estimate.value + half), draws.symmetric, strict=True)
    return all(abs(first - drawn) <= tolerance for first, drawn in ends)


def _outputs(
    function: Callable[..., ArrayLike], draw: Draw, rng: np.random.Generator, n: int
) -> NDArray[np.float64]:
    outputs = np.asarray(function(*draw(rng, n)), dtype=float)
    if outputs.shape != (n,):
        raise ValueError(f"the function must return one output a draw, shape ({n},); got {outputs.shape}")
    if not np.isfinite(outputs).all():
        raise ValueError(f"{np.sum(~np.isfinite(outputs))} of {n} draws gave an output that is not finite")
    return outputs


def _summary(outputs: NDArray[np.float64], probability: float) -> MonteCarloEstimate:
    tails = (1 - probability) / 2, (1 + probability) / 2
    low, high = np.quantile(outputs, tails)
    return MonteCarloEstimate(
        float(outputs.mean()),
        float(outputs.std(ddof=1)),
        (float(low), float(high)),
        shortest_interval(outputs, probability),
        outputs.size,
    )
