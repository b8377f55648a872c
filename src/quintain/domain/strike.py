"""A strike: what was measured of one blow, with its doubts and its curves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.domain.rig import Mode

__all__ = ["Contact", "ForceCurve", "LimbCurve", "Strike"]


@dataclass(frozen=True, slots=True)
class Contact:
    """One stretch of contact, on the clock of the recording. [s]"""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class ForceCurve:
    """
    The force on the cell around one strike; times count from the start of contact. [s], [N]

    ``raw`` is less the zero and in newtons, with the ringing in it; ``corrected`` and its standard
    uncertainty ``u_corrected`` lie on their own, finer grid and are empty where no correction is
    honest.
    """

    raw_time: NDArray[np.float64]
    raw: NDArray[np.float64]
    time: NDArray[np.float64]
    corrected: NDArray[np.float64]
    u_corrected: NDArray[np.float64]

    @classmethod
    def nothing(cls) -> ForceCurve:
        """No curve, where none was asked for."""
        empty = np.empty(0)
        return cls(empty, empty, empty, empty, empty)


@dataclass(frozen=True, slots=True)
class LimbCurve:
    """
    Speed and power of the limb around one strike; times count from the start of contact. [s]

    ``speed`` along the target's normal with its standard uncertainty ``u_speed`` [m/s] lies on its own
    ``time``; ``power`` [W] on ``power_time``, during contact only. ``touch`` is where the pad was touched and
    ``stop`` where the limb stopped, both None where they are not seen. ``source`` says in words where
    the speed comes from, ``improve`` what to improve first.
    """

    time: NDArray[np.float64]
    speed: NDArray[np.float64]
    u_speed: NDArray[np.float64]
    power_time: NDArray[np.float64]
    power: NDArray[np.float64]
    touch: float | None = None
    stop: float | None = None
    source: str = ""
    improve: str = ""


@dataclass(frozen=True, slots=True)
class Strike:
    """
    One blow on the pad.

    Parameters
    ----------
    number : int
        Place in the recording, from 1.
    start : float
        Start of the first contact on the clock of the recording. [s]
    contacts : tuple of Contact
        One or several.
    quantities : mapping of str to Measured
        By glossary name; what is not in it is not stated, and a flag says why.
    flags : tuple of Flag
        Doubts, each with a stable code.
    curve : ForceCurve
        For figures and translation to other pads.
    force_kind : str
        Which force it is: 'force_on_cell' or 'contact_force'.
    modes : tuple of Mode
        The rig's ringing as this strike refined it.
    periods_in_pulse, samples_in_pulse : float
        Contact time times natural frequency, and times sampling rate.
    limb : LimbCurve or None
        Speed and power of the limb, where its motion was recorded.
    """

    number: int
    start: float
    contacts: tuple[Contact, ...]
    quantities: Mapping[str, Measured]
    flags: tuple[Flag, ...]
    curve: ForceCurve
    force_kind: str = "force_on_cell"
    modes: tuple[Mode, ...] = ()
    periods_in_pulse: float | None = None
    samples_in_pulse: float | None = None
    limb: LimbCurve | None = None

    @property
    def sound(self) -> bool:
        """Whether no doubt was raised."""
        return not self.flags
