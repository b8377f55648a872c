"""The measuring chain: from the force a gauge sees to the numbers in a file."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.resonator import butterworth_poles, respond

__all__ = ["Acquired", "acquire"]

Floats = NDArray[np.float64]


class Acquired(NamedTuple):
    """Samples as the converter gives them, scaled back to force."""

    time: Floats
    """Instants of the samples; zero is the first sample of the signal. [s]"""
    force: Floats
    """Samples. [N]"""
    clipped: NDArray[np.bool_]
    """Which samples lie at the converter's limit."""


def _between(signal: Floats, index: Floats) -> Floats:
    """Cubic through the four neighbours; the signal is zero before its first sample."""
    padded = np.concatenate([np.zeros(2), signal, np.repeat(signal[-1], 2)])
    whole = np.clip(np.floor(index).astype(np.intp), -1, signal.size - 1)
    u = index - whole
    y0, y1, y2, y3 = (padded[whole + i] for i in (1, 2, 3, 4))
    cubic = (
        -u * (u - 1) * (u - 2) / 6 * y0
        + (u + 1) * (u - 1) * (u - 2) / 2 * y1
        - (u + 1) * u * (u - 2) / 2 * y2
        + (u + 1) * u * (u - 1) / 6 * y3
    )
    return np.where(index < 0, 0.0, cubic)


def acquire(
    signal: ArrayLike,
    signal_rate: float,
    *,
    rate: float,
    rng: np.random.Generator,
    phase: float | None = None,
    quiet_before: float = 0.0,
    anti_alias_cutoff: float | None = None,
    anti_alias_order: int = 4,
    gain: float = 1.0,
    zero: float = 0.0,
    drift: float = 0.0,
    noise: float = 0.0,
    limit: float | None = None,
    bits: int | None = None,
) -> Acquired:
    """
    Record a signal as a real chain would.

    Parameters
    ----------
    signal : array_like, shape (n,)
        What the gauge sees, on a grid much finer than the samples. [N]
    signal_rate : float
        Points of the signal per second. [Hz]
    rate : float
        Samples per second. [Hz]
    rng : numpy.random.Generator
        Source of phase and noise.
    phase : float, optional
        Where the first sample falls within the sampling interval, 0 up to 1; at random if not given.
    quiet_before : float
        Time recorded before the signal starts, while the force is zero. [s]
    anti_alias_cutoff : float, optional
        3 dB frequency of a Butterworth filter before the converter; none if not given. [Hz]
    anti_alias_order : int
        Its number of poles.
    gain : float
        Indicated over true force.
    zero, drift : float
        Indication without force at time zero [N] and its change with time [N/s].
    noise : float
        Standard deviation of white noise on every sample. [N]
    limit : float, optional
        Largest magnitude the converter gives; without limit if not given. [N]
    bits : int, optional
        Resolution; the step is ``2 * limit / 2**bits``. No rounding if not given.

    Returns
    -------
    acquired : Acquired
        Samples with their instants, and which of them are clipped.

    Raises
    ------
    ValueError
        If a setting makes no sense, or the signal is not finite or too short.

    Notes
    -----
    Between its points the signal is taken as cubic, an error far below any noise for a grid ten times
    finer than the shortest period. Noise enters behind the filter, as a converter's own noise does.

    Examples
    --------
    A force of 250 N that begins 2 ms into the record:

    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> force = np.full(100, 250.0)
    >>> acquire(force, 10e3, rate=1e3, rng=rng, phase=0.0, quiet_before=0.002, limit=200.0).force[:4]
    array([  0.,   0., 200., 200.])
    """
    signal = np.asarray(signal, dtype=float)
    if signal.ndim != 1 or signal.size < 2:
        raise ValueError(f"signal must be a row of at least 2 points, got shape {signal.shape}")
    if not np.isfinite(signal).all():
        raise ValueError("signal must be finite throughout")
    for name, value in (("rate", rate), ("signal_rate", signal_rate)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above 0 Hz, got {value} Hz")
    if phase is not None and not 0 <= phase < 1:
        raise ValueError(f"phase must be at least 0 and below 1, got {phase}")
    if noise < 0 or quiet_before < 0:
        raise ValueError(f"noise and quiet_before must not be negative, got {noise} N and {quiet_before} s")
    if limit is not None and not limit > 0:
        raise ValueError(f"limit must be above 0 N, got {limit} N")
    if bits is not None and (limit is None or not 1 <= bits <= 32):
        raise ValueError(f"bits must be 1 to 32 and needs a limit, got {bits} bits and limit {limit}")

    if anti_alias_cutoff is not None:
        signal = respond(signal, signal_rate, butterworth_poles(anti_alias_cutoff, anti_alias_order))
    start = (rng.random() if phase is None else phase) / rate - quiet_before
    last = (signal.size - 1) / signal_rate
    time = start + np.arange(math.floor((last - start) * rate + 1e-9) + 1) / rate
    # Instants are meant to fall on points of the signal wherever the rates divide: no rounding noise.
    index = time * signal_rate
    index = np.where(np.abs(index - np.rint(index)) < 1e-6, np.rint(index), index)
    force = gain * _between(signal, index) + zero + drift * time
    if noise > 0:
        force = force + rng.normal(0.0, noise, time.size)
    clipped = np.zeros(time.size, dtype=bool)
    if limit is not None:
        top = limit
        if bits is not None:
            step = 2 * limit / 2**bits
            force = step * np.rint(force / step)
            top = limit - step
        clipped = (force >= top) | (force <= -limit)
        force = np.clip(force, -limit, top)
    return Acquired(time, force, clipped)
