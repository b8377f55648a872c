"""Shapes of pulses, and the peak to expect from impulse and duration."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = ["PULSE_SHAPES", "PulseShape", "expected_peak", "half_sine"]

Height = Callable[[ArrayLike], NDArray[np.float64]]


class PulseShape(NamedTuple):
    """
    A pulse of unit peak and unit length.

    ``coefficient`` is its area, so that impulse = coefficient x peak x duration; ``height`` is the
    pulse itself on 0 to 1 (0 outside), where it has a closed form.
    """

    coefficient: float
    height: Height | None


def half_sine(x: ArrayLike) -> NDArray[np.float64]:
    """
    Height of the half-sine pulse of unit peak and length.

    Parameters
    ----------
    x : array_like
        Time over duration. [-]

    Returns
    -------
    height : ndarray, shape of x
        0 outside of 0 to 1. [-]

    Examples
    --------
    >>> half_sine([-0.1, 0.5]).tolist()
    [0.0, 1.0]
    """
    height: NDArray[np.float64] = np.sin(np.pi * np.clip(np.asarray(x, dtype=float), 0, 1))
    return height


def _haversine(x: ArrayLike) -> NDArray[np.float64]:
    height: NDArray[np.float64] = half_sine(x) ** 2
    return height


def _triangle(x: ArrayLike) -> NDArray[np.float64]:
    height: NDArray[np.float64] = np.maximum(1 - np.abs(2 * np.asarray(x, dtype=float) - 1), 0)
    return height


def _parabola(x: ArrayLike) -> NDArray[np.float64]:
    x = np.asarray(x, dtype=float)
    height: NDArray[np.float64] = np.maximum(4 * x * (1 - x), 0)
    return height


PULSE_SHAPES: dict[str, PulseShape] = {
    # areas: calculus; the elastic contact F = K x^(3/2) from its energy integral (derived here, after
    # Johnson, Contact Mechanics, 1985, section 11.4): Gamma(9/10) / (Gamma(2/5) sqrt(pi)) x 2
    "half-sine": PulseShape(2 / math.pi, half_sine),
    "parabola": PulseShape(2 / 3, _parabola),
    "haversine": PulseShape(1 / 2, _haversine),
    "triangle": PulseShape(1 / 2, _triangle),
    "elastic contact": PulseShape(2 * math.gamma(0.9) / (math.gamma(0.4) * math.sqrt(math.pi)), None),
}


def expected_peak(
    impulse: float,
    duration: float,
    *,
    u_impulse: float = 0.0,
    u_duration: float = 0.0,
    shapes: Iterable[str] = tuple(PULSE_SHAPES),
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
        Names from :data:`PULSE_SHAPES` that are held possible.

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
    :math:`F_p = J/(cT)`; the area :math:`c` is 1/2 for haversine and triangle, 0.544 for an elastic ball,
    0.637 for a half-sine, 2/3 for a parabola. The range between the least and the greatest is taken
    with no preference. A plateau (c up to 1) lies outside the range: the true peak is then lower. The
    duration between thresholds is shorter than the pulse, which makes the peak too high.

    Examples
    --------
    >>> peak = expected_peak(19.1, 0.010)
    >>> print(f"{peak.value:.0f} ± {peak.u:.0f} N")
    3342 ± 276 N
    """
    if not duration > 0:
        raise ValueError(f"the duration must be above 0 s, got {duration}")
    names = tuple(shapes)
    if not names or not set(names) <= set(PULSE_SHAPES):
        raise ValueError(
            f"shapes must be some of {', '.join(PULSE_SHAPES)}; got {', '.join(names) or 'none'}"
        )
    peaks = [impulse / (PULSE_SHAPES[name].coefficient * duration) for name in names]
    middle = (min(peaks) + max(peaks)) / 2
    return combine(
        middle,
        shape=(max(peaks) - min(peaks)) / math.sqrt(12),
        impulse=middle * u_impulse / impulse if impulse else u_impulse / duration,
        duration=-middle * u_duration / duration,
    )
