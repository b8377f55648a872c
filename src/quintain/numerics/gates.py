"""Speed from optical gates: two times and a spacing."""

from __future__ import annotations

import math

from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = ["speed_from_gates"]


def speed_from_gates(
    first: float,
    second: float,
    spacing: float,
    *,
    u_spacing: float = 0.001,
    u_time: float = 0.0001,
    distance_to_pad: float = 0.0,
    acceleration: float = 0.0,
    u_acceleration: float = 100.0,
) -> Estimate:
    r"""
    Approach speed from the instants at which a limb broke two light gates.

    Parameters
    ----------
    first, second : float
        Times of the breaks. [s]
    spacing : float
        Distance between the gates along the target's normal. [m]
    u_spacing : float
        Its standard uncertainty; the same part of the limb must break both. [m]
    u_time : float
        Standard uncertainty of each time. [s]
    distance_to_pad : float
        From the second gate to the pad's face. [m]
    acceleration, u_acceleration : float
        Of the limb between gates and pad; the default uncertainty is of the size that strikes have there
        (common practice, no source). [m/s²]

    Returns
    -------
    Estimate
        Speed at the pad. [m/s]

    Raises
    ------
    ValueError
        If the second time is not after the first, the spacing is not above 0, or a number is missing.

    Notes
    -----
    :math:`\bar v = s/(t_2 - t_1)` holds half way in time between the gates, so
    :math:`v_2 = \bar v + a (t_2 - t_1)/2` at the second one and :math:`v_1^2 = v_2^2 + 2 a d` at the pad. A
    hand or foot has no sharp front: if another part breaks the second gate,
    the error is that distance over the spacing.

    Examples
    --------
    >>> speed = speed_from_gates(0.100, 0.110, 0.080, u_acceleration=0.0)
    >>> round(speed.value, 3), round(speed.u, 3)
    (8.0, 0.151)
    """
    numbers = (first, second, spacing, u_spacing, u_time, distance_to_pad, acceleration, u_acceleration)
    if not all(math.isfinite(x) for x in numbers):
        raise ValueError("times, spacing and uncertainties of the gates must be numbers")
    if not (second > first and spacing > 0 and distance_to_pad >= 0):
        raise ValueError(
            f"need the second gate to break after the first and a spacing above 0 m, got {first} s, "
            f"{second} s, {spacing} m and {distance_to_pad} m to the pad"
        )
    between = second - first
    mean = spacing / between
    at_second = mean + acceleration * between / 2
    square = at_second**2 + 2 * acceleration * distance_to_pad
    if not (at_second > 0 and square > 0):
        raise ValueError(
            f"at {acceleration} m/s² a limb of {mean:.3g} m/s between the gates never meets the pad"
        )
    speed = math.sqrt(square)
    by_mean = at_second / speed
    return combine(
        speed,
        spacing=by_mean * mean * u_spacing / spacing,
        time=by_mean * mean * math.sqrt(2) * u_time / between,
        acceleration=u_acceleration * (at_second * between / 2 + distance_to_pad) / speed,
    )
