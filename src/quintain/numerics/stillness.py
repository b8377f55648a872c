"""Still stretches of an inertial sensor: where it may be taken to be at rest."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._rotation import as_vectors
from quintain.numerics.free_fall import STANDARD_GRAVITY

__all__ = ["Rest", "find_rests", "reads_gravity"]

Floats = NDArray[np.float64]


class Rest(NamedTuple):
    """
    One still stretch.

    ``start`` and ``stop`` are sample numbers, ``stop`` not included. ``acceleration`` [m/s²] and
    ``angular_rate`` [rad/s] are the means, shape (3,); without a gyro the latter is None.
    """

    start: int
    stop: int
    acceleration: Floats
    angular_rate: Floats | None


def find_rests(
    acceleration: ArrayLike,
    rate: float,
    *,
    angular_rate: ArrayLike | None = None,
    shortest: float = 0.2,
    window: float = 0.1,
    largest_acceleration: float = 0.6,
    largest_rate: float = 0.3,
) -> list[Rest]:
    r"""
    Find the stretches in which a sensor is held still.

    Parameters
    ----------
    acceleration : array_like, shape (n, 3)
        Specific force as the sensor gives it, gravity included. [m/s²]
    rate : float
        Sampling rate. [Hz]
    angular_rate : array_like, shape (n, 3), optional
        What the gyro gives. [rad/s]
    shortest : float
        Shorter stretches are left out. [s]
    window : float
        Length of the window in which movement is judged. [s]
    largest_acceleration : float
        Largest standard deviation of the acceleration vector within a window. [m/s²]
    largest_rate : float
        Largest root mean square of the angular rate within a window, bias included. [rad/s]

    Returns
    -------
    list of Rest
        In order of time; empty if the sensor never rests.

    Raises
    ------
    ValueError
        If the arrays do not fit each other, hold missing samples, or the rate is not positive.

    Notes
    -----
    A sample is still if it lies in a window that is: the vector's standard deviation
    :math:`\sqrt{\sum_k \operatorname{var} a_k}` and the mean square rate stay below their limits. The
    limits let a hand in guard with its tremor pass (common practice, no source) and a moving one not;
    too wide limits take slow movement for rest, and its speed is then missing from what follows. A steady
    speed without turning cannot be told from rest by any inertial sensor.

    Examples
    --------
    >>> a = np.tile([0.0, 0.0, 9.8], (1000, 1))
    >>> a[500:700, 0] = 30 * np.sin(np.arange(200) / 10)
    >>> [(rest.start, rest.stop) for rest in find_rests(a, 1000.0)]
    [(0, 502), (700, 1000)]
    """
    a = as_vectors(acceleration, "acceleration")
    if not rate > 0:
        raise ValueError(f"the sampling rate must be above 0 Hz, got {rate}")
    w = None if angular_rate is None else as_vectors(angular_rate, "angular_rate", a.shape[0])
    n = max(round(window * rate), 3)
    if a.shape[0] < n:
        return []
    still = _spread(a, n) <= largest_acceleration
    if w is not None:
        still &= np.sqrt(_running_mean((w**2).sum(axis=1), n)) <= largest_rate
    edges = np.flatnonzero(np.diff(np.r_[False, still, False]))
    rests = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        start, stop = int(first), int(last) + n - 1
        if (stop - start) / rate >= shortest:
            mean_rate = None if w is None else w[start:stop].mean(axis=0)
            rests.append(Rest(start, stop, a[start:stop].mean(axis=0), mean_rate))
    return rests


def reads_gravity(
    acceleration: ArrayLike, *, gravity: float = STANDARD_GRAVITY, tolerance: float = 0.10
) -> bool:
    """
    Whether a sensor at rest shows the acceleration of free fall, as it must.

    Parameters
    ----------
    acceleration : array_like, shape (3,)
        Mean over a still stretch. [m/s²]
    gravity : float
        Acceleration of free fall at the place. [m/s²]
    tolerance : float
        Largest difference, as part of gravity; the default lets an uncalibrated sensor of 70 mg bias
        and 3 % scale error pass. [1]

    Returns
    -------
    bool
        False where unit or scale are wrong, an axis is missing, or the device has taken gravity out.

    Raises
    ------
    ValueError
        If the shape is not (3,).

    Examples
    --------
    >>> reads_gravity([0.1, 0.0, -9.79]), reads_gravity([0.0, 0.0, 1.0])
    (True, False)
    """
    mean = np.asarray(acceleration, dtype=float)
    if mean.shape != (3,):
        raise ValueError(f"the mean acceleration must have shape (3,), got {mean.shape}")
    return bool(abs(math.hypot(*mean) - gravity) <= tolerance * gravity)


def _running_mean(samples: Floats, n: int) -> Floats:
    total = np.cumsum(samples, axis=0)
    mean = total[n - 1 :].copy()
    mean[1:] -= total[:-n]
    return np.asarray(mean / n)


def _spread(vectors: Floats, n: int) -> Floats:
    # deviations from the overall mean keep the difference of large sums from losing digits
    deviation = vectors - vectors.mean(axis=0)
    variance = _running_mean(deviation**2, n) - _running_mean(deviation, n) ** 2
    return np.asarray(np.sqrt(np.maximum(variance.sum(axis=1), 0.0)))
