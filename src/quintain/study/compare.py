"""Comparisons of two conditions or two groups, on one value a person."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.common_part import (
    CommonPart,
    Whole,
    common_of_difference,
    half_interval,
    one_sided,
    with_common,
)
from quintain.study.effect_size import EffectSize, effect_size
from quintain.study.observations import Observations
from quintain.study.permutation import Permutation, flip_signs, swap_groups

__all__ = [
    "Comparison",
    "Equivalence",
    "adjust_holm",
    "compare_groups",
    "compare_levels",
    "compare_paired",
    "judge_equivalence",
]

Floats = NDArray[np.float64]


class Comparison(NamedTuple):
    """First less second. In the unit of the values where not said otherwise."""

    design: str
    """``paired`` (the same people) or ``unpaired`` (Welch, two groups of people)."""
    first: str
    second: str
    """What was compared."""
    n_first: int
    n_second: int
    """People."""
    mean_first: float
    mean_second: float
    difference: float
    """Mean of first less mean of second."""
    se: float
    """Standard error of ``difference``."""
    df: float
    """Degrees of freedom; Welch's are not whole. [1]"""
    interval: tuple[float, float]
    """Interval of ``difference`` of the stated probability."""
    probability: float
    """[1]"""
    t: float
    """[1]"""
    p: float
    """Two-sided, by Student's t. [1]"""
    effect: EffectSize
    permutation: Permutation
    """A check for few people: p without a normal distribution."""
    common: CommonPart | None = None
    """What strikes share of the measurement uncertainty, in ``difference``; None where not told apart."""
    whole: Whole | None = None
    """Uncertainty of ``difference`` as a true one: ``se`` and ``common`` together; None as above."""


class Equivalence(NamedTuple):
    """A difference against the smallest that matters."""

    margin: float
    """Smallest worthwhile change. [as the values]"""
    interval: tuple[float, float]
    """90 % interval of the difference: the one of two one-sided tests at 5 %. [as the values]"""
    p: float
    """Larger p of the two one-sided tests. [1]"""
    verdict: str
    """``equivalent``, ``first larger``, ``second larger`` (each by more than the margin) or ``unclear``."""
    words: str


def _values(values: ArrayLike, name: str) -> Floats:
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or not np.isfinite(x).all():
        raise StudyError(f"{name!r} needs one finite value a person; leave out people without one by name")
    if x.size < 2:
        raise StudyError(f"{name!r} has {x.size} person(s): a comparison needs 2 at least, better 8 or more")
    return x


def _test(difference: float, se: float, df: float) -> tuple[float, float]:
    from scipy.special import stdtr

    t = difference / se
    return t, float(2 * stdtr(df, -abs(t)))


def compare_paired(
    first: ArrayLike,
    second: ArrayLike,
    *,
    generator: np.random.Generator,
    names: tuple[str, str] = ("first", "second"),
    probability: float = 0.95,
) -> Comparison:
    r"""
    Compare two conditions in the same people.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Mean of each person in each condition, people in the same order. [any]
    generator : numpy.random.Generator
        For the permutation test where people are many.
    names : tuple of str
        Of the conditions, for words.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    Comparison
        Effect size dz, the mean difference over the SD of the differences, with Hedges' correction and
        its exact noncentral t interval.

    Raises
    ------
    StudyError
        If there are fewer than two people, a value is missing, or all differences are equal.

    Notes
    -----
    Student's t of the differences. dz speaks of the consistency of the change, not of its size against
    the spread between people: the two differ greatly where people differ more than they change.

    Examples
    --------
    >>> import numpy as np
    >>> c = compare_paired([20.0, 31.0, 42.0, 28.0], [18.0, 30.0, 39.0, 28.0],
    ...                    generator=np.random.default_rng(1))
    >>> c.difference, round(c.t, 3), round(c.p, 3), c.permutation.p
    (1.5, 2.324, 0.103, 0.25)
    """
    a, b = _values(first, names[0]), _values(second, names[1])
    if a.size != b.size:
        raise StudyError(f"a paired comparison needs the same people twice, got {a.size} and {b.size}")
    d = a - b
    n = d.size
    sd = float(d.std(ddof=1))
    if sd <= 8 * np.finfo(float).eps * float(np.abs([a, b]).max()):
        raise StudyError("every person differs by the same amount: there is no spread to judge it by")
    difference, se, df = float(d.mean()), sd / math.sqrt(n), n - 1
    t, p = _test(difference, se, df)
    half = coverage_factor(probability, df) * se
    if n < 3:
        raise StudyError("2 people give no effect size; measure more people")
    return Comparison(
        "paired",
        *names,
        n,
        n,
        float(a.mean()),
        float(b.mean()),
        difference,
        se,
        df,
        (difference - half, difference + half),
        probability,
        t,
        p,
        effect_size("dz", t, df, 1 / math.sqrt(n), probability=probability),
        flip_signs(d, generator),
    )


