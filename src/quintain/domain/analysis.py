"""The strikes of one recording with everything needed to follow them back to the bytes."""

from __future__ import annotations

from dataclasses import dataclass

from quintain.domain.clock import ClockMatch
from quintain.domain.flags import Flag
from quintain.domain.history import Step
from quintain.domain.method import Method
from quintain.domain.rig import Rig
from quintain.domain.strike import Strike

__all__ = ["Analysis"]


@dataclass(frozen=True, slots=True)
class Analysis:
    """
    Result of analysing one recording.

    Parameters
    ----------
    path, sha256, n_bytes : str, str, int
        The recording's file and the hash of its bytes.
    channel : str
        The channel that was analysed, with ``unit_in_file`` as the file wrote its unit.
    rate, duration : float
        Sampling rate [Hz] and length of the recording [s].
    rig : Rig or None
        None when no rig file was given.
    method : Method
        All settings.
    strikes : tuple of Strike
        In order of time.
    flags : tuple of Flag
        Doubts about the recording as a whole.
    history : tuple of Step
        What was done.
    quintain : str
        Version of the software.
    clock : ClockMatch or None
        How the clock of the limb's motion was tied to that of the force, where strikes tied them.
    """

    path: str
    sha256: str
    n_bytes: int
    channel: str
    unit_in_file: str
    rate: float
    duration: float
    rig: Rig | None
    method: Method
    strikes: tuple[Strike, ...]
    flags: tuple[Flag, ...]
    history: tuple[Step, ...]
    quintain: str
    clock: ClockMatch | None = None
