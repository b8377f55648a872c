"""Simulated limbs: a striking point on its way to a target, and an inertial sensor that rides along."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._rotation import chain, rotation_matrices
from quintain.numerics.free_fall import STANDARD_GRAVITY
from quintain.numerics.imu_errors import ImuErrors

__all__ = ["LIMB_STRIKES", "LimbMotion", "LimbStrike", "SensorReadings", "read_sensor", "simulate_limb"]

Floats = NDArray[np.float64]

FINE_RATE = 10_000.0
"""Rate at which motion is simulated: thirty times the highest frequency in it. [Hz]"""


class LimbStrike(NamedTuple):
    """A kind of strike: time of flight [s], contact speed [m/s], turning and swing of its path [rad]."""

    flight: float
    speed: float
    turning: tuple[float, float, float]
    swing: float


def _degrees(*angles: float) -> tuple[float, float, float]:
    x, y, z = (math.radians(a) for a in angles)
    return x, y, z


LIMB_STRIKES = {
    "straight": LimbStrike(0.20, 8.0, _degrees(70.0, 50.0, 30.0), 0.34),
    "hook": LimbStrike(0.22, 9.0, _degrees(20.0, 30.0, 110.0), 1.83),
    "kick": LimbStrike(0.38, 13.0, _degrees(80.0, 60.0, 120.0), 1.80),
}
"""Invented strikes of plausible size; nothing here was measured."""


class LimbMotion(NamedTuple):
    """
    True motion, in room axes with z up and x into the target.

    ``time`` (n,) [s]; ``contact`` the instant of contact [s]; ``velocity`` (n, 3) of the striking point
    [m/s]; ``attitude`` (n, 3, 3) from sensor to room; ``force`` (n, 3) the specific force [m/s²] and
    ``angular_rate`` (n, 3) the rate [rad/s] that a perfect sensor shows; ``rests`` the times between which
    the limb is still before and after [s].
    """

    time: Floats
    contact: float
    velocity: Floats
    attitude: Floats
    force: Floats
    angular_rate: Floats
    rests: tuple[tuple[float, float], tuple[float, float]]

    @property
    def approach_speed(self) -> float:
        """Speed along the target's normal at contact. [m/s]"""
        return float(np.interp(self.contact, self.time, self.velocity[:, 0]))

    @property
    def normal(self) -> Floats:
        """The target's normal in the sensor's axes at contact."""
        return np.asarray(self.attitude[np.searchsorted(self.time, self.contact)][0])


class SensorReadings(NamedTuple):
    """Acceleration [m/s²] and angular rate [rad/s], shape (n, 3); their rate [Hz], first time [s]."""

    acceleration: Floats
    angular_rate: Floats
    rate: float
    start: float


