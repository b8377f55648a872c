"""Recordings with known strikes on a ringing rig, from the closed form of a one-mode cell."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def half_sine(height: float, length: float, rate: float) -> FloatArray:
    """Half-sine of the given height [N] and length [s]."""
    time = np.arange(int(np.ceil(length * rate))) / rate
    return height * np.sin(np.pi * time / length)


def ring(force: FloatArray, rate: float, frequency: float, damping: float) -> FloatArray:
    """What a cell of one mode reads; exact for a force that is linear between samples."""
    from scipy.signal import cont2discrete, lfilter

    w = 2 * np.pi * frequency
    b, a, _ = cont2discrete(([w * w], [1, 2 * damping * w, w * w]), 1 / rate, method="foh")
    reading: FloatArray = lfilter(b.ravel(), a, force)
    return reading


def record(
    blows: Iterable[tuple[float, float, float]],
    *,
    rate: float = 2000.0,
    seconds: float = 6.0,
    frequency: float = 150.0,
    damping: float = 0.03,
    noise: float = 3.0,
    zero: float = 40.0,
    drift: float = 0.0,
    hum: float = 0.0,
    load: FloatArray | None = None,
    seed: int = 0,
) -> FloatArray:
    """Reading [N] of half-sine blows (time [s], height [N], length [s]), with zero, drift, hum and noise."""
    over = max(1, int(np.ceil(8000 / rate)))
    fine = rate * over
    force = np.zeros(int(seconds * fine))
    for at, height, length in blows:
        pulse = half_sine(height, length, fine)
        begin = int(at * fine)
        force[begin : begin + pulse.size] += pulse[: force.size - begin]
    if load is not None:
        force += np.interp(np.arange(force.size) / fine, np.arange(load.size) / rate, load)
    reading = ring(force, fine, frequency, damping)[::over]
    time = np.arange(reading.size) / rate
    rng = np.random.default_rng(seed)
    reading = reading + zero + drift * time + hum * np.sin(2 * np.pi * 50 * time + 0.4)
    return reading + rng.normal(0, noise, reading.size)
