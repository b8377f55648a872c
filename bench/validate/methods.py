"""What others would do with the same samples; each gives the force on eight points a sample."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import signal
from scipy.interpolate import CubicSpline

from bench.validate.pulses import Rig
from quintain.numerics.cfc import filter_cfc
from quintain.numerics.inverse import invert_second_order

__all__ = ["METHODS", "finer", "fir_deconvolution"]

Floats = NDArray[np.float64]


def finer(samples: Floats) -> Floats:
    """Values on eight points a sample by a cubic spline."""
    at = np.arange((samples.size - 1) * 8 + 1) / 8
    return np.asarray(CubicSpline(np.arange(samples.size), samples)(at))


def _low_pass(samples: Floats, corner: float, rate: float) -> Floats | None:
    if corner >= 0.49 * rate:
        return None
    return np.asarray(signal.sosfiltfilt(signal.butter(2, corner, fs=rate, output="sos"), samples))


def _cfc(channel_class: int) -> Callable[[Floats, Rig], Floats | None]:
    def method(samples: Floats, rig: Rig) -> Floats | None:
        try:
            return filter_cfc(samples, rig.rate, channel_class)
        except ValueError:  # the class asks for a higher rate
            return None

    return method


def _inverse(samples: Floats, rig: Rig) -> Floats:
    corner = min(2 * rig.natural_frequency, 0.42 * rig.rate)
    return invert_second_order(samples, rig.rate, rig.natural_frequency, rig.damping_ratio, corner=corner)


METHODS: dict[str, Callable[[Floats, Rig], Floats | None]] = {
    "nothing": lambda samples, _: samples,
    "low-pass at fn/2": lambda samples, rig: _low_pass(samples, rig.natural_frequency / 2, rig.rate),
    "CFC 180": _cfc(180),
    "CFC 600": _cfc(600),
    "inverse filter": _inverse,
}
"""By name. None where a method cannot be run at this rate."""


def fir_deconvolution(samples: Floats, rig: Rig, taps: Floats) -> Floats:
    """Deconvolve by the inverse FIR filter of the peer library, then low-pass at twice the frequency."""
    delay = taps.size // 2
    padded = np.r_[samples, np.zeros(delay)]
    force = np.convolve(padded, taps)[delay : delay + samples.size]
    smooth = _low_pass(force, min(2 * rig.natural_frequency, 0.38 * rig.rate), rig.rate)
    return force if smooth is None else smooth
