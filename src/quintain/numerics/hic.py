"""Head injury criterion of an acceleration: context for researchers, never advice."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from quintain.numerics._samples import check_rate, finite_row

__all__ = ["HeadInjuryCriterion", "head_injury_criterion"]


class HeadInjuryCriterion(NamedTuple):
    """The criterion and the window in which it is reached, as times from the first sample."""

    value: float
    start: float
    end: float


def head_injury_criterion(
    acceleration: ArrayLike, rate: float, *, window: float = 0.015
) -> HeadInjuryCriterion:
    r"""
    Greatest value of the head injury criterion over all windows up to a longest one.

    Parameters
    ----------
    acceleration : array_like, shape (n,)
        Magnitude of the acceleration, in multiples of standard gravity. [g]
    rate : float
        Sampling rate. [Hz]
    window : float
        Longest window: 0.015 (HIC15) or 0.036 (HIC36). [s]

    Returns
    -------
    HeadInjuryCriterion
        Value in :math:`g^{2.5}\,\mathrm{s}` by convention, with start and end of its window. [s]

    Raises
    ------
    ValueError
        If a sample is not finite or the window is shorter than a sample step.

    Notes
    -----
    :math:`\max\,(t_2 - t_1)\left[\frac{1}{t_2-t_1}\int_{t_1}^{t_2} a\,dt\right]^{2.5}`, FMVSS 571.208,
    S6.2, searched over every pair of samples; windows of negative mean count as zero. Windows that begin
    or end between samples are not tried: the value is then low by a part of order
    :math:`(\Delta t / T)^2`.

    The criterion was made for crash dummies. A force on a pad is not the acceleration of a head, and
    no value of it says that a blow is safe: context for researchers, never advice.

    Examples
    --------
    A square pulse of 50 g and 10 ms has 50^2.5 x 0.010 s:

    >>> print(f"{head_injury_criterion(np.full(101, 50.0), 10_000).value:.3f}")
    176.777
    """
    a = finite_row(acceleration, "acceleration", at_least=2)
    check_rate(rate)
    longest = min(int(np.floor(window * rate + 1e-9)), a.size - 1)
    if longest < 1:
        raise ValueError(f"the window of {window} s is shorter than one step of {1 / rate} s")
    area = np.concatenate([[0.0], np.cumsum((a[1:] + a[:-1]) / (2 * rate))])
    best = HeadInjuryCriterion(0.0, 0.0, 0.0)
    for n in range(1, longest + 1):
        gains = area[n:] - area[:-n]
        i = int(np.argmax(gains))
        value = max(float(gains[i]), 0.0) ** 2.5 / (n / rate) ** 1.5
        if value > best.value:
            best = HeadInjuryCriterion(value, i / rate, (i + n) / rate)
    return best
