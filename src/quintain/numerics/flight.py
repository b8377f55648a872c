"""Free flight between two contacts: where it begins, what the rig does in it, and the cell's zero."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._least_squares import minimise_squares
from quintain.numerics.free_response import FreeFit, fit_free_response, free_basis

__all__ = ["Flight", "ZeroLine", "find_swing", "fit_flight", "fit_zero", "refine_ringing"]

Floats = NDArray[np.float64]


class Flight(NamedTuple):
    """Free response of the rig while the mass is in the air."""

    release: float
    """From here on nothing acts. [s]"""
    end: float
    """Until here, shortly before the next start. [s]"""
    fit: FreeFit
    """Zero and modes, at the first sample after the release."""
    frequency: Floats
    """The rig's modes, then the plate's swinging if there is one. [Hz]"""
    damping: Floats
    """Damping ratios of the same. [1]"""
    free: bool
    """Whether the free response explains the samples."""


class ZeroLine(NamedTuple):
    """Zero of the cell as a straight line in time."""

    reference: float
    """Instant of ``offset``. [s]"""
    offset: float
    """[N]"""
    slope: float
    """[N/s]"""
    u_offset: float
    """[N]"""
    u_slope: float
    """[N/s]"""
    straight: bool
    """Whether the stretches agree with one line."""


def fit_flight(
    samples: ArrayLike,
    times: ArrayLike,
    *,
    noise: float,
    frequency: Floats,
    damping: Floats,
    swing: tuple[float, float] | None = None,
) -> Flight | None:
    """
    Find from where on a flight is free, and fit what the rig does in it.

    Parameters
    ----------
    samples, times : array_like, shape (n,)
        From the end of a contact as far as it shows, to shortly before the next start. [N], [s]
    noise : float
        Standard deviation of one sample. [N]
    frequency, damping : ndarray, shape (n_modes,)
        The rig's modes. [Hz], [1]
    swing : (float, float), optional
        Frequency and damping ratio of a plate's swinging, if known from elsewhere. [Hz], [1]

    Returns
    -------
    Flight or None
        None if the stretch is too short to be fitted.

    Notes
    -----
    A pad lets go softly, so the release cannot be seen; it is searched for: the earliest of a row of
    instants from which the free response explains the rest of the flight (mean square residual within
    four standard deviations of 1). If none does, one more mode is fitted that stands for a plate
    swinging on its pad. If that does not do either, ``free`` is False and the fit is that of the end
    of the flight, good for foretelling the next samples only.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(300) / 1000
    >>> y = np.where(t < 0.02, 80 * (1 - t / 0.02) ** 2, 0) + np.random.default_rng(1).normal(0, 1, 300)
    >>> flight = fit_flight(y, t, noise=1.0, frequency=np.array([]), damping=np.array([]))
    >>> flight.free, 0.01 < flight.release < 0.05
    (True, True)
    """
    y = np.asarray(samples, dtype=float)
    t = np.asarray(times, dtype=float)
    least = 2 * frequency.size + 6
    if y.size < least:
        return None
    if swing is None:
        best = _earliest_free(y, t, noise, frequency, damping, least)
        if best is not None:
            return Flight(float(t[best[0]]), float(t[-1]), best[1], frequency, damping, True)
    found = find_swing(y, t, noise, frequency, damping, near=swing)
    if found is not None:
        both = np.append(frequency, found[0]), np.append(damping, found[1])
        period = int(1.3 / found[0] / (t[1] - t[0]))
        best = _earliest_free(y, t, noise, *both, max(least + 2, period))
        if best is not None:
            return Flight(float(t[best[0]]), float(t[-1]), best[1], *both, True)
        i = max(y.size - max(least + 2, int(1.5 * period)), 0)
        fit = fit_free_response(y[i:], t[i:], *both, noise=noise)
        return Flight(float(t[i]), float(t[-1]), fit, *both, False)
    i = y.size - least
    fit = fit_free_response(y[i:], t[i:], frequency, damping, noise=noise)
    return Flight(float(t[i]), float(t[-1]), fit, frequency, damping, False)


def _earliest_free(
    y: Floats, t: Floats, noise: float, frequency: Floats, damping: Floats, least: int
) -> tuple[int, FreeFit] | None:
    """Index and fit of the longest end of the flight that the model explains, or None."""
    found = None
    for i in np.unique(np.linspace(0, max(y.size - least, 0), 17).astype(int))[::-1]:
        if i > 0.85 * y.size:
            continue
        fit = fit_free_response(y[i:], t[i:], frequency, damping, noise=noise)
        # the beginning alone must not stand out either: a short push hides in a long flight
        n_head = max(int(0.02 * y.size), 8)
        basis = free_basis(t[i : i + n_head] - fit.reference, frequency, damping, fit.degree)
        head = y[i : i + n_head] - basis @ fit.coefficients
        head_chi2 = float(head @ head) / head.size / noise**2
        if fit.chi2 > 1 + 4 * np.sqrt(2 / fit.freedom) or head_chi2 > 1 + 4 * np.sqrt(2 / head.size):
            break
        found = (int(i), fit)
    return found


def find_swing(
    y: Floats,
    t: Floats,
    noise: float,
    frequency: Floats,
    damping: Floats,
    *,
    near: tuple[float, float] | None = None,
    lowest: float = 4.0,
    highest: float = 70.0,
) -> tuple[float, float] | None:
    """Frequency and damping ratio of one slow mode more, by variable projection on the flight's end."""
    i = int(0.4 * y.size)
    y, t = y[i:], t[i:]
    if y.size < 2 * frequency.size + 10:
        return None

    def cost(f: float, z: float) -> float:
        return fit_free_response(y, t, np.append(frequency, f), np.append(damping, z), noise=noise).chi2

    if near is None:
        lowest = max(lowest, 0.7 / float(t[-1] - t[0]))
        net = [(f, z) for f in np.geomspace(lowest, highest, 16) for z in (0.02, 0.06, 0.15, 0.3)]
    else:
        net = [near]
    best, f, z = min((cost(f, z), f, z) for f, z in net)
    step_f, step_z = 0.06, 0.4
    while step_f > 2e-4:
        trials = [
            (cost(f * a, min(z * b, 0.9)), f * a, min(z * b, 0.9))
            for a, b in ((1 + step_f, 1.0), (1 - step_f, 1.0), (1.0, 1 + step_z), (1.0, 1 / (1 + step_z)))
        ]
        if min(trials)[0] < best:
            best, f, z = min(trials)
        else:
            step_f, step_z = step_f / 2, step_z / 2
    return f, z


