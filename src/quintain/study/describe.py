"""Descriptive tables that keep trials and people apart, and measurement beside biology."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.common_part import CommonPart, Whole, common_of_mean, with_common
from quintain.study.observations import Observations

__all__ = ["Description", "MeasurementShare", "describe", "weigh_measurement"]

Floats = NDArray[np.float64]


class Description(NamedTuple):
    """One group of trials. In the unit of the quantity where not said otherwise."""

    group: str
    """``"all"``, or factor and level."""
    n_people: int
    n_trials: int
    trials_per_person: tuple[int, int]
    """Fewest and most."""
    mean: float
    """Mean of the people's means: each person counts once, however many trials."""
    sd_between: float
    """Standard deviation (SD) of the people's means; it holds a share of the spread within."""
    sd_within: float | None
    """SD of trials about their person's mean, pooled; None where nobody has two trials."""
    se_mean: float
    """Standard error (SE) of ``mean``: ``sd_between`` over the root of the number of people."""
    interval: tuple[float, float]
    """Interval of ``mean`` for people like these, by Student's t."""
    median: float
    """Of the people's means."""
    lowest: float
    highest: float
    """Of the people's means."""
    cv_between: float | None
    """``sd_between`` over mean; None where the mean is not above 0. [1]"""
    cv_within: float | None
    """``sd_within`` over mean; None as above. [1]"""
    common: CommonPart | None
    """What strikes share of the measurement uncertainty, in ``mean``; None where it was not told apart."""
    whole: Whole | None
    """Uncertainty of ``mean`` as a true value: ``se_mean`` and ``common`` together; None as above."""


class MeasurementShare(NamedTuple):
    """Stated measurement uncertainty beside the spread of trials and people."""

    n_known: int
    """Trials that state an uncertainty."""
    n_trials: int
    sd_within: float
    """SD of trials within people, pooled; measurement and person together. [as the values]"""
    u_strike: float
    """Root mean square of the part of u that is new with each strike. [as the values]"""
    share_of_within: float
    """``u_strike`` squared over ``sd_within`` squared; above 1 the stated u is too large, or luck. [1]"""
    biological_sd: float
    """What ``sd_within`` leaves for the person, once ``u_strike`` is taken off; 0 at least."""
    told_apart: bool
    """Whether what strikes share of u is known; if not, all of u counts as new with each strike."""
    words: str
    """The same in a sentence."""


def _within(obs: Observations, *by: str) -> tuple[Floats, NDArray[np.int64], float | None]:
    """Means of people at each combination of factors, numbers of trials, and the SD within, pooled."""
    _, index, count = np.unique(obs.cells("person", *by), return_inverse=True, return_counts=True)
    means = np.bincount(index, obs.value) / count
    df = obs.value.size - count.size
    left = obs.value - means[index]
    return means, count, math.sqrt(float(left @ left) / df) if df > 0 else None


def _row(obs: Observations, group: str, probability: float) -> Description:
    means, count, within = _within(obs)
    n = means.size
    if n < 2:
        raise StudyError(
            f"group {group} has one person ({obs.people[0]!r}, {obs.value.size} trials): trials of one "
            "person say nothing about people; measure more people, or look at that person's progress instead"
        )
    mean, sd = float(means.mean()), float(means.std(ddof=1))
    se = sd / math.sqrt(n)
    half = coverage_factor(probability, n - 1) * se
    common = common_of_mean(obs)
    return Description(
        group,
        n,
        obs.value.size,
        (int(count.min()), int(count.max())),
        mean,
        sd,
        within,
        se,
        (mean - half, mean + half),
        float(np.median(means)),
        float(means.min()),
        float(means.max()),
        sd / mean if mean > 0 else None,
        within / mean if within is not None and mean > 0 else None,
        common,
        with_common(mean, se, n - 1, common, probability=probability),
    )


