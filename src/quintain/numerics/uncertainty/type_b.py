"""Standard uncertainty from limits and resolutions, where there are no repeated readings."""

from __future__ import annotations

import math
from typing import Literal

__all__ = ["u_from_limits", "u_from_resolution"]

_DIVISORS = {"rectangular": math.sqrt(3), "triangular": math.sqrt(6), "arcsine": math.sqrt(2)}


def u_from_limits(
    half_width: float, distribution: Literal["rectangular", "triangular", "arcsine"] = "rectangular"
) -> float:
    r"""
    Turn limits ± a into a standard uncertainty.

    Parameters
    ----------
    half_width : float
        Half of the distance between the limits. [any]
    distribution : {'rectangular', 'triangular', 'arcsine'}
        Nothing preferred within the limits; middle values likelier; a quantity that swings between them.

    Returns
    -------
    u : float
        Half width over :math:`\sqrt 3`, :math:`\sqrt 6` or :math:`\sqrt 2`. [as half_width]

    Raises
    ------
    ValueError
        If the half width is negative or the distribution unknown.

    Notes
    -----
    JCGM 100:2008, 4.3.7 and 4.3.9; the arcsine (U-shaped) distribution JCGM 101:2008, 6.4.6.

    Examples
    --------
    >>> round(u_from_limits(0.001), 6)
    0.000577
    """
    if not half_width >= 0:
        raise ValueError(f"the half width must be 0 or more, got {half_width}")
    if distribution not in _DIVISORS:
        raise ValueError(f"distribution must be one of {', '.join(_DIVISORS)}; got {distribution!r}")
    return half_width / _DIVISORS[distribution]


def u_from_resolution(step: float) -> float:
    r"""
    Turn the step of a display or converter into a standard uncertainty.

    Parameters
    ----------
    step : float
        Smallest difference that shows. [any]

    Returns
    -------
    u : float
        Step over :math:`\sqrt{12}`. [as step]

    Raises
    ------
    ValueError
        If the step is negative.

    Notes
    -----
    Limits of half a step with nothing preferred between them, JCGM 100:2008, F.2.2.1.

    Examples
    --------
    >>> round(u_from_resolution(1.0), 4)
    0.2887
    """
    return u_from_limits(step / 2)
