"""Drops of a known mass, and what they say about the measuring chain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quintain.domain.flags import Flag
from quintain.domain.history import Step
from quintain.domain.measured import Measured
from quintain.domain.pad import Pad
from quintain.domain.rig import Rig
from quintain.domain.strike import ForceCurve
from quintain.errors import UsageError

__all__ = ["DROP_CAUTION", "Agreement", "Drop", "DropSettings", "DropTest"]

DROP_CAUTION = (
    "Falling masses injure: guide the mass, catch it after its bounces, and keep feet and hands clear of its "
    "path. A bare or thinly padded cell can be overloaded. Local rules and licensed practice come first."
)


@dataclass(frozen=True, slots=True)
class DropSettings:
    """
    What is known of the drops beside the recording.

    Parameters
    ----------
    mass : float
        Falling mass. [kg]
    heights : tuple of float
        None, one for all drops, or one for each, from the striking face at release to the pad at rest. [m]
    u_mass : float or None
        Standard uncertainty of the mass; 0.05 % of it if None. [kg]
    u_height : float
        Standard uncertainty of each height. [m]
    latitude, altitude : float or None
        Where the rig stands; the rig file's place if None. [degrees], [m]
    gravity, u_gravity : float or None
        Local acceleration of free fall, if measured; overrides the place. [m/s²]
    cell_stiffness : float or None
        Force over compression of the cell, for the pad's compression. [N/m]
    """

    mass: float
    heights: tuple[float, ...] = ()
    u_mass: float | None = None
    u_height: float = 0.001
    latitude: float | None = None
    altitude: float | None = None
    gravity: float | None = None
    u_gravity: float | None = None
    cell_stiffness: float | None = None

    def __post_init__(self) -> None:
        _bounded("mass", self.mass, 0.05, 500.0, "kg")
        for height in self.heights:
            _bounded("height", height, 0.005, 20.0, "m")
        _bounded("u_height", self.u_height, 0.0, 1.0, "m")
        optional = {
            "u_mass": (self.u_mass, 0.0, self.mass, "kg"),
            "latitude": (self.latitude, -90.0, 90.0, "degrees"),
            "altitude": (self.altitude, -500.0, 9000.0, "m"),
            "gravity": (self.gravity, 9.7, 9.9, "m/s²"),
            "u_gravity": (self.u_gravity, 0.0, 0.1, "m/s²"),
            "cell stiffness": (self.cell_stiffness, 1e3, 1e12, "N/m"),
        }
        for name, (value, low, high, unit) in optional.items():
            if value is not None:
                _bounded(name, value, low, high, unit)


def _bounded(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise UsageError(
            f"{name}: expected between {low:g} and {high:g} {unit} for a drop, got {value:g} {unit}"
        )


@dataclass(frozen=True, slots=True)
class Drop:
    """
    One drop with all its bounces.

    Parameters
    ----------
    number : int
        Place in the recording, from 1.
    start : float
        First touch on the clock of the recording; where none was found, where the drop was expected. [s]
    starts : tuple of float
        All contact starts that were followed. [s]
    quantities : mapping of str to Measured
        By glossary name; what is not in it is not stated, and a flag or reason says why.
    verdict : str
        'pass', 'fail' or 'undecided'.
    e_n : float or None
        Deviation of the gain from 1 over its expanded uncertainty.
    reasons : tuple of str
        Why, in plain words.
    flags : tuple of Flag
        Doubts, each with a stable code.
    others : mapping of str to float
        Speeds by the usual short cuts, for comparison only. [m/s]
    curve : ForceCurve or None
        Force of the first contact, for figures.
    pad : Pad or None
        What the first contact tells of the pad.
    """

    number: int
    start: float
    starts: tuple[float, ...]
    quantities: Mapping[str, Measured]
    verdict: str
    e_n: float | None
    reasons: tuple[str, ...]
    flags: tuple[Flag, ...]
    others: Mapping[str, float]
    curve: ForceCurve | None = None
    pad: Pad | None = None


@dataclass(frozen=True, slots=True)
class Agreement:
    """Speed by force against speed by height, over several drops (Bland and Altman 1986; a line)."""

    n: int
    bias: float
    """Mean of force less height. [m/s]"""
    bias_interval: tuple[float, float]
    lower: float
    upper: float
    """Limits of agreement, 1.96 standard deviations. [m/s]"""
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]
    slope: float | None
    """Of force over height; None if all heights are the same. [1]"""
    slope_interval: tuple[float, float] | None
    intercept: float | None
    """[m/s]"""
    intercept_interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class DropTest:
    """
    All drops of one recording, and the verdict on the chain.

    Parameters
    ----------
    path, sha256, n_bytes, channel, unit_in_file, rate, duration, rig
        As for :class:`~quintain.domain.analysis.Analysis`.
    settings : mapping
        Mass, heights, gravity and their uncertainties, as used.
    drops : tuple of Drop
        In order of time.
    quantities : mapping of str to Measured
        ``gain`` and ``gain_without_height`` from all drops together, where they could be had.
    verdict : str
        'pass', 'fail' or 'undecided'.
    e_n : float or None
        Of the gain that was judged.
    reasons : tuple of str
        Why, in plain words.
    agreement : Agreement or None
        From three drops with heights on.
    flags : tuple of Flag
        Doubts about the recording as a whole.
    history : tuple of Step
        What was done.
    quintain : str
        Version of the software.
    caution : str
        What everyone who drops masses must have read.
    started : datetime.datetime or None
        When the recording began, where its file tells.
    """

    path: str
    sha256: str
    n_bytes: int
    channel: str
    unit_in_file: str
    rate: float
    duration: float
    rig: Rig | None
    settings: Mapping[str, Any]
    drops: tuple[Drop, ...]
    quantities: Mapping[str, Measured]
    verdict: str
    e_n: float | None
    reasons: tuple[str, ...]
    agreement: Agreement | None
    flags: tuple[Flag, ...]
    history: tuple[Step, ...]
    quintain: str
    caution: str = DROP_CAUTION
    started: datetime | None = None
