"""The instant at which a falling mass touches the pad, from the samples of a ringing cell."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._least_squares import minimise_squares

__all__ = [
    "LoadingFit",
    "departure",
    "fit_loading",
    "loading_response",
    "low_pass",
    "low_pass_sections",
    "modes_and_filter",
    "time_to_slow",
]

Floats = NDArray[np.float64]


class LoadingFit(NamedTuple):
    """How a mass was caught by a pad, as fitted to the first part of the loading."""

    start: float
    """First touch. [s]"""
    u_start: float
    """Its standard uncertainty. [s]"""
    stiffness: float
    """k of F = k x**n, with x in metres. [N/m**n]"""
    exponent: float
    """n of F = k x**n. [1]"""
    u_exponent: float
    """Its standard uncertainty. [1]"""
    chi2: float
    """Mean squared residual over what was expected of it; far above 1: no single clean touch."""
    n_samples: int
    """Samples fitted."""


@njit(cache=True)
def low_pass(state, out, first, reading, low):  # type: ignore[no-untyped-def]
    """Rates of a chain of low-pass sections behind a reading; a damping below 0 marks one of first order."""
    for i in range(low.shape[0]):
        w, z = low[i, 0], low[i, 1]
        a, b = state[first + 2 * i], state[first + 2 * i + 1]
        if z < 0:
            out[first + 2 * i] = w * (reading - a)
            out[first + 2 * i + 1] = 0.0
        else:
            out[first + 2 * i] = w * b
            out[first + 2 * i + 1] = w * (reading - a - 2 * z * b)
        reading = a


@njit(cache=True)
def _rates(  # type: ignore[no-untyped-def]
    state, out, mass, gravity, stiffness, exponent, omega, zeta, share, low
):
    x = state[0]
    force = stiffness * x**exponent if x > 0 else 0.0
    out[0] = state[1]
    out[1] = gravity - force / mass
    for i in range(omega.size):
        a = state[2 + 2 * i]
        b = state[3 + 2 * i]
        out[2 + 2 * i] = omega[i] * b
        out[3 + 2 * i] = omega[i] * (force - a - 2 * zeta[i] * b)
    if low.shape[0]:
        reading = force
        if omega.size:
            reading = 0.0
            for i in range(omega.size):
                reading += share[i] * state[2 + 2 * i]
        low_pass(state, out, 2 + 2 * omega.size, reading, low)


@njit(cache=True)
def _respond(  # type: ignore[no-untyped-def]
    times, speed, mass, gravity, stiffness, exponent, omega, zeta, share, low, step
):
    """Cell reading at times after first touch (classical Runge-Kutta, fourth order)."""
    n = 2 + 2 * omega.size + 2 * low.shape[0]
    state = np.zeros(n)
    state[1] = speed
    k1, k2, k3, k4, trial = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    reading = np.zeros(times.size)
    now = 0.0
    for i in range(times.size):
        if times[i] <= 0:
            continue
        n_steps = max(1, int(np.ceil((times[i] - now) / step)))
        h = (times[i] - now) / n_steps
        for _ in range(n_steps):
            _rates(state, k1, mass, gravity, stiffness, exponent, omega, zeta, share, low)
            for j in range(n):
                trial[j] = state[j] + 0.5 * h * k1[j]
            _rates(trial, k2, mass, gravity, stiffness, exponent, omega, zeta, share, low)
            for j in range(n):
                trial[j] = state[j] + 0.5 * h * k2[j]
            _rates(trial, k3, mass, gravity, stiffness, exponent, omega, zeta, share, low)
            for j in range(n):
                trial[j] = state[j] + h * k3[j]
            _rates(trial, k4, mass, gravity, stiffness, exponent, omega, zeta, share, low)
            for j in range(n):
                state[j] += h * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j]) / 6
        now = times[i]
        if low.shape[0]:
            reading[i] = state[n - 2]
        elif omega.size:
            for j in range(omega.size):
                reading[i] += share[j] * state[2 + 2 * j]
        elif state[0] > 0:
            reading[i] = stiffness * state[0] ** exponent
    return reading


def loading_response(
    times: ArrayLike,
    *,
    speed: float,
    mass: float,
    gravity: float,
    stiffness: float,
    exponent: float,
    frequency: ArrayLike,
    damping: ArrayLike,
    share: ArrayLike,
    low: ArrayLike | None = None,
) -> Floats:
    r"""
    What the cell reads while a mass runs into a pad of law F = k x**n.

    Parameters
    ----------
    times : array_like, shape (n,)
        Rising instants, counted from first touch; before it the reading is 0. [s]
    speed : float
        Downward speed at first touch. [m/s]
    mass : float
        Falling mass. [kg]
    gravity : float
        Local acceleration of free fall. [m/s²]
    stiffness, exponent : float
        k and n of the pad. [N/m**n], [1]
    frequency, damping, share : array_like, shape (n_modes,)
        Modes of the rig, and the share of a constant force that each of them shows; the shares add
        up to 1. Empty: the cell follows the force at once. [Hz], [1], [1]
    low : array_like, shape (n_sections, 2), optional
        Low-pass filter behind the cell, see :func:`low_pass_sections`.

    Returns
    -------
    reading : ndarray, shape (n,)
        Reading of the cell. [N]

    Notes
    -----
    :math:`m\ddot x = m g - k x^n`, then each mode's
    :math:`\ddot y + 2\zeta\omega\dot y+\omega^2 y=\omega^2F`.

    Examples
    --------
    A linear pad reaches its peak m g + sqrt((m g)**2 + m k v**2); here from the formula of a dropped
    weight, 2263.92 N:

    >>> import numpy as np
    >>> t = np.linspace(0, 0.03, 3001)
    >>> y = loading_response(t, speed=4.428691, mass=5.0, gravity=9.80665, stiffness=5e4, exponent=1.0,
    ...                      frequency=[], damping=[], share=[])
    >>> round(float(y.max()), 1)
    2263.9
    """
    rig = modes_and_filter(frequency, damping, share, low)
    fastest = max([0.0, *rig[0], *rig[3][:, 0]])
    step = min(1e-4, 0.15 / fastest) if fastest else 5e-5
    reading: Floats = _respond(
        np.asarray(times, dtype=float),
        float(speed),
        float(mass),
        float(gravity),
        float(stiffness),
        float(exponent),
        *rig,
        step,
    )
    return reading


def low_pass_sections(cutoff: float, order: int) -> Floats:
    r"""
    Butterworth low-pass as a chain of sections of second order, and one of first if the order is odd.

    Parameters
    ----------
    cutoff : float
        -3 dB frequency. [Hz]
    order : int
        Number of poles.

    Returns
    -------
    sections : ndarray, shape (n_sections, 2)
        Angular frequency [rad/s] and damping ratio [1] of each; damping -1 marks first order.

    Notes
    -----
    All sections have the cutoff as their natural frequency, and :math:`\zeta_k=\sin((2k-1)\pi/2n)`
    (Butterworth 1930, Experimental Wireless 7:536).

    Examples
    --------
    >>> low_pass_sections(100.0, 4)[:, 1].round(4).tolist()
    [0.3827, 0.9239]
    """
    angles = (2 * np.arange(1, order // 2 + 1) - 1) * np.pi / (2 * order)
    damping = np.concatenate([np.sin(angles), [-1.0] * (order % 2)])
    return np.stack([np.full(damping.size, 2 * np.pi * cutoff), damping], axis=1)


def modes_and_filter(
    frequency: ArrayLike, damping: ArrayLike, share: ArrayLike, low: ArrayLike | None
) -> tuple[Floats, Floats, Floats, Floats]:
    """
    A rig's modes and low-pass filter as the integrators of a loading take them.

    Parameters
    ----------
    frequency, damping, share : array_like, shape (n_modes,)
        The rig's modes. [Hz], [1], [1]
    low : array_like, shape (n_sections, 2), optional
        From :func:`low_pass_sections`.

    Returns
    -------
    omega, zeta, share : ndarray, shape (n_modes,)
        Angular frequency, damping ratio and share of each mode. [rad/s], [1], [1]
    low : ndarray, shape (n_sections, 2)
        Empty without a filter.

    Examples
    --------
    >>> omega, zeta, share, low = modes_and_filter(200.0, 0.02, 1.0, None)
    >>> omega.round(1).tolist(), low.shape
    ([1256.6], (0, 2))
    """
    return (
        2 * np.pi * np.atleast_1d(np.asarray(frequency, dtype=float)),
        np.atleast_1d(np.asarray(damping, dtype=float)),
        np.atleast_1d(np.asarray(share, dtype=float)),
        np.zeros((0, 2)) if low is None else np.asarray(low, dtype=float).reshape(-1, 2),
    )


def fit_loading(
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
    exponent: float = 1.6,
    u_exponent: float = 0.6,
    low: ArrayLike | None = None,
    misfit: float = 0.01,
    law: tuple[float, float] | None = None,
) -> LoadingFit:
    r"""
    Find the first touch by running the loading forward through the cell.

    Parameters
    ----------
    reading : array_like, shape (n,)
        Samples of the cell without zero and without ringing from before, from some milliseconds
        before the touch to a point where the mass has lost about a third of its speed. [N]
    times : array_like, shape (n,)
        Their instants. [s]
    u_reading : array_like, shape (n,)
        Standard uncertainty of each. [N]
    guess : float
        First guess of the start, within about 3 ms. [s]
    speed, mass, gravity : float
        Downward speed at touch, falling mass, acceleration of free fall. [m/s], [kg], [m/s²]
    frequency, damping, share : array_like, shape (n_modes,)
        The rig's modes, see :func:`loading_response`.
    exponent, u_exponent : float
        What is known of the pad's exponent beforehand. [1]
    low : array_like, shape (n_sections, 2), optional
        Low-pass filter behind the cell, see :func:`low_pass_sections`.
    misfit : float
        How well a law k x**n can follow a pad, as a share of the reading; gives large samples less
        weight than their noise alone would. [1]
    law : (float, float), optional
        k and n to begin from; a coarse net of stiffnesses is tried if not given. [N/m**n], [1]

    Returns
    -------
    LoadingFit
        Start, law, uncertainties and quality.

    Raises
    ------
    ValueError
        If fewer than four samples are given, or mass or speed are not above 0.

    Notes
    -----
    Damped least squares on start, n, and the depth at which the pad would stop the mass. Nothing is
    filtered, so ringing, coarse sampling and the cell's delay do not shift the start. A plate of which
    the modes know nothing makes the force appear later than the touch, and the start late by the
    same; damping that grows with speed leaves the start alone, since speed hardly changes during the
    first third.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(-10, 12) / 1000
    >>> rig = dict(frequency=[200.0], damping=[0.02], share=[1.0])
    >>> drop = dict(speed=3.0, mass=5.0, gravity=9.81)
    >>> y = loading_response(t - 0.00037, stiffness=8e5, exponent=1.5, **drop, **rig)
    >>> fit = fit_loading(y, t, u_reading=np.full(22, 3.0), guess=0.001, **drop, **rig)
    >>> abs(fit.start - 0.00037) < 2e-5, fit.u_start < 2e-4
    (True, True)
    """
    y = np.asarray(reading, dtype=float)
    t = np.asarray(times, dtype=float)
    if y.size < 4:
        raise ValueError(f"a loading needs at least 4 samples to be fitted, got {y.size}")
    if not (mass > 0 and speed > 0):
        raise ValueError(f"mass and speed must be above 0, got {mass} kg and {speed} m/s")
    weight = 1 / np.hypot(np.asarray(u_reading, dtype=float), misfit * np.abs(y))
    rig = modes_and_filter(frequency, damping, share, low)
    slowest = 0.15 / max([1500.0, *rig[0], *rig[3][:, 0]])

    def residual(p: Floats) -> Floats:
        depth = np.exp(p[1])
        step = min(1e-4, slowest, 0.1 * depth / speed)
        stiffness = _stiffness(depth, p[2], mass, speed)
        model = _respond(t - p[0], speed, mass, gravity, stiffness, p[2], *rig, step)
        out = np.empty(y.size + 1)
        out[:-1] = (model - y) * weight
        out[-1] = (p[2] - exponent) / u_exponent
        return out

    if law is None:
        begin = _first_guess(residual, guess, exponent)
    else:
        depth = (_stiffness(1.0, law[1], mass, speed) / law[0]) ** (1 / (law[1] + 1))
        begin = np.array([guess, np.log(depth), law[1]])
    found = minimise_squares(
        residual,
        begin,
        steps=np.array([1e-6, 1e-4, 1e-4]),
        lower=np.array([guess - 0.012, np.log(2e-4), 0.7]),
        upper=np.array([guess + 0.012, np.log(0.5), 8.0]),
    )
    best, r, covariance = found.parameters, found.residual, found.covariance
    freedom = max(y.size - 3, 1)
    chi2 = float(r[:-1] @ r[:-1]) / freedom
    inflate = np.sqrt(max(chi2, 1.0))
    return LoadingFit(
        float(best[0]),
        float(inflate * np.sqrt(covariance[0, 0])),
        float(_stiffness(np.exp(best[1]), best[2], mass, speed)),
        float(best[2]),
        float(inflate * np.sqrt(covariance[2, 2])),
        chi2,
        int(y.size),
    )


def _stiffness(depth: float, exponent: float, mass: float, speed: float) -> float:
    """Stiffness of a pad that stops the mass at a depth: (n+1) m v**2 / 2 = k x**(n+1)."""
    return float((exponent + 1) * mass * speed**2 / 2 / depth ** (exponent + 1))


def _first_guess(residual: Callable[[Floats], Floats], guess: float, exponent: float) -> Floats:
    """Best of a coarse net of starts and of depths at which the pad would stop the mass."""
    net = (
        np.array([guess + shift, np.log(depth), exponent])
        for depth in np.geomspace(5e-4, 0.1, 10)
        for shift in (-2e-3, -1e-3, 0.0, 1e-3, 2e-3)
    )
    return min(net, key=lambda p: float(np.sum(residual(p) ** 2)))


def departure(innovation: ArrayLike, u_innovation: ArrayLike, *, threshold: float = 5.0) -> int | None:
    """
    First sample at which a free response is left for good.

    Parameters
    ----------
    innovation : array_like, shape (n,)
        Samples minus what the free response foretells. [N]
    u_innovation : array_like, shape (n,)
        Their standard uncertainty while nothing acts. [N]
    threshold : float
        How many standard uncertainties count as leaving.

    Returns
    -------
    int or None
        Index of the first of the samples that stay beyond 2 standard uncertainties on the same side
        up to the first one beyond the threshold; None if there is none.

    Examples
    --------
    >>> departure([0.1, -0.4, 0.2, 2.5, 9.0, 40.0], [1.0] * 6)
    3
    >>> departure([0.1, -0.4, 0.2], [1.0] * 3) is None
    True
    """
    z = np.asarray(innovation, dtype=float) / np.asarray(u_innovation, dtype=float)
    beyond = np.flatnonzero(np.abs(z) > threshold)
    if beyond.size == 0:
        return None
    i = int(beyond[0])
    side = np.sign(z[i])
    while i > 0 and side * z[i - 1] > 2.0:
        i -= 1
    return i


def time_to_slow(
    stiffness: float, exponent: float, *, fraction: float, speed: float, mass: float, gravity: float
) -> float:
    """
    Time after first touch at which a pad of law F = k x**n has taken a fraction of the speed.

    Parameters
    ----------
    stiffness, exponent : float
        k and n of the pad. [N/m**n], [1]
    fraction : float
        Share of the speed lost, between 0 and 1. [1]
    speed, mass, gravity : float
        Downward speed at touch, falling mass, acceleration of free fall. [m/s], [kg], [m/s²]

    Returns
    -------
    time : float
        [s]

    Examples
    --------
    A linear pad takes all speed in a quarter period, pi/2 sqrt(m/k), without gravity:

    >>> t = time_to_slow(5e4, 1.0, fraction=0.999999, speed=4.4, mass=5.0, gravity=0.0)
    >>> round(t, 4)
    0.0157
    """
    none = np.zeros(0)
    depth = ((exponent + 1) * mass * speed**2 / 2 / stiffness) ** (1 / (exponent + 1))
    # enough for any pad: it is stopped after (n + 1) / 2 times depth / speed at most
    times = np.linspace(0, (exponent + 2) * depth / speed, 400)
    force = _respond(
        times, speed, mass, gravity, stiffness, exponent, none, none, none, np.zeros((0, 2)), times[1]
    )
    lost = np.concatenate([[0.0], np.cumsum((force[1:] + force[:-1]) / 2) * times[1] / mass])
    slowed = lost - gravity * times > fraction * speed
    return float(times[int(np.argmax(slowed))] if slowed.any() else times[-1])
