"""Standardised differences with intervals from the noncentral t distribution."""

from __future__ import annotations

import math
from typing import NamedTuple

from quintain.errors import StudyError

__all__ = ["EffectSize", "effect_size", "hedges_factor", "noncentrality_interval"]


class EffectSize(NamedTuple):
    """A difference in standard deviations."""

    name: str
    """``dz``: mean difference over the SD of the people's differences; ``g``: over the SD within groups."""
    value: float
    """Corrected for small samples. [1]"""
    interval: tuple[float, float]
    """Of the true effect, by inverting the noncentral t; it needs no correction and gets none. [1]"""
    uncorrected: float
    """Before Hedges' correction. [1]"""


def hedges_factor(df: float) -> float:
    r"""
    Factor that takes the small-sample bias off a standardised difference.

    Parameters
    ----------
    df : float
        Degrees of freedom of the standard deviation. [1]

    Returns
    -------
    float
        :math:`\Gamma(\nu/2) / (\sqrt{\nu/2}\,\Gamma((\nu-1)/2))`. [1]

    Raises
    ------
    StudyError
        If there are not more than 1 degrees of freedom.

    Notes
    -----
    Hedges, L. V. (1981), J. Educational Statistics 6, 107-128: exact for normal values of one spread.

    Examples
    --------
    >>> round(hedges_factor(10), 4)
    0.9227
    """
    if not df > 1:
        raise StudyError(f"an effect size needs more than 1 degree of freedom, got {df}; measure more people")
    return math.exp(math.lgamma(df / 2) - math.lgamma((df - 1) / 2)) / math.sqrt(df / 2)


def noncentrality_interval(t: float, df: float, *, probability: float = 0.95) -> tuple[float, float]:
    """
    Interval of the noncentrality behind an observed t.

    Parameters
    ----------
    t : float
        Observed statistic. [1]
    df : float
        Degrees of freedom. [1]
    probability : float
        Of the interval. [1]

    Returns
    -------
    tuple of float
        Noncentralities for which the observed t is the upper and the lower end. [1]

    Raises
    ------
    StudyError
        If t is not finite: without spread there is no interval.

    Notes
    -----
    Inverts the noncentral t distribution; exact for normal values. Steiger and Fouladi (1997), in What if
    there were no significance tests, 221-257 (from memory).

    Examples
    --------
    >>> low, high = noncentrality_interval(2.0, 10)
    >>> round(low, 3), round(high, 3)
    (-0.184, 4.101)
    """
    from scipy.optimize import brentq
    from scipy.special import nctdtr

    if not math.isfinite(t):
        raise StudyError("the values do not vary at all: an effect size has no interval")
    tail = (1 - probability) / 2
    reach = 6 + 6 * abs(t) / math.sqrt(2 * df) + 3 * abs(t) / math.sqrt(df)

    def end(p: float) -> float:
        def miss(nc: float) -> float:
            below = float(nctdtr(df, nc, t))
            return (float(nc < t) if math.isnan(below) else below) - p  # nan only where it is 0 or 1

        return float(brentq(miss, t - reach, t + reach, xtol=1e-10))

    return end(1 - tail), end(tail)


def effect_size(name: str, t: float, df: float, scale: float, *, probability: float = 0.95) -> EffectSize:
    """
    Standardised difference from its t statistic.

    Parameters
    ----------
    name : str
        ``dz`` or ``g``.
    t : float
        Student's t of the difference (of one spread, for two groups). [1]
    df : float
        Its degrees of freedom. [1]
    scale : float
        Standardised difference over t: 1/sqrt(n), or sqrt(1/n1 + 1/n2). [1]
    probability : float
        Of the interval. [1]

    Returns
    -------
    EffectSize
        Value times Hedges' factor; the interval as it is.

    Raises
    ------
    StudyError
        If the values do not vary, or there are too few.

    Notes
    -----
    Hedges' factor takes the bias off the estimate. Shrinking the interval by it too, as is often done, would
    make it hold the true effect less often than stated: 92.5 % instead of 95 % with eight people (measured).

    Examples
    --------
    >>> e = effect_size("dz", 2.0, 10, 1 / 11**0.5)
    >>> round(e.uncorrected, 3), round(e.value, 3)
    (0.603, 0.556)
    """
    low, high = noncentrality_interval(t, df, probability=probability)
    return EffectSize(name, hedges_factor(df) * scale * t, (scale * low, scale * high), scale * t)
