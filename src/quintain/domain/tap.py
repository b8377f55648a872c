"""A tap test: how a rig rings, and what that allows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quintain.domain.flags import Flag
from quintain.domain.history import Step
from quintain.domain.measured import Measured

__all__ = ["TAP_CAUTION", "Tap", "TapMode", "TapTest", "TrustedPulse"]

TAP_CAUTION = (
    "Tap with a light hammer or a knuckle, never hard on a bare cell: a stiff blow can overload it. "
    "Check mount and wall before anyone strikes. Local rules and licensed practice come first."
)


@dataclass(frozen=True, slots=True)
class Tap:
    """
    One tap in a recording.

    ``orders`` is the table the number of modes was chosen from: modes, information criterion, residual
    standard deviation [unit of the channel].
    """

    path: str
    start: float
    """First sample of the free decay, on the clock of the recording. [s]"""
    duration: float
    """Length of the free decay used. [s]"""
    natural_frequency: tuple[float, ...]
    damping_ratio: tuple[float, ...]
    orders: tuple[tuple[int, float, float], ...]
    flags: tuple[Flag, ...]


@dataclass(frozen=True, slots=True)
class TapMode:
    """
    A mode on which the taps agree.

    ``share`` is its part of the static response; ``spread`` the standard deviation of its natural frequency
    between taps beyond their own uncertainty [Hz]; ``over_least`` its uncertainty in one tap over the
    Cramer-Rao bound; ``candidates`` the natural frequencies [Hz] it could be folded from.
    """

    natural_frequency: Measured
    damping_ratio: Measured
    share: float
    spread: float
    n_seen: int
    over_least: float
    candidates: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class TrustedPulse:
    """Shortest pulse [s] whose raw peak is within the tolerance, and the pulse shape that decides."""

    tolerance: float
    duration: float
    shape: str


@dataclass(frozen=True, slots=True)
class TapTest:
    """
    What one or several tap recordings tell of a rig.

    Parameters
    ----------
    inputs : tuple of (str, str)
        Path and SHA-256 of each recording.
    channel, unit : str
        Channel that was analysed, and its unit.
    rates : tuple of float
        Sampling rate of each recording. [Hz]
    modes : tuple of TapMode
        By rising natural frequency.
    taps : tuple of Tap
        In the order of the files and of time.
    shortest_pulses : tuple of TrustedPulse
        Without any correction of the ringing.
    shortest_corrected_pulse : float or None
        With the correction; None where the rate forbids it. [s]
    bandwidth : float
        Frequency up to which a steady sine is read within 5 %. [Hz]
    moving_mass, moving_stiffness : Measured or None
        From a second recording with a known mass added.
    left_out : tuple of float
        Natural frequencies seen in too few taps. [Hz]
    flags : tuple of Flag
        Doubts about the whole.
    history : tuple of Step
        What was done.
    started : datetime.datetime or None
        When the first of the recordings began, where their files tell.
    """

    inputs: tuple[tuple[str, str], ...]
    channel: str
    unit: str
    rates: tuple[float, ...]
    modes: tuple[TapMode, ...]
    taps: tuple[Tap, ...]
    shortest_pulses: tuple[TrustedPulse, ...]
    shortest_corrected_pulse: float | None
    bandwidth: float
    moving_mass: Measured | None
    moving_stiffness: Measured | None
    left_out: tuple[float, ...]
    flags: tuple[Flag, ...]
    history: tuple[Step, ...]
    started: datetime | None = None

    @property
    def main_mode(self) -> TapMode:
        """The mode that carries most of the static response."""
        return max(self.modes, key=lambda mode: mode.share)
