"""
Which errors several strikes share, and which are new with each strike.

One list of everything that the budget of a strike can name. What is new with each strike averages out in a
mean and shows in the scatter of strikes; what strikes share does neither, and cancels in a difference only
as far as both sides share it.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from quintain.domain.rig import Rig

__all__ = [
    "CARRIED",
    "CONTRIBUTIONS",
    "FREE_OF_GAIN",
    "UNKNOWN",
    "Circumstances",
    "Source",
    "Tie",
    "shared_contributions",
    "sources_of",
]


class Tie(NamedTuple):
    """What a contribution is shared by, and how much of its variance is."""

    part: str
    """``gain``, ``sensor``, ``plate``, ``ringing``, ``set-up``, ``pulse`` or ``limb``."""
    share: float = 1.0
    """Correlation of the errors of two strikes that share it. [1]"""


_GAIN = Tie("gain")
"""The cell was calibrated once: every force since is wrong by the same part of itself."""

_SENSOR = Tie("sensor")
"""So was the speed sensor; where it sits and where it points is taken as alike for all, which can only make a
mean look worse than it is."""

_PLATE = Tie("plate")
_RINGING = Tie("ringing")
"""Found once by taps. A correction that finds modes again on every strike still leans on them."""

_SET_UP = Tie("set-up")
"""Cameras, gates and typed speeds: as set up for a session."""

_PULSE = Tie("pulse")
"""What follows from the shape of the pulse comes again with every strike of one type on one pad."""

_CORRECTION = Tie("pulse", 0.75)
"""The corrected force is wrong partly by noise, partly by the shape of the pulse: on the simulated strikes of
the demo lab the peaks of one type on one pad are off by a mean that holds three quarters of the mean square
(decision 0114)."""

_LIMB = Tie("limb")
"""What follows from how a limb moves and pushes comes again with every strike of one type, on any pad."""

CONTRIBUTIONS: Mapping[str, Tie | None] = {
    # force
    "noise": None,
    "zero": None,
    "drift": None,
    "sampling": None,
    "tail": None,
    "gain": _GAIN,
    "start": None,
    "end": None,
    "threshold": _PULSE,
    "lower": _CORRECTION,
    "upper": _CORRECTION,
    "peak": _CORRECTION,
    "force": _CORRECTION,
    "noise and roughness": _CORRECTION,
    "model order": _CORRECTION,
    "natural frequency": _RINGING,
    "damping ratio": _RINGING,
    "plate mass": _PLATE,
    "plate frequency": _PLATE,
    "plate damping": _PLATE,
    "method": _PULSE,
    "shape": _PULSE,
    # approach speed: inertial sensor
    "accelerometer_bias": _SENSOR,
    "accelerometer_scale": _SENSOR,
    "accelerometer_misalignment": _SENSOR,
    "gyro_bias": None,  # what is left after the rest before the strike
    "gyro_scale": _SENSOR,
    "gyro_misalignment": _SENSOR,
    "gyro_by_acceleration": _SENSOR,
    "lever_arm": _SENSOR,
    "normal": _SENSOR,
    "rest": None,
    "edge": None,
    "turning": _LIMB,
    # approach speed: track, gates, typed
    "scatter": None,
    "bending": _LIMB,
    "scale": _SET_UP,
    "contact": None,
    "spacing": _SET_UP,
    "time": None,
    "acceleration": _LIMB,
    "stated": _SET_UP,
    # force and speed together
    "corrected force": _CORRECTION,
    "scale of the speed": _SENSOR,
    "offset of the speed": None,
    "acceleration before contact": None,
    "alignment of clocks": _LIMB,  # set by how far a limb is from one mass under a steady push
    "start of contact": None,
    "push not quite steady": _LIMB,
    "beyond first order": _LIMB,
}
"""Every name that the budget of a strike can hold, and what it is shared by; None: new with each strike."""

CARRIED: Mapping[str, Mapping[str, str]] = {
    "expected_peak": {"impulse": "impulse", "duration": "contact_time"},
    "effective_mass_low": {"impulse": "impulse_to_peak", "speed": "approach_speed"},
    "effective_mass_high": {"impulse": "impulse", "speed": "approach_speed"},
}
"""Contributions that are the whole uncertainty of another quantity of the strike: shared as that one is."""

FREE_OF_GAIN = frozenset({"contact_time", "time_to_peak", "time_to_stop", "approach_speed", "sampling_loss"})
"""Quantities into which the gain does not enter; of others nothing shared is known where it is not stated."""


class Source(NamedTuple):
    """One error that strikes share."""

    part: str
    """As in :class:`Tie`."""
    name: str
    """Name of the contribution."""
    of: str
    """Whose it is, in words: a rig, a sensor, a session, a type of strike on a rig."""
    version: str = ""
    """Hash of what is stated of it: calibrated anew it is another error."""


UNKNOWN = Source("unknown", "", "")
"""Stands where it cannot be told what of an uncertainty is shared."""


class Circumstances(NamedTuple):
    """Under what a strike was measured, as far as it decides which errors it shares with others."""

    rig: Rig | None
    recording: str
    """SHA-256; stands for the rig where no rig is stated."""
    session: str
    """Anything that tells sessions apart; empty for none."""
    type: str
    """Type of strike; empty for none."""
    method: str
    """SHA-256 of the settings."""


def sources_of(where: Circumstances) -> dict[str, tuple[str, str]]:
    """
    Whose errors a strike shares, by part.

    Parameters
    ----------
    where : Circumstances
        Rig, session, type and method of the strike.

    Returns
    -------
    dict of str to (str, str)
        By part of :class:`Tie`: of what, in words, and its version.

    Notes
    -----
    A rig file changes for many reasons; the gain is the same error as long as cell and calibration are stated
    alike, the sensor's as long as the sensor is. Calibrations of one cell on two days, or of two cells with
    the same masses, are taken as independent: a difference between them then looks less certain than it is.

    Examples
    --------
    >>> old = Rig.from_toml('name = "post"\\n[calibration]\\nu_gain = 0.002\\n')
    >>> new = Rig.from_toml('name = "post"\\nnote = "moved"\\n[calibration]\\nu_gain = 0.002\\n')
    >>> at = [sources_of(Circumstances(rig, "", "S-1", "jab", ""))["gain"] for rig in (old, new)]
    >>> at[0] == at[1]
    True
    """
    rig = where.rig
    name = rig.name if rig is not None else f"recording {where.recording[:12]}"
    on = f"{where.type} on {name}" if where.type else name
    stated = [
        ("gain", name, _hash(name, rig.cell.serial, rig.cell.direction, rig.calibration) if rig else ""),
        ("plate", name, _hash(name, rig.plate) if rig else ""),
        ("ringing", name, _hash(name, rig.modes) if rig else ""),
        ("set-up", f"session {where.session}" if where.session else name, ""),
        ("pulse", on, _hash(name, rig.pad if rig else "", where.type, where.method)),
        ("limb", where.type, _hash(where.type, where.method)),
    ]
    sensor = rig.sensor if rig is not None else None
    if sensor is None:
        stated.append(("sensor", name, ""))
    else:
        stated.append(("sensor", sensor.name, _hash(sensor)))
    return {part: (of, version) for part, of, version in stated}


def shared_contributions(
    quantity: str, budgets: Mapping[str, Sequence[tuple[str, float | None]]]
) -> dict[str, float] | None:
    r"""
    Split the uncertainty of one quantity of one strike: what of it other strikes share.

    Parameters
    ----------
    quantity : str
        Glossary name.
    budgets : mapping of str to sequence of (str, float or None)
        Signed contributions of the quantity, and of those in :data:`CARRIED` that it rests on. [their units]

    Returns
    -------
    dict of str to float or None
        Shared part of each contribution, signed; those that are new with each strike are not in it. None
        where it cannot be told: there is no budget, or it holds a name that is not listed. [as the quantity]

    Notes
    -----
    A contribution s whose errors have the correlation r between strikes is
    :math:`\sqrt{r}\,s` of an error that all share and :math:`\sqrt{1-r}\,s` of one that is new
    (JCGM 100:2008, 5.2; derived here). One that is another quantity's whole uncertainty u is
    shared as that one's budget says: each of its shared parts times s/u, with its sign.

    Examples
    --------
    >>> shared_contributions("impulse", {"impulse": [("noise", 0.03), ("gain", 0.04)]})
    {'gain': 0.04}
    >>> shared_contributions("impulse", {"impulse": [("hearsay", 0.03)]}) is None
    True
    """
    own = budgets.get(quantity)
    if not own:
        return None
    found: dict[str, float] = {}
    for name, s in own:
        carrier = CARRIED.get(quantity, {}).get(name)
        if s is None or not math.isfinite(s):
            return None
        if s == 0:
            continue
        if carrier is not None:
            below = shared_contributions(carrier, budgets)
            if below is None:
                return None
            whole = math.hypot(*(u or 0.0 for _, u in budgets[carrier]))
            parts = {part: s * u / whole for part, u in below.items()}
        elif name not in CONTRIBUTIONS:
            return None
        else:
            tie = CONTRIBUTIONS[name]
            parts = {} if tie is None else {name: math.sqrt(tie.share) * s}
        for part, u in parts.items():
            found[part] = found.get(part, 0.0) + u
    return found


def _hash(*stated: object) -> str:
    return hashlib.sha256(json.dumps(stated, sort_keys=True, default=_entry).encode()).hexdigest()[:12]


def _entry(value: object) -> object:
    """What JSON does not know: parts of a rig, dates."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return dataclasses.asdict(value)
    return str(value)
