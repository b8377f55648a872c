"""Asymmetry of sides: by how many percent one side exceeds the other, person by person."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.observations import Observations

__all__ = ["Asymmetry", "PersonAsymmetry", "measure_asymmetry"]


class PersonAsymmetry(NamedTuple):
    """One person's first side against the second."""

    person: str
    n_first: int
    n_second: int
    """Trials."""
    log_ratio: float
    """Mean logarithm of the first side less that of the second; above 0 the first is the larger. [1]"""
    interval: tuple[float, float] | None
    """Of ``log_ratio``, from the person's own trials; None where a side has one trial only. [1]"""
    percent: float
    """First over second, less 1. [%]"""
    beyond_own_spread: bool | None
    """The interval leaves out 0; None where there is none."""


class Asymmetry(NamedTuple):
    """Asymmetry of a group of people. Positive where the first side is the larger."""

    first: Any
    second: Any
    people: tuple[PersonAsymmetry, ...]
    mean_log_ratio: float
    """Mean over people: do these people favour one side together? [1]"""
    sd_log_ratio: float
    """SD between people, with the scatter of trials in it. [1]"""
    interval: tuple[float, float]
    """Of ``mean_log_ratio``, by Student's t over people. [1]"""
    percent: float
    percent_interval: tuple[float, float]
    """The same as percentages of the second side. [%]"""
    p: float
    """Two-sided, of no common preference. [1]"""
    mean_size: float
    """Mean of the sizes of log ratios whatever their sign; scatter of trials alone makes it above 0. [1]"""
    size_by_chance: float | None
    """What ``mean_size`` would be if nobody were asymmetric, from the scatter of trials. [1]"""


def _percent(log_ratio: float) -> float:
    return 100 * math.expm1(log_ratio)


def _person(
    code: str, a: NDArray[np.float64], b: NDArray[np.float64], probability: float
) -> tuple[PersonAsymmetry, float | None]:
    """One person's ratio, and its squared standard error where both sides have two trials."""
    ratio = float(a.mean() - b.mean())
    if min(a.size, b.size) < 2:
        return PersonAsymmetry(code, a.size, b.size, ratio, None, _percent(ratio), None), None
    va, vb = float(a.var(ddof=1)) / a.size, float(b.var(ddof=1)) / b.size
    square = va + vb
    if square == 0:
        half = 0.0
    else:
        df = square**2 / (va**2 / (a.size - 1) + vb**2 / (b.size - 1))
        half = coverage_factor(probability, df) * math.sqrt(square)
    ends = (ratio - half, ratio + half)
    own = PersonAsymmetry(code, a.size, b.size, ratio, ends, _percent(ratio), not ends[0] <= 0 <= ends[1])
    return own, square


def measure_asymmetry(
    obs: Observations, first: Any, second: Any, *, factor: str = "side", probability: float = 0.95
) -> Asymmetry:
    r"""
    Measure how much larger one side is than the other.

    Parameters
    ----------
    obs : Observations
        Trials of one quantity, all values above 0.
    first, second : any
        Levels of the factor: ``"left"`` and ``"right"``, ``"lead"`` and ``"rear"``. The sign follows this
        order: positive where the first is the larger.
    factor : str
        Column that holds them.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    Asymmetry
        Of each person and of the group.

    Raises
    ------
    StudyError
        If a value is not above 0, someone did one side only, or there are fewer than two people.

    Notes
    -----
    :math:`a = \overline{\ln x_1} - \overline{\ln x_2}`, the logarithm of the ratio of geometric means:
    swapping the sides turns the sign and nothing else, which no percentage of one side does; for small
    values a is the share itself. A person's interval is Welch's on logarithms, the group's is Student's t
    of the people's ratios. Sizes without sign are biased upward by the scatter of trials; ``size_by_chance``
    is what scatter alone gives, :math:`\sqrt{2/\pi}` times the standard error, averaged (derived here).

    Examples
    --------
    >>> o = Observations("impulse", list("aaaabbbb"), [22.0, 22.0, 20.0, 20.0, 33.0, 33.2, 31.0, 30.8],
    ...                  factors={"side": ["left", "left", "right", "right"] * 2})
    >>> a = measure_asymmetry(o, "left", "right")
    >>> [round(p.percent, 1) for p in a.people], round(a.percent, 1)
    ([10.0, 7.1], 8.6)
    """
    from scipy.special import stdtr

    pair = obs.select(**{factor: [first, second]})
    if (pair.value <= 0).any():
        raise StudyError(
            "asymmetry as a ratio needs values above 0; this quantity is 0 or less in some trial"
        )
    log, side = np.log(pair.value), pair.column(factor)
    found, squares = [], []
    for code in pair.people:
        own = pair.person == code
        a, b = log[own & (side == first)], log[own & (side == second)]
        if a.size == 0 or b.size == 0:
            lacks = first if a.size == 0 else second
            raise StudyError(
                f"person {code!r} has no trial at {factor} {lacks}: measure it or leave that person out"
            )
        person, square = _person(code, a, b, probability)
        found.append(person)
        squares.append(square)
    n = len(found)
    if n < 2:
        raise StudyError("a group's asymmetry needs 2 people at least; one person's is in their own trials")
    ratios = np.array([p.log_ratio for p in found])
    mean, sd = float(ratios.mean()), float(ratios.std(ddof=1))
    se = sd / math.sqrt(n)
    half = coverage_factor(probability, n - 1) * se
    known = [math.sqrt(2 / math.pi * s) for s in squares if s is not None]
    return Asymmetry(
        first,
        second,
        tuple(found),
        mean,
        sd,
        (mean - half, mean + half),
        _percent(mean),
        (_percent(mean - half), _percent(mean + half)),
        float(2 * stdtr(n - 1, -abs(mean) / se)) if se > 0 else float(mean == 0),
        float(np.abs(ratios).mean()),
        float(np.mean(known)) if len(known) == n else None,
    )
