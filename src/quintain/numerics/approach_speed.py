"""Approach speed of a limb from an inertial sensor on it, with what makes it uncertain."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._imu_sensitivity import speed_uncertainty
from quintain.numerics._rotation import as_vectors
from quintain.numerics.bad_samples import find_bad_samples
from quintain.numerics.free_fall import STANDARD_GRAVITY
from quintain.numerics.impact_edge import ImpactEdge
from quintain.numerics.imu_errors import UNCALIBRATED, ImuErrors
from quintain.numerics.stillness import reads_gravity
from quintain.numerics.strapdown import Motion, integrate_motion
from quintain.numerics.uncertainty.linear import Contribution, combine

__all__ = ["ApproachSpeed", "approach_speed_from_imu"]

Floats = NDArray[np.float64]

GUARD = 0.001
"""The speed is read this long before the edge, where no sample of the contact can have got in. [s]"""

TREND = 0.012
"""Speed and acceleration are carried to the edge by a parabola through this time. [s]"""

BEND = 4.0
"""A parabola follows the acceleration to the edge this many times better than a line through half the
time; from simulated strikes, where the ratio is 5 to 20."""

WITHOUT_GYRO = 0.12
"""Relative standard uncertainty of a straight strike's speed without a gyro, from simulated strikes."""

AT_LIMIT = 0.999
"""Part of the stated range from which on a sample counts as cut off."""


class ApproachSpeed(NamedTuple):
    """
    Speed of the striking point at contact, and its motion around it.

    ``value`` [m/s] is NaN where ``flags`` withhold it. ``u`` and ``contributions`` are standard
    uncertainties [m/s]. ``resultant`` is the length of the whole velocity [m/s] and ``direction`` the unit
    vector along which speeds are taken, in the sensor's axes at the edge. ``acceleration_before`` is the
    acceleration along it just before contact, positive where the limb still gains speed [m/s²].

    ``time`` counts from the edge [s]; ``speed`` [m/s], ``acceleration`` [m/s²] and ``u_speed`` [m/s] of
    the striking point along the direction belong to it. They run from the rest through the contact and
    end before the first sample that is cut off.
    """

    value: float
    u: float
    contributions: tuple[Contribution, ...]
    flags: tuple[str, ...]
    resultant: float
    direction: Floats
    acceleration_before: float
    u_acceleration_before: float
    time: Floats
    speed: Floats
    acceleration: Floats
    u_speed: Floats


