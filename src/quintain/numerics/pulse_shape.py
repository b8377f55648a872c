"""Pulses of force in closed form: the shapes by which a blow is idealised."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["SHAPES", "PulseShape", "impulse_coefficient", "pulse_force"]

Floats = NDArray[np.float64]


class PulseShape(NamedTuple):
    """A pulse that lasts from 0 to 1 and peaks at 1."""

    curve: Callable[[Floats], Floats]
    """Force over its peak, as a function of time over duration."""
    coefficient: float
    """Area under the curve: impulse over peak force times duration."""


def _humps(x: Floats) -> Floats:
    second = 0.6 * np.sin(np.pi * np.clip((x - 0.4) / 0.6, 0.0, 1.0)) ** 2
    return np.asarray(np.sin(np.pi * np.clip(x / 0.5, 0.0, 1.0)) ** 2 + second)


SHAPES: dict[str, PulseShape] = {
    "half-sine": PulseShape(lambda x: np.sin(np.pi * x), 2 / np.pi),
    "haversine": PulseShape(lambda x: np.sin(np.pi * x) ** 2, 0.5),
    "triangle": PulseShape(lambda x: 1 - np.abs(2 * x - 1), 0.5),
    "parabola": PulseShape(lambda x: 4 * x * (1 - x), 2 / 3),
    "sin^1.5": PulseShape(lambda x: np.abs(np.sin(np.pi * x)) ** 1.5, 0.5564178944493823),
    "asymmetric": PulseShape(lambda x: 256 / 27 * x * (1 - x) ** 3, 64 / 135),
    "double": PulseShape(_humps, 0.43),
    "sawtooth": PulseShape(lambda x: x, 0.5),
    "rectangle": PulseShape(np.ones_like, 1.0),
}
"""
Shapes by name. ``half-sine``: spring pad. ``sin^1.5``: close to a Hertz contact. ``asymmetric``: rises
in a quarter of its length, falls in three (a beta curve). ``double``: two humps, the second 0.6 as
high, as a blow whose limb catches up again. ``sawtooth`` ends at its peak.
"""


def _shape(name: str) -> PulseShape:
    if name not in SHAPES:
        raise ValueError(f"no pulse shape {name!r}; the shapes are {', '.join(SHAPES)}")
    return SHAPES[name]


def pulse_force(shape: str, peak: float, duration: float, time: ArrayLike) -> Floats:
    r"""
    Force of an idealised blow.

    Parameters
    ----------
    shape : str
        Name of the shape, one of :data:`SHAPES`.
    peak : float
        Largest force. [N]
    duration : float
        Length of the contact, above zero; it starts at time zero. [s]
    time : array_like
        When the force is wanted. [s]

    Returns
    -------
    force : ndarray, shape of ``time``
        Force, zero outside the contact. [N]

    Raises
    ------
    ValueError
        If the shape is unknown or the duration is not above zero.

    Notes
    -----
    Real blows have none of these shapes; they bracket what a method must cope with. The half-sine and
    the sawtooth are the pulses of IEC 60068-2-27; ``sin^1.5`` has 2.4 % less peak for its impulse than
    a true Hertz contact.

    Examples
    --------
    >>> pulse_force("half-sine", 3000.0, 0.010, [-0.001, 0.005, 0.010])
    array([   0., 3000.,    0.])
    """
    curve = _shape(shape).curve
    if not duration > 0:
        raise ValueError(f"duration of a pulse must be above 0 s, got {duration} s")
    x = np.asarray(time, dtype=float) / duration
    inside = (x >= 0) & (x <= 1)
    force = peak * np.where(inside, curve(np.clip(x, 0.0, 1.0)), 0.0)
    # The sine of the machine's pi leaves 1e-16 of the peak at the very end.
    return np.where(np.abs(force) < 1e-15 * abs(peak), 0.0, force)


def impulse_coefficient(shape: str) -> float:
    r"""
    Impulse of a shape over peak force times duration.

    Parameters
    ----------
    shape : str
        Name of the shape, one of :data:`SHAPES`.

    Returns
    -------
    coefficient : float
        :math:`c = J / (F_0 T)`; its inverse is peak over mean force.

    Raises
    ------
    ValueError
        If the shape is unknown.

    Notes
    -----
    Calculus; for ``sin^1.5`` :math:`\Gamma(5/4) / (\sqrt\pi\,\Gamma(7/4))`, for ``asymmetric`` the beta
    integral :math:`B(2, 4)` over the value at its peak.

    Examples
    --------
    A half-sine of 3 kN lasting 10 ms carries 19.1 N s:

    >>> round(impulse_coefficient("half-sine") * 3000 * 0.010, 3)
    19.099
    """
    return _shape(shape).coefficient