def compare_groups(
    first: ArrayLike,
    second: ArrayLike,
    *,
    generator: np.random.Generator,
    names: tuple[str, str] = ("first", "second"),
    probability: float = 0.95,
) -> Comparison:
    r"""
    Compare two groups of different people.

    Parameters
    ----------
    first, second : array_like, shapes (n1,), (n2,)
        Mean of each person of each group. [any]
    generator : numpy.random.Generator
        For the permutation test where people are many.
    names : tuple of str
        Of the groups, for words.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    Comparison
        Effect size g: difference over the pooled SD, with Hedges' correction.

    Raises
    ------
    StudyError
        If a group has fewer than two people, a value is missing, or nobody differs.

    Notes
    -----
    Welch, B. L. (1947), Biometrika 34, 28-35: no equal spreads needed. The interval of g inverts the
    noncentral t of the pooled SD: exact for equal spreads, otherwise an approximation that is too narrow
    if the smaller group spreads more.

    Examples
    --------
    >>> import numpy as np
    >>> c = compare_groups([20.0, 24.0, 22.0], [30.0, 36.0, 33.0, 29.0], generator=np.random.default_rng(1))
    >>> c.difference, round(c.df, 2), round(c.p, 4), round(c.effect.value, 2)
    (-10.0, 4.94, 0.0039, -3.05)
    """
    a, b = _values(first, names[0]), _values(second, names[1])
    va, vb = float(a.var(ddof=1)) / a.size, float(b.var(ddof=1)) / b.size
    dust = 8 * np.finfo(float).eps * float(max(np.abs(a).max(), np.abs(b).max()))
    if va + vb <= dust**2:
        raise StudyError("people within both groups are all alike: there is no spread to judge by")
    difference, se = float(a.mean() - b.mean()), math.sqrt(va + vb)
    df = (va + vb) ** 2 / (va**2 / (a.size - 1) + vb**2 / (b.size - 1))
    t, p = _test(difference, se, df)
    half = coverage_factor(probability, df) * se
    pooled_df = a.size + b.size - 2
    pooled = math.sqrt((va * a.size * (a.size - 1) + vb * b.size * (b.size - 1)) / pooled_df)
    scale = math.sqrt(1 / a.size + 1 / b.size)
    return Comparison(
        "unpaired",
        *names,
        a.size,
        b.size,
        float(a.mean()),
        float(b.mean()),
        difference,
        se,
        df,
        (difference - half, difference + half),
        probability,
        t,
        p,
        effect_size("g", difference / pooled / scale, pooled_df, scale, probability=probability),
        swap_groups(a, b, generator),
    )


def compare_levels(
    obs: Observations,
    factor: str,
    first: Any,
    second: Any,
    *,
    generator: np.random.Generator,
    probability: float = 0.95,
) -> Comparison:
    """
    Compare two levels of a factor on the people's means, paired if the people are the same.

    Parameters
    ----------
    obs : Observations
        Trials of one quantity.
    factor : str
        ``type``, ``side``, ``session``, ``group`` ...
    first, second : any
        Levels; the difference is first less second.
    generator : numpy.random.Generator
        For the permutation test where people are many.
    probability : float
        Of the intervals. [1]

    Returns
    -------
    Comparison
        Paired if the same people did both, unpaired if nobody did.

    Raises
    ------
    StudyError
        If some people did both and some did not, or there are too few.

    Notes
    -----
    Interval and p are of the difference as the rigs show it. What strikes share of the measurement cancels in
    it between sides, sessions or people of one rig but for its part of the difference; between two rigs the
    errors of both stay whole, and are no property of what was compared: ``whole`` holds them.

    Examples
    --------
    >>> import numpy as np
    >>> o = Observations("impulse", list("aabbcc"), [20.0, 18.0, 31.0, 30.0, 42.0, 39.0],
    ...                  factors={"type": ["cross", "jab"] * 3})
    >>> c = compare_levels(o, "type", "cross", "jab", generator=np.random.default_rng(1))
    >>> c.design, c.difference
    ('paired', 2.0)
    """
    a, b = obs.select(**{factor: first}).means(), obs.select(**{factor: second}).means()
    names = (f"{factor} {first}", f"{factor} {second}")
    both = set(a.people) & set(b.people)
    if not both:
        groups = compare_groups(a.value, b.value, generator=generator, names=names, probability=probability)
        return _with_common(groups, a, b)
    lacking = sorted((set(a.people) | set(b.people)) - both)
    if lacking:
        raise StudyError(
            f"{len(both)} people did both {names[0]} and {names[1]}, but {', '.join(lacking[:5])} did one "
            "only: leave those out and say so, or fit a mixed model, which uses everyone"
        )
    paired = compare_paired(a.value, b.value, generator=generator, names=names, probability=probability)
    return _with_common(paired, a, b)


