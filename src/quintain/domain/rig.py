"""The rig: load cell, mount, plate and pad as used on a day."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from quintain.domain.sensor import Sensor
from quintain.domain.toml_schema import parse_toml, read_toml
from quintain.errors import RigFileError

__all__ = ["AntiAlias", "Calibration", "Cell", "Due", "Mode", "Place", "Plate", "Rig", "RigPad"]


def _number(unit: str = "", **limits: float) -> dict[str, Any]:
    return {"unit": unit, **limits}


@dataclass(frozen=True, slots=True)
class Cell:
    """
    The load cell.

    Parameters
    ----------
    capacity : float
        Rated capacity. [N]
    safe_overload : float or None
        Force beyond which the cell may be damaged. [N]
    serial, maker : str
        What stands on its label.
    direction : str
        'positive' if a push on the pad reads positive, else 'negative'.
    range_limit : float or None
        Largest force the amplifier can show; samples there are clipped. [N]
    stiffness : float or None
        Of the cell with its mount; its own compression is not the pad's. [N/m]
    """

    capacity: float | None = field(default=None, metadata=_number("N", above=0))
    safe_overload: float | None = field(default=None, metadata=_number("N", above=0))
    serial: str = ""
    maker: str = ""
    direction: str = field(default="positive", metadata={"choices": ("positive", "negative")})
    range_limit: float | None = field(default=None, metadata=_number("N", above=0))
    stiffness: float | None = field(default=None, metadata=_number("N/m", above=0))


@dataclass(frozen=True, slots=True)
class Mode:
    """
    One way in which the rig rings.

    ``share`` is the mode's part of the response at zero frequency; the shares of all modes sum to 1.
    """

    natural_frequency: float = field(metadata=_number("Hz", above=0))
    damping_ratio: float = field(metadata=_number("", above=0, at_most=0.99))
    share: float = 1.0
    u_natural_frequency: float | None = field(default=None, metadata=_number("Hz", at_least=0))
    u_damping_ratio: float | None = field(default=None, metadata=_number("", at_least=0))


@dataclass(frozen=True, slots=True)
class AntiAlias:
    """The amplifier's low-pass filter in front of the converter: Butterworth of this cutoff and order."""

    cutoff: float = field(metadata=_number("Hz", above=0))
    order: int = field(default=4, metadata=_number("", at_least=1, at_most=8))


@dataclass(frozen=True, slots=True)
class Calibration:
    """
    From what the chain shows to newtons.

    Parameters
    ----------
    gain : float
        True force over shown force, from drops or reference loads.
    u_gain : float or None
        Its relative standard uncertainty.
    lowest, highest : float or None
        Range of forces over which it was proved. [N]
    date : datetime.date or None
        When.
    input_unit : str
        Unit of a channel that is not yet in newtons, 'V' or 'V/V'; empty if channels come in newtons.
    coefficients : tuple of float
        Newtons per input unit, per its square, per its cube.
    """

    gain: float = field(default=1.0, metadata=_number("", above=0))
    u_gain: float | None = field(default=None, metadata=_number("", at_least=0, at_most=1))
    lowest: float | None = field(default=None, metadata=_number("N", at_least=0))
    highest: float | None = field(default=None, metadata=_number("N", above=0))
    date: date | None = None
    input_unit: str = field(default="", metadata={"choices": ("", "V", "V/V")})
    coefficients: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Plate:
    """
    A plate on its own pad in front of the cell, as taps on it tell; for the force at the glove.

    Uncertainties are relative standard ones.
    """

    mass: float = field(metadata=_number("kg", above=0))
    moving_mass: float = field(metadata=_number("kg", above=0))
    natural_frequency: float = field(metadata=_number("Hz", above=0))
    damping_ratio: float = field(metadata=_number("", above=0, at_most=0.99))
    u_mass: float = field(default=0.02, metadata=_number("", at_least=0, at_most=1))
    u_natural_frequency: float = field(default=0.02, metadata=_number("", at_least=0, at_most=1))
    u_damping_ratio: float = field(default=0.25, metadata=_number("", at_least=0, at_most=1))