def approach_speed_from_imu(
    acceleration: ArrayLike,
    angular_rate: ArrayLike | None,
    rate: float,
    *,
    rest: tuple[int, int],
    edge: ImpactEdge,
    lever_arm: ArrayLike = (0.0, 0.0, 0.0),
    u_lever_arm: float = 0.01,
    normal: ArrayLike | None = None,
    u_normal: float = 0.1,
    errors: ImuErrors = UNCALIBRATED,
    gravity: float = STANDARD_GRAVITY,
    acceleration_limit: float | None = None,
    rate_limit: float | None = None,
    rest_after: tuple[int, int] | None = None,
    straight: bool = False,
    longest: float = 2.0,
    after_edge: float = 0.05,
) -> ApproachSpeed:
    r"""
    Speed of the striking point just before contact, integrated forward from a rest.

    Parameters
    ----------
    acceleration : array_like, shape (n, 3)
        Specific force in the sensor's axes, calibrated where a calibration exists. [m/s²]
    angular_rate : array_like, shape (n, 3) or None
        In the same axes. None only for straight strikes, said by ``straight``. [rad/s]
    rate : float
        Sampling rate. [Hz]
    rest : tuple of int
        Samples (first, first after) of a rest before the strike.
    edge : ImpactEdge
        The sensor's own impact edge.
    lever_arm : array_like, shape (3,)
        From the sensor to the striking point, in the sensor's axes. [m]
    u_lever_arm : float
        Standard uncertainty of each of its components. [m]
    normal : array_like, shape (3,), optional
        Direction into the target, in the sensor's axes at contact. Without it, and without a gyro, the
        resultant is given and flagged ``resultant-speed``. [1]
    u_normal : float
        Standard uncertainty of its angle. [rad]
    errors : ImuErrors
        Standard uncertainties of the sensor's own errors.
    gravity : float
        Acceleration of free fall at the place. [m/s²]
    acceleration_limit, rate_limit : float, optional
        Ends of the measuring ranges; where they are not stated, values that stand at an axis's extreme
        for three samples count as cut off. [m/s²], [rad/s]
    rest_after : tuple of int, optional
        A rest after the strike; it is used only where no sample up to it is cut off.
    straight : bool
        Says that the limb hardly turns, which a speed without a gyro rests on.
    longest : float
        Longest time from rest to edge that raises no doubt. [s]
    after_edge : float
        The motion is given until so long after the edge. [s]

    Returns
    -------
    ApproachSpeed
        Flags: ``still-not-g``, ``gyro-limit``, ``imu-clipped`` (the speed is withheld);
        ``long-integration``, ``no-gyro``, ``resultant-speed`` (it is less certain, or another one).

    Raises
    ------
    ValueError
        If arrays, sample numbers or the edge do not fit each other, or there is no gyro and ``straight``
        is not said.

    Notes
    -----
    Velocity of the striking point :math:`v_p = v_s + R(\omega \times r)`; see
    :func:`~quintain.numerics.strapdown.integrate_motion` for :math:`v_s`. The speed is read 1 ms and a
    sample before the edge and carried to it by the acceleration there: early reading is cheap, because
    strikes hardly gain speed at the end; a late one reads the contact and is low by 3 % after 2 ms, 14 %
    after 5 ms (simulated). Sensor errors are propagated by their linear error equations; the sampling
    contribution is a third of what leaving out every second sample changes (Richardson). A velocity
    correction is never spread across samples that were cut off: that is wrong by 13-29 % (simulated).
    A strap that gives way lets the sensor lag: the true speed is then larger while the limb gains speed.

    Examples
    --------
    >>> import numpy as np
    >>> a = np.tile([0.0, 0.0, 9.80665], (800, 1))
    >>> a[500:700, 0] = 40.0
    >>> a[700:, 0] = -900.0
    >>> found = approach_speed_from_imu(
    ...     a, np.zeros((800, 3)), 1000.0, rest=(0, 500), edge=ImpactEdge(0.700, 0.0003, 940.0),
    ...     normal=[1, 0, 0], acceleration_limit=2000.0,
    ... )
    >>> round(found.value, 2), found.flags
    (8.02, ())
    """
    f = as_vectors(acceleration, "acceleration")
    w = None if angular_rate is None else as_vectors(angular_rate, "angular_rate", f.shape[0])
    arm = np.asarray(lever_arm, dtype=float)
    if arm.shape != (3,) or not np.isfinite(arm).all():
        raise ValueError(f"lever_arm must be three lengths in m, got {arm.tolist()}")
    if w is None and not straight:
        raise ValueError("without a gyro only straight strikes can be measured: say straight=True, or add it")
    read_at = math.floor((edge.time - GUARD) * rate) - 1
    n_trend = max(round(TREND * rate), 5)
    if not (rest[1] + n_trend < read_at < f.shape[0]):
        raise ValueError(
            f"need the rest to end at least {n_trend} samples before the edge, got a rest until "
            f"{rest[1]} and an edge at {edge.time * rate:.1f}, of {f.shape[0]} samples"
        )
    flags = _guards(f, w, rest, read_at, edge.time, rate, gravity, longest, acceleration_limit, rate_limit)
    stop = min(math.ceil((edge.time + after_edge) * rate) + 1, f.shape[0])
    if rest_after is not None and not _cut(f, rest[0], rest_after[1], acceleration_limit).size:
        stop = max(stop, rest_after[1])
    else:
        rest_after = None
    motion = integrate_motion(f, w, rate, rest=rest, stop=stop, rest_after=rest_after)
    i = read_at - rest[0]
    time = np.arange(rest[0], stop) / rate - edge.time
    tip = motion.velocity + np.einsum("nij,nj->ni", motion.attitude, np.cross(motion.angular_rate, arm))
    trend = slice(i - n_trend + 1, i + 1)
    at_edge, before, bend, scatter = _at_edge(time[trend], tip[trend])
    resultant = math.hypot(*at_edge)
    if normal is None or w is None:
        flags.append("resultant-speed")
        direction = at_edge / resultant if resultant > 0 else np.array([1.0, 0.0, 0.0])
    else:
        direction = motion.attitude[i] @ _unit(normal)
    value = float(at_edge @ direction)
    n_rest = rest[1] - rest[0]
    after = None if rest_after is None else slice(rest_after[0] - rest[0], rest_after[1] - rest[0])
    by_error = speed_uncertainty(
        motion,
        f[rest[0] : stop],
        direction,
        arm,
        errors,
        rate,
        n_rest,
        gyro=w is not None,
        rest_after=after,
    )
    a0 = float(before @ direction)
    doubts = {name: float(u[i]) for name, u in by_error.items()}
    doubts["rest"] = motion.rest_speed / math.sqrt(3)
    doubts["lever_arm"] = u_lever_arm * math.hypot(
        *np.cross(motion.angular_rate[i], _back(motion, i, direction))
    )
    doubts["edge"] = math.hypot(a0 * edge.u, float(bend[0] @ direction))
    doubts["sampling"] = _halving(motion.acceleration[: i + 1] @ direction, rate)
    if "resultant-speed" not in flags:
        doubts["normal"] = u_normal * math.sqrt(max(resultant**2 - value**2, (u_normal * value) ** 2))
    if w is None:
        flags.append("no-gyro")
        doubts["turning"] = WITHOUT_GYRO * abs(value)
    estimate = combine(value, **doubts)
    usable = _usable(f, rest[0], stop, edge.time, rate, acceleration_limit)
    speed = tip @ direction
    constant = estimate.u**2 - sum(float(u[i]) ** 2 for u in by_error.values())
    u_speed = np.sqrt(sum(u**2 for u in by_error.values()) + max(constant, 0.0))
    u_a0 = math.hypot(
        scatter,
        float(bend[1] @ direction) / BEND,
        0.0 if w is not None else WITHOUT_GYRO * math.hypot(*motion.acceleration[i]) + gravity,
        errors.acceleration_bias,
        errors.acceleration_scale * abs(a0),
        _slope(u_speed, rate, i, n_trend),
    )
    withheld = {"still-not-g", "gyro-limit", "imu-clipped"} & set(flags)
    return ApproachSpeed(
        value=math.nan if withheld else value,
        u=math.nan if withheld else estimate.u,
        contributions=estimate.contributions,
        flags=tuple(flags),
        resultant=resultant,
        direction=motion.attitude[i].T @ direction,
        acceleration_before=a0,
        u_acceleration_before=u_a0,
        time=time[:usable],
        speed=speed[:usable],
        acceleration=np.gradient(speed, 1 / rate)[:usable],
        u_speed=u_speed[:usable],
    )


