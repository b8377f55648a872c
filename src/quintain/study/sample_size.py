"""Sample size: how many people a planned comparison or reliability study needs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from quintain.errors import StudyError

__all__ = [
    "TrialPlan",
    "people_for_icc",
    "people_for_paired",
    "people_for_sem",
    "people_for_unpaired",
    "plan_trials",
    "power_paired",
    "power_unpaired",
]

MOST_PEOPLE = 100_000
"""Beyond this no lab goes: the effect asked for is too small to be found. [1]"""


class TrialPlan(NamedTuple):
    """People needed if each gives so many trials in each condition."""

    n_trials: int
    """Trials a person and condition."""
    effect: float
    """dz to be found, mean difference over the SD of people's differences. [1]"""
    n_people: int
    n_strikes: int
    """Strikes in all, both conditions."""


def _power(noncentrality: float, df: float, alpha: float) -> float:
    from scipy.special import nctdtr, ndtr, stdtrit

    critical = float(stdtrit(df, 1 - alpha / 2))
    above = float(nctdtr(df, noncentrality, critical))
    below = float(nctdtr(df, noncentrality, -critical))
    if math.isnan(above):  # so far out that the normal law decides between 0 and 1
        above = float(ndtr(critical - noncentrality))
    return 1 - above + (0.0 if math.isnan(below) else below)


def _check(effect: float, alpha: float, power: float = 0.5) -> None:
    if not (math.isfinite(effect) and effect != 0):
        raise StudyError(
            f"the effect to be found must not be 0, got {effect}: no number of people finds nothing"
        )
    if not (0 < alpha < 1 and alpha < power < 1):
        raise StudyError(f"need 0 < alpha < power < 1, got alpha {alpha} and power {power}")