@dataclass(frozen=True, slots=True)
class RigPad:
    """
    A pad of the rig's library: force = stiffness * x**exponent * (1 + (x / bottoming)**bottoming_exponent).

    Parameters
    ----------
    name : str
        What the lab calls it.
    stiffness : float
        Constant of the law. [N/m**exponent]
    exponent : float
        Its power.
    bottoming : float or None
        Compression at which it is twice as stiff as the power law; None if never met. [m]
    bottoming_exponent : float
        How suddenly it gets there.
    rate_loss : float
        Loss that grows with the speed of compression. [s/m]
    loss_fraction : float or None
        Part of the energy it keeps.
    proved_to : float or None
        Largest compression seen in drops; beyond it nothing is promised. [m]
    date : datetime.date or None
        When.
    """

    name: str
    stiffness: float = field(metadata=_number("N/m^n", above=0))
    exponent: float = field(default=1.0, metadata=_number("", at_least=0.5, at_most=5))
    bottoming: float | None = field(default=None, metadata=_number("m", above=0))
    bottoming_exponent: float = field(default=8.0, metadata=_number("", at_least=1))
    rate_loss: float = field(default=0.0, metadata=_number("s/m", at_least=0))
    loss_fraction: float | None = field(default=None, metadata=_number("", at_least=0, at_most=1))
    proved_to: float | None = field(default=None, metadata=_number("m", above=0))
    date: date | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Where the rig stands; gives the local acceleration of free fall."""

    latitude: float = field(metadata=_number("degrees", at_least=-90, at_most=90))
    altitude: float = field(default=0.0, metadata=_number("m", at_least=-500, at_most=9000))


@dataclass(frozen=True, slots=True)
class Due:
    """How many days each kind of check may rest; the lab's own choice (common practice, no source)."""

    tap_days: float = field(default=7.0, metadata=_number("days", above=0))
    drops_days: float = field(default=30.0, metadata=_number("days", above=0))
    calibration_days: float = field(default=365.0, metadata=_number("days", above=0))


@dataclass(frozen=True, slots=True)
class Rig:
    """
    A rig as its ``rig.toml`` describes it; ``pad`` names the pad in use among its ``pads``, ``sensor`` is the
    inertial sensor that rides on the limb.

    Examples
    --------
    >>> rig = Rig.from_toml('''
    ... name = "wall pad (invented)"
    ... [[modes]]
    ... natural_frequency = 212.0
    ... damping_ratio = 0.02
    ... ''')
    >>> rig.modes[0].natural_frequency
    212.0
    """

    name: str
    note: str = ""
    cell: Cell = Cell()
    modes: tuple[Mode, ...] = ()
    anti_alias: AntiAlias | None = None
    calibration: Calibration = Calibration()
    place: Place | None = None
    pad: str = ""
    pads: tuple[RigPad, ...] = ()
    plate: Plate | None = None
    sensor: Sensor | None = None
    due: Due = Due()

    def __post_init__(self) -> None:
        total = sum(mode.share for mode in self.modes)
        if self.modes and abs(total - 1) > 1e-3:
            raise ValueError(f"the shares of the modes must sum to 1, got {total:g}")
        names = [pad.name for pad in self.pads]
        if len(set(names)) != len(names):
            raise ValueError("two pads have the same name")
        if self.pad and names and self.pad not in names:
            raise ValueError(f"pad {self.pad!r} is none of the pads: {', '.join(names)}")

    @classmethod
    def from_toml(cls, text: str, *, origin: str = "rig") -> Rig:
        """Parse the text of a rig file; errors name ``origin`` and the line."""
        return parse_toml(text, cls, origin=origin, error=RigFileError)

    @classmethod
    def load(cls, path: str | Path) -> Rig:
        """
        Read a rig file.

        Raises
        ------
        RigFileError
            If the file cannot be read or holds an entry that cannot be used.
        """
        return read_toml(path, cls, what="rig", error=RigFileError)

    @property
    def version(self) -> str:
        """Hash of everything the rig file states: the same text of numbers, the same version."""
        content = json.dumps(dataclasses.asdict(self), sort_keys=True, default=str)
        return hashlib.sha256(content.encode()).hexdigest()[:12]
