"""Channel frequency class filters of crash testing, as a view that the trade knows."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._samples import check_rate, finite_row

__all__ = ["CHANNEL_CLASSES", "CfcCoefficients", "cfc_coefficients", "cfc_gain", "filter_cfc"]

CHANNEL_CLASSES = (60, 180, 600, 1000)

Standard = Literal["SAE J211", "ISO 6487"]

# Corner of the single pass over the class number. Both put the two passes together at -3 dB near the
# class number over 0.6; they differ by 0.28 %.
_CORNER: dict[str, float] = {"SAE J211": 2.0775, "ISO 6487": 1.25 / 0.6}


class CfcCoefficients(NamedTuple):
    """Difference equation y[k] = a0 x[k] + a1 x[k-1] + a2 x[k-2] + b1 y[k-1] + b2 y[k-2]."""

    a0: float
    a1: float
    a2: float
    b1: float
    b2: float


def cfc_coefficients(channel_class: int, rate: float, *, standard: Standard = "SAE J211") -> CfcCoefficients:
    r"""
    Coefficients of the two-pole filter of a channel frequency class.

    Parameters
    ----------
    channel_class : {60, 180, 600, 1000}
        Class number; the two passes together are at -3 dB at 1.667 times it. [Hz]
    rate : float
        Sampling rate, at least ten times the class number. [Hz]
    standard : {'SAE J211', 'ISO 6487'}
        Whose constant to use.

    Returns
    -------
    CfcCoefficients
        In the letters of the standard, where a multiplies the input and b the output. [1]

    Raises
    ------
    ValueError
        If class or standard is unknown, or the rate is below the standard's minimum.

    Notes
    -----
    SAE J211-1 (MAR95), appendix C: a Butterworth filter of second order, by the bilinear transform with
    the corner :math:`2\pi \cdot 2.0775 \cdot \mathrm{CFC}`, run forward and then backward. ISO 6487
    computes the same with 2.0833. Minimum rate: ten times the class number (both).

    Examples
    --------
    >>> c = cfc_coefficients(180, 10_000)
    >>> print(f"{c.a0:.8f} {c.b1:.8f} {c.b2:.8f}")
    0.01179627 1.67011746 -0.71730255
    """
    check_rate(rate)
    if channel_class not in CHANNEL_CLASSES:
        raise ValueError(f"channel_class must be one of {CHANNEL_CLASSES}, got {channel_class}")
    if standard not in _CORNER:
        raise ValueError(f"standard must be one of {', '.join(_CORNER)}; got {standard!r}")
    if rate < 10 * channel_class:
        raise ValueError(
            f"CFC {channel_class} needs a sampling rate of at least {10 * channel_class} Hz, got {rate:g} Hz"
        )
    w = math.tan(math.pi * _CORNER[standard] * channel_class / rate)
    denominator = 1 + math.sqrt(2) * w + w**2
    a0 = w**2 / denominator
    return CfcCoefficients(
        a0, 2 * a0, a0, 2 * (1 - w**2) / denominator, (math.sqrt(2) * w - 1 - w**2) / denominator
    )


def filter_cfc(
    samples: ArrayLike, rate: float, channel_class: int, *, standard: Standard = "SAE J211"
) -> NDArray[np.float64]:
    r"""
    Filter a trace to a channel frequency class, without shift in time.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Trace with quiet at both ends, at least 10 samples. [any]
    rate, channel_class, standard
        As for :func:`cfc_coefficients`.

    Returns
    -------
    filtered : ndarray, shape (n,)
        [as samples]

    Raises
    ------
    ValueError
        As :func:`cfc_coefficients`; also if there are too few samples or one is not finite.

    Notes
    -----
    A low-pass does not undo ringing. Above the rig's frequency it leaves the ringing in; below it, it cuts
    the peak: CFC 60 takes 30 % from a half-sine of 5 ms and 5 % from one of 10 ms, CFC 180 22 % of one of
    2 ms (derived here). The impulse stays. At both ends the trace is continued by its point reflection
    for two periods of the corner, or as far as it reaches.

    Examples
    --------
    >>> t = np.arange(-0.05, 0.06, 1e-4)
    >>> blow = np.where((t > 0) & (t < 0.01), 3000 * np.sin(np.pi * t / 0.01), 0.0)
    >>> print(f"{filter_cfc(blow, 10_000, 60).max():.0f} N of {blow.max():.0f} N")
    2852 N of 3000 N
    """
    from scipy.signal import filtfilt

    c = cfc_coefficients(channel_class, rate, standard=standard)
    samples = finite_row(samples, "the trace", at_least=10)
    padding = min(samples.size - 1, max(9, math.ceil(2 * rate / (_CORNER[standard] * channel_class))))
    filtered: NDArray[np.float64] = filtfilt([c.a0, c.a1, c.a2], [1.0, -c.b1, -c.b2], samples, padlen=padding)
    return filtered


def cfc_gain(
    frequency: ArrayLike, rate: float, channel_class: int, *, standard: Standard = "SAE J211"
) -> NDArray[np.float64]:
    """
    Gain of both passes together, of the filter as it runs on samples.

    Parameters
    ----------
    frequency : array_like
        Frequencies. [Hz]
    rate, channel_class, standard
        As for :func:`cfc_coefficients`.

    Returns
    -------
    gain : ndarray, shape of frequency
        Amplitude ratio, 1 at zero frequency. [1]

    Raises
    ------
    ValueError
        As :func:`cfc_coefficients`.

    Notes
    -----
    The bilinear transform bends frequencies near half the rate: at its lowest permitted rate CFC 1000 is at
    -3 dB at 1751 Hz.

    Examples
    --------
    >>> print(f"{20 * np.log10(cfc_gain(100.0, 100_000, 60)):.2f} dB")
    -3.01 dB
    """
    c = cfc_coefficients(channel_class, rate, standard=standard)
    z = np.exp(-2j * np.pi * np.asarray(frequency, dtype=float) / rate)
    gain: NDArray[np.float64] = np.abs((c.a0 + c.a1 * z + c.a2 * z**2) / (1 - c.b1 * z - c.b2 * z**2)) ** 2
    return gain
