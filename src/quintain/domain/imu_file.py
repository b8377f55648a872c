"""The sensor file: how an inertial sensor sits on the limb, its ranges and its calibration."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from quintain.domain.toml_schema import parse_toml, read_toml
from quintain.errors import RigFileError
from quintain.numerics.six_position import SixPositionCalibration

if TYPE_CHECKING:
    from quintain.domain.motion import ImuSetup

__all__ = ["ImuCalibration", "ImuFile"]


def _number(unit: str = "", **limits: float) -> dict[str, Any]:
    return {"unit": unit, **limits}


@dataclass(frozen=True, slots=True)
class ImuCalibration:
    """
    A six-position calibration as a file holds it: ``matrix @ (shown - bias)``, the matrix row by row.

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
    def of(cls, fit: SixPositionCalibration, day: datetime.date | None = None) -> ImuCalibration:
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
class ImuFile:
    """
    What a sensor file states; entries as in :class:`~quintain.domain.motion.ImuSetup`.

    Examples
    --------
    >>> sensor = ImuFile.from_toml('''
    ... name = "wrist (invented)"
    ... lever_arm = [0.08, 0.0, 0.0]
    ... normal = [1.0, 0.0, 0.0]
    ... ''')
    >>> sensor.to_setup().lever_arm
    (0.08, 0.0, 0.0)
    """

    name: str
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
    calibration: ImuCalibration | None = None

    def __post_init__(self) -> None:
        for name in ("lever_arm", "normal", "acceleration", "angular_rate"):
            entries = getattr(self, name)
            if entries and len(entries) != 3:
                raise ValueError(f"{name}: expected three entries, x, y, z, got {len(entries)}")
        if self.normal is not None and not any(self.normal):
            raise ValueError("normal: expected a direction, got no length")

    @classmethod
    def from_toml(cls, text: str, *, origin: str = "sensor") -> ImuFile:
        """Parse the text of a sensor file; errors name ``origin`` and the line."""
        return parse_toml(text, cls, origin=origin, error=RigFileError)

    @classmethod
    def load(cls, path: str | Path) -> ImuFile:
        """
        Read a sensor file.

        Raises
        ------
        RigFileError
            If the file cannot be read or holds an entry that cannot be used.
        """
        return read_toml(path, cls, what="sensor", error=RigFileError)

    def to_toml(self) -> str:
        """Text that :meth:`from_toml` reads back to the same."""
        lines = [f"{name} = {_written(value)}" for name, value in _stated(self) if name != "calibration"]
        if self.calibration is not None:
            lines += ["", "[calibration]"]
            lines += [f"{name} = {_written(value)}" for name, value in _stated(self.calibration)]
        return "\n".join(lines) + "\n"

    def entries(self) -> dict[str, Any]:
        """What is stated, by entry, as a table of a rig file holds it."""
        found = dict(_stated(self))
        if self.calibration is not None:
            found["calibration"] = dict(_stated(self.calibration))
        return found

    def to_setup(self) -> ImuSetup:
        """As the analysis uses it."""
        from quintain.domain.motion import ImuSetup  # here, for the motion knows the rig, which knows this

        arm, normal = self.lever_arm, self.normal
        return ImuSetup(
            lever_arm=(arm[0], arm[1], arm[2]),
            u_lever_arm=self.u_lever_arm,
            normal=None if not normal else (normal[0], normal[1], normal[2]),
            u_normal=self.u_normal,
            straight=self.straight,
            calibration=None if self.calibration is None else self.calibration.to_fit(),
            acceleration_limit=self.acceleration_limit,
            rate_limit=self.rate_limit,
            acceleration=self.acceleration,
            angular_rate=self.angular_rate,
        )


def _stated(thing: ImuFile | ImuCalibration) -> list[tuple[str, Any]]:
    stated = ((name, getattr(thing, name)) for name in thing.__dataclass_fields__)
    return [(name, value) for name, value in stated if value is not None and value not in ("", ())]


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
        return f'"{escaped}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(_written(entry) for entry in value) + "]"
    return value.isoformat() if isinstance(value, datetime.date) else repr(float(value))
