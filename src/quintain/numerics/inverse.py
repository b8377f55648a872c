"""Plain inverse filter of a ringing rig: the cross-check of the smoother."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._samples import check_rate, finite_row

__all__ = ["inverse_noise_gain", "invert_second_order", "second_order_response"]

Complex = NDArray[np.complex128]


def second_order_response(
    frequency: ArrayLike,
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    share: ArrayLike | None = None,
) -> Complex:
    r"""
    Response of a rig with one or several modes: indicated over true force.

    Parameters
    ----------
    frequency : array_like, shape (n,) or float
        Frequencies. [Hz]
    natural_frequency, damping_ratio : array_like, shape (n_modes,) or float
        Undamped natural frequencies, above 0, and damping ratios, from 0 to below 1. [Hz], [1]
    share : array_like, shape (n_modes,), optional
        Share of each mode in the static response; they sum to 1. Equal shares by default. [1]

    Returns
    -------
    response : ndarray of complex, shape of frequency
        1 at zero frequency. [1]

    Raises
    ------
    ValueError
        If shapes differ, a value is out of range, or shares do not sum to 1.

    Notes
    -----
    :math:`H = \sum_i s_i / (1 - r_i^2 + 2 i \zeta_i r_i)` with :math:`r_i` = frequency over natural
    frequency.

    Examples
    --------
    A force that swings at a fifth of the natural frequency is indicated 4.2 % too high:

    >>> print(f"{abs(second_order_response(60.0, 300.0, 0.0)):.3f}")
    1.042
    """
    above, below = _fraction(frequency, natural_frequency, damping_ratio, share)
    return above / below


def invert_second_order(
    samples: ArrayLike,
    rate: float,
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    share: ArrayLike | None = None,
    *,
    corner: float | None = None,
) -> NDArray[np.float64]:
    r"""
    Undo the ringing of a rig by its inverse, with a low-pass that does not shift.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Indicated force less its zero, with quiet before the event. [N]
    rate : float
        Sampling rate. [Hz]
    natural_frequency, damping_ratio, share
        The rig's modes, as for :func:`second_order_response`; all below half the rate.
    corner : float, optional
        Where the low-pass is at one half (-6 dB); twice the first natural frequency by default. [Hz]

    Returns
    -------
    force : ndarray, shape (n,)
        Force on the cell at the samples. [N]

    Raises
    ------
    ValueError
        If a sample is not finite, a mode is not below half the rate, or a number is out of its range.

    Notes
    -----
    The inverse of one mode is :math:`F = y + (2\zeta/\omega)\dot y + \ddot y/\omega^2`, with the derivatives
    taken in the frequency domain. The low-pass is :math:`1/(1 + (f/f_c)^8)`, the magnitude of a Butterworth
    filter of fourth order run forward and backward. Good where the pulse is at least twice as long as the
    rig's period (peak within 0.2 % in the middle, 0.9 % at the 95th percentile of simulated pulses); below
    that the low-pass cuts the peak, by up to 20 % at three quarters of a period. Noise grows, see
    :func:`inverse_noise_gain`, most where two modes work against each other.

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
    above, below = _fraction(frequency, natural_frequency, damping_ratio, share)
    undo = below / above * _low_pass(frequency, corner)
    return np.fft.irfft(np.fft.rfft(padded) * undo, padded.size)[padding : padding + n]


def inverse_noise_gain(
    rate: float,
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    share: ArrayLike | None = None,
    *,
    corner: float | None = None,
) -> float:
    """
    How much :func:`invert_second_order` widens white noise.

    Parameters
    ----------
    rate, natural_frequency, damping_ratio, share, corner
        As for :func:`invert_second_order`.

    Returns
    -------
    gain : float
        Standard deviation of the noise of one corrected sample over that of one raw sample. [1]

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
    frequency = np.arange(2001) * (rate / 4000)
    above, below = _fraction(frequency, natural_frequency, damping_ratio, share)
    gain = np.abs(below / above) * _low_pass(frequency, corner)
    return float(np.sqrt(np.trapezoid(gain**2, frequency) / (rate / 2)))


def _fraction(
    frequency: ArrayLike, natural_frequency: ArrayLike, damping_ratio: ArrayLike, share: ArrayLike | None
) -> tuple[Complex, Complex]:
    """Numerator and denominator of the response: the inverse of one mode so needs no division."""
    fn = np.atleast_1d(np.asarray(natural_frequency, dtype=float))
    zeta = np.atleast_1d(np.asarray(damping_ratio, dtype=float))
    shares = np.full(fn.size, 1 / fn.size) if share is None else np.atleast_1d(np.asarray(share, dtype=float))
    if not fn.shape == zeta.shape == shares.shape:
        raise ValueError(
            f"each mode needs one natural frequency, damping ratio and share, "
            f"got {fn.size}, {zeta.size} and {shares.size}"
        )
    if not ((fn > 0) & (zeta >= 0) & (zeta < 1)).all():
        raise ValueError(
            f"natural frequencies must be above 0 Hz and damping ratios from 0 to below 1, "
            f"got {fn.tolist()} Hz and {zeta.tolist()}"
        )
    if not abs(shares.sum() - 1) < 1e-6:
        raise ValueError(f"shares of the modes must sum to 1, got {shares.sum():g}")
    r = np.asarray(frequency, dtype=float)[..., None] / fn
    stiff = 1 - r**2 + 2j * zeta * r
    others = [np.prod(np.delete(stiff, i, axis=-1), axis=-1) for i in range(fn.size)]
    above = sum((s * p for s, p in zip(shares, others, strict=True)), np.zeros(r.shape[:-1], dtype=complex))
    return above, np.prod(stiff, axis=-1)


def _low_pass(frequency: ArrayLike, corner: float) -> NDArray[np.float64]:
    gain: NDArray[np.float64] = 1 / (1 + (np.asarray(frequency, dtype=float) / corner) ** 8)
    return gain


def _checked_corner(rate: float, natural_frequency: ArrayLike, corner: float | None) -> float:
    check_rate(rate)
    highest = float(np.max(natural_frequency))
    if not highest < rate / 2:
        raise ValueError(
            f"a mode at {highest:g} Hz cannot be undone from samples at {rate:g} Hz: "
            f"sample faster than {2 * highest:g} Hz"
        )
    corner = 2 * float(np.ravel(natural_frequency)[0]) if corner is None else corner
    if not corner > 0:
        raise ValueError(f"the corner must be above 0 Hz, got {corner}")
    return corner