def _with_common(c: Comparison, first: Observations, second: Observations) -> Comparison:
    common = common_of_difference(first, second)
    whole = with_common(c.difference, c.se, c.df, common, probability=c.probability)
    return c._replace(common=common, whole=whole)


def adjust_holm(p: Sequence[float]) -> tuple[float, ...]:
    """
    P values that keep the chance of any false alarm among several comparisons.

    Parameters
    ----------
    p : sequence of float
        P values of all comparisons made, not of the interesting ones only. [1]

    Returns
    -------
    tuple of float
        Adjusted, in the same order. [1]

    Raises
    ------
    StudyError
        If a value is not a probability.

    Notes
    -----
    Holm, S. (1979), Scand. J. Stat. 6, 65-70.

    Examples
    --------
    >>> adjust_holm([0.01, 0.04, 0.03])
    (0.03, 0.06, 0.06)
    """
    values = np.asarray(p, dtype=float)
    if not ((values >= 0) & (values <= 1)).all():
        raise StudyError(f"every p must lie between 0 and 1, got {list(p)}")
    order = np.argsort(values, kind="stable")
    stepped = np.maximum.accumulate(values[order] * np.arange(values.size, 0, -1))
    adjusted = np.empty(values.size)
    adjusted[order] = np.minimum(stepped, 1.0)
    return tuple(adjusted.tolist())


def judge_equivalence(comparison: Comparison, margin: float) -> Equivalence:
    """
    Say whether a difference is smaller than what matters, larger, or unclear.

    Parameters
    ----------
    comparison : Comparison
        Of people's means.
    margin : float
        Smallest worthwhile change, fixed before the data were seen. [as the values]

    Returns
    -------
    Equivalence
        Two one-sided tests at 5 %.

    Raises
    ------
    StudyError
        If the margin is not above 0.

    Notes
    -----
    Schuirmann, D. J. (1987), J. Pharmacokinet. Biopharm. 15, 657-680. A p above 0.05 of a difference is no
    proof of equality; this is the test that can be. Where the comparison knows what strikes share of the
    measurement, the tests hold it: two rigs are not called different for their calibrations. A margin
    computed from the same people (0.2 SD) is itself uncertain, which is not in the verdict.

    Examples
    --------
    >>> import numpy as np
    >>> c = compare_paired([20.0, 31.1, 42.0, 28.0], [20.1, 31.0, 42.1, 28.0],
    ...                    generator=np.random.default_rng(1))
    >>> judge_equivalence(c, 1.0).verdict
    'equivalent'
    """
    if not (math.isfinite(margin) and margin > 0):
        raise StudyError(f"the smallest worthwhile change must be above 0, got {margin}")
    difference, se, df = comparison.difference, comparison.se, comparison.df
    u_common = 0.0 if comparison.common is None else comparison.common.u
    half = half_interval(0.90, se, df, u_common)
    low, high = difference - half, difference + half
    p = one_sided(margin - abs(difference), se, df, u_common)
    if -margin < low and high < margin:
        verdict, words = "equivalent", "differ by less than the smallest worthwhile change"
    elif low > margin or high < -margin:
        verdict = "first larger" if low > margin else "second larger"
        words = "differ by more than the smallest worthwhile change"
    else:
        verdict, words = "unclear", "may or may not differ by what matters: these data cannot tell"
    return Equivalence(
        margin,
        (low, high),
        p,
        verdict,
        f"{comparison.first} and {comparison.second} {words} (90 % interval).",
    )
