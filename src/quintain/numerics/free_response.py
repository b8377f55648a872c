"""What a rig does when nothing touches it: a zero, and modes that ring down."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["FreeFit", "fit_free_response", "free_basis", "free_values", "ring_sums", "slow_force_weights"]

Floats = NDArray[np.float64]


class FreeFit(NamedTuple):
    """A zero and decaying modes fitted to samples that no outside force has shaped."""

    reference: float
    """Instant that the coefficients belong to. [s]"""
    degree: int
    """Degree of the zero's polynomial in time."""
    coefficients: Floats
    """Zero terms first [N, N/s, ...], then cosine and sine amplitude of each mode. [N]"""
    covariance: Floats
    """Covariance of the coefficients for the stated noise."""
    chi2: float
    """Mean square of the residuals over the variance of the noise; near 1 if the model holds."""
    freedom: int
    """Degrees of freedom left."""


def free_basis(times: ArrayLike, frequency: Floats, damping: Floats, degree: int) -> Floats:
    r"""
    Columns of a free response: powers of time, then each mode's decaying cosine and sine.

    Parameters
    ----------
    times : array_like, shape (n,)
        Instants, counted from where the coefficients shall hold. [s]
    frequency, damping : ndarray, shape (n_modes,)
        Undamped natural frequency and damping ratio of each mode. [Hz], [1]
    degree : int
        Degree of the polynomial that stands for the zero; -1 leaves it out.

    Returns
    -------
    basis : ndarray, shape (n, degree + 1 + 2 * n_modes)
        The columns.

    Notes
    -----
    A mode's columns are :math:`e^{-\zeta\omega t}\cos\omega_d t` and
    :math:`e^{-\zeta\omega t}\sin\omega_d t` with :math:`\omega_d=\omega\sqrt{1-\zeta^2}`. They are
    evaluated at the samples, so a mode beyond half the rate is folded just as the samples fold it.

    Examples
    --------
    >>> import numpy as np
    >>> free_basis([0.0, 0.005], np.array([100.0]), np.array([0.0]), 0).round(6)
    array([[ 1.,  1.,  0.],
           [ 1., -1.,  0.]])
    """
    t = np.asarray(times, dtype=float)[:, None]
    omega = 2 * np.pi * np.asarray(frequency, dtype=float)[None, :]
    zeta = np.asarray(damping, dtype=float)[None, :]
    decay = np.exp(-zeta * omega * t)
    phase = omega * np.sqrt(1 - zeta**2) * t
    modes = np.stack([decay * np.cos(phase), decay * np.sin(phase)], axis=2).reshape(t.shape[0], -1)
    return np.hstack([t ** np.arange(degree + 1), modes])


def fit_free_response(
    samples: ArrayLike,
    times: ArrayLike,
    frequency: Floats,
    damping: Floats,
    *,
    noise: float,
    degree: int = 0,
) -> FreeFit:
    """
    Fit zero and modes to a stretch in which no force acts.

    Parameters
    ----------
    samples : array_like, shape (n,)
        What the cell reads. [N]
    times : array_like, shape (n,)
        Their instants; coefficients hold at the first. [s]
    frequency, damping : ndarray, shape (n_modes,)
        Undamped natural frequency and damping ratio of each mode. [Hz], [1]
    noise : float
        Standard deviation of one sample. [N]
    degree : int
        Degree of the zero's polynomial.

    Returns
    -------
    FreeFit
        Coefficients, their covariance, and how well the model holds.

    Raises
    ------
    ValueError
        If there are not more samples than coefficients.

    Notes
    -----
    Ordinary least squares; white noise is assumed, slower noise makes the covariance too small.
    ``chi2`` well above 1 says that a force acted, or that a mode is missing or wrong.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(200) / 1000
    >>> y = 5 + 30 * np.exp(-0.02 * 2 * np.pi * 100 * t) * np.cos(2 * np.pi * 100 * np.sqrt(1 - 0.02**2) * t)
    >>> fit = fit_free_response(y, t, np.array([100.0]), np.array([0.02]), noise=1.0)
    >>> (fit.coefficients.round(6) + 0.0).tolist()
    [5.0, 30.0, 0.0]
    """
    y = np.asarray(samples, dtype=float)
    t = np.asarray(times, dtype=float)
    n_columns = degree + 1 + 2 * np.size(frequency)
    if y.size <= n_columns:
        raise ValueError(f"a free response of {n_columns} terms needs more samples than that, got {y.size}")
    basis = free_basis(t - t[0], frequency, damping, degree)
    scale = np.linalg.norm(basis, axis=0)
    scale[scale == 0] = 1.0
    u, s, vt = np.linalg.svd(basis / scale, full_matrices=False)
    keep = s > 1e-7 * s[0]
    inverse = (vt[keep].T / s[keep]) / scale[:, None]
    coefficients = inverse @ (u[:, keep].T @ y)
    residual = y - basis @ coefficients
    freedom = int(y.size - keep.sum())
    variance = noise**2
    return FreeFit(
        float(t[0]),
        degree,
        coefficients,
        variance * (inverse @ inverse.T),
        float(residual @ residual / freedom / variance) if variance > 0 else np.inf,
        freedom,
    )


