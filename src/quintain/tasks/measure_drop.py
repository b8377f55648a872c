"""One dropped mass becomes one drop: from samples to numbers, flags, verdict, and the pad's loop."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quintain.domain.drop import Drop
from quintain.domain.flags import FLAGS, Flag, flag
from quintain.domain.measured import Contribution, Measured
from quintain.domain.pad import Pad
from quintain.domain.strike import ForceCurve
from quintain.numerics.bad_samples import find_bad_samples
from quintain.numerics.drop_numbers import CHAIN_U_GAIN, DropNumbers, analyse_drop
from quintain.numerics.impacts import DropStretch
from quintain.numerics.pad_loop import measure_pad
from quintain.numerics.uncertainty import linear
from quintain.numerics.uncertainty.linear import Estimate
from quintain.numerics.verdict import Verdict
from quintain.tasks.measure import RigInUse

__all__ = ["Known", "Stretch", "measure_drop", "measured"]

Floats = NDArray[np.float64]

SPOILING = {"clipped", "missing-samples", "held-samples"}
"""Samples that are no measurements: with them no impulse can be believed."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of all drops beside the recording, as used; units of ``DropSettings``."""

    mass: float
    u_mass: float
    u_height: float
    gravity: float
    u_gravity: float
    cell_stiffness: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the recording without breaks in time."""

    raw: Floats
    """As recorded. [N]"""
    force: Floats
    """Pushes positive, gain applied, missing samples filled. [N]"""
    rate: float
    """[Hz]"""
    begin: float
    """Time of the first sample on the recording's clock. [s]"""
    drops: tuple[DropStretch, ...]


def measure_drop(
    stretch: Stretch, place: DropStretch, rig: RigInUse, known: Known, height: float | None, number: int
) -> tuple[Drop, DropNumbers]:
    """
    Measure one drop.

    Parameters
    ----------
    stretch : Stretch
        Samples around it.
    place : DropStretch
        Where in them it lies.
    rig : RigInUse
        How the rig rings, its gain and limits.
    known : Known
        Mass, gravity and their doubts.
    height : float or None
        Height of fall. [m]
    number : int
        Place in the recording, from 1.

    Returns
    -------
    drop : Drop
        For people and files.
    numbers : DropNumbers
        The numbers it was made from.
    """
    samples = stretch.force[place.begin : place.end]
    numbers = analyse_drop(
        samples,
        stretch.rate,
        mass=known.mass,
        gravity=known.gravity,
        height=height,
        natural_frequency=[m.natural_frequency for m in rig.modes],
        damping_ratio=[m.damping_ratio for m in rig.modes],
        share=[m.share for m in rig.modes] if rig.modes else None,
        anti_alias_cutoff=rig.anti_alias.cutoff if rig.anti_alias else None,
        anti_alias_order=rig.anti_alias.order if rig.anti_alias else 4,
        first=place.first - place.begin,
        u_mass=known.u_mass,
        u_height=known.u_height,
        u_gravity=known.u_gravity,
        u_gain=rig.u_gain,
    )
    numbers, flags = _with_bad_samples(numbers, stretch.raw[place.begin : place.end], rig)
    begin = stretch.begin + place.begin / stretch.rate
    flags += [flag(code) for code in numbers.flags]
    pad, pad_codes = _pad(numbers, samples, stretch.rate, rig, known)
    flags += [flag(code) for code in pad_codes]
    starts = tuple(float(begin + s) for s in numbers.starts)
    start = starts[0] if starts else stretch.begin + place.first / stretch.rate
    withheld = {name for f in flags for name in FLAGS[f.code].withholds}
    quantities = _quantities(numbers, rig, height, known)
    others = {
        "half_impulse": numbers.speed_by_half_impulse,
        "flight_time": numbers.speed_by_flight_time,
    }
    drop = Drop(
        number=number,
        start=start,
        starts=starts,
        quantities={name: q for name, q in quantities.items() if name not in withheld},
        verdict=numbers.verdict.decision,
        e_n=numbers.verdict.e_n,
        reasons=numbers.verdict.reasons,
        flags=tuple({f.code: f for f in flags}.values()),
        others={name: value for name, value in others.items() if value is not None},
        curve=_curve(numbers, samples, stretch.rate),
        pad=pad,
    )
    return drop, numbers


def measured(name: str, estimate: Estimate) -> Measured:
    """Give an estimate the glossary's name."""
    parts = [Contribution(c.name, abs(c.u)) for c in estimate.contributions]
    if not parts:
        return Measured(name, estimate.value, estimate.u)
    budget = tuple(sorted(parts, key=lambda c: -c.u))
    return Measured(name, estimate.value, estimate.u, budget)


