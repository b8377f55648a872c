"""Energy a limb puts into a pad, its kinetic energy, and its power."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.effective_mass import LimbTrace

__all__ = ["energy_to", "kinetic_energy", "mean_power", "peak_power", "power", "running_energy"]

Floats = NDArray[np.float64]


def power(trace: LimbTrace) -> Floats:
    """
    Power of the limb on the pad, force times speed.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed from the start of contact, shape (n,).

    Returns
    -------
    power : ndarray, shape (n,)
        Positive while the limb goes in, negative while it is thrown back. [W]

    Examples
    --------
    >>> import numpy as np
    >>> float(power(LimbTrace(np.r_[0.0, 1.0], np.r_[0.0, 100.0], np.r_[3.0, 2.0], np.zeros(2)))[1])
    200.0
    """
    return trace.force * trace.speed


def running_energy(trace: LimbTrace) -> Floats:
    """
    Energy put in since the start of contact.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed from the start of contact, shape (n,).

    Returns
    -------
    energy : ndarray, shape (n,)
        Integral of the power. [J]

    Notes
    -----
    Exact for force and speed that are straight lines between points (Simpson's rule on their product).
    Force on the cell times speed of the hand leaves out what a plate between them keeps while it moves.

    Examples
    --------
    A force that rises to 600 N in 10 ms against a hand that slows from 6 to 0 m/s does 6 J:

    >>> import numpy as np
    >>> trace = LimbTrace(np.r_[0.0, 0.01], np.r_[0.0, 600.0], np.r_[6.0, 0.0], np.zeros(2))
    >>> float(running_energy(trace)[-1])
    6.0
    """
    f, v, dt = trace.force, trace.speed, np.diff(trace.time)
    middle = 0.25 * (f[1:] + f[:-1]) * (v[1:] + v[:-1])
    ends = f[1:] * v[1:] + f[:-1] * v[:-1]
    return np.concatenate([[0.0], np.cumsum((ends + 4 * middle) * dt / 6)])


def energy_to(trace: LimbTrace, stop: float) -> float:
    """
    Energy put into the pad from the start of contact to the stop of the limb.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed from the start of contact.
    stop : float
        Time to the stop. [s]

    Returns
    -------
    energy : float
        Integral of force times speed. [J]

    Raises
    ------
    ValueError
        If the stop lies outside the trace.

    Examples
    --------
    >>> import numpy as np
    >>> trace = LimbTrace(np.r_[0.0, 0.01], np.r_[0.0, 600.0], np.r_[6.0, 0.0], np.zeros(2))
    >>> energy_to(trace, 0.01)
    6.0
    """
    if not 0 < stop <= trace.time[-1]:
        raise ValueError(f"the stop must lie inside the trace of {trace.time[-1]:.4f} s, got {stop:.4f} s")
    return float(np.interp(stop, trace.time, running_energy(trace)))


def kinetic_energy(mass: float, speed: float) -> float:
    """
    Kinetic energy of a mass.

    Parameters
    ----------
    mass : float
        Effective mass. [kg]
    speed : float
        Speed just before contact. [m/s]

    Returns
    -------
    energy : float
        Half of the mass times the square of the speed. [J]

    Notes
    -----
    A pushed limb puts more into the pad than it carries, and a limb of two masses carries energy that its
    effective mass does not hold: simulated, it lies within some 20 % of the energy into the pad.

    Examples
    --------
    >>> kinetic_energy(3.0, 8.0)
    96.0
    """
    return 0.5 * mass * speed**2


def mean_power(energy: float, stop: float) -> float:
    """
    Mean power over the way to the stop.

    Parameters
    ----------
    energy : float
        Energy into the pad to the stop. [J]
    stop : float
        Time to the stop, above zero. [s]

    Returns
    -------
    power : float
        Energy over time. [W]

    Raises
    ------
    ValueError
        If the time is not above zero.

    Examples
    --------
    >>> mean_power(96.0, 0.012)
    8000.0
    """
    if not stop > 0:
        raise ValueError(f"time to the stop must be above 0 s, got {stop} s")
    return energy / stop


def peak_power(trace: LimbTrace) -> float:
    """
    Largest power during contact.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed from the start of contact.

    Returns
    -------
    power : float
        Largest product of force and speed, at the points of the grid. [W]

    Notes
    -----
    The product is flat at its top: a grid of twenty points over the contact loses less than 1 %.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 1, 101)
    >>> round(peak_power(LimbTrace(t, 400 * t, 10 * (1 - t), t)), 6)
    1000.0
    """
    return float(power(trace).max())
