"""Exact response of a one-mode rig to a half-sine pulse, for tests (derived here)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def half_sine_response(
    time: NDArray[np.float64], duration: float, frequency: float, damping: float
) -> NDArray[np.float64]:
    """Indicated force of a half-sine of unit peak that begins at time 0.

    Steady response to a sine, plus the free decay that makes position and speed start at zero; after the
    pulse the same again for a second sine that begins there and cancels the first.
    """
    t = np.asarray(time, dtype=float)
    return _from_rest(t, duration, frequency, damping) + _from_rest(
        t - duration, duration, frequency, damping
    )


def _from_rest(t, duration, frequency, damping):  # type: ignore[no-untyped-def]
    w, p = 2 * np.pi * frequency, np.pi / duration
    wd = w * np.sqrt(1 - damping**2)
    h = w**2 / (w**2 - p**2 + 2j * damping * w * p)
    x0, v0 = -h.imag, -(1j * p * h).imag
    on = np.maximum(t, 0)
    free = np.exp(-damping * w * on) * (x0 * np.cos(wd * on) + (v0 + damping * w * x0) / wd * np.sin(wd * on))
    return np.where(t > 0, (h * np.exp(1j * p * on)).imag + free, 0.0)