def _with_bad_samples(numbers: DropNumbers, raw: Floats, rig: RigInUse) -> tuple[DropNumbers, list[Flag]]:
    """Undecided where samples of the bounces are no measurements."""
    counts: dict[str, int] = {}
    for run in find_bad_samples(raw, limits=rig.limits):
        counts[run.code] = counts.get(run.code, 0) + run.last - run.first + 1
    spoiled = sorted(SPOILING & set(counts))
    flags = [flag(code, f"{counts[code]} samples") for code in sorted(counts) if code in FLAGS]
    if not spoiled:
        return numbers, flags
    words = tuple(f.message for f in flags if f.code in spoiled)
    return replace(numbers, verdict=Verdict("undecided", numbers.verdict.e_n, words)), flags


def _quantities(
    numbers: DropNumbers, rig: RigInUse, height: float | None, known: Known
) -> dict[str, Measured]:
    found: dict[str, Estimate | None] = {
        "approach_speed": numbers.approach_speed,
        "rebound_speed": numbers.rebound_speed,
        "restitution": numbers.restitution,
        "contact_time": numbers.contact_time,
        "speed_by_height": numbers.speed_by_height,
        "speed_until_rest": numbers.speed_until_rest,
        "friction_excess": numbers.friction,
        "gain": numbers.gain,
        "gain_without_height": numbers.gain_without_height,
    }
    claim = CHAIN_U_GAIN if rig.u_gain is None else rig.u_gain
    for name, estimate in (("impulse", numbers.impulse), ("peak_force", numbers.peak_force)):
        if estimate is not None:
            parts = (*estimate.contributions, linear.Contribution("gain", claim * abs(estimate.value)))
            found[name] = Estimate(estimate.value, float(np.hypot(estimate.u, claim * estimate.value)), parts)
    quantities = {name: measured(name, e) for name, e in found.items() if e is not None}
    quantities["peak_force_raw"] = Measured("peak_force_raw", numbers.peak_force_raw, numbers.noise)
    if height is not None:
        quantities["height"] = Measured("height", height, known.u_height)
    return quantities


def _curve(numbers: DropNumbers, samples: Floats, rate: float) -> ForceCurve | None:
    if numbers.corrected is None or numbers.starts.size == 0:
        return None
    corrected, start = numbers.corrected, float(numbers.starts[0])
    i = round(numbers.corrected_from * rate)
    j = i + round(corrected.time[-1] * rate) + 1
    raw = samples[i:j] - numbers.zero
    return ForceCurve(
        np.arange(i, j) / rate - start,
        raw,
        corrected.time + numbers.corrected_from - start,
        corrected.force,
        corrected.u_force,
    )


def _pad(
    numbers: DropNumbers, samples: Floats, rate: float, rig: RigInUse, known: Known
) -> tuple[Pad | None, tuple[str, ...]]:
    """The pad's loop, where there is a speed and a corrected force to integrate."""
    if numbers.corrected is None or numbers.approach_speed is None or numbers.train is None:
        return None, ()
    if numbers.train.through_plate or numbers.approach_speed.value <= 0:
        # behind a plate the force on the cell is not the force on the falling mass
        return None, ()
    from scipy.interpolate import CubicSpline

    corrected = numbers.corrected
    at = corrected.time + numbers.corrected_from
    reading = CubicSpline(np.arange(samples.size) / rate, samples - numbers.zero)(at)
    try:
        loop = measure_pad(
            corrected.force,
            at,
            reading,
            start=float(numbers.starts[0]),
            u_start=float(numbers.u_starts[0]),
            speed=numbers.approach_speed,
            mass=known.mass,
            gravity=known.gravity,
            u_mass=known.u_mass,
            u_gain=CHAIN_U_GAIN if rig.u_gain is None else rig.u_gain,
            u_force=float(np.median(corrected.u_force)),
            cell_stiffness=known.cell_stiffness,
        )
    except ValueError:
        return None, ()
    named = {
        "pad_compression": loop.maximum_compression,
        "pad_energy_in": loop.energy_in,
        "pad_energy_lost": loop.energy_lost,
        "pad_loss_fraction": loop.loss_fraction,
        "pad_stiffness": loop.secant_stiffness,
        "pad_exponent": loop.exponent,
        "pad_bottoming_at": loop.bottoming_at,
        "pad_bottoming_index": loop.bottoming_index,
    }
    quantities = {n: measured(n, e) for n, e in named.items() if e is not None and np.isfinite(e.u)}
    return Pad(quantities, loop.compression, loop.force, loop.bottoms), loop.flags