# -- guards


def _guards(
    f: Floats,
    w: Floats | None,
    rest: tuple[int, int],
    read_at: int,
    edge: float,
    rate: float,
    gravity: float,
    longest: float,
    acceleration_limit: float | None,
    rate_limit: float | None,
) -> list[str]:
    flags = []
    if not reads_gravity(f[rest[0] : rest[1]].mean(axis=0), gravity=gravity):
        flags.append("still-not-g")
    if _cut(f, rest[0], read_at + 1, acceleration_limit).size:
        flags.append("imu-clipped")
    if w is not None and _cut(w, rest[0], read_at + 1, rate_limit).size:
        flags.append("gyro-limit")
    if edge - rest[1] / rate > longest:
        flags.append("long-integration")
    return flags


def _cut(samples: Floats, first: int, stop: int, limit: float | None) -> NDArray[np.intp]:
    """Sample numbers at which an axis stands at the end of its range."""
    if limit is not None:
        at_end = np.abs(samples[first:stop]) >= AT_LIMIT * limit
        return np.flatnonzero(at_end.any(axis=1)) + first
    cut = [
        np.arange(max(run.first, first), min(run.last + 1, stop))
        for axis in samples.T
        for run in find_bad_samples(axis)
        if run.code == "clipped"
    ]
    return np.unique(np.concatenate(cut)) if cut else np.empty(0, dtype=np.intp)


def _usable(
    f: Floats, first: int, stop: int, edge: float, rate: float, acceleration_limit: float | None
) -> int:
    """How many samples from ``first`` on come before the first one of the contact that is cut off."""
    cut = _cut(f, first, stop, acceleration_limit)
    cut = cut[cut >= math.floor(edge * rate) - 2]
    return int(cut[0]) - first if cut.size else stop - first


# -- what is read


def _unit(vector: ArrayLike) -> Floats:
    v = np.asarray(vector, dtype=float)
    size = float(np.linalg.norm(v))
    if v.shape != (3,) or not (math.isfinite(size) and size > 0):
        raise ValueError(f"the normal must be a direction of three components, got {v.tolist()}")
    return np.asarray(v / size)


def _at_edge(time: Floats, velocity: Floats) -> tuple[Floats, Floats, Floats, float]:
    """
    Velocity and acceleration at time 0 by a parabola through the times before it.

    Beside them how far a straight line through the later half carries otherwise, and the standard
    uncertainty of the acceleration from scatter alone.
    """
    design = np.stack([np.ones_like(time), time, time**2], axis=1)
    parabola, *_ = np.linalg.lstsq(design, velocity, rcond=None)
    left = velocity - design @ parabola
    half = time.size // 2
    line = np.polynomial.polynomial.polyfit(time[half:], velocity[half:], 1)
    variance = float((left**2).sum()) / 3 / max(time.size - 3, 1)
    scatter = math.sqrt(variance * float(np.linalg.inv(design.T @ design)[1, 1]))
    return parabola[0], parabola[1], parabola[:2] - line, scatter


def _back(motion: Motion, i: int, direction: Floats) -> Floats:
    """The direction in the sensor's axes."""
    return np.asarray(motion.attitude[i].T @ direction)


def _halving(along: Floats, rate: float) -> float:
    """A third of the change of the integral when every second sample is left out."""
    even = along if along.size % 2 else along[1:]
    whole = float(np.trapezoid(even)) / rate
    return abs(whole - float(np.trapezoid(even[::2])) * 2 / rate) / 3


def _slope(u_speed: Floats, rate: float, i: int, n: int) -> float:
    return abs(float(u_speed[i] - u_speed[i - n])) * rate / n
