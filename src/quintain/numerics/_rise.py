"""Rate of force development: how steeply the force rises."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from quintain.numerics._contact import find_crossing, index_of_peak, slope_at
from quintain.numerics._samples import check_fractions, force_grid
from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = ["maximum_rate_of_force_development", "rate_of_force_development"]


def rate_of_force_development(
    force: ArrayLike,
    time: ArrayLike,
    u_force: ArrayLike,
    *,
    window: tuple[float, float] = (0.2, 0.8),
    u_gain: float = 0.0,
) -> Estimate:
    r"""
    Mean slope of the rising force between two fractions of its peak.

    Parameters
    ----------
    force, time, u_force
        As for :func:`find_contact`.
    window : (float, float)
        Lower and upper level as fractions of the peak. [1]
    u_gain : float
        Relative standard uncertainty of the gain. [1]

    Returns
    -------
    Estimate
        Rate of force development with the contributions ``lower``, ``upper``, ``peak`` and ``gain``.
        [N/s]

    Raises
    ------
    ValueError
        If the fractions are not in order between 0 and 1, or the rise is not in the data.

    Notes
    -----
    :math:`R = (b - a) F_p / (t_b - t_a)`, where :math:`t_a, t_b` are the last times before the peak at
    which the force passes :math:`a F_p` and :math:`b F_p`. State the window with the number: other
    windows give other rates. The errors at the three points are taken as independent; where they go
    together the true uncertainty is smaller.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 0.02, 2001)
    >>> ramp = 3000 * (1 - np.abs(t / 0.01 - 1))
    >>> print(f"{rate_of_force_development(ramp, t, 5.0).value / 1e3:.0f} kN/s")
    300 kN/s
    """
    force, time, u_force = force_grid(force, time, u_force)
    low, high = window
    check_fractions(low, high)
    i_peak = index_of_peak(force)
    peak = float(force[i_peak])
    t_low, u_low = find_crossing(force, time, u_force, low * peak, i_peak, -1)
    t_high, u_high = find_crossing(force, time, u_force, high * peak, i_peak, -1)
    rise = t_high - t_low
    rate = (high - low) * peak / rise
    # a higher peak lifts both levels: the mean slope gains height and the crossings move later
    later = high / slope_at(force, time, t_high) - low / slope_at(force, time, t_low)
    return combine(
        rate,
        lower=-rate / rise * u_low,
        upper=rate / rise * u_high,
        peak=(rate / peak - rate / rise * later) * u_force[i_peak],
        gain=rate * u_gain,
    )


def maximum_rate_of_force_development(
    force: ArrayLike, time: ArrayLike, u_force: ArrayLike, *, width: float, u_gain: float = 0.0
) -> Estimate:
    r"""
    Steepest mean slope of the rising force over a stated width of time.

    Parameters
    ----------
    force, time, u_force
        As for :func:`find_peak`, on an evenly spaced grid.
    width : float
        Width of time over which the slope is taken; rounded to the grid, at least one step. [s]
    u_gain : float
        Relative standard uncertainty of the gain. [1]

    Returns
    -------
    Estimate
        Greatest slope with the contributions ``lower``, ``upper`` and ``gain``. [N/s]

    Raises
    ------
    ValueError
        If the width is less than half a step or longer than the data before the peak.

    Notes
    -----
    The greatest of many noisy slopes is on average too great; the shorter the width, the more.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 0.01, 1001)
    >>> force = 3000 * np.sin(np.pi * t / 0.01)
    >>> print(f"{maximum_rate_of_force_development(force, t, 5.0, width=0.001).value / 1e3:.0f} kN/s")
    927 kN/s
    """
    force, time, u_force = force_grid(force, time, u_force)
    i_peak = index_of_peak(force)
    n = round(width / float(np.mean(np.diff(time))))
    if not 1 <= n <= i_peak:
        raise ValueError(
            f"the width of {width} s must lie between one step of the grid and the time from "
            f"its start to the peak, {time[i_peak] - time[0]} s"
        )
    slopes = (force[n : i_peak + 1] - force[: i_peak + 1 - n]) / (
        time[n : i_peak + 1] - time[: i_peak + 1 - n]
    )
    i = int(np.argmax(slopes))
    span = time[i + n] - time[i]
    rate = float(slopes[i])
    return combine(rate, lower=-u_force[i] / span, upper=u_force[i + n] / span, gain=rate * u_gain)
