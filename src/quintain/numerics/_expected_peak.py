"""The peak to expect from impulse and duration, over the shapes a pulse may have."""

from __future__ import annotations

import math
from collections.abc import Iterable

from quintain.numerics.pulse_shape import impulse_coefficient
from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = ["expected_peak"]

LIKELY_SHAPES = ("half-sine", "parabola", "haversine", "triangle", "sin^1.5", "asymmetric")


def expected_peak(
    impulse: float,
    duration: float,
    *,
    u_impulse: float = 0.0,
    u_duration: float = 0.0,
    shapes: Iterable[str] = LIKELY_SHAPES,
) -> Estimate:
    r"""
    Peak force to expect from impulse and duration, whatever the shape of the pulse.

    Parameters
    ----------
    impulse : float
        Impulse of the contact. [N·s]
    duration : float
        From touch to parting, above 0. [s]
    u_impulse, u_duration : float
        Their standard uncertainties. [N·s], [s]
    shapes : iterable of str
        Names from :data:`~quintain.numerics.pulse_shape.SHAPES` that are held possible.

    Returns
    -------
    Estimate
        Middle of the range over the shapes, with the contributions ``shape``, ``impulse`` and
        ``duration``. [N]

    Raises
    ------
    ValueError
        If the duration is not above 0, no shape is given, or a shape is unknown.

    Notes
    -----
    :math:`F_p = J/(cT)`; the area :math:`c` is 0.47 for a fast rise with a slow fall, 1/2 for haversine and
    triangle, 0.56 for a nearly elastic ball, 0.64 for a half-sine, 2/3 for a parabola. The range between
    the least and the greatest is taken with no preference. A plateau (c up to 1) lies outside the range:
    the true peak is then lower. The duration between thresholds is shorter than the pulse, which makes
    the peak too high.

    Examples
    --------
    >>> peak = expected_peak(19.1, 0.010)
    >>> print(f"{peak.value:.0f} ± {peak.u:.0f} N")
    3447 ± 336 N
    """
    if not duration > 0:
        raise ValueError(f"the duration must be above 0 s, got {duration}")
    peaks = [impulse / (impulse_coefficient(shape) * duration) for shape in shapes]
    if not peaks:
        raise ValueError("expected at least one pulse shape, got none")
    middle = (min(peaks) + max(peaks)) / 2
    return combine(
        middle,
        shape=(max(peaks) - min(peaks)) / math.sqrt(12),
        impulse=middle * u_impulse / impulse if impulse else u_impulse / duration,
        duration=-middle * u_duration / duration,
    )