def simulate_limb(
    strike: LimbStrike,
    generator: np.random.Generator,
    *,
    lever_arm: ArrayLike = (0.0, 0.0, 0.0),
    contact_time: float = 0.018,
    rest: float = 0.6,
    tremor: float = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> LimbMotion:
    r"""
    Simulate one strike from rest to rest.

    Parameters
    ----------
    strike : LimbStrike
        Its kind; time, speed and turning vary by 10-20 % from draw to draw.
    generator : numpy.random.Generator
        Source of the variation.
    lever_arm : array_like, shape (3,)
        From the sensor to the striking point, in the sensor's axes. [m]
    contact_time : float
        Time in which contact turns the speed back to a quarter of it. [s]
    rest : float
        Stillness before and after. [s]
    tremor : float
        Standard deviation of the acceleration of a hand that is held still, around 8 Hz. [m/s²]
    gravity : float
        Acceleration of free fall. [m/s²]

    Returns
    -------
    LimbMotion
        Sampled at 10 kHz.

    Raises
    ------
    ValueError
        If a time is not positive.

    Notes
    -----
    Speed rises along a power of a sine and peaks just before contact; the path's heading swings into the
    target's normal; the attitude turns smoothly throughout. Contact decelerates along a power law, then
    the limb is drawn back. Everything passes a low-pass of 400 Hz, the yielding of tissue.

    Examples
    --------
    >>> motion = simulate_limb(LIMB_STRIKES["straight"], np.random.default_rng(1))
    >>> 6 < motion.approach_speed < 10
    True
    """
    from scipy import signal

    if not (contact_time > 0 and rest > 0):
        raise ValueError(f"contact time and rest must be above 0 s, got {contact_time} and {rest}")
    arm = np.asarray(lever_arm, dtype=float)
    flight = strike.flight * generator.uniform(0.85, 1.2)
    top = strike.speed * generator.uniform(0.8, 1.15)
    power = generator.uniform(1.6, 2.4)
    start = generator.uniform((-0.35, -1.05, -0.35), (0.35, -0.35, 0.35))
    turning = np.array(strike.turning) * generator.uniform(0.7, 1.2, 3) * generator.choice((-1.0, 1.0), 3)
    contact, back = rest + flight, 1.0
    n = round((contact + contact_time + back + rest) * FINE_RATE) + 1
    t = np.arange(n) / FINE_RATE
    u = (t - rest) / flight
    hit = np.clip((t - contact) / contact_time, 0.0, 1.0)
    drawn = np.clip((t - contact - contact_time) / back, 0.0, 1.0)
    # the sine passes its top 7 % before contact, so that the speed peaks about 2 % above contact speed
    rise = np.sin(np.pi / 2 * 1.08 * np.clip(u, 0.0, 1.0)) ** power / math.sin(np.pi / 2 * 1.08) ** power
    speed = top * rise * (1 - 1.25 * hit**1.7) * (1 - drawn) ** 3 * (1 + 3 * drawn)
    heading = strike.swing * (1 - np.clip(u, 0.0, 1.0))
    path = np.stack([np.cos(heading), 0.8 * np.sin(heading), 0.6 * np.sin(heading)], axis=1)
    sos = signal.butter(2, 400.0, fs=FINE_RATE, output="sos")
    velocity = signal.sosfiltfilt(sos, speed[:, None] * path, axis=0)
    share = _smooth(u / 1.02) - _smooth((drawn - 0.1) / 0.8)
    first = rotation_matrices(start[None])[0]
    rates = np.gradient(share, 1 / FINE_RATE)[:, None] * turning
    attitude = first @ chain(rotation_matrices((rates[1:] + rates[:-1]) / (2 * FINE_RATE)))
    tip = np.einsum("nij,nj->ni", attitude, np.cross(rates, arm))
    acceleration = np.gradient(velocity - tip, 1 / FINE_RATE, axis=0)
    if tremor > 0:
        shake = signal.sosfiltfilt(
            signal.butter(2, (4.0, 12.0), "bandpass", fs=FINE_RATE, output="sos"),
            generator.normal(size=(n, 3)),
            axis=0,
        )
        acceleration = acceleration + tremor * shake / shake.std() / math.sqrt(3)
    force = np.einsum("nji,nj->ni", attitude, acceleration + np.array([0.0, 0.0, gravity]))
    end = contact + contact_time + back
    return LimbMotion(t, contact, velocity, attitude, force, rates, ((0.0, rest), (end, end + rest)))


def read_sensor(
    motion: LimbMotion,
    generator: np.random.Generator,
    *,
    errors: ImuErrors | None = None,
    rate: float = 1000.0,
    acceleration_limit: float = 1960.0,
    rate_limit: float = 35.0,
    noise: float = 200e-6 * STANDARD_GRAVITY,
    rate_noise: float = math.radians(0.01),
    gyro_delay: float = 0.0,
) -> SensorReadings:
    r"""
    What an imperfect inertial sensor records of a motion.

    Parameters
    ----------
    motion : LimbMotion
        The true motion.
    generator : numpy.random.Generator
        Draws the sensor's errors and noise.
    errors : ImuErrors, optional
        Standard deviations of its errors; a perfect sensor if not given. A gyro bias ten times the
        stated rest of it is added, as it is before the mean at rest is taken off.
    rate : float
        Sampling rate; a second-order low-pass at 0.4 of it stands in front. [Hz]
    acceleration_limit, rate_limit : float
        Ends of the measuring ranges. [m/s²], [rad/s]
    noise, rate_noise : float
        Noise densities. [m/s²/√Hz], [rad/s/√Hz]
    gyro_delay : float
        By how much the gyro is late against the accelerometer. [s]

    Returns
    -------
    SensorReadings
        Sampled at a random phase.

    Examples
    --------
    >>> generator = np.random.default_rng(1)
    >>> readings = read_sensor(simulate_limb(LIMB_STRIKES["hook"], generator), generator)
    >>> readings.acceleration.shape == readings.angular_rate.shape
    True
    """
    from scipy import signal

    force, rates = motion.force, motion.angular_rate
    if errors is not None:
        normal = generator.normal
        force, rates = (
            force
            + force @ _mixing(errors.acceleration_scale, errors.acceleration_misalignment, normal).T
            + normal(0, errors.acceleration_bias, 3),
            rates
            + rates @ _mixing(errors.rate_scale, errors.rate_misalignment, normal).T
            + force @ normal(0, errors.rate_by_acceleration, (3, 3)).T
            + normal(0, 10 * errors.rate_bias, 3)
            + normal(0, errors.rate_bias, 3) * (motion.time[:, None] > motion.rests[0][1]),
        )
    sos = signal.butter(2, 0.4 * rate, fs=FINE_RATE, output="sos")
    force, rates = (signal.sosfilt(sos, x - x[0], axis=0) + x[0] for x in (force, rates))
    step = round(FINE_RATE / rate)
    first = int(generator.integers(0, step))
    late = round(gyro_delay * FINE_RATE)
    rates = np.concatenate([np.repeat(rates[:1], late, axis=0), rates[: rates.shape[0] - late]])
    force, rates = force[first::step], rates[first::step]
    force = force + generator.normal(0, noise * math.sqrt(0.4 * rate), force.shape)
    rates = rates + generator.normal(0, rate_noise * math.sqrt(0.4 * rate), rates.shape)
    return SensorReadings(
        np.clip(force, -acceleration_limit, acceleration_limit),
        np.clip(rates, -rate_limit, rate_limit),
        FINE_RATE / step,
        first / FINE_RATE,
    )


def _smooth(u: Floats) -> Floats:
    u = np.clip(u, 0.0, 1.0)
    return np.asarray(u**3 * (10 - 15 * u + 6 * u**2))


def _mixing(scale: float, misalignment: float, normal: object) -> Floats:
    matrix: Floats = normal(0, misalignment, (3, 3))  # type: ignore[operator]
    matrix[np.diag_indices(3)] = normal(0, scale, 3)  # type: ignore[operator]
    return matrix