def free_values(
    fit: FreeFit, times: ArrayLike, frequency: Floats, damping: Floats, *, zero: bool = True
) -> tuple[Floats, Floats]:
    """
    Free response at other instants, and its standard uncertainty.

    Parameters
    ----------
    fit : FreeFit
        What :func:`fit_free_response` returned.
    times : array_like, shape (n,)
        Instants. [s]
    frequency, damping : ndarray, shape (n_modes,)
        The modes that were fitted. [Hz], [1]
    zero : bool
        Whether the zero is included.

    Returns
    -------
    values, u_values : ndarray, shape (n,)
        The response and its standard uncertainty, from noise alone. [N]

    Examples
    --------
    >>> import numpy as np
    >>> none = np.array([])
    >>> fit = fit_free_response([2.0, 4.0, 3.0, 3.0], np.arange(4.0), none, none, noise=1.0)
    >>> [float(a[0]) for a in free_values(fit, [9.0], none, none)]
    [3.0, 0.5]
    """
    basis = free_basis(np.asarray(times, dtype=float) - fit.reference, frequency, damping, fit.degree)
    if not zero:
        basis[:, : fit.degree + 1] = 0.0
    variance = np.einsum("ij,jk,ik->i", basis, fit.covariance, basis)
    return basis @ fit.coefficients, np.sqrt(np.maximum(variance, 0.0))


def ring_sums(first: float, interval: float, frequency: Floats, damping: Floats) -> Floats:
    r"""
    Sum of each mode's columns over all samples from one on to the end of time, and first moment.

    Parameters
    ----------
    first : float
        Instant of the first sample of the sum, counted from the coefficients' reference. [s]
    interval : float
        Time between samples. [s]
    frequency, damping : ndarray, shape (n_modes,)
        Undamped natural frequency and damping ratio, above 0. [Hz], [1]

    Returns
    -------
    sums : ndarray, shape (2, 2 * n_modes)
        Row 0 is :math:`\Delta t\sum_i b(t_i)`, row 1 is :math:`\Delta t\sum_i (t_i-t_0)\,b(t_i)`
        for each column b of :func:`free_basis`. [s], [s²]

    Notes
    -----
    Geometric series in :math:`\lambda=e^{(-\zeta\omega+j\omega_d)\Delta t}`. The sum over samples is
    wanted, not the integral: continued to the end of the ringing it makes the sum over the whole
    pulse, which equals the integral but for what aliases onto zero frequency.

    Examples
    --------
    >>> import numpy as np
    >>> one = ring_sums(0.0, 0.001, np.array([100.0]), np.array([0.05]))
    >>> t = np.arange(5000) / 1000
    >>> b = free_basis(t, np.array([100.0]), np.array([0.05]), -1)
    >>> bool(np.allclose(one, [0.001 * b.sum(axis=0), 0.001 * (t @ b)]))
    True
    """
    omega = 2 * np.pi * np.asarray(frequency, dtype=float)
    zeta = np.asarray(damping, dtype=float)
    pole = omega * (-zeta + 1j * np.sqrt(1 - zeta**2))
    turn = np.exp(pole * interval)
    begin = np.exp(pole * first)
    zeroth = interval * begin / (1 - turn)
    moment = interval * interval * begin * turn / (1 - turn) ** 2
    both = np.stack([zeroth, moment])
    return np.stack([both.real, both.imag], axis=2).reshape(2, -1)


def slow_force_weights(rate: float, frequency: Floats, damping: Floats, *, span: float = 0.010) -> Floats:
    """
    Weights of a moving sum that passes slow force and takes the rig's ringing out exactly.

    Parameters
    ----------
    rate : float
        Sampling rate. [Hz]
    frequency, damping : ndarray, shape (n_modes,)
        Undamped natural frequency and damping ratio of each mode. [Hz], [1]
    span : float
        Length of the moving stretch; made longer where the modes ask for it. [s]

    Returns
    -------
    weights : ndarray, shape (n,)
        Symmetric in length (n is odd) about the sample they stand for; their sum is 1.

    Notes
    -----
    The value at the middle of a parabola fitted together with the modes' free response. It cannot
    follow a contact shorter than the span, but it tells contact from ringing however strong that is:
    good for finding contacts, not for measuring them.

    Examples
    --------
    >>> import numpy as np
    >>> w = slow_force_weights(1000.0, np.array([200.0]), np.array([0.01]))
    >>> t = (np.arange(w.size) - w.size // 2) / 1000
    >>> ringing = np.exp(-0.01 * 2 * np.pi * 200 * t) * np.cos(2 * np.pi * 200 * np.sqrt(1 - 1e-4) * t)
    >>> abs(float(w @ ringing)) < 1e-9, round(float(w.sum()), 9)
    (True, 1.0)
    """
    frequency = np.atleast_1d(np.asarray(frequency, dtype=float))
    n_columns = 3 + 2 * frequency.size
    period = 1 / frequency.min() if frequency.size else 0.0
    half = int(np.ceil(max(span * rate, 1.2 * period * rate, n_columns + 4) / 2))
    times = np.arange(-half, half + 1) / rate
    basis = free_basis(times, frequency, np.atleast_1d(np.asarray(damping, dtype=float)), 2)
    basis = basis * np.array([1.0, rate / half, (rate / half) ** 2] + [1.0] * (2 * frequency.size))
    return np.asarray(np.linalg.pinv(basis, rcond=1e-9)[0])
