"""Motion from an inertial sensor: attitude and velocity by integration forward from a rest."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._rotation import as_vectors, chain, rotation_matrices, running_integral

__all__ = ["Motion", "drift_ramp", "integrate_motion"]

Floats = NDArray[np.float64]


class Motion(NamedTuple):
    """
    Motion of a sensor, in axes that are fixed to the room and coincide with the sensor's at the start.

    Arrays begin at the first sample of the rest.

    ``attitude`` (n, 3, 3) turns vectors of the sensor into the room; ``acceleration`` [m/s²] and
    ``velocity`` [m/s], shape (n, 3), are the sensor's in the room, gravity taken out; ``angular_rate``
    (n, 3) is in the sensor's axes without its bias [rad/s]. ``gravity`` (3,) is the reaction to gravity
    as the rest shows it, pointing up [m/s²]. ``rest_speed`` is the standard deviation of the speed
    within the rest, which is taken to be 0 on average [m/s].
    """

    attitude: Floats
    acceleration: Floats
    velocity: Floats
    angular_rate: Floats
    gravity: Floats
    rest_speed: float


def integrate_motion(
    acceleration: ArrayLike,
    angular_rate: ArrayLike | None,
    rate: float,
    *,
    rest: tuple[int, int],
    stop: int,
    rest_after: tuple[int, int] | None = None,
) -> Motion:
    r"""
    Integrate attitude and velocity of an inertial sensor forward from a rest.

    Parameters
    ----------
    acceleration : array_like, shape (n, 3)
        Specific force in the sensor's axes: at rest it shows gravity, pointing up. [m/s²]
    angular_rate : array_like, shape (n, 3) or None
        In the same axes. Without it the sensor is taken not to turn. [rad/s]
    rate : float
        Sampling rate of both. [Hz]
    rest : tuple of int
        First sample of the rest, and the first after it.
    stop : int
        First sample that is not integrated any more.
    rest_after : tuple of int, optional
        A rest that ends the movement, within ``stop``: attitude and velocity are brought to agree with
        it by a drift that grows along a straight line (zero-velocity update).

    Returns
    -------
    Motion
        From the first sample of the rest to ``stop``.

    Raises
    ------
    ValueError
        If shapes or sample numbers do not fit, samples are missing, or the rest is shorter than two
        samples.

    Notes
    -----
    Gyro bias :math:`b = \bar\omega_\text{rest}`; attitude
    :math:`R_{i+1} = R_i \exp[(\omega_i + \omega_{i+1} - 2b)\Delta t/2]_\times`; gravity
    :math:`g = \overline{R f}_\text{rest}`; velocity :math:`v = \int (R f - g)\,dt`, zero on average over
    the rest. Taking gravity from the same sensor cancels a bias as long as the sensor does not turn
    away from its attitude at rest (derived here). Compare D. Titterton and J. Weston, Strapdown Inertial
    Navigation Technology, 2nd ed. (2004), chapter 11 (from memory). Slow movement within the rest goes
    into the result with its full speed.

    Examples
    --------
    A second of rest, then 10 m/s² along x for half a second:

    >>> import numpy as np
    >>> a = np.tile([0.0, 0.0, 9.8], (1501, 1))
    >>> a[1000:, 0] = 10.0
    >>> motion = integrate_motion(a, np.zeros((1501, 3)), 1000.0, rest=(0, 1000), stop=1501)
    >>> motion.velocity[-1].round(3).tolist()
    [5.005, 0.0, 0.0]
    """
    f = as_vectors(acceleration, "acceleration")
    w = np.zeros_like(f) if angular_rate is None else as_vectors(angular_rate, "angular_rate", f.shape[0])
    if not rate > 0:
        raise ValueError(f"the sampling rate must be above 0 Hz, got {rate}")
    start, end = rest
    if not 0 <= start < end - 1 < end <= stop <= f.shape[0]:
        raise ValueError(f"need 0 <= rest and rest before stop <= {f.shape[0]}, got rest {rest}, stop {stop}")
    f, w, n_rest = f[start:stop], w[start:stop], end - start
    after = None
    if rest_after is not None:
        after = slice(rest_after[0] - start, rest_after[1] - start)
        if not n_rest <= after.start < after.stop <= f.shape[0]:
            raise ValueError(f"the rest after must lie between {end} and {stop}, got {rest_after}")
    bias = w[:n_rest].mean(axis=0)
    attitude = _attitude(w - bias, rate)
    if after is not None:
        bias, attitude = _closed_attitude(f, w, attitude, rate, n_rest, after)
    turned = np.einsum("nij,nj->ni", attitude, f)
    gravity = turned[:n_rest].mean(axis=0)
    velocity = running_integral(turned - gravity, rate)
    velocity -= velocity[:n_rest].mean(axis=0)
    spread = math.sqrt(float(velocity[:n_rest].var(axis=0).sum()))
    if after is not None:
        drift = velocity[after].mean(axis=0)
        along = drift_ramp(f.shape[0], n_rest, after)
        velocity -= along[:, None] * drift
        turned = turned - drift * np.gradient(along * rate)[:, None]
    return Motion(attitude, turned - gravity, velocity, w - bias, gravity, spread)


def _attitude(rates: Floats, rate: float) -> Floats:
    return chain(rotation_matrices((rates[1:] + rates[:-1]) / (2 * rate)))


def drift_ramp(n: int, n_rest: int, after: slice) -> Floats:
    """
    Share of a drift that has come up: from 0 at the end of the rest before to 1 at the rest after.

    Parameters
    ----------
    n : int
        Number of samples, from the first of the rest before.
    n_rest : int
        Number of them that are in the rest before.
    after : slice
        The rest after.

    Returns
    -------
    ndarray, shape (n,)
        A straight line between the rests. [1]

    Examples
    --------
    >>> drift_ramp(6, 1, slice(5, 6)).tolist()
    [0.0, 0.0, 0.25, 0.5, 0.75, 1.0]
    """
    return np.asarray(np.clip((np.arange(n) - n_rest) / max(after.start - n_rest, 1), 0.0, 1.0))


def _closed_attitude(
    f: Floats, w: Floats, attitude: Floats, rate: float, n_rest: int, after: slice
) -> tuple[Floats, Floats]:
    """Gyro bias along the line between both rests, and gravity made to point the same way in both."""
    before, behind = w[:n_rest].mean(axis=0), w[after].mean(axis=0)
    along = drift_ramp(f.shape[0], n_rest, after)[:, None]
    bias = before + along * (behind - before)
    attitude = _attitude(w - bias, rate)
    gravity = np.einsum("nij,nj->ni", attitude[:n_rest], f[:n_rest]).mean(axis=0)
    seen = np.einsum("nij,nj->ni", attitude[after], f[after]).mean(axis=0)
    axis = np.cross(seen, gravity)
    size = math.hypot(*axis)
    angle = math.atan2(size, float(seen @ gravity))
    correction = axis / size * angle if size > 0 else axis
    return bias, rotation_matrices(along * correction) @ attitude
