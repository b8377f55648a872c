"""Fatigue: change from strike to strike within a series, person by person, then across people."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.observations import Observations

__all__ = ["Fatigue", "PersonSlope", "find_fatigue"]

Floats = NDArray[np.float64]


class PersonSlope(NamedTuple):
    """One person's change per strike."""

    person: str
    n_trials: int
    n_series: int
    slope: float
    """Change per strike, one slope over all series, each with a level of its own. [values' unit a strike]"""
    se: float | None
    """Its standard error; None where no trial is left over to judge it."""
    percent: float
    """Slope over the person's mean; nan where that is not above 0. [% a strike]"""


class Fatigue(NamedTuple):
    """Change per strike of a group of people; below 0 they tire."""

    people: tuple[PersonSlope, ...]
    mean: float
    """Mean of the people's slopes. [values' unit a strike]"""
    sd: float
    """SD of the people's slopes, the error of each slope included. [values' unit a strike]"""
    sd_true: float | None
    """SD of slopes less what their own errors explain, 0 at least; None where an error is unknown."""
    se: float
    df: int
    interval: tuple[float, float]
    """Of ``mean``, by Student's t over people."""
    t: float
    p: float
    """Two-sided, of no common change. [1]"""
    percent: float
    percent_interval: tuple[float, float]
    """Mean of the people's percentages and its interval; nan where one is. [% a strike]"""


def _slope(code: str, x: Floats, y: Floats, series: NDArray[np.int64]) -> PersonSlope:
    n_series = int(series.max()) + 1
    count = np.bincount(series)
    dx = x - (np.bincount(series, x) / count)[series]
    dy = y - (np.bincount(series, y) / count)[series]
    spread = float(dx @ dx)
    if spread == 0:
        raise StudyError(f"person {code!r} has one strike in each series: a slope needs 2, better 10 or more")
    slope = float(dx @ dy) / spread
    df = x.size - n_series - 1
    left = dy - slope * dx
    se = math.sqrt(float(left @ left) / df / spread) if df > 0 else None
    mean = float(y.mean())
    percent = 100 * slope / mean if mean > 0 else math.nan
    return PersonSlope(code, x.size, n_series, slope, se, percent)


def find_fatigue(
    obs: Observations,
    *,
    order: str = "trial",
    series: str | None = "series",
    probability: float = 0.95,
) -> Fatigue:
    r"""
    Find the change per strike within series.

    Parameters
    ----------
    obs : Observations
        Trials with their number in the series.
    order : str
        Numeric factor that counts strikes (or seconds) within a series.
    series : str or None
        Factor that tells series apart; None where each person made one.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    Fatigue
        Slopes of people, and their mean with its interval.

    Raises
    ------
    StudyError
        If there are fewer than two people, a series is too short, or the order is no number.

    Notes
    -----
    Two stages: a line for each person (a level for each series, one slope), then Student's t over the
    people's slopes. Every person counts the same and slopes may differ between people, so trials are never
    taken for people; with equal numbers of trials it is the test of a random-slopes model (derived here).
    A straight line: fast tiring that levels off makes the slope too small at the start and too large at
    the end. Learning hides fatigue: the slope is their sum.

    Examples
    --------
    >>> o = Observations("impulse", list("aaabbbccc"), [30, 29, 28, 40, 39.5, 38, 25, 25, 24.5],
    ...                  factors={"trial": [1, 2, 3] * 3})
    >>> f = find_fatigue(o, series=None)
    >>> [p.slope for p in f.people], round(f.mean, 3), round(f.p, 3)
    ([-1.0, -1.0, -0.25], -0.75, 0.095)
    """
    from scipy.special import stdtr

    number = obs.column(order)
    if number.dtype.kind not in "iuf":
        raise StudyError(f"{order!r} must count strikes with numbers, got names such as {number[0]!r}")
    kinds = np.zeros(number.size, dtype=np.int64)
    if series is not None:
        kinds = np.unique(obs.column(series), return_inverse=True)[1]
    found = []
    for code in obs.people:
        own = obs.person == code
        kind = np.unique(kinds[own], return_inverse=True)[1]
        found.append(_slope(code, number[own].astype(float), obs.value[own], kind))
    n = len(found)
    if n < 2:
        raise StudyError(
            "one person's slope says nothing about people; measure more, or look at progress instead"
        )
    slopes, percents = np.array([p.slope for p in found]), np.array([p.percent for p in found])
    mean, sd = float(slopes.mean()), float(slopes.std(ddof=1))
    se = sd / math.sqrt(n)
    k = coverage_factor(probability, n - 1)
    errors = [p.se for p in found if p.se is not None]
    true = math.sqrt(max(sd**2 - float(np.mean(np.square(errors))), 0.0)) if len(errors) == n else None
    t = mean / se if se > 0 else math.copysign(math.inf, mean) if mean else 0.0
    half = k * float(percents.std(ddof=1)) / math.sqrt(n)
    percent = float(percents.mean())
    return Fatigue(
        tuple(found),
        mean,
        sd,
        true,
        se,
        n - 1,
        (mean - k * se, mean + k * se),
        t,
        float(2 * stdtr(n - 1, -abs(t))) if math.isfinite(t) else 0.0,
        percent,
        (percent - half, percent + half),
    )
