"""All settings of an analysis, named and versioned."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from quintain.domain.history import hash_of
from quintain.domain.toml_schema import parse_toml, read_toml
from quintain.errors import MethodFileError

__all__ = ["Correction", "Detection", "Method", "PulseSettings"]


def _number(unit: str = "", **limits: float) -> dict[str, Any]:
    return {"unit": unit, **limits}


@dataclass(frozen=True, slots=True)
class Detection:
    """
    How strikes are found.

    Parameters
    ----------
    threshold_sigmas : float
        An event begins where the force leaves the zero by this many times the noise.
    minimum_force : float
        Events with a lower peak are not strikes. [N]
    merge_gap : float
        Contacts closer than this are one strike. [s]
    quiet_time : float
        Rest before an event from which zero and noise are taken. [s]
    """

    threshold_sigmas: float = field(default=8.0, metadata=_number("", at_least=3))
    minimum_force: float = field(default=40.0, metadata=_number("N", at_least=0))
    merge_gap: float = field(default=0.027, metadata=_number("s", at_least=0, at_most=1))
    quiet_time: float = field(default=0.5, metadata=_number("s", at_least=0.05, at_most=30))


@dataclass(frozen=True, slots=True)
class Correction:
    """
    How the rig's ringing is removed.

    ``kind`` is 'smoother', or 'none' to leave it in. ``refine`` lets every strike refine natural
    frequency and damping. ``cfc`` adds the trade's channel frequency class filter for comparison, 0 none.
    ``contact_force`` also states the force at the glove, through the rig file's plate; it is less certain.
    """

    kind: str = field(default="smoother", metadata={"choices": ("smoother", "none")})
    refine: bool = True
    grid: int = field(default=8, metadata=_number("", at_least=1, at_most=64))
    contact_force: bool = False
    cfc: int = field(default=0, metadata={"choices": (0, 60, 180, 600, 1000)})


@dataclass(frozen=True, slots=True)
class PulseSettings:
    """
    How pulse quantities are read.

    The rate of force development is the mean slope between two parts of the peak. ``stop_after`` ends
    the impulse to the stop so long after the start of contact [s]; zero leaves it out unless the limb's
    own speed says when it stops.
    """

    rise_from: float = field(default=0.2, metadata=_number("", at_least=0.05, at_most=0.9))
    rise_to: float = field(default=0.8, metadata=_number("", at_least=0.1, at_most=0.95))

    stop_after: float = field(default=0.0, metadata=_number("s", at_least=0, at_most=5))

    def __post_init__(self) -> None:
        if not self.rise_from < self.rise_to:
            raise ValueError(f"rise_from ({self.rise_from}) must be below rise_to ({self.rise_to})")


@dataclass(frozen=True, slots=True)
class Method:
    """
    Settings of an analysis.

    Examples
    --------
    >>> Method.from_toml('name = "quiet rooms"\\n[detection]\\nminimum_force = 15.0').detection.minimum_force
    15.0
    """

    name: str = "standard"
    version: int = field(default=1, metadata=_number("", at_least=1))
    detection: Detection = Detection()
    correction: Correction = Correction()
    pulse: PulseSettings = PulseSettings()

    @classmethod
    def from_toml(cls, text: str, *, origin: str = "method") -> Method:
        """Parse the text of a method file; errors name ``origin`` and the line."""
        return parse_toml(text, cls, origin=origin, error=MethodFileError)

    @classmethod
    def load(cls, path: str | Path) -> Method:
        """
        Read a method file.

        Raises
        ------
        MethodFileError
            If the file cannot be read or holds an entry that cannot be used.
        """
        return read_toml(path, cls, what="method", error=MethodFileError)

    def settings(self) -> dict[str, Any]:
        """Every setting, defaults too."""
        return dataclasses.asdict(self)

    @property
    def sha256(self) -> str:
        """Hash of every setting."""
        return hash_of(self.settings())
