"""First touch on a plate that lies on the pad: the cell feels it only after the plate has moved."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._least_squares import minimise_squares
from quintain.numerics.contact_start import low_pass, modes_and_filter

__all__ = ["PlateFit", "PlateLaw", "fit_plate_loading"]

Floats = NDArray[np.float64]


class PlateLaw(NamedTuple):
    """What is supposed, or was found, of plate and pad; logarithms where a factor is meant."""

    log_pad_stiffness: float = float(np.log(2e5))
    """ln of k in pad force k x**n. [ln N/m**n]"""
    exponent: float = 1.2
    """n. [1]"""
    log_plate_mass: float = float(np.log(0.7))
    """[ln kg]"""
    log_contact_stiffness: float = float(np.log(2e6))
    """ln of k in the force k x**1.5 between mass and plate. [ln N/m**1.5]"""
    pad_damping: float = 30.0
    """[N s/m]"""


class PlateFit(NamedTuple):
    """Touch of a plate, as fitted to the first part of the loading."""

    start: float
    """First touch of the plate. [s]"""
    u_start: float
    """Its standard uncertainty. [s]"""
    law: PlateLaw
    """What was found; well known only in combination."""
    chi2: float
    """Mean squared residual over what was expected."""
    n_samples: int
    """Samples fitted."""


UNKNOWN = PlateLaw()
U_UNKNOWN = np.array([3.0, 0.3, 1.0, 1.5, 30.0])
"""How far an unknown plate and pad may be from :class:`PlateLaw`'s defaults (common practice, no
source: plates of 0.3 to 3 kg, contacts from bare to gloved)."""
U_SEEN = np.array([0.3, 0.15, 0.2, 0.4, 10.0])
"""How far later touches of one drop may be from the first: pads are not quite the same at any speed."""


@njit(cache=True)
def _rates(  # type: ignore[no-untyped-def]
    state, out, mass, gravity, stiffness, exponent, plate_mass, contact, pad_damping, omega, zeta, share, low
):
    gap = state[0] - state[2]
    on_plate = contact * gap**1.5 if gap > 0 else 0.0
    depth = abs(state[2])
    on_cell = pad_damping * state[3]
    if depth > 0:
        on_cell += np.sign(state[2]) * stiffness * depth**exponent
    out[0] = state[1]
    out[1] = gravity - on_plate / mass
    out[2] = state[3]
    out[3] = (on_plate - on_cell) / plate_mass
    for i in range(omega.size):
        out[4 + 2 * i] = omega[i] * state[5 + 2 * i]
        out[5 + 2 * i] = omega[i] * (on_cell - state[4 + 2 * i] - 2 * zeta[i] * state[5 + 2 * i])
    if low.shape[0]:
        reading = on_cell
        if omega.size:
            reading = 0.0
            for i in range(omega.size):
                reading += share[i] * state[4 + 2 * i]
        low_pass(state, out, 4 + 2 * omega.size, reading, low)
    return on_cell


@njit(cache=True)
def _respond(  # type: ignore[no-untyped-def]
    times,
    speed,
    mass,
    gravity,
    stiffness,
    exponent,
    plate_mass,
    contact,
    pad_damping,
    omega,
    zeta,
    share,
    low,
):
    """Cell reading at times after the touch (classical Runge-Kutta, fourth order)."""
    n = 4 + 2 * omega.size + 2 * low.shape[0]
    # the plate on its contact is the fastest part: (k n x**(n-1) / m)**0.5 at some 3 mm
    step = min(5e-5, 0.2 / np.sqrt(contact * 0.08 / plate_mass))
    for i in range(omega.size):
        step = min(step, 0.15 / omega[i])
    for i in range(low.shape[0]):
        step = min(step, 0.15 / low[i, 0])
    state = np.zeros(n)
    state[1] = speed
    k1, k2, k3, k4, trial = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    law = (mass, gravity, stiffness, exponent, plate_mass, contact, pad_damping, omega, zeta, share, low)
    reading = np.zeros(times.size)
    now = 0.0
    for i in range(times.size):
        if times[i] <= 0:
            continue
        n_steps = max(1, int(np.ceil((times[i] - now) / step)))
        h = (times[i] - now) / n_steps
        for _ in range(n_steps):
            _rates(state, k1, *law)
            for j in range(n):
                trial[j] = state[j] + 0.5 * h * k1[j]
            _rates(trial, k2, *law)
            for j in range(n):
                trial[j] = state[j] + 0.5 * h * k2[j]
            _rates(trial, k3, *law)
            for j in range(n):
                trial[j] = state[j] + h * k3[j]
            _rates(trial, k4, *law)
            for j in range(n):
                state[j] += h * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j]) / 6
        now = times[i]
        if low.shape[0]:
            reading[i] = state[n - 2]
        elif omega.size:
            for j in range(omega.size):
                reading[i] += share[j] * state[4 + 2 * j]
        else:
            reading[i] = _rates(state, k1, *law)
    return reading


def fit_plate_loading(
    reading: ArrayLike,
    times: ArrayLike,
    *,
    u_reading: ArrayLike,
    guess: float,
    speed: float,
    mass: float,
    gravity: float,
    frequency: ArrayLike,
    damping: ArrayLike,
    share: ArrayLike,
    law: PlateLaw = UNKNOWN,
    u_law: ArrayLike = U_UNKNOWN,
    low: ArrayLike | None = None,
    misfit: float = 0.01,
) -> PlateFit:
    r"""
    Find the first touch where a plate on the pad delays what the cell feels.

    Parameters
    ----------
    reading, times, u_reading : array_like, shape (n,)
        Samples without zero and ringing from before, their instants and standard uncertainties. [N],
        [s], [N]
    guess : float
        First guess of the touch; up to 3 ms late if nothing is known of the plate. [s]
    speed, mass, gravity : float
        Downward speed at touch, falling mass, acceleration of free fall. [m/s], [kg], [m/s²]
    frequency, damping, share : array_like, shape (n_modes,)
        The rig's ringing modes. [Hz], [1], [1]
    law, u_law : PlateLaw, array_like of shape (5,)
        What is known of plate and pad beforehand, and how well.
    low : array_like, shape (n_sections, 2), optional
        Low-pass filter behind the cell, see
        :func:`~quintain.numerics.contact_start.low_pass_sections`.
    misfit : float
        How well the law can follow a real pad, as a share of the reading. [1]

    Returns
    -------
    PlateFit
        Touch and law.

    Raises
    ------
    ValueError
        If fewer than eight samples are given.

    Notes
    -----
    Mass, spring :math:`kx^{1.5}` between mass and plate, plate, pad :math:`kx^n+c\dot x`, cell; six
    parameters of which the data fix two or three combinations, the rest is held by what is known. The
    spread that remains is in ``u_start``. Without a plate it gives too early a start: use it only
    where :func:`~quintain.numerics.contact_start.fit_loading` cannot follow the samples.
    """
    y = np.asarray(reading, dtype=float)
    t = np.asarray(times, dtype=float)
    if y.size < 8:
        raise ValueError(f"a loading through a plate needs at least 8 samples to be fitted, got {y.size}")
    weight = 1 / np.hypot(np.asarray(u_reading, dtype=float), misfit * np.abs(y))
    rig = modes_and_filter(frequency, damping, share, low)
    known = np.array(law)
    u_known = np.asarray(u_law, dtype=float)

    def residual(p: Floats) -> Floats:
        model = _respond(
            t - p[0], speed, mass, gravity, np.exp(p[1]), p[2], np.exp(p[3]), np.exp(p[4]), p[5], *rig
        )
        return np.concatenate([(model - y) * weight, (p[1:] - known) / u_known])

    lower = np.array([guess - 0.012, np.log(1e3), 0.6, np.log(0.02), np.log(1e4), 0.0])
    upper = np.array([guess + 0.012, np.log(1e10), 5.0, np.log(20.0), np.log(1e9), 1e3])
    if law is UNKNOWN:
        begins = [(guess + d, known[0] + s) for d in (-0.5e-3, -1.5e-3) for s in (-1.5, 1.0)]
    else:
        begins = [(guess, known[0])]
    tries = [
        minimise_squares(
            residual,
            np.concatenate([begin, known[1:]]),
            steps=np.array([1e-6, 1e-4, 1e-4, 1e-4, 1e-4, 1e-2]),
            lower=lower,
            upper=upper,
            most=40,
        )
        for begin in begins
    ]
    best = min(tries, key=lambda found: float(found.residual @ found.residual))
    r = best.residual[: y.size]
    chi2 = float(r @ r) / max(y.size - 4, 1)
    return PlateFit(
        float(best.parameters[0]),
        float(np.sqrt(max(chi2, 1.0) * best.covariance[0, 0])),
        PlateLaw(*(float(v) for v in best.parameters[1:])),
        chi2,
        int(y.size),
    )
