"""Printed time stamps: the sampling interval behind them, and where time jumps."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "IRREGULAR",
    "RATE_TOLERANCE",
    "Break",
    "Interval",
    "find_breaks",
    "fit_interval",
    "nearest_short",
    "simplest_rate",
    "tidy",
]

RATE_TOLERANCE = 5e-4
"""Share by which the clock of a file may run off its nominal rate: five times a poor quartz."""
IRREGULAR = 0.1
"""Share of steps out of the ordinary above which a time column is not evenly sampled."""

_MANY = 10
"""Stamps that stand still before their resolution, and not the clock, is taken for the reason."""


class Interval(NamedTuple):
    """
    Sampling interval found in stamps.

    ``value`` [s] is the best estimate, ``u`` [s] bounds its error by the rounding of the stamps, and
    ``irregular`` is the share of steps that do not fit it.
    """

    value: float
    u: float
    irregular: float


class Break(NamedTuple):
    """A jump in time before sample ``i``: 'gap', 'time-backward' or 'time-repeated'."""

    i: int
    join: str


def _quantum(steps: NDArray[np.float64], interval: float) -> float:
    """
    Resolution of stamps printed more coarsely than the sampling interval; else 0. [s]

    Such stamps stand still for some samples and then advance by one unit of the last digit, on average as
    fast as the samples; a few jumps do not look like that.
    """
    odd = steps[np.abs(steps - interval) > 0.5 * interval]
    forward = odd[odd > 1e-6 * interval]
    if forward.size == 0:
        return 0.0
    quantum = float(np.median(forward))
    still = np.count_nonzero(np.abs(odd) <= 1e-3 * quantum)
    even = np.count_nonzero(np.abs(odd - quantum) <= 0.01 * quantum)
    steady = abs(float(odd.sum()) - odd.size * interval) < 2 * quantum + 0.1 * odd.size * interval
    coarse = still >= _MANY and still + even > 0.9 * odd.size and steady
    return quantum if coarse else 0.0


def fit_interval(stamps: NDArray[np.float64]) -> Interval | None:
    """
    Estimate the sampling interval of stamps that are rounded, jitter or jump.

    Parameters
    ----------
    stamps : ndarray, shape (n,)
        Time of the first samples as printed; NaN where it is missing. [s]

    Returns
    -------
    Interval or None
        None if there are fewer than two stamps or time stands still.

    Notes
    -----
    The median step tells ordinary steps from jumps; the slope of the longest stretch without a jump, by
    least squares, is the interval. Where most steps are zero the stamps are rounded more coarsely than
    the interval, and the mean step takes the place of the median. Derived here.

    Examples
    --------
    Stamps of a 51.2 kHz recording printed to the microsecond, with a gap:

    >>> t = np.round(np.arange(2000) / 51200, 6)
    >>> t[1500:] += 0.5
    >>> interval = fit_interval(t)
    >>> simplest_rate(interval)
    51200.0
    """
    known = np.flatnonzero(np.isfinite(stamps))
    if known.size < 2:
        return None
    t = stamps[known]
    steps = np.diff(t) / np.diff(known)
    forward = steps[steps > 0]
    if forward.size == 0:
        return None
    interval = float(np.median(steps))
    span = float(t[-1] - t[0])
    if np.count_nonzero(steps == 0) > 0.3 * steps.size and steps.min() == 0 and span > 0:
        mean = span / float(known[-1] - known[0])
        interval = mean if _quantum(steps, mean) else float(np.median(forward))
    elif interval <= 0:
        interval = float(np.median(forward))
    limit = 0.5 * interval + _quantum(steps, interval)
    bad = np.flatnonzero(np.abs(steps - interval) > limit)
    edges = np.concatenate([[0], bad + 1, [t.size]])
    longest = int(np.argmax(np.diff(edges)))
    first, last = edges[longest], edges[longest + 1]
    if last - first < 2:
        return Interval(interval, 0.0, bad.size / steps.size)
    x = known[first:last] - float(known[first])
    y = t[first:last] - t[first]
    dx = x - x.mean()
    slope = float(dx @ y / (dx @ dx))
    residual = y - y.mean() - slope * dx
    return Interval(slope, 0.5 * float(np.ptp(residual)) / float(x[-1]), bad.size / steps.size)


def simplest_rate(interval: Interval) -> float:
    """
    Rate or interval with the fewest digits that the stamps allow. [Hz]

    Examples
    --------
    >>> simplest_rate(Interval(0.003500001, 2e-9, 0.0))
    285.714285714...
    >>> simplest_rate(Interval(2.000277970813e-05, 0.0, 0.0))
    49993.05169...
    """
    margin = max(interval.u / interval.value, 1e-11)
    rate = 1 / interval.value
    for digits in range(1, 12):
        for candidate in (_rounded(rate, digits), 1 / _rounded(interval.value, digits)):
            if abs(candidate / rate - 1) <= margin:
                return tidy(candidate)
    return tidy(rate)


def nearest_short(interval: Interval) -> float:
    """
    Rate with the fewest digits whose interval lies within the bounds. [Hz]

    Examples
    --------
    >>> nearest_short(Interval(0.000977, 0.5e-6, 0.0))
    1024.0
    """
    for digits in range(1, 12):
        rate = _rounded(1 / interval.value, digits)
        if abs(1 / rate - interval.value) <= interval.u * (1 + 1e-9):
            return rate
    return tidy(1 / interval.value)


def tidy(value: float) -> float:
    """Rid a reciprocal of its last rounding: 1 / 8e-9 is not quite 125 000 000."""
    return float(round(value)) if abs(value - round(value)) < 1e-12 * value else value


def _rounded(value: float, digits: int) -> float:
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))


def find_breaks(
    stamps: NDArray[np.float64], interval: float, before: float | None = None
) -> tuple[list[Break], float]:
    """
    Find where time jumps among stamps that may be rounded.

    Parameters
    ----------
    stamps : ndarray, shape (n,)
        Times as printed, all finite. [s]
    interval : float
        Sampling interval. [s]
    before : float, optional
        Stamp before the first one, if there is one. [s]

    Returns
    -------
    breaks : list of Break
        In order; a step between half and one and a half intervals is no break, nor is one that the
        rounding of the stamps explains.
    quantum : float
        Resolution of the stamps where it is coarser than the interval; else 0. [s]

    Examples
    --------
    >>> find_breaks(np.array([0.0, 0.1, 0.2, 0.2, 0.3, 0.7, 0.8, 0.1]), 0.1)[0]
    [Break(i=3, join='time-repeated'), Break(i=5, join='gap'), Break(i=7, join='time-backward')]
    """
    steps = np.empty_like(stamps)
    np.subtract(stamps[1:], stamps[:-1], out=steps[1:])
    steps[0] = interval if before is None else stamps[0] - before
    off = steps - interval
    np.abs(off, out=off)
    if not off.max() > 0.5 * interval:
        return [], 0.0
    quantum = _quantum(steps, interval)
    bad = np.flatnonzero(off > 0.5 * interval + quantum * (1 + 1e-9))
    breaks = []
    for i in bad.tolist():
        step = steps[i]
        join = "gap" if step > interval else "time-backward" if step < -0.5 * interval else "time-repeated"
        breaks.append(Break(i, join))
    return breaks, quantum