def fit_zero(times: ArrayLike, values: ArrayLike, u_values: ArrayLike, reference: float) -> ZeroLine:
    """
    Line of the zero through quiet stretches, each given by its mean.

    Parameters
    ----------
    times, values, u_values : array_like, shape (n,)
        Middle of each stretch, zero there and its standard uncertainty. [s], [N], [N]
    reference : float
        Instant at which the zero is wanted. [s]

    Returns
    -------
    ZeroLine
        With uncertainties that are widened if the stretches disagree with a line.

    Raises
    ------
    ValueError
        If there is no stretch.

    Examples
    --------
    >>> line = fit_zero([0.0, 1.0, 2.0], [1.0, 2.0, 3.0], [0.1, 0.1, 0.1], 1.5)
    >>> round(line.offset, 6), round(line.slope, 6), line.straight
    (2.5, 1.0, True)
    """
    t = np.asarray(times, dtype=float) - reference
    v = np.asarray(values, dtype=float)
    u = np.asarray(u_values, dtype=float)
    if t.size == 0:
        raise ValueError("no quiet stretch to take the zero from")
    if t.size == 1:
        return ZeroLine(reference, float(v[0]), 0.0, float(u[0]), 0.0, True)
    basis = np.stack([np.ones(t.size), t], axis=1) / u[:, None]
    covariance = np.linalg.pinv(basis.T @ basis)
    offset, slope = covariance @ (basis.T @ (v / u))
    freedom = t.size - 2
    residual = (v - offset - slope * t) / u
    chi2 = float(residual @ residual) / freedom if freedom else 0.0
    widen = np.sqrt(max(chi2, 1.0))
    straight = chi2 < 1 + 4 * np.sqrt(2 / freedom) if freedom else True
    return ZeroLine(
        reference,
        float(offset),
        float(slope),
        float(widen * np.sqrt(covariance[0, 0])),
        float(widen * np.sqrt(covariance[1, 1])),
        bool(straight),
    )


def refine_ringing(
    samples: ArrayLike,
    times: ArrayLike,
    *,
    noise: float,
    frequency: Floats,
    damping: Floats,
    u_frequency: float = 0.02,
    u_damping: float = 0.3,
) -> tuple[Floats, Floats]:
    """
    Find the rig's modes again in the ringing that a contact leaves behind.

    Parameters
    ----------
    samples, times : array_like, shape (n,)
        From a flight. [N], [s]
    noise : float
        Standard deviation of one sample. [N]
    frequency, damping : ndarray, shape (n_modes,)
        What is known of the modes. [Hz], [1]
    u_frequency, u_damping : float
        How well, relative. [1]

    Returns
    -------
    frequency, damping : ndarray, shape (n_modes,)
        Refined; as they were where the flight holds no ringing or tells of something else.

    Notes
    -----
    Variable projection: zero and amplitudes are solved for at every trial of the modes. Ringing that
    stands twenty times above the noise gives a natural frequency to some 0.05 %, where a tap of another
    day may be off by a per cent.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(300) / 1000
    >>> w = 2 * np.pi * 203.0
    >>> y = 200 * np.exp(-0.02 * w * t) * np.sin(w * t)
    >>> f, z = refine_ringing(y, t, noise=1.0, frequency=np.array([200.0]), damping=np.array([0.025]))
    >>> round(float(f[0]), 1), round(float(z[0]), 3)
    (203.0, 0.02)
    """
    y = np.asarray(samples, dtype=float)
    t = np.asarray(times, dtype=float)
    n = frequency.size
    if n == 0 or y.size < 6 * n + 12:
        return frequency, damping
    before = fit_free_response(y, t, frequency, damping, noise=noise)
    amplitude = float(np.linalg.norm(before.coefficients[1:]))
    if amplitude < 8 * noise:
        return frequency, damping

    def residual(p: Floats) -> Floats:
        basis = free_basis(t - t[0], frequency * np.exp(p[:n]), damping * np.exp(p[n:]), 0)
        left = y - basis @ np.linalg.lstsq(basis, y, rcond=None)[0]
        return np.concatenate([left / noise, p[:n] / u_frequency, p[n:] / u_damping])

    found = minimise_squares(
        residual,
        np.zeros(2 * n),
        steps=np.full(2 * n, 1e-6),
        lower=np.concatenate([np.full(n, -0.08), np.full(n, -1.5)]),
        upper=np.concatenate([np.full(n, 0.08), np.full(n, 1.5)]),
    )
    new_frequency = frequency * np.exp(found.parameters[:n])
    new_damping = np.minimum(damping * np.exp(found.parameters[n:]), 0.95)
    after = fit_free_response(y, t, new_frequency, new_damping, noise=noise)
    at_bound = np.abs(found.parameters[:n]).max() > 0.079
    if at_bound or after.chi2 > before.chi2 or after.chi2 > 4:
        return frequency, damping
    return new_frequency, new_damping
