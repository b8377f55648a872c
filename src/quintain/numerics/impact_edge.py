"""The impact edge of a sensor on the limb: the instant at which its own acceleration breaks away."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._rotation import as_vectors

__all__ = ["ImpactEdge", "filter_delay", "find_impact_edges"]

Floats = NDArray[np.float64]

SPAN = 0.002
"""The step of an impact is looked for across this time. [s]"""


class ImpactEdge(NamedTuple):
    """Time of an edge from the first sample, its standard uncertainty [s], and the step's size [m/s²]."""

    time: float
    u: float
    step: float


def find_impact_edges(
    acceleration: ArrayLike, rate: float, *, step: float = 40.0, dead_time: float = 0.2
) -> list[ImpactEdge]:
    r"""
    Find the instants at which a limb's sensor meets the target.

    Parameters
    ----------
    acceleration : array_like, shape (n, 3)
        Specific force; samples at a limit do no harm. [m/s²]
    rate : float
        Sampling rate. [Hz]
    step : float
        Least change of the vector within 2 ms (or one sample, if that is longer). [m/s²]
    dead_time : float
        Edges that follow another one sooner than this belong to the same strike. [s]

    Returns
    -------
    list of ImpactEdge
        In order of time.

    Raises
    ------
    ValueError
        If the shape is wrong, samples are missing, or rate or step are not positive.

    Notes
    -----
    Before contact a limb's acceleration is smooth: some 100 m/s² that change over tens of milliseconds.
    Contact adds several hundred within a few. The edge is where the straight line through 10 % and 50 %
    of the first rise, measured from the trend of the 10 ms before, meets that trend; a rise that begins
    tangentially puts it late by up to a tenth of the rise, which is in ``u``. The method is common
    practice, its limits derived from simulated strikes.

    Examples
    --------
    >>> t = np.arange(1000) / 1000
    >>> a = np.zeros((1000, 3))
    >>> a[:, 0] = np.where(t > 0.5, -800 * np.sin(np.pi * np.clip((t - 0.5) / 0.01, 0, 1)), 0)
    >>> [round(edge.time, 3) for edge in find_impact_edges(a, 1000.0)]
    [0.5]
    """
    a = as_vectors(acceleration, "acceleration")
    if not (rate > 0 and step > 0):
        raise ValueError(f"rate and step must be above 0, got {rate} Hz and {step} m/s²")
    k = max(round(SPAN * rate), 1)
    if a.shape[0] <= 2 * k:
        return []
    change = np.sqrt(((a[k:] - a[:-k]) ** 2).sum(axis=1))
    edges: list[ImpactEdge] = []
    blocked = -1
    for i in np.flatnonzero(change >= step).tolist():
        if i >= blocked:
            edges.append(_refine(a, i, k, rate))
            # the shaking that an impact leaves keeps the strike from ending
            blocked = i + round(dead_time * rate)
    return edges


def filter_delay(cutoff: float) -> float:
    r"""
    Delay of a first-order low-pass filter for everything well below its cutoff.

    Parameters
    ----------
    cutoff : float
        Frequency at which it passes :math:`1/\sqrt2`. [Hz]

    Returns
    -------
    delay : float
        :math:`1/(2 \pi f_c)`; the sensor shows an edge later by about this. [s]

    Raises
    ------
    ValueError
        If the cutoff is not positive.

    Examples
    --------
    >>> round(1e3 * filter_delay(184.0), 3)
    0.865
    """
    if not cutoff > 0:
        raise ValueError(f"the cutoff must be above 0 Hz, got {cutoff}")
    return 1 / (2 * math.pi * cutoff)


def _refine(a: Floats, i: int, k: int, rate: float) -> ImpactEdge:
    """Trace the rise that was noticed between samples i and i + k back to where it begins."""
    lead = max(round(0.010 * rate), 4)
    first = max(i - lead, 0)
    until = min(i + 2 * k + max(round(0.004 * rate), 2), a.shape[0])
    index = np.arange(first, until)
    before = index < max(i - k + 1, first + 2)
    trend = np.polynomial.polynomial.polyfit(index[before], a[index[before]], min(1, before.sum() - 1))
    departure = a[first:until] - np.polynomial.polynomial.polyval(index, trend).T
    # the rise is followed along its own direction, so that noise does not add up as it does in a norm
    peak = int(np.argmax((departure**2).sum(axis=1)))
    direction = departure[peak] / math.hypot(*departure[peak])
    rise = departure[: peak + 1] @ direction
    top = float(rise[-1])
    low, high = (_crossing(rise, level * top) for level in (0.1, 0.5))
    start = low - (high - low) * 0.1 / 0.4
    u = math.hypot(0.29, 0.25 * (high - low))
    return ImpactEdge((first + start) / rate, u / rate, top)


def _crossing(rise: Floats, level: float) -> float:
    """Last upward crossing of a level before the end of the rise, in samples."""
    below = np.flatnonzero(rise < level)
    if not below.size:
        return 0.0
    i = int(below[-1])
    return i + float((level - rise[i]) / (rise[i + 1] - rise[i]))
