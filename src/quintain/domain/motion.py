"""How fast the limb was: where that is known from, and what it gave for each strike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from quintain.domain.analysis import Analysis
from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.domain.sensor import Sensor
from quintain.numerics.clocks import ClockFit
from quintain.numerics.six_position import SixPositionCalibration

__all__ = [
    "GateTimes",
    "ImuSetup",
    "JoinedMotion",
    "MotionSetup",
    "StrikeMotion",
    "TrackSetup",
    "TypedSpeed",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ImuSetup:
    """
    How an inertial sensor sits on the limb, and what is known of it.

    Parameters
    ----------
    lever_arm : tuple of float
        From the sensor to the striking point, in the sensor's axes. [m]
    u_lever_arm : float
        Standard uncertainty of each component. [m]
    normal : tuple of float or None
        Direction into the target in the sensor's axes at contact; None gives the resultant. [1]
    u_normal : float
        Standard uncertainty of its angle. [rad]
    straight : bool
        Says that strikes are straight, which an accelerometer without a gyro rests on.
    calibration : SixPositionCalibration or None
        Of the accelerometer.
    acceleration_limit, rate_limit : float or None
        Ends of the measuring ranges. [m/s²], [rad/s]
    acceleration, angular_rate : tuple of str
        Names of the three channels each, in the order x, y, z; found by quantity and name where empty.
    edge_step : float
        Least step of acceleration that counts as an impact. [m/s²]
    rest_after : bool
        Whether a rest after the strike is used as well, where nothing was cut off.
    """

    lever_arm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    u_lever_arm: float = 0.01
    normal: tuple[float, float, float] | None = None
    u_normal: float = 0.1
    straight: bool = False
    calibration: SixPositionCalibration | None = None
    acceleration_limit: float | None = None
    rate_limit: float | None = None
    acceleration: tuple[str, ...] = ()
    angular_rate: tuple[str, ...] = ()
    edge_step: float = 40.0
    rest_after: bool = False

    @classmethod
    def of(cls, sensor: Sensor | None) -> ImuSetup:
        """As the rig states it of its sensor; the defaults where it states none."""
        if sensor is None:
            return cls()
        arm, normal, calibration = sensor.lever_arm, sensor.normal, sensor.calibration
        return cls(
            lever_arm=(arm[0], arm[1], arm[2]),
            u_lever_arm=sensor.u_lever_arm,
            normal=None if not normal else (normal[0], normal[1], normal[2]),
            u_normal=sensor.u_normal,
            straight=sensor.straight,
            calibration=None if calibration is None else calibration.to_fit(),
            acceleration_limit=sensor.acceleration_limit,
            rate_limit=sensor.rate_limit,
            acceleration=sensor.acceleration,
            angular_rate=sensor.angular_rate,
        )


@dataclass(frozen=True, slots=True)
class TrackSetup:
    """
    Which tracked point strikes, and what is known of the track.

    Parameters
    ----------
    channels : tuple of str
        Names of its one or three channels of position; found by quantity where empty.
    normal : tuple of float or None
        Direction into the target in the track's axes. [1]
    u_position : float
        Least standard uncertainty of a position. [m]
    u_scale : float
        Relative standard uncertainty of the length scale. [1]
    """

    channels: tuple[str, ...] = ()
    normal: tuple[float, float, float] | None = None
    u_position: float = 0.0
    u_scale: float = 0.01


MotionSetup = ImuSetup | TrackSetup


@dataclass(frozen=True, slots=True)
class TypedSpeed:
    """
    Speeds that somebody states.

    ``speed`` and its standard uncertainty ``u`` [m/s] hold for the session; ``by_strike`` gives others
    by the strike's number, as (speed, standard uncertainty). [m/s]
    """

    speed: float | None = None
    u: float | None = None
    by_strike: Mapping[int, tuple[float, float | None]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class GateTimes:
    """
    Times at which limbs broke two light gates, on the clock of the force.

    ``times`` holds (first, second) [s]; ``spacing`` between the gates and ``distance_to_pad`` behind the
    second [m] with ``u_spacing`` [m]; ``u_time`` of each time [s].
    """

    times: tuple[tuple[float, float], ...]
    spacing: float
    u_spacing: float = 0.001
    u_time: float = 0.0001
    distance_to_pad: float = 0.0


@dataclass(frozen=True, slots=True)
class StrikeMotion:
    """
    Motion of the striking point around one strike.

    Parameters
    ----------
    number : int
        The strike's number.
    approach_speed : Measured or None
        None where a flag withholds it.
    acceleration_before, u_acceleration_before : float or None
        Acceleration along the same direction just before contact. [m/s²]
    time, speed, acceleration, u_speed : ndarray, shape (n,)
        From the start of contact [s], along the direction [m/s], [m/s²], [m/s]; empty for sources that
        give a speed only.
    u_time : float or None
        Standard uncertainty of the alignment of ``time`` with the force. [s]
    u_speed_scale, u_speed_offset : float
        Standard uncertainty of the approach speed in two parts: in proportion to it [1], and the same
        during the whole contact [m/s].
    flags : tuple of Flag
        Doubts.
    """

    number: int
    approach_speed: Measured | None
    acceleration_before: float | None = None
    u_acceleration_before: float | None = None
    time: Floats = field(default_factory=lambda: np.empty(0))
    speed: Floats = field(default_factory=lambda: np.empty(0))
    acceleration: Floats = field(default_factory=lambda: np.empty(0))
    u_speed: Floats = field(default_factory=lambda: np.empty(0))
    u_time: float | None = None
    u_speed_scale: float = 0.0
    u_speed_offset: float = 0.0
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True)
class JoinedMotion:
    """
    An analysis joined with the limb's speed.

    Parameters
    ----------
    analysis : Analysis
        The same with ``approach_speed`` among the quantities of its strikes, and their new flags.
    motions : tuple of StrikeMotion
        One a strike, in the same order.
    source : str
        'imu', 'accelerometer', 'track', 'gates' or 'typed'.
    clock : ClockFit or None
        The line from the clock of the force to that of the motion, and the pairs it rests on.
    unmatched : tuple of float
        Impacts that the force did not see, on the clock of the motion. [s]
    flags : tuple of Flag
        Doubts about the motion as a whole.
    """

    analysis: Analysis
    motions: tuple[StrikeMotion, ...]
    source: str
    clock: ClockFit | None = None
    unmatched: tuple[float, ...] = ()
    flags: tuple[Flag, ...] = ()
