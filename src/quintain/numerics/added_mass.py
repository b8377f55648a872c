"""Moving mass and stiffness of a rig from a tap test with a known mass added."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

__all__ = ["MovingMass", "find_moving_mass"]


class MovingMass(NamedTuple):
    """Moving mass [kg] and stiffness [N/m] with standard uncertainties."""

    mass: float
    u_mass: float
    stiffness: float
    u_stiffness: float


def find_moving_mass(
    bare_frequency: float,
    loaded_frequency: float,
    added_mass: float,
    *,
    u_bare: float = 0.0,
    u_loaded: float = 0.0,
    u_added_mass: float = 0.0,
) -> MovingMass:
    r"""
    Mass that moves with a mode, and the stiffness below it.

    Parameters
    ----------
    bare_frequency, loaded_frequency : float
        Natural frequency without and with the added mass. [Hz]
    added_mass : float
        Mass bolted on where the blow lands. [kg]
    u_bare, u_loaded : float
        Standard uncertainties of the frequencies. [Hz]
    u_added_mass : float
        Standard uncertainty of the added mass. [kg]

    Returns
    -------
    MovingMass
        Mass and stiffness, first-order uncertainties with the inputs uncorrelated.

    Raises
    ------
    ValueError
        If the frequency did not fall, or fell by less than two standard uncertainties of the fall.

    Notes
    -----
    One degree of freedom, :math:`m = \Delta m / ((f_1/f_2)^2 - 1)`, :math:`k = m (2 \pi f_1)^2`. If the added
    mass is not stiffly joined, or sits away from where the mode moves most, the mass comes out too large.
    A frequency above half the sampling rate has to be unfolded first (:mod:`quintain.numerics.alias`).

    Examples
    --------
    >>> found = find_moving_mass(410.936, 355.881, 1.0, u_bare=0.1, u_loaded=0.1)
    >>> print(f"{found.mass:.3f} kg, u = {found.u_mass:.3f} kg; {found.stiffness:.3g} N/m")
    3.000 kg, u = 0.009 kg; 2e+07 N/m
    """
    if not (added_mass > 0 and loaded_frequency > 0):
        raise ValueError("added mass and frequencies must be positive")
    fall = bare_frequency - loaded_frequency
    if fall <= 0:
        raise ValueError(
            f"the natural frequency rose from {bare_frequency:g} Hz to {loaded_frequency:g} Hz under added "
            "mass: a folded frequency, another mode, or the two recordings are swapped"
        )
    if fall <= 2 * np.hypot(u_bare, u_loaded):
        raise ValueError(
            f"the natural frequency fell by {fall:.3g} Hz, no more than its uncertainty: add more mass"
        )
    ratio = (bare_frequency / loaded_frequency) ** 2
    mass = added_mass / (ratio - 1)
    per_bare = -2 * mass * ratio / (ratio - 1) / bare_frequency
    per_loaded = 2 * mass * ratio / (ratio - 1) / loaded_frequency
    u_mass = np.sqrt(
        (per_bare * u_bare) ** 2 + (per_loaded * u_loaded) ** 2 + (mass / added_mass * u_added_mass) ** 2
    )
    stiffness = mass * (2 * np.pi * bare_frequency) ** 2
    # k = (2 pi)^2 dm / (f2^-2 - f1^-2): the bare frequency enters mass and square with opposite signs
    per_bare = stiffness * (2 / bare_frequency - 2 * ratio / (ratio - 1) / bare_frequency)
    per_loaded = stiffness * 2 * ratio / (ratio - 1) / loaded_frequency
    u_stiffness = np.sqrt(
        (per_bare * u_bare) ** 2 + (per_loaded * u_loaded) ** 2 + (stiffness / added_mass * u_added_mass) ** 2
    )
    return MovingMass(float(mass), float(u_mass), float(stiffness), float(u_stiffness))
