"""Alignment of force and speed on the strike itself: momentum says how they belong together."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.effective_mass import speed_between

__all__ = ["ContactAlignment", "align_on_contact"]

Floats = NDArray[np.float64]

U_SHAPE = 0.015
"""
Standard uncertainty of a shift found on one strike, as a share of the time to the stop, from what a limb
is beyond one mass under a steady push: simulated, under 0.01 for one mass whatever its push, 0.01 to 0.03
for two masses (``bench/validate_limb.py``). [1]
"""


class ContactAlignment(NamedTuple):
    """The shift to add to the times of the speed, from the clocks and the strike together."""

    shift: float
    """[s]"""
    u: float
    """Its standard uncertainty. [s]"""
    misfit: float
    """Root mean square of what one mass leaves of the impulse, as a share of the impulse to the stop. [1]"""
    disagreement: float
    """Shift over its uncertainty before both were joined: above 3 the clocks are wrong, or the model. [1]"""


def align_on_contact(
    force_time: ArrayLike,
    impulse: ArrayLike,
    speed_time: ArrayLike,
    speed: ArrayLike,
    *,
    acceleration: float,
    u_alignment: float,
) -> ContactAlignment:
    r"""
    Find by how much the speed of one strike must be shifted to belong to its force.

    Parameters
    ----------
    force_time, impulse : array_like, shape (n,)
        Impulse over time from the start of contact. [s], [N·s]
    speed_time, speed : array_like, shape (k,)
        Speed towards the pad, aligned as well as the clocks allow. [s], [m/s]
    acceleration : float
        Acceleration just before contact. [m/s²]
    u_alignment : float
        Standard uncertainty of the clocks' alignment. [s]

    Returns
    -------
    ContactAlignment
        Weighted mean of what the clocks say (no shift) and what the strike says.

    Raises
    ------
    ValueError
        If the uncertainty is not above zero, or the limb does not stop within the traces.

    Notes
    -----
    For one mass under a steady push :math:`J(t) = m\,(v(0) - v(t - \delta) + a_0 t)` with the same m all
    the way to the stop; m follows by least squares for every shift :math:`\delta`, and the shift that
    leaves least is taken (derived here). Clocks are good to some 0.2 ms, which is 3 % of the impulse to
    the stop on a firm pad. A push that grows during contact, or a second mass, pulls the shift and then
    hides a part of itself; ``U_SHAPE`` stands for that.

    Examples
    --------
    Speed that comes 0.3 ms late:

    >>> t = np.linspace(-0.01, 0.02, 601)
    >>> speed = np.where(t < 0, 8.0, 8 * np.cos(np.pi * t / 0.02))
    >>> impulse = 3.0 * (8.0 - speed)
    >>> found = align_on_contact(t, impulse, t + 0.0003, speed, acceleration=0.0, u_alignment=0.001)
    >>> round(1e3 * found.shift, 2), round(found.u * 1e3, 2)
    (-0.29, 0.15)
    """
    tf, j = np.asarray(force_time, dtype=float), np.asarray(impulse, dtype=float)
    tv, v = np.asarray(speed_time, dtype=float), np.asarray(speed, dtype=float)
    if not (math.isfinite(u_alignment) and u_alignment > 0):
        raise ValueError(f"the uncertainty of the alignment must be above 0 s, got {u_alignment}")
    past = np.flatnonzero((tv > 0) & (v <= 0))
    if past.size == 0 or tv[0] > -0.001 or tf[-1] <= 0:
        raise ValueError("the limb must be seen from 1 ms before contact to its stop")
    stop = min(float(tv[past[0]]), float(tf[-1]))
    time = np.linspace(0.0, 0.95 * stop, 60)
    here = np.interp(time, tf, j)
    fine = np.linspace(max(float(tv[0]), -0.02), min(float(tv[-1]), 1.5 * stop + 0.005), 2000)
    v = speed_between(tv, v, fine)
    tv, dv = fine, np.gradient(v, fine)

    def residual(shift: float) -> tuple[Floats, float]:
        then = np.interp(time - shift, tv, v)
        began = float(np.interp(-0.0005 - max(abs(shift), 0.0), tv, v))
        lost = began + acceleration * (0.0005 + abs(shift)) - then + acceleration * time
        mass = float(here @ lost / (lost @ lost))
        return here - mass * lost, mass

    reach = min(max(10 * u_alignment, 0.002), 0.4 * stop)
    shifts = np.linspace(-reach, reach, 81)
    squares = np.array([float(r @ r) for r, _ in map(residual, shifts)])
    i = int(np.clip(np.argmin(squares), 1, shifts.size - 2))
    bend = squares[i - 1] - 2 * squares[i] + squares[i + 1]
    step = float(shifts[1] - shifts[0])
    move = 0.5 * (squares[i - 1] - squares[i + 1]) / bend if bend > 0 else 0.0
    own = float(shifts[i] + np.clip(move, -1.0, 1.0) * step)
    left, mass = residual(own)
    slope = mass * np.interp(time - own, tv, dv)
    u_fit = float(np.sqrt(left @ left / time.size) / np.sqrt(np.mean(slope**2)))
    u_own = math.hypot(U_SHAPE * stop, u_fit)
    weight = u_alignment**2 / (u_alignment**2 + u_own**2)
    total = float(np.interp(stop, tf, j))
    return ContactAlignment(
        shift=weight * own,
        u=math.sqrt(weight) * u_own,
        misfit=float(np.sqrt(left @ left / time.size) / total),
        disagreement=own / math.hypot(u_alignment, u_own),
    )
