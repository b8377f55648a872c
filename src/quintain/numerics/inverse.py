"""Plain inverse filter of a ringing rig: the cross-check of the smoother."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._samples import check_rate, finite_row

__all__ = ["inverse_noise_gain", "invert_second_order", "second_order_response"]


def second_order_response(
    frequency: ArrayLike, natural_frequency: float, damping_ratio: float
) -> NDArray[np.complex128]:
    r"""
    Response of a rig with one mode: indicated over true force.

    Parameters
    ----------
    frequency : array_like
        Frequencies. [Hz]
    natural_frequency : float
        Undamped natural frequency, above 0. [Hz]
    damping_ratio : float
        At least 0. [-]

    Returns
    -------
    response : ndarray of complex, shape of frequency
        1 at zero frequency. [-]

    Raises
    ------
    ValueError
        If the natural frequency is not above 0 or the damping ratio is negative.

    Notes
    -----
    :math:`H = 1/(1 - r^2 + 2 i \zeta r)` with :math:`r` = frequency over natural frequency.

    Examples
    --------
    A force that swings at a fifth of the natural frequency is indicated 4.2 % too high:

    >>> print(f"{abs(second_order_response(60.0, 300.0, 0.0)):.3f}")
    1.042
    """
    return 1 / _inverse_response(frequency, natural_frequency, damping_ratio)


def invert_second_order(
    samples: ArrayLike,
    rate: float,
    natural_frequency: float,
    damping_ratio: float,
    *,
    corner: float | None = None,
) -> NDArray[np.float64]:
    r"""
    Undo one mode of ringing by its inverse, with a low-pass that does not shift.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Indicated force less its zero, with quiet before the event. [N]
    rate : float
        Sampling rate. [Hz]
    natural_frequency : float
        Of the rig, above 0 and below half the rate. [Hz]
    damping_ratio : float
        Of the rig, at least 0. [-]
    corner : float, optional
        Where the low-pass is at one half (-6 dB); twice the natural frequency by default. [Hz]

    Returns
    -------
    force : ndarray, shape (n,)
        Force on the cell at the samples. [N]

    Raises
    ------
    ValueError
        If a sample is not finite, the natural frequency is not below half the rate, or a number is out of
        its range.

    Notes
    -----
    :math:`F = y + (2\zeta/\omega)\dot y + \ddot y/\omega^2`, with the derivatives taken in the frequency
    domain, times :math:`1/(1 + (f/f_c)^8)`: the magnitude of a Butterworth filter of fourth order run
    forward and backward. Good where the pulse is at least twice as long as the rig's period (peak within
    0.2 % in the middle, 0.9 % at the 95th percentile of simulated pulses); below that the low-pass cuts
    the peak, by up to 20 % at three quarters of a period. Noise grows, see :func:`inverse_noise_gain`.

    The trace is continued at both ends by its point reflection, so an event that has not died at the end
    is spoiled only there.

    Examples
    --------
    >>> from scipy.signal import lsim
    >>> t = np.arange(-0.05, 0.15, 1 / 5000)
    >>> blow = np.where((t > 0) & (t < 0.012), 3000 * np.sin(np.pi * t / 0.012), 0.0)
    >>> w = 2 * np.pi * 300
    >>> indicated = lsim(([w**2], [1, 2 * 0.02 * w, w**2]), blow, t + 0.05)[1]
    >>> corrected = invert_second_order(indicated, 5000, 300, 0.02)
    >>> print(f"{indicated.max():.0f} N indicated, {corrected.max():.0f} N corrected")
    3393 N indicated, 2999 N corrected
    """
    samples = finite_row(samples, "samples", at_least=3)
    corner = _checked_corner(rate, natural_frequency, corner)
    n = samples.size
    # four periods of the corner outlast the low-pass; the reflection joins with equal slope
    padding = min(n - 1, math.ceil(4 * rate / corner))
    head = 2 * samples[0] - samples[padding:0:-1]
    tail = 2 * samples[-1] - samples[-2 : -padding - 2 : -1]
    padded = np.concatenate([head, samples, tail])
    frequency = np.arange(padded.size // 2 + 1) * (rate / padded.size)
    undo = _inverse_response(frequency, natural_frequency, damping_ratio) * _low_pass(frequency, corner)
    return np.fft.irfft(np.fft.rfft(padded) * undo, padded.size)[padding : padding + n]


def inverse_noise_gain(
    rate: float, natural_frequency: float, damping_ratio: float, *, corner: float | None = None
) -> float:
    """
    How much :func:`invert_second_order` widens white noise.

    Parameters
    ----------
    rate, natural_frequency, damping_ratio, corner
        As for :func:`invert_second_order`.

    Returns
    -------
    gain : float
        Standard deviation of the noise of one corrected sample over that of one raw sample. [-]

    Raises
    ------
    ValueError
        As :func:`invert_second_order`.

    Examples
    --------
    >>> print(f"{inverse_noise_gain(5000, 300, 0.02):.2f}")
    0.56
    """
    corner = _checked_corner(rate, natural_frequency, corner)
    frequency = np.linspace(0, rate / 2, 2001)
    gain = np.abs(_inverse_response(frequency, natural_frequency, damping_ratio)) * _low_pass(
        frequency, corner
    )
    return float(np.sqrt(np.trapezoid(gain**2, frequency) / (rate / 2)))


def _inverse_response(
    frequency: ArrayLike, natural_frequency: float, damping_ratio: float
) -> NDArray[np.complex128]:
    if not (natural_frequency > 0 and damping_ratio >= 0):
        raise ValueError(
            f"need a natural frequency above 0 Hz and a damping ratio of at least 0, got "
            f"{natural_frequency} Hz and {damping_ratio}"
        )
    r = np.asarray(frequency, dtype=float) / natural_frequency
    response: NDArray[np.complex128] = 1 - r**2 + 2j * damping_ratio * r
    return response


def _low_pass(frequency: NDArray[np.float64], corner: float) -> NDArray[np.float64]:
    gain: NDArray[np.float64] = 1 / (1 + (frequency / corner) ** 8)
    return gain


def _checked_corner(rate: float, natural_frequency: float, corner: float | None) -> float:
    check_rate(rate)
    if not natural_frequency < rate / 2:
        raise ValueError(
            f"a mode at {natural_frequency} Hz cannot be undone from samples at {rate} Hz: "
            f"sample faster than {2 * natural_frequency} Hz"
        )
    corner = 2 * natural_frequency if corner is None else corner
    if not corner > 0:
        raise ValueError(f"the corner must be above 0 Hz, got {corner}")
    return corner
