"""An inertial sensor of a rig: how it sits on the limb, its ranges and its calibration."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from quintain.numerics.six_position import SixPositionCalibration

__all__ = ["Sensor", "SensorCalibration"]


def _number(unit: str = "", **limits: float) -> dict[str, Any]:
    return {"unit": unit, **limits}


@dataclass(frozen=True, slots=True)
class SensorCalibration:
    """
    A six-position calibration as a rig file holds it: ``matrix @ (shown - bias)``, the matrix row by row.

    ``bias`` [m/s²] and ``matrix`` [1] with standard uncertainties ``u_bias`` [m/s²], ``u_scale`` [1],
    ``u_misalignment`` [rad]; ``residual`` is what the fit left [m/s²].
    """

    bias: tuple[float, ...]
    matrix: tuple[float, ...]
    u_bias: float = field(metadata=_number("m/s²", at_least=0))
    u_scale: float = field(metadata=_number("", at_least=0))
    u_misalignment: float = field(metadata=_number("rad", at_least=0))
    residual: float = field(default=0.0, metadata=_number("m/s²", at_least=0))
    date: datetime.date | None = None

    def __post_init__(self) -> None:
        if len(self.bias) != 3 or len(self.matrix) != 9:
            raise ValueError(
                f"expected 3 numbers of bias and 9 of matrix, got {len(self.bias)} and {len(self.matrix)}"
            )

    @classmethod
    def of(cls, fit: SixPositionCalibration, day: datetime.date | None = None) -> SensorCalibration:
        """Take over a fit."""
        return cls(
            tuple(fit.bias.tolist()),
            tuple(fit.matrix.ravel().tolist()),
            fit.u_bias,
            fit.u_scale,
            fit.u_misalignment,
            fit.residual,
            day,
        )

    def to_fit(self) -> SixPositionCalibration:
        """As the numerics use it."""
        return SixPositionCalibration(
            np.array(self.bias),
            np.array(self.matrix).reshape(3, 3),
            self.u_bias,
            self.u_scale,
            self.u_misalignment,
            self.residual,
        )


@dataclass(frozen=True, slots=True)
class Sensor:
    """
    An inertial sensor as the ``[sensor]`` table of a rig file states it.

    Parameters
    ----------
    name : str
        What the lab calls it.
    serial, note : str
        What stands on its label; anything else.
    lever_arm : tuple of float
        From the sensor to the striking point, in the sensor's axes. [m]
    u_lever_arm : float
        Standard uncertainty of each component. [m]
    normal : tuple of float or None
        Direction into the target in the sensor's axes at contact; the resultant speed without it. [1]
    u_normal : float
        Standard uncertainty of its angle. [rad]
    straight : bool
        Says that strikes are straight, which an accelerometer without a gyro rests on.
    acceleration_limit, rate_limit : float or None
        Ends of the measuring ranges. [m/s²], [rad/s]
    acceleration, angular_rate : tuple of str
        Names of the three channels each, in the order x, y, z; found by quantity and name where empty.
    calibration : SensorCalibration or None
        Of the accelerometer, from its six sides.

    Examples
    --------
    >>> Sensor("wrist (invented)", lever_arm=(0.08, 0.0, 0.0)).u_lever_arm
    0.01
    """

    name: str
    serial: str = ""
    note: str = ""
    lever_arm: tuple[float, ...] = (0.0, 0.0, 0.0)
    u_lever_arm: float = field(default=0.01, metadata=_number("m", at_least=0))
    normal: tuple[float, ...] | None = None
    u_normal: float = field(default=0.1, metadata=_number("rad", at_least=0, at_most=1))
    straight: bool = False
    acceleration_limit: float | None = field(default=None, metadata=_number("m/s²", above=0))
    rate_limit: float | None = field(default=None, metadata=_number("rad/s", above=0))
    acceleration: tuple[str, ...] = ()
    angular_rate: tuple[str, ...] = ()
    calibration: SensorCalibration | None = None

    def __post_init__(self) -> None:
        for name in ("lever_arm", "normal", "acceleration", "angular_rate"):
            entries = getattr(self, name)
            if entries and len(entries) != 3:
                raise ValueError(f"{name}: expected three entries, x, y, z, got {len(entries)}")
        if self.normal is not None and not any(self.normal):
            raise ValueError("normal: expected a direction, got no length")

    def entries(self) -> dict[str, Any]:
        """What is stated, by entry, as the table of a rig file holds it."""
        found = _stated(self)
        if self.calibration is not None:
            found["calibration"] = _stated(self.calibration)
        return found


def _stated(thing: Sensor | SensorCalibration) -> dict[str, Any]:
    stated = ((name, getattr(thing, name)) for name in thing.__dataclass_fields__)
    return {name: value for name, value in stated if value is not None and value not in ("", ())}
