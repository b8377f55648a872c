r"""
Sums of damped sinusoids: a start from matrix pencil or matched filter, a finish by variable projection.

The trace is described by :math:`y(t) = c_0 + c_1 t + c_2 e^{-\rho t} + \sum_i e^{-\sigma_i t}
(a_i \cos\omega_i t + b_i \sin\omega_i t)`; drift :math:`c_1` and creep :math:`c_2, \rho` are optional.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "DampedFit",
    "MatchedStart",
    "Terms",
    "fit_damped",
    "information_about_shape",
    "matched_start",
    "pencil_poles",
]

Array = NDArray[np.float64]

MOST_STEPS = 40  # Marquardt steps; six to ten are usual, the rest is for crowded modes
PENCIL_SAMPLES = 600  # rows and columns of the pencil stay small enough for a millisecond
PENCIL_WIDTH = 60
SMALL_STEP = 1e-6  # a step is small once it moves chi-square by this share of one standard deviation squared


@dataclass(frozen=True, slots=True)
class Terms:
    """What a fit consists of besides its offset: modes, a straight drift, one decaying creep."""

    n_modes: int
    drift: bool = False
    creep: bool = False

    @property
    def n_shape(self) -> int:
        """Number of parameters that enter non-linearly."""
        return 2 * self.n_modes + self.creep

    @property
    def n_linear(self) -> int:
        """Number of amplitudes, the offset among them."""
        return 2 * self.n_modes + 1 + self.drift + self.creep


@dataclass(frozen=True, slots=True)
class DampedFit:
    """
    A finished fit.

    ``shape`` holds decay rate [1/s] and angular frequency [rad/s] mode by mode, then the creep rate [1/s];
    ``linear`` the cosine and sine amplitudes mode by mode, then offset, drift (over the whole stretch,
    centred), creep; ``information`` is the Fisher information about ``shape`` for unit noise with all
    amplitudes unknown.
    """

    terms: Terms
    shape: Array
    linear: Array
    residual: Array
    information: Array

    @property
    def sum_of_squares(self) -> float:
        """Sum of squared residuals, in the unit of the samples squared."""
        return float(self.residual @ self.residual)


def _wave(exponent: complex, time: Array) -> NDArray[np.complex128]:
    """``exp(exponent * time)`` on even times from 0, from two short rows: ten times faster."""
    block = 64
    step = float(time[1])
    fine = np.exp(exponent * step * np.arange(block))
    coarse = np.exp(exponent * step * block * np.arange(-(-time.size // block)))
    return np.asarray((coarse[:, None] * fine).ravel()[: time.size])


def _rows(shape: Array, terms: Terms, time: Array) -> Array:
    """Model terms with unit amplitude, one a row so that each lies in one piece of memory."""
    n = terms.n_modes
    rows = np.empty((terms.n_linear, time.size))
    for i in range(n):
        wave = _wave(complex(-shape[2 * i], shape[2 * i + 1]), time)
        rows[2 * i] = wave.real
        rows[2 * i + 1] = wave.imag
    rows[2 * n] = 1.0
    if terms.drift:
        rows[2 * n + 1] = time / time[-1] - 0.5
    if terms.creep:
        rows[-1] = np.exp(-shape[-1] * time)
    return rows


def _slopes(rows: Array, linear: Array, terms: Terms, time: Array) -> Array:
    """Derivative of the model by each shape parameter, amplitudes held; one a row."""
    slopes = np.empty((terms.n_shape, time.size))
    for i in range(terms.n_modes):
        cosine, sine = rows[2 * i], rows[2 * i + 1]
        a, b = linear[2 * i], linear[2 * i + 1]
        slopes[2 * i] = -time * (a * cosine + b * sine)
        slopes[2 * i + 1] = time * (b * cosine - a * sine)
    if terms.creep:
        slopes[-1] = -time * linear[-1] * rows[-1]
    return slopes


def _free_of(rows: Array, slopes: Array) -> Array:
    """Slopes without what the amplitudes could take up."""
    return np.asarray(slopes - np.linalg.solve(rows @ rows.T, rows @ slopes.T).T @ rows)


def information_about_shape(shape: Array, linear: Array, terms: Terms, time: Array) -> Array:
    r"""
    Fisher information about decay rates and frequencies when all amplitudes are unknown too.

    Parameters
    ----------
    shape, linear : ndarray
        Parameters as in :class:`DampedFit`.
    terms : Terms
        What the model consists of.
    time : ndarray, shape (n,)
        Sample times from 0. [s]

    Returns
    -------
    information : ndarray, shape (n_shape, n_shape)
        For noise of unit standard deviation; its inverse is the least covariance of an unbiased estimator.

    Notes
    -----
    The Schur complement of the amplitudes' block: slopes projected off the space of the model's terms. It
    is also the Gauss-Newton matrix of variable projection as Kaufman (1975, doi:10.1007/BF01932995) put it.

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(600) / 1000
    >>> info = information_about_shape(np.array([37.7, 1256.1]), np.array([100.0, 0.0, 0.0]), Terms(1), time)
    >>> [round(float(u), 3) for u in np.sqrt(np.diag(np.linalg.inv(info)))]  # [1/s], [rad/s]
    [0.282, 0.293]
    """
    rows = _rows(shape, terms, time)
    free = _free_of(rows, _slopes(rows, linear, terms, time))
    return np.asarray(free @ free.T)


def _project(samples: Array, shape: Array, terms: Terms, time: Array) -> tuple[Array, Array, Array]:
    """Model rows, best amplitudes and residual for given shape; an infinite residual if terms coincide."""
    rows = _rows(shape, terms, time)
    gram = rows @ rows.T
    size = np.sqrt(np.diag(gram))
    scaled = gram / np.outer(size, size)
    if np.linalg.eigvalsh(scaled)[0] < 1e-12:
        return rows, np.zeros(terms.n_linear), np.full_like(samples, np.inf)
    linear = np.linalg.solve(scaled, (rows @ samples) / size) / size
    return rows, linear, samples - linear @ rows


def _allowed(shape: Array, terms: Terms, rate: float, duration: float) -> bool:
    decay, omega = shape[0 : 2 * terms.n_modes : 2], shape[1 : 2 * terms.n_modes : 2]
    if terms.n_modes and (
        omega.min() * duration < np.pi  # less than half a turn in the whole stretch is a trend, not a mode
        or omega.max() > np.pi * rate
        or (decay < -3.0 / duration).any()
        or (decay > np.maximum(2 * omega, 0)).any()
    ):
        return False
    if terms.n_modes > 1:
        order = np.argsort(omega)
        wider = np.maximum(decay[order][1:], decay[order][:-1])
        if (np.diff(omega[order]) < wider).any():
            return False  # closer than half a half-power width: one mode that stiffens or softens, not two
    return not terms.creep or bool(0.5 / duration < shape[-1] < 0.5 * rate)


def fit_damped(samples: Array, rate: float, terms: Terms, start: Array) -> DampedFit | None:
    """
    Least squares over all parameters, amplitudes projected out.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Trace, any unit.
    rate : float
        Sampling rate. [Hz]
    terms : Terms
        What to fit.
    start : ndarray, shape (n_shape,)
        First guess of decay rates [1/s] and angular frequencies [rad/s], then the creep rate [1/s].

    Returns
    -------
    DampedFit or None
        ``None`` if the start is outside what the stretch can show, or modes ran into one another.

    Notes
    -----
    Variable projection (Golub & Pereyra 1973, doi:10.1137/0710036) with Kaufman's Jacobian and Marquardt's
    damping.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(400) / 1000
    >>> y = 5 * np.exp(-20 * t) * np.cos(900 * t + 0.3) + 1
    >>> fit = fit_damped(y, 1000, Terms(1), np.array([15.0, 910.0]))
    >>> [round(float(p), 4) for p in fit.shape]
    [20.0, 900.0]
    """
    time = np.arange(samples.size) / rate
    shape = np.array(start, dtype=float)
    duration = float(time[-1])
    if not _allowed(shape, terms, rate, duration):
        return None
    rows, linear, residual = _project(samples, shape, terms, time)
    cost = float(residual @ residual)
    if not np.isfinite(cost):
        return None
    damping = 1e-3
    freedom = max(1, samples.size - terms.n_linear - terms.n_shape)
    floor = float(samples @ samples) * 1e-28
    information = np.zeros((0, 0))
    for _ in range(MOST_STEPS):
        if terms.n_shape == 0:
            break
        slopes = _free_of(rows, _slopes(rows, linear, terms, time))
        information = slopes @ slopes.T
        gradient = slopes @ residual
        scale = np.diag(information).copy()
        if (scale <= 0).any():
            return None
        better = False
        while damping < 1e8:
            step = np.linalg.solve(information + damping * np.diag(scale), gradient)
            trial = shape + step
            if _allowed(trial, terms, rate, duration):
                new = _project(samples, trial, terms, time)
                new_cost = float(new[2] @ new[2])
                if new_cost < cost:
                    better = True
                    break
            if step @ information @ step < SMALL_STEP * cost / freedom:
                break  # the step is already far below the uncertainty: this is the minimum
            damping *= 8.0
        if not better:
            break
        small = step @ information @ step < SMALL_STEP * cost / freedom
        shape, cost = trial, new_cost
        rows, linear, residual = new
        damping = max(damping / 10.0, 1e-9)
        if (small and damping < 1e-2) or cost <= floor:
            information = information_about_shape(shape, linear, terms, time)
            break
    return DampedFit(terms, shape, linear, residual, information)


class MatchedStart(NamedTuple):
    """Decay rate [1/s], angular frequency [rad/s], and the sum of squares such a mode would explain."""

    decay: float
    omega: float
    explained: float


def matched_start(residual: Array, rate: float, *, known: Array | None = None) -> MatchedStart | None:
    r"""
    Decay rate and angular frequency of the damped sinusoid that would take most out of a residual.

    Parameters
    ----------
    residual : ndarray, shape (n,)
        What is left of a trace.
    rate : float
        Sampling rate. [Hz]
    known : ndarray, shape (k, 2), optional
        Decay rates [1/s] and angular frequencies [rad/s] already in the model; what is too close to one of
        them to be another mode is passed over.

    Returns
    -------
    MatchedStart or None
        ``None`` if nothing is left to choose from.

    Notes
    -----
    For each of a row of decay rates the spectrum of :math:`r(t) e^{-\sigma t}`, divided by the energy of
    that envelope, is half the energy a damped sinusoid explains (derived here; cosine and sine taken as
    orthogonal, which holds to first order above one turn in the stretch). Unlike a pencil it does not care
    how much faster than the mode the trace was sampled.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(1000) / 1000
    >>> decay, omega, _ = matched_start(np.exp(-12 * t) * np.sin(2 * np.pi * 80 * t), 1000)
    >>> round(omega / (2 * np.pi)), 5 < decay < 25
    (80, True)
    """
    n = residual.size
    duration = n / rate
    size = 1 << int(np.ceil(np.log2(2 * n)))
    omega = 2 * np.pi * np.arange(size // 2 + 1) * rate / size
    usable = (omega * duration > 2 * np.pi) & (omega < 0.99 * np.pi * rate)
    if known is not None:
        for width, there in known:
            usable &= np.abs(omega - there) > max(np.pi / duration, 1.2 * width)
    if not usable.any():
        return None
    time = np.arange(n) / rate
    best = (-1.0, 0.0, 0.0)
    fastest = 0.3 * np.pi * rate
    decay = 0.5 / duration
    while decay < fastest:
        envelope = np.exp(-decay * time)
        spectrum = np.fft.rfft(residual * envelope, size)
        gain = (spectrum.real**2 + spectrum.imag**2) / float(envelope @ envelope)
        # a decay faster than the mode turns is no ringing
        gain[~usable | (decay > 0.8 * omega)] = -1.0
        at = int(np.argmax(gain))
        if gain[at] > best[0]:
            best = (float(gain[at]), decay, float(omega[at]))
        decay *= 2.5
    return MatchedStart(best[1], best[2], 2 * best[0]) if best[0] > 0 else None


def pencil_poles(samples: Array, rate: float, most_modes: int) -> list[Array]:
    """
    Starts for one to ``most_modes`` modes by the matrix pencil.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Free decay; its first few hundred samples are used.
    rate : float
        Sampling rate. [Hz]
    most_modes : int
        Largest number of modes to give a start for.

    Returns
    -------
    list of ndarray, shape (k, 2)
        For each number of modes the decay rates [1/s] and angular frequencies [rad/s] found; ``k`` may be
        smaller than asked where poles came out real.

    Notes
    -----
    Hua & Sarkar (1990, doi:10.1109/29.56027), signal subspace from the correlation matrix of the pencil. The
    offset takes one real pole, which the order of the subspace leaves room for.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(300) / 1000
    >>> y = np.exp(-20 * t) * np.cos(900 * t) + 0.5 * np.exp(-30 * t) * np.cos(1500 * t)
    >>> poles = pencil_poles(y, 1000, 2)[1]
    >>> sorted(round(float(omega)) for decay, omega in poles)
    [900, 1500]
    """
    used = samples[:PENCIL_SAMPLES] - samples.mean()
    width = min(PENCIL_WIDTH, used.size // 3)
    rows = np.lib.stride_tricks.sliding_window_view(used, width + 1)
    _, vectors = np.linalg.eigh(rows.T @ rows)
    starts = []
    for n_modes in range(1, most_modes + 1):
        order = min(2 * n_modes + 1, width - 1)
        signal = vectors[:, -order:]
        shift = np.linalg.lstsq(signal[:-1], signal[1:], rcond=None)[0]
        poles = np.linalg.eigvals(shift)
        poles = poles[(poles.imag > 1e-9) & (np.abs(poles) > 1e-6)]
        logs = np.log(poles) * rate
        starts.append(np.column_stack([-logs.real, logs.imag])[:n_modes])
    return starts
