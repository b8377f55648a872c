"""Analysis of variance: mean squares of one-way and two-way tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.errors import StudyError

__all__ = ["OneWay", "TwoWay", "one_way", "two_way"]

Floats = NDArray[np.float64]


class OneWay(NamedTuple):
    """One-way analysis of variance."""

    between: float
    """Sum of squares between groups. [square of the values' unit]"""
    within: float
    """Sum of squares within groups. [square of the values' unit]"""
    df_between: int
    df_within: int
    f: float
    """Mean square between over mean square within; infinite without spread within. [1]"""
    p: float
    """Probability of a larger F without any effect. [1]"""


class TwoWay(NamedTuple):
    """Mean squares of people by columns (trials, sessions, raters), one value a cell."""

    n: int
    """People."""
    k: int
    """Columns."""
    between: float
    """BMS: between people, n - 1 degrees of freedom. [square of the values' unit]"""
    within: float
    """WMS: within people, n(k - 1)."""
    columns: float
    """JMS: between columns, k - 1."""
    error: float
    """EMS: residual, (n - 1)(k - 1)."""


def _no_dust(square: float, scale: float) -> float:
    """Zero for a mean square that only rounding has made."""
    return 0.0 if square <= (8 * np.finfo(float).eps * scale) ** 2 else square


def f_tail(f: float, df1: float, df2: float) -> float:
    """Probability of an F above ``f``; 0 for an infinite one."""
    from scipy.special import fdtrc

    return 0.0 if math.isinf(f) else float(fdtrc(df1, df2, f))


def one_way(groups: Sequence[ArrayLike]) -> OneWay:
    r"""
    Split the spread of values into between and within groups.

    Parameters
    ----------
    groups : sequence of array_like
        Values of each group; groups may differ in size. [any]

    Returns
    -------
    OneWay
        Sums of squares, degrees of freedom and F.

    Raises
    ------
    StudyError
        If there are fewer than two groups, one is empty, no group has two values, or a value is not
        finite.

    Notes
    -----
    Textbook sums of squares about means, after the first value was subtracted from all: data with many
    constant leading digits keep theirs (NIST StRD, analysis of variance).

    Examples
    --------
    >>> table = one_way([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]])
    >>> round(table.f, 6), table.df_between, table.df_within
    (1.5, 1, 4)
    """
    arrays = [np.asarray(g, dtype=float).ravel() for g in groups]
    if len(arrays) < 2 or min(a.size for a in arrays) == 0:
        raise StudyError(f"need two groups with values at least, got {len(arrays)}")
    everything = np.concatenate(arrays)
    if not np.isfinite(everything).all():
        raise StudyError("every value must be finite; leave out trials without a value by name")
    df_between, df_within = len(arrays) - 1, everything.size - len(arrays)
    if df_within == 0:
        raise StudyError("every group holds one value only: the spread within groups is unknown")
    arrays = [a - everything[0] for a in arrays]
    grand = float((everything - everything[0]).mean())
    between = sum(a.size * (float(a.mean()) - grand) ** 2 for a in arrays)
    within = sum(float(((a - a.mean()) ** 2).sum()) for a in arrays)
    scale = float(np.abs(everything).max())
    ms_between, ms_within = (_no_dust(between / df_between, scale), _no_dust(within / df_within, scale))
    f = ms_between / ms_within if ms_within > 0 else (math.inf if ms_between > 0 else math.nan)
    return OneWay(between, within, df_between, df_within, f, f_tail(f, df_between, df_within))


def two_way(table: ArrayLike) -> TwoWay:
    r"""
    Mean squares of a table of people by columns.

    Parameters
    ----------
    table : array_like, shape (n, k)
        One value for each person (row) and trial, session or rater (column). [any]

    Returns
    -------
    TwoWay
        Mean squares; those that only rounding has made are 0.

    Raises
    ------
    StudyError
        If there is one person or one column only, or a cell is missing.

    Notes
    -----
    Shrout, P. E. and Fleiss, J. L. (1979), Psychological Bulletin 86, 420-428,
    doi:10.1037/0033-2909.86.2.420, table 3.

    Examples
    --------
    >>> two_way([[1.0, 2.0], [3.0, 5.0]]).between
    6.25
    """
    x = np.asarray(table, dtype=float)
    if x.ndim != 2:
        raise StudyError(f"need a table of people by trials or sessions, got an array of shape {x.shape}")
    n, k = x.shape
    if n < 2:
        raise StudyError(f"need 2 people at least to tell people apart, got {n}; measure more people")
    if k < 2:
        raise StudyError(f"need 2 trials or sessions of each person at least, got {k}; measure them again")
    if not np.isfinite(x).all():
        i, j = np.argwhere(~np.isfinite(x))[0]
        raise StudyError(
            f"the cell of person {i + 1}, column {j + 1} holds no value: measure it, or leave out that "
            "person or that column"
        )
    scale = float(np.abs(x).max())
    x = x - x[0, 0]
    x = x - x.mean()
    rows, columns = x.mean(axis=1), x.mean(axis=0)
    residual = x - rows[:, None] - columns
    return TwoWay(
        n,
        k,
        _no_dust(k * float(rows @ rows) / (n - 1), scale),
        _no_dust(float(((x - rows[:, None]) ** 2).sum()) / (n * (k - 1)), scale),
        _no_dust(n * float(columns @ columns) / (k - 1), scale),
        _no_dust(float((residual**2).sum()) / ((n - 1) * (k - 1)), scale),
    )