def describe(
    obs: Observations, by: str | None = None, *, probability: float = 0.95
) -> tuple[Description, ...]:
    """
    Describe trials, for all or for each level of a factor.

    Parameters
    ----------
    obs : Observations
        Trials of one quantity.
    by : str, optional
        Factor whose levels are described apart.
    probability : float
        Of the interval of the mean. [1]

    Returns
    -------
    tuple of Description
        One for each level, in order.

    Raises
    ------
    StudyError
        If a group holds one person only, or there is no such factor.

    Notes
    -----
    Mean and spread between people come from the people's means, so that a person with many trials weighs
    no more than others. The interval takes people as drawn at random from those it speaks about; trials
    of the same people, however many, do not make it narrower than people differ. It is that of the mean as
    the rig shows it: an error that all strikes share (gain, sensor) moves the mean and does not show in the
    people's spread. ``whole`` holds it.

    Examples
    --------
    >>> o = Observations("impulse", list("aabbcc"), [19.0, 21.0, 29.0, 31.0, 39.0, 41.0])
    >>> d = describe(o)[0]
    >>> d.n_people, d.n_trials, d.mean, d.sd_between, round(d.sd_within, 3), round(d.se_mean, 3)
    (3, 6, 30.0, 10.0, 1.414, 5.774)
    """
    if by is None:
        return (_row(obs, "all", probability),)
    column = obs.column(by)
    return tuple(_row(obs.rows(column == v), f"{by} {v}", probability) for v in obs.levels(by))


def weigh_measurement(obs: Observations, *within: str) -> MeasurementShare:
    r"""
    How much of the spread within people the stated measurement uncertainty explains.

    Parameters
    ----------
    obs : Observations
        Trials that state ``u``, and better what they share of it too.
    *within : str
        Factors that differ between a person's trials on purpose (``"type"``, ``"side"``): scatter is taken
        within their levels. Left out, their differences count as the person's scatter and make the share
        too small.

    Returns
    -------
    MeasurementShare
        Both side by side.

    Raises
    ------
    StudyError
        If no trial states an uncertainty, there is one person only, or nobody has two trials.

    Notes
    -----
    Only what is new with each strike can show in the spread of strikes:
    :math:`u_\mathrm{strike}^2 = u^2 - u_\mathrm{common}^2`. Where the common part was not told apart, all
    of u is taken as new, and the share is an upper bound. The common part cancels in the spread and stays
    whole in the mean: see :func:`describe` (JCGM 100:2008, 5.2; derived here).

    Examples
    --------
    >>> from quintain.domain.shared_error import Source
    >>> o = Observations("impulse", list("aabbcc"), [19.0, 21.0, 29.0, 31.0, 39.0, 41.0],
    ...                  u=[0.5] * 6, common={Source("gain", "gain", "post"): [0.4] * 6})
    >>> share = weigh_measurement(o)
    >>> round(share.u_strike, 3), round(share.share_of_within, 3)
    (0.3, 0.045)
    """
    known = np.isfinite(obs.u)
    if not known.any():
        raise StudyError(
            "no trial states its measurement uncertainty; analyse with a rig file that states it"
        )
    spread = _within(obs, *within)[2]
    if len(obs.people) < 2 or spread is None or spread == 0:
        raise StudyError("need 2 people and differing trials of a person to set measurement beside biology")
    apart = bool(np.isfinite(obs.u_common[known]).all())
    common = obs.u_common[known] if apart else np.zeros(int(known.sum()))
    u_strike = math.sqrt(float(np.mean(np.maximum(obs.u[known] ** 2 - common**2, 0))))
    share = (u_strike / spread) ** 2
    percent = f"{100 * share:.0f}" if share >= 0.01 else "less than 1"
    words = f"Stated measurement uncertainty explains {percent} % of the variance of trials within people"
    words += "" if apart else " at most (what strikes share of it was not told apart)"
    if share > 1:
        words += "; more than all: the stated uncertainty is too large, or these trials agree by luck"
    if not known.all():
        words += f"; {int((~known).sum())} of {known.size} trials state none"
    return MeasurementShare(
        int(known.sum()),
        known.size,
        spread,
        u_strike,
        share,
        math.sqrt(max(spread**2 - u_strike**2, 0.0)),
        apart,
        words + ".",
    )
