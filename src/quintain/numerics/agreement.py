"""Agreement of two ways to measure the same: differences with intervals, and a line through pairs."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.uncertainty.coverage import coverage_factor

__all__ = [
    "Differences",
    "Line",
    "corrected_spread",
    "fit_line",
    "limits_of_agreement",
    "repeatability",
]

Floats = NDArray[np.float64]


class Differences(NamedTuple):
    """Differences of pairs, and between which limits most of them lie."""

    n: int
    bias: float
    """Mean difference. [as the values]"""
    spread: float
    """Standard deviation of the differences."""
    lower: float
    upper: float
    """Limits of agreement."""
    bias_interval: tuple[float, float]
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]
    """Intervals of the stated probability."""
    u_bias: float
    """Standard error of the bias."""
    u_limit: float
    """Standard error of a limit."""


class Line(NamedTuple):
    """A straight line through pairs."""

    n: int
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    residual_spread: float
    """Standard deviation of the residuals, n - 2 degrees of freedom."""
    correlation: float
    """Pearson's coefficient. It measures the spread of the values too, and is no measure of
    agreement."""
    intercept_interval: tuple[float, float]
    slope_interval: tuple[float, float]


def _pairs(first: ArrayLike, second: ArrayLike, *, at_least: int) -> tuple[Floats, Floats]:
    a = np.asarray(first, dtype=float)
    b = np.asarray(second, dtype=float)
    if a.shape != b.shape or a.ndim != 1 or a.size < at_least:
        raise ValueError(f"need {at_least} pairs at least, got shapes {a.shape} and {b.shape}")
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        raise ValueError("every value of a pair must be finite")
    return a, b


def limits_of_agreement(
    first: ArrayLike, second: ArrayLike, *, multiple: float = 1.96, probability: float = 0.95
) -> Differences:
    r"""
    Bias between two ways of measuring, and limits that hold most of their differences.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Paired values, three pairs at least; one pair for each object. [any]
    multiple : float
        Standard deviations from the bias to the limits; the paper of 1986 took 2. [1]
    probability : float
        Of the intervals of bias and limits. [1]

    Returns
    -------
    Differences
        Of first minus second.

    Raises
    ------
    ValueError
        If there are fewer than three pairs or a value is not finite.

    Notes
    -----
    Bland and Altman (1986), Lancet 327:307-310, doi:10.1016/S0140-6736(86)90837-8. The standard error
    of a limit is :math:`\sqrt{3s^2/n}`, theirs; a little small for few pairs. Differences that grow
    with the value make the limits too wide for small values and too narrow for large ones.

    Examples
    --------
    >>> d = limits_of_agreement([1.0, 2.0, 3.0, 4.0], [1.1, 1.9, 3.1, 3.9])
    >>> round(d.bias, 6) + 0.0, round(d.upper, 4)
    (0.0, 0.2263)
    """
    a, b = _pairs(first, second, at_least=3)
    d = a - b
    n = d.size
    bias = float(d.mean())
    spread = float(d.std(ddof=1))
    k = coverage_factor(probability, n - 1)
    u_bias = spread / math.sqrt(n)
    u_limit = math.sqrt(3 * spread**2 / n)
    lower, upper = bias - multiple * spread, bias + multiple * spread
    return Differences(
        n,
        bias,
        spread,
        lower,
        upper,
        (bias - k * u_bias, bias + k * u_bias),
        (lower - k * u_limit, lower + k * u_limit),
        (upper - k * u_limit, upper + k * u_limit),
        u_bias,
        u_limit,
    )


def repeatability(first: ArrayLike, second: ArrayLike, *, multiple: float = 2.0) -> float:
    r"""
    Difference that two readings of the same object by the same way seldom exceed.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        First and second reading of each object. [any]
    multiple : float
        Standard deviations; the paper of 1986 took 2. [1]

    Returns
    -------
    float
        :math:`2\sqrt{\sum d^2/n}`. [as the values]

    Raises
    ------
    ValueError
        If there are fewer than two pairs or a value is not finite.

    Notes
    -----
    Bland and Altman (1986), as :func:`limits_of_agreement`. The mean difference of repeated readings
    is taken as zero: a habituation from first to second reading makes it too large.

    Examples
    --------
    >>> repeatability([1.0, 2.0], [2.0, 1.0])
    2.0
    """
    a, b = _pairs(first, second, at_least=2)
    return float(multiple * math.sqrt(np.mean((a - b) ** 2)))


def corrected_spread(
    first_a: ArrayLike, second_a: ArrayLike, first_b: ArrayLike, second_b: ArrayLike
) -> tuple[float, float]:
    r"""
    Spread of differences between single readings, where each way was read twice.

    Parameters
    ----------
    first_a, second_a, first_b, second_b : array_like, shape (n,)
        Both readings by each way. [any]

    Returns
    -------
    of_means, corrected : float
        Standard deviation of the differences of means, and what it would be for single readings. [as
        the values]

    Raises
    ------
    ValueError
        If there are fewer than three objects or a value is not finite.

    Notes
    -----
    :math:`\sqrt{s_D^2+s_1^2/4+s_2^2/4}` with the standard deviations of the repeated readings'
    differences (Bland and Altman 1986). Without it averaging makes agreement look too good.

    Examples
    --------
    >>> means, single = corrected_spread([1, 2, 3], [1, 2, 3], [1, 3, 2], [1, 3, 2])
    >>> means == single
    True
    """
    a1, a2 = _pairs(first_a, second_a, at_least=3)
    b1, b2 = _pairs(first_b, second_b, at_least=3)
    means, _ = _pairs((a1 + a2) / 2 - (b1 + b2) / 2, np.zeros(b1.size), at_least=3)
    of_means = float(means.std(ddof=1))
    inside = (np.var(a1 - a2, ddof=1) + np.var(b1 - b2, ddof=1)) / 4
    return of_means, math.sqrt(of_means**2 + float(inside))


def fit_line(x: ArrayLike, y: ArrayLike, *, probability: float = 0.95) -> Line:
    r"""
    Straight line through pairs by ordinary least squares.

    Parameters
    ----------
    x : array_like, shape (n,)
        Reference, known much better than ``y``; three values at least, not all the same. [any]
    y : array_like, shape (n,)
        What is held against it. [any]
    probability : float
        Of the intervals. [1]

    Returns
    -------
    Line
        Intercept, slope, their standard errors and intervals.

    Raises
    ------
    ValueError
        If there are fewer than three pairs, a value is not finite, or all x are the same.

    Notes
    -----
    The sums are taken about the means, which keeps NIST's worst linear sets exact to nine digits and
    more. Doubt in x flattens the line.

    Examples
    --------
    >>> line = fit_line([0.0, 1.0, 2.0], [1.0, 3.0, 5.0])
    >>> line.slope, line.intercept
    (2.0, 1.0)
    """
    a, b = _pairs(x, y, at_least=3)
    da, db = a - a.mean(), b - b.mean()
    sxx = float(da @ da)
    if sxx == 0:
        raise ValueError(f"a line needs different values of x, but all are {a[0]}")
    slope = float(da @ db) / sxx
    intercept = float(b.mean()) - slope * float(a.mean())
    left = db - slope * da
    freedom = a.size - 2
    spread = math.sqrt(float(left @ left) / freedom)
    u_slope = spread / math.sqrt(sxx)
    u_intercept = spread * math.sqrt(1 / a.size + float(a.mean()) ** 2 / sxx)
    k = coverage_factor(probability, freedom)
    syy = float(db @ db)
    return Line(
        a.size,
        intercept,
        slope,
        u_intercept,
        u_slope,
        spread,
        float(da @ db) / math.sqrt(sxx * syy) if syy > 0 else 0.0,
        (intercept - k * u_intercept, intercept + k * u_intercept),
        (slope - k * u_slope, slope + k * u_slope),
    )
