"""Impulse and first moment of a force between two contact starts, from samples that ring."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.closure import ForceMoments
from quintain.numerics.free_response import FreeFit, free_basis, ring_sums

__all__ = ["force_moments", "ring_delay"]

Floats = NDArray[np.float64]


def ring_delay(frequency: ArrayLike, damping: ArrayLike, share: ArrayLike) -> float:
    r"""
    Delay by which the rig's modes shift the first moment of any force.

    Parameters
    ----------
    frequency, damping, share : array_like, shape (n_modes,)
        Undamped natural frequency, damping ratio and share of a constant force. [Hz], [1], [1]

    Returns
    -------
    delay : float
        Delay at zero frequency. [s]

    Notes
    -----
    :math:`\tau=\sum_i s_i\,2\zeta_i/\omega_i`, minus the slope of the response's phase at zero
    frequency; the impulse itself is not changed.

    Examples
    --------
    >>> round(ring_delay([200.0], [0.02], [1.0]) * 1e6, 2)
    31.83
    """
    omega = 2 * np.pi * np.asarray(frequency, dtype=float)
    weights = 2 * np.asarray(damping, dtype=float) * np.asarray(share, dtype=float)
    return float(np.sum(weights / omega)) if omega.size else 0.0


def force_moments(
    samples: ArrayLike,
    times: ArrayLike,
    start: float,
    stop: float,
    *,
    noise: float,
    frequency: Floats,
    damping: Floats,
    n_ring: int,
    delay: float = 0.0,
    release: float | None = None,
    after: FreeFit | None = None,
    before: FreeFit | None = None,
    before_modes: tuple[Floats, Floats] | None = None,
    u_zero: float = 0.0,
    u_drift: float = 0.0,
    u_start: float = 0.0,
    u_stop: float = 0.0,
    plate_mass: float = 1.0,
) -> ForceMoments:
    r"""
    Integrate the force between two starts and its first moment, exactly as the cell passed it on.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Cell samples with the zero taken off, from before the first start to the second. [N]
    times : array_like, shape (n,)
        Their evenly spaced instants. [s]
    start, stop : float
        The two contact starts. [s]
    noise : float
        Standard deviation of one sample. [N]
    frequency, damping : ndarray, shape (n_modes,)
        Modes of the free responses: first those of the rig's ringing, then any swinging of a plate on
        its pad. [Hz], [1]
    n_ring : int
        How many of them are the rig's ringing.
    delay : float
        Delay of the whole chain at zero frequency, see :func:`ring_delay`. [s]
    release : float, optional
        Instant from which nothing acts until ``stop``; from there on the fitted free response stands
        for the samples. Without it all samples up to ``stop`` are summed as they are.
    after : FreeFit, optional
        Free response in that flight, fitted with the modes given; needed with ``release``.
    before : FreeFit, optional
        Free response before ``start``: what still rings from an earlier contact is taken off.
    before_modes : (ndarray, ndarray), optional
        Frequencies and damping ratios that were fitted there; the rig's ringing comes first. [Hz], [1]
    u_zero, u_drift : float
        Standard uncertainty of the zero at ``start`` and of its slope. [N], [N/s]
    u_start, u_stop : float
        Standard uncertainty of the starts, carried along. [s]
    plate_mass : float
        Mass of a plate that swings, if known; only for the doubt about where the mass meets it. [kg]

    Returns
    -------
    ForceMoments
        Interval, impulse, first moment and what noise and zero do to them.

    Raises
    ------
    ValueError
        If the starts are not in order or lie outside the samples.

    Notes
    -----
    A ringing cell shows every force with the right area and the right first moment but for a fixed
    delay, provided that the sum runs until the ringing is over. It need not be waited for: from the
    release on it is a sum of known decaying cosines, whose sum to the end of time is a geometric
    series. A plate that swings on its foam is no part of the cell; its force is real and is counted
    up to ``stop`` only, and what momentum it carries at either start is taken from the swinging itself.
    What remains is that the mass meets the plate displaced. Derived here.

    Examples
    --------
    >>> import numpy as np
    >>> none = np.array([])
    >>> t = np.arange(-5, 400) / 1000
    >>> pulse = np.where((t > 0) & (t < 0.02), 2000 * np.sin(np.pi * t / 0.02), 0.0)
    >>> m = force_moments(pulse, t, 0.0, 0.39, noise=0.0, frequency=none, damping=none, n_ring=0)
    >>> round(m.impulse, 2), round(m.trail / m.impulse, 4)
    (25.41, 0.01)
    """
    y = np.asarray(samples, dtype=float)
    t = np.asarray(times, dtype=float)
    if not (t[0] <= start < stop <= t[-1] + 2 * (t[1] - t[0])):
        raise ValueError(f"starts {start:.6f} s and {stop:.6f} s must be in order and within the samples")
    dt = float((t[-1] - t[0]) / (t.size - 1))
    i_first = max(int(np.searchsorted(t, start - 2 * dt)), 0)
    i_stop = int(np.searchsorted(t, stop, side="right"))
    i_end = i_stop if release is None or after is None else int(np.searchsorted(t, release))
    i_end = min(max(i_end, i_first + 1), i_stop)
    tau = t[i_first:i_end] - start
    weights = dt * np.stack([np.ones(tau.size), tau])
    sums = weights @ y[i_first:i_end]
    covariance = noise**2 * (weights @ weights.T)

    u_rise = 0.0
    if after is not None and release is not None:
        rows = _after_rows(after, t, i_end, i_stop, start, dt, frequency, damping, n_ring)
        momentum, displaced = _plate_rows(after, stop, frequency, damping, n_ring)
        rows = rows + np.stack([momentum, (stop - start) * momentum - displaced])
        sums = sums + rows @ after.coefficients
        u_rise = abs(float(displaced @ after.coefficients)) / plate_mass
        covariance = covariance + rows @ after.covariance @ rows.T
    if before is not None:
        rows = np.zeros((2, before.coefficients.size))
        i_mode = before.degree + 1
        if n_ring:
            rows[:, i_mode : i_mode + 2 * n_ring] = _ring_rows(
                t[i_first] - before.reference,
                before.reference - start,
                dt,
                frequency[:n_ring],
                damping[:n_ring],
            )
        if before_modes is not None:
            momentum, displaced = _plate_rows(before, start, *before_modes, n_ring)
            rows = rows + np.stack([momentum, -displaced])
        sums = sums - rows @ before.coefficients
        covariance = covariance + rows @ before.covariance @ rows.T

    offset = np.array([dt * tau.size, dt * float(tau.sum())])
    slope = np.array([dt * float(tau.sum()), dt * float(tau @ tau)])
    # the chain's delay moves the whole pulse; the starts are instants of the force itself
    turn = np.array([[1.0, 0.0], [-delay, 1.0]])
    sums, offset, slope = turn @ sums, turn @ offset, turn @ slope
    covariance = turn @ covariance @ turn.T
    return ForceMoments(
        stop - start,
        float(sums[0]),
        float(sums[1]),
        covariance,
        -offset * u_zero,
        -slope * u_drift,
        u_start,
        u_stop,
        u_rise,
    )


def _ring_rows(first: float, shift: float, dt: float, frequency: Floats, damping: Floats) -> Floats:
    """Sums to the end of time of each ringing column: plain, and times the time since the start."""
    sums = ring_sums(first, dt, frequency, damping)
    return np.stack([sums[0], sums[1] + (first + shift) * sums[0]])


def _plate_rows(fit: FreeFit, at: float, frequency: Floats, damping: Floats, n_ring: int) -> Floats:
    """
    Momentum and first moment of mass that a swinging plate has at an instant, by coefficient.

    In free swinging the pad's force is all that moves the plate: m x'' = -F. For a mode Re(A exp(p t))
    of the force, momentum is -Re(A exp(p t)/p) and mass times displacement -Re(A exp(p t)/p**2); the
    plate's mass need not be known.
    """
    omega = 2 * np.pi * frequency[n_ring:]
    zeta = damping[n_ring:]
    pole = omega * (-zeta + 1j * np.sqrt(1 - zeta**2))
    wave = np.exp(pole * (at - fit.reference))
    rows = np.zeros((2, fit.coefficients.size))
    for i, values in enumerate((-wave / pole, -wave / pole**2)):
        # cosine and sine columns are real and imaginary part of exp(p t)
        rows[i, fit.degree + 1 + 2 * n_ring :] = np.stack([values.real, values.imag], axis=1).ravel()
    return rows


def _after_rows(
    after: FreeFit,
    t: Floats,
    i_end: int,
    i_stop: int,
    start: float,
    dt: float,
    frequency: Floats,
    damping: Floats,
    n_ring: int,
) -> Floats:
    """What each coefficient of the flight's free response adds to impulse and first moment."""
    rows = np.zeros((2, after.coefficients.size))
    i_mode = after.degree + 1
    if n_ring:
        rows[:, i_mode : i_mode + 2 * n_ring] = _ring_rows(
            t[i_end] - after.reference, after.reference - start, dt, frequency[:n_ring], damping[:n_ring]
        )
    if frequency.size > n_ring:
        inside = t[i_end:i_stop]
        basis = free_basis(inside - after.reference, frequency[n_ring:], damping[n_ring:], -1)
        rows[:, i_mode + 2 * n_ring :] = dt * np.stack([basis.sum(axis=0), (inside - start) @ basis])
    return rows
