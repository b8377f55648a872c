r"""
Effective mass of a striking limb, by several definitions, and the window each of them looks through.

A limb is no mass: muscles push before and during contact, and the body behind comes in late. What a
definition returns is the mass that would have given the same impulse within its window, so the window
belongs to the number.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = [
    "DEFINITIONS",
    "Growth",
    "LimbTrace",
    "MassDefinition",
    "effective_mass",
    "find_stop",
    "join_speed",
    "mass_bounds",
    "mass_by_definition",
    "mass_growth",
    "speed_between",
    "touch_before_start",
]

Floats = NDArray[np.float64]

LOW = 0.04
"""Part of the peak at which the rise is first read: above what a corrected force still wavers by."""


class LimbTrace(NamedTuple):
    """Force and speed of one strike on one grid of times that begins with contact, shape (n,)."""

    time: Floats
    """From the start of contact. [s]"""
    force: Floats
    """Force against the limb. [N]"""
    speed: Floats
    """Speed of the striking point towards the pad. [m/s]"""
    impulse: Floats
    """Integral of the force since the start of contact. [N·s]"""


class MassDefinition(NamedTuple):
    """A definition in words, with how far it lies from the mass of a one-mass limb that pushes."""

    formula: str
    window: str
    u_method: float
    """Relative standard uncertainty that the definition itself adds. [1]"""


DEFINITIONS: dict[str, MassDefinition] = {
    "to_stop_with_push": MassDefinition(
        "J(t_z) / (v1 + a0 t_z)", "start of contact to the stop of the limb", 0.010
    ),
    "to_stop": MassDefinition("J(t_z) / v1", "start of contact to the stop of the limb", 0.10),
    "to_peak": MassDefinition("J(t_peak) / v1", "start of contact to the peak force", 0.19),
    "half_impulse": MassDefinition("J / (2 v1)", "whole contact", 0.16),
    "with_rebound": MassDefinition("J / (v1 + v2)", "whole contact", 0.20),
}
"""
Definitions by name. ``u_method`` is what makes ± 1.96 of it hold the mass of 95 % of simulated one-mass
strikes (pushes of 0 to 800 N, four invented pads; ``bench/validate_limb.py``); the first is held against
steady pushes. For a limb of two masses it returns the front one and 5 to 40 % more, those over the whole
contact several times that.
"""


def join_speed(
    force_time: ArrayLike, force: ArrayLike, speed_time: ArrayLike, speed: ArrayLike, *, end: float
) -> LimbTrace:
    """
    Bring force and speed onto one grid.

    Parameters
    ----------
    force_time, force : array_like, shape (n,)
        Corrected force over time from the start of contact. [s], [N]
    speed_time, speed : array_like, shape (k,)
        Speed towards the pad on its own grid, same zero of time. [s], [m/s]
    end : float
        End of contact; later force is not the limb's. [s]

    Returns
    -------
    LimbTrace
        From the start of contact to its end or the end of either trace, whichever comes first.

    Raises
    ------
    ValueError
        If times do not increase, values are not finite, or the traces do not share the start of contact.

    Notes
    -----
    The force is a straight line between its points, whose grid is kept, the speed a cubic spline between
    its own: straight lines through 1000 samples a second make the stop 0.05 ms late on a firm pad.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(-2, 11) * 1e-3
    >>> trace = join_speed(t, np.where(t > 0, 1000.0, 0.0), [-0.01, 0.02], [9.0, -6.0], end=0.008)
    >>> float(trace.time[0]), round(float(trace.time[-1]), 6), round(float(trace.speed[0]), 6)
    (0.0, 0.008, 4.0)
    """
    tf, f = _trace("force", force_time, force)
    tv, v = _trace("speed", speed_time, speed)
    last = min(end, float(tf[-1]), float(tv[-1]))
    if tf[0] > 0 or tv[0] > 0 or last <= 0:
        raise ValueError(
            f"force ({tf[0]:.4f} to {tf[-1]:.4f} s) and speed ({tv[0]:.4f} to {tv[-1]:.4f} s) must both "
            f"hold the start of contact and some of the contact, which ends at {end:.4f} s"
        )
    time = np.concatenate([[0.0], tf[(tf > 0) & (tf < last)], [last]])
    here = np.interp(time, tf, f)
    steps = 0.5 * (here[1:] + here[:-1]) * np.diff(time)
    return LimbTrace(time, here, speed_between(tv, v, time), np.concatenate([[0.0], np.cumsum(steps)]))


def _trace(name: str, time: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    t, y = np.asarray(time, dtype=float), np.asarray(values, dtype=float)
    if t.ndim != 1 or t.size < 2 or t.shape != y.shape:
        raise ValueError(f"{name} and its time must be rows of equal length, got {y.shape} and {t.shape}")
    if not (np.isfinite(t).all() and np.isfinite(y).all()):
        raise ValueError(f"{name} and its time must be finite")
    if not (np.diff(t) > 0).all():
        raise ValueError(f"the time of the {name} must increase")
    return t, y


def speed_between(time: Floats, speed: Floats, instants: Floats) -> Floats:
    """
    Speed between samples, by a cubic spline.

    Parameters
    ----------
    time, speed : ndarray, shape (n,)
        Samples, times increasing. [s], [m/s]
    instants : ndarray, shape (k,)
        Where to read; held at the ends beyond the samples. [s]

    Returns
    -------
    speed : ndarray, shape (k,)
        [m/s]

    Examples
    --------
    >>> t = np.arange(6.0)
    >>> speed_between(t, t**3, np.array([2.5])).round(3)
    array([15.625])
    """
    if time.size < 4:
        return np.interp(instants, time, speed)
    from scipy.interpolate import CubicSpline

    # ten samples further on a spline has forgotten everything
    first = max(int(np.searchsorted(time, instants.min())) - 10, 0)
    last = max(int(np.searchsorted(time, instants.max())) + 10, first + 4)
    time, speed = time[first:last], speed[first:last]
    if time.size < 4:
        return np.interp(instants, time, speed)
    return np.asarray(CubicSpline(time, speed)(np.clip(instants, time[0], time[-1])))


def touch_before_start(force_time: ArrayLike, force: ArrayLike) -> Estimate:
    r"""
    How long before the start of contact the pad was touched.

    Parameters
    ----------
    force_time, force : array_like, shape (n,)
        Corrected force over time from the start of contact, found where the force rises over a threshold.
        [s], [N]

    Returns
    -------
    Estimate
        Time to take off the start; never below zero. [s]

    Raises
    ------
    ValueError
        If the traces do not fit each other or do not hold the start.

    Notes
    -----
    A pad met at constant speed answers :math:`F = c\,t^n` (derived here); two instants of the rise, 4 %
    and 16 % of the peak, give its beginning. n is taken as 1.5 with a standard
    uncertainty of 0.3: from a spring (1) to a stiffening foam (2).

    Examples
    --------
    >>> t = np.linspace(0, 0.005, 501)
    >>> lead = touch_before_start(t - 0.0003, 3e6 * t**1.5)
    >>> round(1e3 * lead.value, 2), round(1e3 * lead.u, 2)
    (0.3, 0.12)
    """
    t, f = _trace("force", force_time, force)
    if not t[0] <= 0 <= t[-1]:
        raise ValueError("the force must hold the start of contact")
    begins = float(np.interp(0.0, t, f))
    if not f.max() > begins > 0:
        return Estimate(0.0, 0.0)
    low = max(begins, LOW * float(f.max()))
    first, second = (_rise(t, f, level) for level in (low, min(4 * low, 0.5 * float(f.max()))))
    if second <= first:
        return Estimate(0.0, 0.0)
    grown = (min(4 * low, 0.5 * float(f.max())) / low) ** (1 / 1.5)
    lead = max((second - first) / (grown - 1) - first, 0.0)
    return Estimate(lead, 0.2 * (second - first) / (grown - 1))


def _rise(time: Floats, force: Floats, level: float) -> float:
    """Time of the first passage upward through a level, from the start of contact on."""
    i = int(np.argmax((force >= level) & (time >= 0)))
    if i == 0 or force[i - 1] >= level:
        return float(time[i])
    return float(time[i - 1] + (level - force[i - 1]) / (force[i] - force[i - 1]) * (time[i] - time[i - 1]))


def find_stop(trace: LimbTrace) -> float | None:
    """
    Instant at which the limb stops going in.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed from the start of contact.

    Returns
    -------
    stop : float or None
        First passage of the speed through zero; None if it never gets there. [s]

    Raises
    ------
    ValueError
        If the limb does not move towards the pad at the start of contact.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 0.02, 41)
    >>> trace = LimbTrace(t, 0 * t, 8.0 - 800.0 * t, 0 * t)
    >>> round(find_stop(trace), 6)
    0.01
    """
    v = trace.speed
    if not v[0] > 0:
        raise ValueError(f"the limb must move towards the pad as contact begins, got {v[0]:.3g} m/s")
    past = np.flatnonzero(v <= 0)
    if past.size == 0:
        return None
    i = int(past[0])
    part = v[i - 1] / (v[i - 1] - v[i])
    return float(trace.time[i - 1] + part * (trace.time[i] - trace.time[i - 1]))


def effective_mass(
    impulse_to_stop: float, approach_speed: float, *, acceleration: float = 0.0, stop: float = 0.0
) -> float:
    r"""
    Effective mass to the stop of the limb, less what the push gave: :math:`J(t_z)/(v_1 + a_0 t_z)`.

    Parameters
    ----------
    impulse_to_stop : float
        Impulse from the start of contact to the stop. [N·s]
    approach_speed : float
        Speed just before contact. [m/s]
    acceleration : float
        Acceleration just before contact, positive while still speeding up. [m/s²]
    stop : float
        Time from the start of contact to the stop. [s]

    Returns
    -------
    mass : float
        Effective mass. [kg]

    Raises
    ------
    ValueError
        If the impulse, or the speed the limb would have had at the stop, is not above zero.

    Notes
    -----
    With a push P on a mass m, momentum gives :math:`J(t_z) = m v_1 + \int P\,dt`, and a push that goes on
    as it was before contact is :math:`P = m a_0` (derived here). A push that grows during contact makes the
    mass too large, one that ends early too small; both by the change of its impulse over the speed.

    Examples
    --------
    A mass of 3 kg at 8 m/s, pushed on with 300 N, needs 27 N·s to be stopped in 10 ms:

    >>> effective_mass(27.0, 8.0, acceleration=100.0, stop=0.010)
    3.0
    """
    if not impulse_to_stop > 0:
        raise ValueError(f"impulse to the stop must be above 0 N·s, got {impulse_to_stop}")
    speed = approach_speed + acceleration * stop
    if not (approach_speed > 0 and speed > 0):
        raise ValueError(
            f"approach speed, and the speed reached by the stop, must be above 0 m/s, got "
            f"{approach_speed} m/s and {speed} m/s"
        )
    return impulse_to_stop / speed


def mass_by_definition(
    definition: str,
    impulse: float,
    approach_speed: float,
    *,
    u_impulse: float,
    u_approach_speed: float,
    rebound_speed: float = 0.0,
    u_rebound_speed: float = 0.0,
) -> Estimate:
    """
    Effective mass by one of the definitions that do without the push, with its honest uncertainty.

    Parameters
    ----------
    definition : str
        'to_stop', 'to_peak', 'half_impulse' or 'with_rebound'; see :data:`DEFINITIONS`.
    impulse, u_impulse : float
        Impulse over the definition's window and its standard uncertainty. [N·s]
    approach_speed, u_approach_speed : float
        Speed just before contact and its standard uncertainty. [m/s]
    rebound_speed, u_rebound_speed : float
        Speed away from the pad as contact ends; for 'with_rebound' alone. [m/s]

    Returns
    -------
    Estimate
        Mass with the contributions ``impulse``, ``speed`` and ``definition``. [kg]

    Raises
    ------
    ValueError
        If the definition is not known, or an impulse or speed is not above zero.

    Examples
    --------
    >>> mass = mass_by_definition("half_impulse", 40.0, 8.0, u_impulse=0.2, u_approach_speed=0.08)
    >>> print(f"{mass.value:.2f} ± {mass.u:.2f} kg")
    2.50 ± 0.40 kg
    """
    names = [name for name in DEFINITIONS if name != "to_stop_with_push"]
    if definition not in names:
        raise ValueError(f"definition must be one of {', '.join(names)}, got {definition!r}")
    over = {"half_impulse": 2 * approach_speed, "with_rebound": approach_speed + rebound_speed}
    speed = over.get(definition, approach_speed)
    mass = effective_mass(impulse, speed)
    slope = 2.0 if definition == "half_impulse" else 1.0
    rebound = u_rebound_speed if definition == "with_rebound" else 0.0
    return combine(
        mass,
        impulse=u_impulse / speed,
        speed=-mass / speed * math.hypot(slope * u_approach_speed, rebound),
        definition=DEFINITIONS[definition].u_method * mass,
    )


def mass_bounds(
    impulse_to_peak: float,
    impulse: float,
    approach_speed: float,
    *,
    u_impulse_to_peak: float,
    u_impulse: float,
    u_approach_speed: float,
) -> tuple[Estimate, Estimate]:
    r"""
    Bounds of the effective mass where only force and approach speed are known.

    Parameters
    ----------
    impulse_to_peak, u_impulse_to_peak : float
        Impulse up to the peak force. [N·s]
    impulse, u_impulse : float
        Impulse of the whole contact. [N·s]
    approach_speed, u_approach_speed : float
        Speed just before contact. [m/s]

    Returns
    -------
    low, high : Estimate
        :math:`J(t_p)/v_1` and :math:`J/v_1`. [kg]

    Raises
    ------
    ValueError
        If an impulse or the speed is not above zero, or the bounds are the wrong way round.

    Notes
    -----
    The limb stops after the peak force of a lossy pad (Kelvin and Voigt already show it) and before the
    end of contact, so the impulse to the stop lies between both. The push is not known; a strong one can
    carry the low bound above the mass. A single number from force and speed alone would be good to some
    25 % (one standard deviation, simulated), so none is given.

    Examples
    --------
    >>> low, high = mass_bounds(
    ...     20.0, 36.0, 8.0, u_impulse_to_peak=0.1, u_impulse=0.1, u_approach_speed=0.08
    ... )
    >>> low.value, high.value
    (2.5, 4.5)
    """
    if not impulse_to_peak < impulse:
        raise ValueError(
            f"impulse to the peak must be below that of the whole contact, got {impulse_to_peak} "
            f"and {impulse} N·s"
        )

    def bound(j: float, u_j: float) -> Estimate:
        mass = effective_mass(j, approach_speed)
        return combine(mass, impulse=u_j / approach_speed, speed=-mass / approach_speed * u_approach_speed)

    return bound(impulse_to_peak, u_impulse_to_peak), bound(impulse, u_impulse)


class Growth(NamedTuple):
    """How the effective mass grows with its window."""

    to_stop: float
    """From the start of contact to the stop. [kg]"""
    whole: float
    """Over the whole contact. [kg]"""
    ratio: float
    """Whole over that to the stop, less 1. [1]"""
    u_ratio: float
    """Its standard uncertainty from alignment and acceleration. [1]"""


def mass_growth(
    trace: LimbTrace,
    stop: float,
    *,
    acceleration: float,
    u_alignment: float = 0.0,
    u_acceleration: float = 0.0,
) -> Growth:
    r"""
    Compare the mass to the stop of the limb with that over the whole contact.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed over the whole contact.
    stop : float
        Time to the stop. [s]
    acceleration, u_acceleration : float
        Acceleration just before contact and its standard uncertainty. [m/s²]
    u_alignment : float
        Standard uncertainty of the shift between both clocks. [s]

    Returns
    -------
    Growth
        A ratio clearly above zero means that a push, or a mass behind, came in during contact.

    Raises
    ------
    ValueError
        If the stop lies outside the trace, or the limb does not lose speed.

    Notes
    -----
    Over any stretch of contact :math:`\Delta J = m\,(-\Delta v + a_0\,\Delta t)` for one mass under an
    unchanged push (derived here), so that every window gives the same mass. Simulated limbs of two masses
    grow two- to fourfold, a push that begins with contact adds 10 to 100 %, one that ends early takes off. It
    cannot tell a push that grows from a second mass behind a joint: both act late.

    Examples
    --------
    One mass of 3 kg without push, stopped and thrown back along half a cosine:

    >>> import numpy as np
    >>> t = np.linspace(0, 0.02, 401)
    >>> speed = 8 * np.cos(np.pi * t / 0.02)
    >>> force = 3 * 8 * np.pi / 0.02 * np.sin(np.pi * t / 0.02)
    >>> growth = mass_growth(join_speed(t, force, t, speed, end=0.02), 0.010, acceleration=0.0)
    >>> round(growth.to_stop, 2), round(growth.whole, 2)
    (3.0, 3.0)
    """
    end = float(trace.time[-1])
    if not 0 < stop < end:
        raise ValueError(f"the stop must lie inside the contact of {end:.4f} s, got {stop:.4f} s")

    def masses(shift: float, push: float) -> tuple[float, float]:
        # a shift of the speed moves the stop with it
        j = np.interp([stop + shift, end], trace.time, trace.impulse)
        v = np.interp([stop, end - shift], trace.time, trace.speed)
        lost = trace.speed[0] - v + push * np.array([stop + shift, end])
        if not (lost > 0).all():
            raise ValueError("the limb does not lose speed on the way to its stop and through the contact")
        return float(j[0] / lost[0]), float(j[1] / lost[1])

    to_stop, whole = masses(0.0, acceleration)
    ratio = whole / to_stop
    parts = [0.0]
    for shift, push in ((u_alignment, 0.0), (0.0, u_acceleration)):
        up, down = masses(shift, acceleration + push), masses(-shift, acceleration - push)
        parts.append(0.5 * (up[1] / up[0] - down[1] / down[0]))
    return Growth(to_stop, whole, ratio - 1, math.hypot(*parts))
