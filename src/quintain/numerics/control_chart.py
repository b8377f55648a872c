"""Control charts: is a rig still what it was, judged by limits from its own history."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["EwmaChart", "IndividualsChart", "chart_ewma", "chart_individuals"]

Array = NDArray[np.float64]

FEWEST_POINTS = 5  # fewer values say next to nothing about their own scatter (common practice, no source)
D2 = 1.128379167  # mean range of two normal values over their standard deviation, 2/sqrt(pi)
D4 = 3.267  # upper limit of a moving range of two over its mean


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """
    Chart of individual values and of their moving range, in the unit of the values.

    ``signals`` are indices of values outside the limits, ``range_signals`` of values whose step from the
    one before is too large; ``runs`` are indices at which the eighth or a further value in a row lies on
    one side.
    """

    centre: float
    sigma: float
    lower: float
    upper: float
    range_upper: float
    moving_range: Array
    signals: NDArray[np.int64]
    range_signals: NDArray[np.int64]
    runs: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class EwmaChart:
    """Exponentially weighted moving average with its limits, one entry a value, in the unit of the values."""

    average: Array
    centre: float
    sigma: float
    lower: Array
    upper: Array
    signals: NDArray[np.int64]


def _baseline(values: ArrayLike, n_baseline: int | None) -> tuple[Array, Array]:
    values = np.asarray(values, dtype=float)
    if values.ndim != 1 or not np.isfinite(values).all():
        raise ValueError("a control chart needs one row of finite values")
    n = values.size if n_baseline is None else n_baseline
    if not FEWEST_POINTS <= n <= values.size:
        raise ValueError(
            f"limits need at least {FEWEST_POINTS} earlier values, got {min(n, values.size)}: keep logging"
        )
    return values, values[:n]


def _sigma(baseline: Array) -> float:
    return float(np.abs(np.diff(baseline)).mean() / D2)


def chart_individuals(values: ArrayLike, *, n_baseline: int | None = None) -> IndividualsChart:
    r"""
    Chart single values against limits from their own moving range.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values by rising date, any unit.
    n_baseline : int, optional
        How many of the first values make the limits; all of them if not given.

    Returns
    -------
    IndividualsChart
        Limits at three sigma, sigma = mean moving range / 1.128.

    Raises
    ------
    ValueError
        If there are fewer than five values to make limits from.

    Notes
    -----
    Shewhart's chart for individuals; ISO 7870-2 and NIST/SEMATECH e-Handbook 6.3.2.2. The moving range
    keeps a slow drift out of sigma. Values that swing together from day to day make the limits too narrow.
    A false alarm comes once in some 370 values by the limits alone.

    Examples
    --------
    >>> chart = chart_individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> print(f"{chart.lower:.2f} to {chart.upper:.2f}")
    45.82 to 55.80
    """
    values, baseline = _baseline(values, n_baseline)
    centre, sigma = float(baseline.mean()), _sigma(baseline)
    moving = np.abs(np.diff(values))
    lower, upper = centre - 3 * sigma, centre + 3 * sigma
    range_upper = D4 * sigma * D2
    side = np.sign(values - centre)
    run, runs = 0, []
    for i in range(values.size):
        run = run + 1 if i and side[i] == side[i - 1] and side[i] != 0 else 1
        if run >= 8:
            runs.append(i)
    return IndividualsChart(
        centre,
        sigma,
        lower,
        upper,
        range_upper,
        moving,
        np.flatnonzero((values < lower) | (values > upper)),
        np.flatnonzero(moving > range_upper) + 1,
        np.array(runs, dtype=np.int64),
    )


def chart_ewma(
    values: ArrayLike,
    *,
    n_baseline: int | None = None,
    weight: float = 0.2,
    width: float = 3.0,
    centre: float | None = None,
    sigma: float | None = None,
) -> EwmaChart:
    r"""
    Chart an exponentially weighted moving average, which sees small lasting shifts.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values by rising date, any unit.
    n_baseline : int, optional
        How many of the first values make centre and sigma; all of them if not given.
    weight : float
        Weight of the newest value, above 0 and at most 1.
    width : float
        Half width of the limits in standard deviations of the average.
    centre, sigma : float, optional
        Known centre and standard deviation, used in place of the history's.

    Returns
    -------
    EwmaChart
        Limits that open out from the first value.

    Raises
    ------
    ValueError
        If there are fewer than five values to make limits from, or the weight is out of range.

    Notes
    -----
    Roberts (1959, doi:10.1080/00401706.1959.10489860): :math:`z_i = \lambda x_i + (1 - \lambda) z_{i-1}`,
    limits :math:`\mu \pm L \sigma \sqrt{\lambda (1 - (1-\lambda)^{2i}) / (2 - \lambda)}`.

    Examples
    --------
    >>> chart = chart_ewma([10.0, 10.1, 9.9, 10.0, 10.05, 9.95, 10.3, 10.3, 10.3, 10.3], n_baseline=6)
    >>> chart.signals
    array([7, 8, 9])
    """
    if not 0 < weight <= 1:
        raise ValueError(f"weight must be above 0 and at most 1, got {weight}")
    values, baseline = _baseline(values, n_baseline)
    middle = float(baseline.mean()) if centre is None else centre
    spread = _sigma(baseline) if sigma is None else sigma
    average = np.empty(values.size)
    last = middle
    for i, value in enumerate(values):
        last = weight * value + (1 - weight) * last
        average[i] = last
    n = np.arange(1, values.size + 1)
    half = width * spread * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * n)))
    lower, upper = middle - half, middle + half
    return EwmaChart(
        average, middle, spread, lower, upper, np.flatnonzero((average < lower) | (average > upper))
    )
