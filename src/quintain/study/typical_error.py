"""Error of one measurement of one person: SEM by several routes, MDC, CV, smallest worthwhile change."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.variance_table import two_way

__all__ = [
    "TypicalError",
    "assess_typical_error",
    "minimal_detectable_change",
    "sem_from_icc",
    "smallest_worthwhile_change",
]

Floats = NDArray[np.float64]


class TypicalError(NamedTuple):
    """What one measurement of one person is worth. In the unit of the values where not said otherwise."""

    n_people: int
    n_columns: int
    sem: float
    """Standard error of measurement, the typical error: root of the residual mean square (EMS)."""
    sem_interval: tuple[float, float]
    """Interval of ``sem`` of the stated probability."""
    sem_df: int
    """Degrees of freedom of ``sem``. [1]"""
    sem_routes: dict[str, float]
    """The same by other routes, each named; they answer different questions."""
    mdc: float
    """Change between two single measurements that error alone exceeds seldom: MDC95 by default."""
    cv: float
    """``sem`` over the mean. [1]"""
    cv_log: float | None
    """Typical error as a factor, less 1, from logarithms; None where a value is not above 0. [1]"""
    sd_observed: float
    """SD between people of one measurement, pooled over columns: it holds the error too."""
    sd_true: float
    """SD between people without the error of measurement; 0 where the error explains it all."""
    swc: float
    """Smallest worthwhile change, 0.2 ``sd_observed``."""
    shifts: tuple[float, ...]
    """Change of the mean from each column to the next: learning, habituation."""
    consecutive: tuple[float, ...]
    """Typical error of each pair of neighbouring columns, SD of differences over root 2."""


def minimal_detectable_change(sem: float, *, probability: float = 0.95) -> float:
    r"""
    Change between two single measurements that error alone exceeds with probability 1 - p only.

    Parameters
    ----------
    sem : float
        Standard error of measurement. [any]
    probability : float
        0.95 for MDC95, 0.90 for MDC90. [1]

    Returns
    -------
    float
        :math:`z \sqrt2\,\mathrm{SEM}`. [as ``sem``]

    Raises
    ------
    StudyError
        If ``sem`` is not 0 or more.

    Notes
    -----
    Weir, J. P. (2005), J. Strength Cond. Res. 19, 231-240 (from memory). The SEM is taken as known: from
    few people the true MDC may well be half as large again, see the interval of the SEM.

    Examples
    --------
    >>> round(minimal_detectable_change(1.0), 6), round(minimal_detectable_change(1.0, probability=0.9), 6)
    (2.771808, 2.326174)
    """
    if not (math.isfinite(sem) and sem >= 0):
        raise StudyError(f"the standard error of measurement must be 0 or more, got {sem}")
    return coverage_factor(probability) * math.sqrt(2) * sem


def smallest_worthwhile_change(sd_between: float, *, share: float = 0.2) -> float:
    """
    Smallest change that matters, as a share of the spread between people.

    Parameters
    ----------
    sd_between : float
        Standard deviation between people. [any]
    share : float
        0.2 unless the lab has a better reason. [1]

    Returns
    -------
    float
        Share times spread. [as ``sd_between``]

    Raises
    ------
    StudyError
        If the spread is negative or the share not above 0.

    Notes
    -----
    Hopkins, W. G. (2000), Sports Medicine 30, 1-15 (from memory): a convention after Cohen's small effect,
    not a law. What matters to an athlete is better argued from the sport.

    Examples
    --------
    >>> smallest_worthwhile_change(10.0)
    2.0
    """
    if not (sd_between >= 0 and share > 0):
        raise StudyError(f"need a spread of 0 or more and a share above 0, got {sd_between} and {share}")
    return share * sd_between


def sem_from_icc(sd: float, icc: float) -> float:
    r"""
    Standard error of measurement where only a spread and an ICC were published.

    Parameters
    ----------
    sd : float
        Standard deviation between people of one measurement. [any]
    icc : float
        Of one measurement, from the same people. [1]

    Returns
    -------
    float
        :math:`\mathrm{SD}\sqrt{1-\mathrm{ICC}}`. [as ``sd``]

    Raises
    ------
    StudyError
        If the ICC is above 1 or the spread negative.

    Notes
    -----
    Weir (2005), as :func:`minimal_detectable_change`. It carries the ICC's dependence on who was measured
    into the SEM; the root of the residual mean square does not.

    Examples
    --------
    >>> round(sem_from_icc(10.0, 0.9), 6)
    3.162278
    """
    if not (sd >= 0 and icc <= 1):
        raise StudyError(f"need a spread of 0 or more and an ICC of 1 at most, got {sd} and {icc}")
    return sd * math.sqrt(1 - icc)


def assess_typical_error(table: ArrayLike, *, probability: float = 0.95) -> TypicalError:
    r"""
    Standard error of measurement and what follows from it.

    Parameters
    ----------
    table : array_like, shape (n, k)
        One value for each person (row) and trial or session (column), columns in order of time. [any]
    probability : float
        Of the interval of the SEM and of the minimal detectable change. [1]

    Returns
    -------
    TypicalError
        In the unit of the values; CVs in 1.

    Raises
    ------
    StudyError
        If there is one person or one column, a cell is missing, or the mean is 0.

    Notes
    -----
    Default :math:`\sqrt{\mathrm{EMS}}`: spread within a person once the shift common to all was taken off
    (Hopkins 2000; Weir 2005). Other routes: root of WMS keeps that shift; SD of all values, or of the
    columns pooled, times :math:`\sqrt{1-\mathrm{ICC(3,1)}}`. The interval is that of a variance,
    chi-squared with (n-1)(k-1) degrees of freedom. CV from logarithms is :math:`e^s - 1` (Hopkins 2000),
    fit for errors that grow with the value. Errors are taken as alike in all people: with people far apart
    the SEM is too large for the weak and too small for the strong.

    Examples
    --------
    >>> e = assess_typical_error([[10.0, 12.0], [20.0, 21.0], [30.0, 33.0]])
    >>> round(e.sem, 4), round(e.mdc, 3), e.shifts
    (0.7071, 1.96, (2.0,))
    """
    from scipy.special import chdtri

    ms = two_way(table)
    x = np.asarray(table, dtype=float)
    n, k = x.shape
    df = (n - 1) * (k - 1)
    sem = math.sqrt(ms.error)
    tail = (1 - probability) / 2
    ends = tuple(math.sqrt(df / float(chdtri(df, p))) * sem for p in (tail, 1 - tail))
    mean = float(x.mean())
    if mean == 0:
        raise StudyError("the mean is 0: a coefficient of variation has no meaning for such a quantity")
    pooled = math.sqrt(float(x.var(axis=0, ddof=1).mean()))
    icc3 = (ms.between - ms.error) / (ms.between + (k - 1) * ms.error) if ms.between + ms.error > 0 else 1.0
    log_sem = math.sqrt(two_way(np.log(x)).error) if (x > 0).all() else None
    steps = np.diff(x, axis=1)
    return TypicalError(
        n,
        k,
        sem,
        (ends[0], ends[1]),
        df,
        {
            "root of the residual mean square": sem,
            "root of the mean square within people": math.sqrt(ms.within),
            "SD of all values times root(1 - ICC(3,1))": float(x.std(ddof=1)) * math.sqrt(1 - icc3),
            "SD pooled over columns times root(1 - ICC(3,1))": pooled * math.sqrt(1 - icc3),
        },
        minimal_detectable_change(sem, probability=probability),
        sem / abs(mean),
        None if log_sem is None else math.expm1(log_sem),
        pooled,
        math.sqrt(max(ms.between - ms.error, 0.0) / k),
        smallest_worthwhile_change(pooled),
        tuple(float(s) for s in steps.mean(axis=0)),
        tuple(float(s) for s in steps.std(axis=0, ddof=1) / math.sqrt(2)),
    )
