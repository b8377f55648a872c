"""Coverage: from standard to expanded uncertainty, and whether stated intervals hold the truth."""

from __future__ import annotations

import math
from typing import NamedTuple

__all__ = ["CoverageCount", "count_coverage", "coverage_factor"]


class CoverageCount(NamedTuple):
    """Fraction of stated intervals that held the truth, with the interval of that fraction itself."""

    fraction: float
    low: float
    high: float


def coverage_factor(probability: float = 0.95, degrees_of_freedom: float = math.inf) -> float:
    r"""
    Factor k that makes an expanded uncertainty U = k u of a stated probability.

    Parameters
    ----------
    probability : float
        Probability that the interval ± U holds the value, between 0 and 1. [1]
    degrees_of_freedom : float
        Of the standard uncertainty; need not be whole. Infinite for a normal distribution. [1]

    Returns
    -------
    k : float
        Two-sided quantile of Student's t. [1]

    Raises
    ------
    ValueError
        If the probability is not between 0 and 1 or the degrees of freedom are not positive.

    Notes
    -----
    JCGM 100:2008, G.3.2 and Table G.2. The table is entered with whole degrees of freedom, rounded
    down; here they are used as they are, which gives a slightly smaller factor.

    Examples
    --------
    >>> round(coverage_factor(0.95), 3), round(coverage_factor(0.95, 4), 3)
    (1.96, 2.776)
    """
    from scipy.special import ndtri, stdtrit

    if not 0 < probability < 1:
        raise ValueError(f"the probability must lie between 0 and 1, got {probability}")
    if not degrees_of_freedom > 0:
        raise ValueError(f"degrees of freedom must be positive, got {degrees_of_freedom}")
    upper = (1 + probability) / 2
    return float(ndtri(upper) if math.isinf(degrees_of_freedom) else stdtrit(degrees_of_freedom, upper))


def count_coverage(inside: int, total: int, *, probability: float = 0.95) -> CoverageCount:
    r"""
    Fraction of trials in which the stated interval held the truth.

    Parameters
    ----------
    inside, total : int
        Trials in which it did, and all trials.
    probability : float
        Probability of the interval of the fraction. [1]

    Returns
    -------
    CoverageCount
        Fraction and the limits of its score interval. [1]

    Raises
    ------
    ValueError
        If the counts do not fit each other.

    Notes
    -----
    Wilson, E. B. (1927), J. Am. Stat. Assoc. 22, 209-212, doi:10.1080/01621459.1927.10502953: the
    interval stays inside 0 to 1 and keeps its probability near the ends, where the usual
    :math:`\sqrt{p(1-p)/n}` fails.

    Examples
    --------
    >>> count = count_coverage(190, 200)
    >>> f"{count.fraction:.3f} ({count.low:.3f} to {count.high:.3f})"
    '0.950 (0.910 to 0.973)'
    """
    if not (0 <= inside <= total and total > 0):
        raise ValueError(f"need 0 <= inside <= total and a total above 0, got {inside} of {total}")
    z = coverage_factor(probability)
    p = inside / total
    centre = (p + z**2 / (2 * total)) / (1 + z**2 / total)
    half = z / (1 + z**2 / total) * math.sqrt(p * (1 - p) / total + z**2 / (4 * total**2))
    return CoverageCount(p, max(0.0, centre - half), min(1.0, centre + half))
