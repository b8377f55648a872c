"""Plain inverse filter of a ringing rig: the cross-check of the smoother."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._samples import check_rate, finite_row
from quintain.numerics.resonator import Mode, mode_poles, modes_and_shares, transfer

__all__ = ["inverse_noise_gain", "invert_second_order"]


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
    natural_frequency, damping_ratio : array_like, shape (n_modes,) or float
        Undamped natural frequencies, below half the rate, and damping ratios, both above 0. [Hz], [1]
    share : array_like, shape (n_modes,), optional
        Share of each mode in the static response; they sum to 1. Equal shares by default. [1]
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
    taken in the frequency domain; of several, one over the sum of their responses. The low-pass is
    :math:`1/(1 + (f/f_c)^8)`, the magnitude of a Butterworth filter of fourth order run forward and
    backward. Good where the pulse is at least twice as long as the rig's period (peak within 0.2 % in the
    middle, 0.9 % at the 95th percentile of simulated pulses); below that the low-pass cuts the peak, by up
    to 20 % at three quarters of a period. Noise grows, see :func:`inverse_noise_gain`, most where two
    modes work against each other.

    The trace is continued at both ends by its point reflection, so an event that has not died at the end
    is spoiled only there.

    Examples
    --------
    >>> from quintain.numerics.resonator import respond_to_modes
    >>> t = np.arange(-0.05, 0.15, 1 / 5000)
    >>> blow = np.where((t > 0) & (t < 0.012), 3000 * np.sin(np.pi * t / 0.012), 0.0)
    >>> indicated = respond_to_modes(blow, 5000, [Mode(300.0, 0.02)])
    >>> corrected = invert_second_order(indicated, 5000, 300.0, 0.02)
    >>> print(f"{indicated.max():.0f} N indicated, {corrected.max():.0f} N corrected")
    3393 N indicated, 2999 N corrected
    """
    samples = finite_row(samples, "samples", at_least=3)
    modes, corner = _modes_and_corner(rate, natural_frequency, damping_ratio, share, corner)
    n = samples.size
    # four periods of the corner outlast the low-pass; the reflection joins with equal slope
    padding = min(n - 1, math.ceil(4 * rate / corner))
    head = 2 * samples[0] - samples[padding:0:-1]
    tail = 2 * samples[-1] - samples[-2 : -padding - 2 : -1]
    padded = np.concatenate([head, samples, tail])
    frequency = np.arange(padded.size // 2 + 1) * (rate / padded.size)
    spectrum = np.fft.rfft(padded) * _undo(frequency, modes, corner)
    return np.fft.irfft(spectrum, padded.size)[padding : padding + n]


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
    modes, corner = _modes_and_corner(rate, natural_frequency, damping_ratio, share, corner)
    frequency = np.arange(2001) * (rate / 4000)
    power = np.abs(_undo(frequency, modes, corner)) ** 2
    return float(np.sqrt(np.trapezoid(power, frequency) / (rate / 2)))


def _undo(frequency: ArrayLike, modes: list[Mode], corner: float) -> NDArray[np.complex128]:
    frequency = np.asarray(frequency, dtype=float)
    undo: NDArray[np.complex128] = 1 / (
        transfer(frequency, mode_poles(modes)) * (1 + (frequency / corner) ** 8)
    )
    return undo


def _modes_and_corner(
    rate: float,
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    share: ArrayLike | None,
    corner: float | None,
) -> tuple[list[Mode], float]:
    check_rate(rate)
    fn, zeta, shares = modes_and_shares(natural_frequency, damping_ratio, share)
    if not fn.max() < rate / 2:
        raise ValueError(
            f"a mode at {fn.max():g} Hz cannot be undone from samples at {rate:g} Hz: "
            f"sample faster than {2 * fn.max():g} Hz"
        )
    corner = 2 * float(fn[0]) if corner is None else corner
    if not corner > 0:
        raise ValueError(f"the corner must be above 0 Hz, got {corner}")
    return [Mode(*each) for each in zip(fn.tolist(), zeta.tolist(), shares.tolist(), strict=True)], corner
