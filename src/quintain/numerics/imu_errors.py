"""How wrong an inertial sensor may be: standard uncertainties of its errors, by grade."""

from __future__ import annotations

import math
from typing import NamedTuple

from quintain.numerics.free_fall import STANDARD_GRAVITY

__all__ = ["CALIBRATED", "UNCALIBRATED", "ImuErrors"]


class ImuErrors(NamedTuple):
    """
    Standard uncertainties of what is wrong with an inertial sensor, alike on its three axes.

    Biases are what is left after the mean of the still stretch was taken off the gyro; the
    accelerometer's are whole. Misalignment is the angle of each axis towards each other one.
    """

    acceleration_bias: float
    """[m/s²]"""
    acceleration_scale: float
    """[1]"""
    acceleration_misalignment: float
    """[rad]"""
    rate_bias: float
    """[rad/s]"""
    rate_scale: float
    """[1]"""
    rate_misalignment: float
    """[rad]"""
    rate_by_acceleration: float
    """What the gyro shows of an acceleration. [rad/s per m/s²]"""


UNCALIBRATED = ImuErrors(
    acceleration_bias=0.030 * STANDARD_GRAVITY,
    acceleration_scale=0.010,
    acceleration_misalignment=math.radians(1.0),
    rate_bias=math.radians(0.05),
    rate_scale=0.010,
    rate_misalignment=math.radians(1.0),
    rate_by_acceleration=math.radians(0.1) / STANDARD_GRAVITY,
)
"""An inexpensive micromachined sensor as delivered: order of what data sheets state (common practice)."""

CALIBRATED = ImuErrors(
    acceleration_bias=0.003 * STANDARD_GRAVITY,
    acceleration_scale=0.0015,
    acceleration_misalignment=math.radians(0.15),
    rate_bias=math.radians(0.05),
    rate_scale=0.003,
    rate_misalignment=math.radians(0.2),
    rate_by_acceleration=math.radians(0.05) / STANDARD_GRAVITY,
)
"""The same with a six-position calibration and a turned-through gyro (common practice, no source)."""