def _fewest(enough: Callable[[int], bool], start: int) -> int:
    """Smallest number from ``start`` on that is enough, for a condition that stays met."""
    high = start
    while not enough(high):
        high *= 2
        if high > MOST_PEOPLE:
            raise StudyError(
                f"more than {MOST_PEOPLE} people would be needed: plan for a larger effect or width"
            )
    low = max(start - 1, high // 2)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def power_paired(n: int, dz: float, *, alpha: float = 0.05) -> float:
    r"""
    Power of a paired comparison.

    Parameters
    ----------
    n : int
        People, each in both conditions.
    dz : float
        Mean difference over the SD of the people's differences. [1]
    alpha : float
        Two-sided level. [1]

    Returns
    -------
    float
        Probability of p below alpha. [1]

    Raises
    ------
    StudyError
        If there are fewer than two people, or the effect is 0.

    Notes
    -----
    Noncentral t with :math:`\sqrt n\,d_z`, both tails; exact for normal differences.

    Examples
    --------
    >>> round(power_paired(15, 0.8), 4)
    0.8213
    """
    _check(dz, alpha, 0.999999)
    if n < 2:
        raise StudyError(f"a paired comparison needs 2 people at least, got {n}")
    return _power(abs(dz) * math.sqrt(n), n - 1, alpha)


def power_unpaired(n_first: int, n_second: int, d: float, *, alpha: float = 0.05) -> float:
    r"""
    Power of a comparison of two groups of people.

    Parameters
    ----------
    n_first, n_second : int
        People in each group.
    d : float
        Difference over the SD between people within a group. [1]
    alpha : float
        Two-sided level. [1]

    Returns
    -------
    float
        Probability of p below alpha. [1]

    Raises
    ------
    StudyError
        If a group has fewer than two people, or the effect is 0.

    Notes
    -----
    Noncentral t of the pooled test; Welch's loses next to nothing where spreads are alike.

    Examples
    --------
    >>> round(power_unpaired(26, 26, 0.8), 4)
    0.8075
    """
    _check(d, alpha, 0.999999)
    if min(n_first, n_second) < 2:
        raise StudyError(f"need 2 people in each group, got {n_first} and {n_second}")
    return _power(abs(d) / math.sqrt(1 / n_first + 1 / n_second), n_first + n_second - 2, alpha)


def people_for_paired(dz: float, *, power: float = 0.8, alpha: float = 0.05) -> int:
    """
    People needed for a paired comparison.

    Parameters
    ----------
    dz : float
        Effect to be found; the smallest that matters, not the one hoped for. [1]
    power, alpha : float
        Probability of finding it, two-sided level. [1]

    Returns
    -------
    int
        Fewest people whose :func:`power_paired` reaches ``power``.

    Raises
    ------
    StudyError
        If the effect is 0 or too small for any lab.

    Notes
    -----
    An effect taken from a pilot study is too large on average; plan with the smallest worthwhile change.

    Examples
    --------
    >>> people_for_paired(0.8), people_for_paired(0.5)
    (15, 34)
    """
    _check(dz, alpha, power)
    return _fewest(lambda n: power_paired(n, dz, alpha=alpha) >= power, 2)


def people_for_unpaired(d: float, *, power: float = 0.8, alpha: float = 0.05) -> int:
    """
    People needed in each of two equal groups.

    Parameters
    ----------
    d : float
        Effect to be found. [1]
    power, alpha : float
        Probability of finding it, two-sided level. [1]

    Returns
    -------
    int
        People in each group.

    Raises
    ------
    StudyError
        If the effect is 0 or too small for any lab.

    Notes
    -----
    As :func:`power_unpaired`.

    Examples
    --------
    >>> people_for_unpaired(0.8), people_for_unpaired(0.5)
    (26, 64)
    """
    _check(d, alpha, power)
    return _fewest(lambda n: power_unpaired(n, n, d, alpha=alpha) >= power, 2)


def plan_trials(
    difference: float,
    sd_of_responses: float,
    sd_within: float,
    *,
    trials: Sequence[int] = (1, 2, 3, 5, 10, 20),
    power: float = 0.8,
    alpha: float = 0.05,
) -> tuple[TrialPlan, ...]:
    r"""
    People against trials: what more trials a person save in people.

    Parameters
    ----------
    difference : float
        Mean difference of two conditions to be found. [any]
    sd_of_responses : float
        SD between people of their true differences. [as ``difference``]
    sd_within : float
        SD of trials of one person in one condition. [as ``difference``]
    trials : sequence of int
        Trials a person and condition to look at.
    power, alpha : float
        Probability of finding it, two-sided level. [1]

    Returns
    -------
    tuple of TrialPlan
        One for each number of trials.

    Raises
    ------
    StudyError
        If the difference is 0, a spread negative, or both spreads are 0.

    Notes
    -----
    The SD of a person's observed difference is :math:`\sqrt{\sigma_r^2 + 2\sigma_w^2/m}`: trials wear down
    the second term only, so beyond some number of trials only people help (derived here). Trials of a
    tired person are not trials of the same kind.

    Examples
    --------
    >>> for plan in plan_trials(2.0, 2.0, 4.0, trials=(1, 5, 20)):
    ...     print(plan.n_trials, plan.n_people, plan.n_strikes)
    1 73 146
    5 23 230
    20 14 560
    """
    if not (sd_of_responses >= 0 and sd_within >= 0 and sd_of_responses + sd_within > 0):
        raise StudyError("both spreads must be 0 or more and one above 0")
    if min(trials, default=0) < 1:
        raise StudyError("each number of trials must be 1 or more")
    plans = []
    for m in trials:
        dz = difference / math.sqrt(sd_of_responses**2 + 2 * sd_within**2 / m)
        n = people_for_paired(dz, power=power, alpha=alpha)
        plans.append(TrialPlan(m, dz, n, 2 * m * n))
    return tuple(plans)


def people_for_sem(half_width: float, *, n_columns: int = 2, probability: float = 0.95) -> int:
    r"""
    People needed to know a standard error of measurement to within a share of itself.

    Parameters
    ----------
    half_width : float
        Half of the interval's width over the SEM: 0.2 for plus or minus 20 %. [1]
    n_columns : int
        Sessions (or trials) of each person.
    probability : float
        Of the interval. [1]

    Returns
    -------
    int
        Fewest people.

    Raises
    ------
    StudyError
        If the width is not above 0 or there is one session only.

    Notes
    -----
    The interval of :func:`quintain.study.typical_error.assess_typical_error`: chi-squared with
    (n-1)(k-1) degrees of freedom. It does not depend on the SEM itself.

    Examples
    --------
    >>> people_for_sem(0.2), people_for_sem(0.2, n_columns=3)
    (53, 27)
    """
    from scipy.special import chdtri

    if not (half_width > 0 and n_columns >= 2 and 0 < probability < 1):
        raise StudyError(f"need a width above 0 and 2 sessions, got {half_width} and {n_columns}")
    tail = (1 - probability) / 2

    def enough(n: int) -> bool:
        df = (n - 1) * (n_columns - 1)
        low, high = (math.sqrt(df / float(chdtri(df, p))) for p in (tail, 1 - tail))
        return (high - low) / 2 <= half_width

    return _fewest(enough, 2)


def people_for_icc(icc: float, width: float, *, n_columns: int = 2, probability: float = 0.95) -> int:
    r"""
    People needed to know an intraclass correlation to within an interval of given width.

    Parameters
    ----------
    icc : float
        ICC(3,1) expected, 0 to below 1. [1]
    width : float
        Whole width of the interval to reach. [1]
    n_columns : int
        Sessions (or trials) of each person.
    probability : float
        Of the interval. [1]

    Returns
    -------
    int
        Fewest people.

    Raises
    ------
    StudyError
        If the ICC or the width make no sense.

    Notes
    -----
    Width of the F interval of ICC(3,1) at the F that belongs to ``icc``; about half of all studies will
    come out wider. Bonett (2002), Stat. Med. 21, 1331-1335, gives
    :math:`8 z^2 (1-\rho)^2 (1+(k-1)\rho)^2 / (k(k-1)w^2) + 1`, which it meets within a few people (from
    memory). ICC(1,1) needs as many; ICC(2,1) more, if sessions differ.

    Examples
    --------
    >>> people_for_icc(0.9, 0.1), people_for_icc(0.9, 0.1, n_columns=3)
    (62, 43)
    """
    from scipy.special import fdtri

    if not (0 <= icc < 1 and 0 < width < 1 and n_columns >= 2 and 0 < probability < 1):
        raise StudyError(
            f"need an ICC from 0 to below 1, a width, and 2 sessions, got {icc}, {width}, {n_columns}"
        )
    k, upper = n_columns, (1 + probability) / 2
    f = (1 + (k - 1) * icc) / (1 - icc)

    def enough(n: int) -> bool:
        df1, df2 = n - 1, (n - 1) * (k - 1)
        low, high = f / float(fdtri(df1, df2, upper)), f * float(fdtri(df2, df1, upper))
        return (high - 1) / (high + k - 1) - (low - 1) / (low + k - 1) <= width

    return _fewest(enough, 2)
