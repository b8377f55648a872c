"""Carry measured strikes to other pads of the rig's library."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quintain.domain.flags import flag
from quintain.domain.measured import Contribution, Measured
from quintain.domain.rig import Rig, RigPad
from quintain.domain.translation import Chain, Translation
from quintain.errors import RecordingError, UsageError
from quintain.numerics.bodies import Cell, Target
from quintain.numerics.pad_law import PadLaw
from quintain.numerics.resonator import Mode
from quintain.numerics.translate import RATE, Blow, show_through_chain, translate_blow

__all__ = ["MeasuredBlow", "blows_of_answer", "translate_blows"]


@dataclass(frozen=True, slots=True)
class MeasuredBlow:
    """What a translation needs of a strike; each (value, standard uncertainty) in SI units."""

    number: int
    mass: tuple[float, float]
    speed: tuple[float, float]
    peak: tuple[float, float]
    acceleration: float = 0.0
    grows: bool = False


def translate_blows(
    blows: Iterable[MeasuredBlow],
    *,
    rig: Rig,
    to: str,
    moving_mass: float | None = None,
    chain: Chain | None = None,
    u_stiffness: float = 0.03,
) -> tuple[Translation, ...]:
    """
    Carry blows from the rig's pad in use to another of its library.

    Parameters
    ----------
    blows : iterable of MeasuredBlow
        As measured on ``rig.pad``.
    rig : Rig
        With its library of pads and its first mode.
    to : str
        Name of the other pad.
    moving_mass : float, optional
        Mass in front of the cell's gauge; without it the cell is taken as rigid and flagged so. [kg]
    chain : Chain, optional
        Another chain whose uncorrected peak is wanted beside it.
    u_stiffness : float
        Relative standard uncertainty of both pads' stiffness. [1]

    Returns
    -------
    tuple of Translation
        One for each blow, in order.

    Raises
    ------
    UsageError
        If a pad is not in the library, or a value makes no sense.
    """
    here, there = _pad(rig, rig.pad), _pad(rig, to)
    cell = None
    if moving_mass is not None and rig.modes:
        main = max(rig.modes, key=lambda mode: mode.share)
        cell = Cell(moving_mass, main.natural_frequency, main.damping_ratio)
    done = []
    for blow in blows:
        try:
            found = translate_blow(
                Blow(
                    blow.mass[0],
                    blow.speed[0],
                    blow.acceleration,
                    blow.mass[1],
                    blow.speed[1],
                    grows=blow.grows,
                ),
                measured_peak=blow.peak[0],
                u_measured_peak=blow.peak[1],
                hit=Target(_law(here), cell=cell),
                to=Target(_law(there), cell=cell),
                u_stiffness_hit=u_stiffness,
                u_stiffness_to=u_stiffness,
                proved_depth_hit=here.proved_to,
                proved_depth_to=there.proved_to,
            )
        except ValueError as problem:
            raise UsageError(f"strike {blow.number}: {problem}") from None
        flags = [flag(code) for code in found.flags]
        if cell is None:
            flags.append(flag("cell-compliance-unknown"))
        peak = None
        shown = None
        if math.isfinite(found.peak_force.value):
            parts = [Contribution(c.name, c.u) for c in found.peak_force.contributions]
            peak = Measured.of("translated_peak", found.peak_force.value, parts)
            if chain is not None:
                ringing = chain.natural_frequency
                seen = show_through_chain(
                    found.force, RATE, cutoff=chain.cutoff, sampling_rate=chain.rate,
                    modes=[] if ringing is None else [Mode(ringing, chain.damping_ratio)],
                )  # fmt: skip
                shown = (seen.lowest, seen.mean, seen.highest)
        done.append(Translation(blow.number, to, peak, found.ratio, found.depth, tuple(flags), shown))
    return tuple(done)


def blows_of_answer(path: str | Path) -> tuple[tuple[MeasuredBlow, ...], tuple[int, ...], str]:
    """
    Take the blows from what ``quintain analyse --json`` printed.

    Parameters
    ----------
    path : path
        The file with its answer.

    Returns
    -------
    blows : tuple of MeasuredBlow
        Strikes with speed, effective mass and peak.
    left_out : tuple of int
        Numbers of the strikes that lack one of them.
    sha256 : str
        Hash of the file.

    Raises
    ------
    RecordingError
        If the file cannot be read or is no answer of ``analyse``.
    """
    try:
        content = Path(path).read_bytes()
        found = json.loads(content)
        strikes = found["results"] if found["command"] == "analyse" else None
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise RecordingError(f"{path}: cannot be read as an answer of 'analyse --json': {problem}") from None
    if strikes is None:
        raise RecordingError(f"{path}: expected an answer of 'analyse --json', got {found['command']!r}")
    blows, left = [], []
    for strike in strikes:
        blow = _blow(strike)
        if blow is None:
            left.append(int(strike["number"]))
        else:
            blows.append(blow)
    return tuple(blows), tuple(left), hashlib.sha256(content).hexdigest()


def _blow(strike: Mapping[str, Any]) -> MeasuredBlow | None:
    names = ("effective_mass", "approach_speed", "peak_force", "impulse_to_stop", "time_to_stop")
    stated = [strike.get(name) for name in names]
    if any(s is None or s["value"] is None for s in stated):
        return None
    mass, speed, peak, impulse, stop = ((s["value"], s["u"] or 0.0) for s in stated if s is not None)
    # the definition of effective mass, solved for the acceleration: J = m (v1 + a0 t_z)
    acceleration = (impulse[0] / mass[0] - speed[0]) / stop[0]
    grows = any(f["code"] == "late-push" for f in strike["flags"])
    return MeasuredBlow(int(strike["number"]), mass, speed, peak, acceleration, grows)


def _pad(rig: Rig, name: str) -> RigPad:
    names = ", ".join(pad.name for pad in rig.pads) or "none"
    if not name:
        raise UsageError(f"rig {rig.name!r} does not say which pad was hit; state pad = one of: {names}")
    for pad in rig.pads:
        if pad.name == name:
            return pad
    raise UsageError(f"rig {rig.name!r} has no pad {name!r}; there are: {names}")


def _law(pad: RigPad) -> PadLaw:
    try:
        return PadLaw(
            pad.stiffness,
            pad.exponent,
            pad.bottoming or math.inf,
            bottoming_exponent=pad.bottoming_exponent,
            rate_loss=pad.rate_loss,
        )
    except ValueError as problem:
        raise UsageError(f"pad {pad.name!r}: {problem}") from None
