"""A strike's force joined with the limb's speed: effective mass, energy, power, or why not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial

import numpy as np
from numpy.typing import NDArray

from quintain.domain.analysis import Analysis
from quintain.domain.as_json import strike_as_json
from quintain.domain.flags import Flag, flag
from quintain.domain.history import Step, hash_of
from quintain.domain.measured import Contribution, Measured
from quintain.domain.motion import JoinedMotion, StrikeMotion
from quintain.domain.strike import LimbCurve, Strike
from quintain.numerics import limb_numbers
from quintain.numerics.contact_alignment import align_on_contact
from quintain.numerics.effective_mass import (
    LimbTrace,
    find_stop,
    join_speed,
    mass_bounds,
    mass_growth,
    touch_before_start,
)
from quintain.numerics.energy import power
from quintain.numerics.limb_numbers import LimbDoubts, draw_limb, improve_first
from quintain.numerics.published_strikes import implausible
from quintain.numerics.uncertainty.linear import Estimate
from quintain.version import __version__

__all__ = ["measure_limb", "measure_limbs"]

Floats = NDArray[np.float64]

LATE_PUSH = 0.10
"""Growth of the mass over the contact from which a late push or a second mass is flagged; simulated strikes
with a steady push stay within 3 %."""

LOPSIDED = 0.05
"""Relative uncertainty of the mass from which draws are made beside first order."""

N_DRAWS = 20_000
"""Draws for one strike: a standard deviation good to half a per cent."""

CLOCKS = 3.0
"""Disagreement of momentum and clocks, in standard uncertainties, from which it is flagged."""

_WORDS = {
    "gain": "gain",
    "force": "corrected force",
    "speed_scale": "scale of the speed",
    "speed_offset": "offset of the speed",
    "acceleration": "acceleration before contact",
    "alignment": "alignment of clocks",
    "start": "start of contact",
    "definition": "push not quite steady",
}

_NAMES = {
    "impulse_to_stop": "impulse_to_stop",
    "effective_mass": "effective_mass",
    "energy": "energy",
    "kinetic_energy": "kinetic_energy",
    "mean_power": "mean_power",
    "peak_power": "peak_power",
    "stop": "time_to_stop",
}
"""Glossary name of every quantity of the numerics."""

_SOURCES = {
    "imu": "inertial sensor",
    "accelerometer": "accelerometer without gyro",
    "track": "tracked position",
    "gates": "light gates",
    "typed": "typed value",
}

_EMPTY: Floats = np.empty(0)


def measure_limb(strike: Strike, motion: StrikeMotion, *, kind: str = "any", source: str = "") -> Strike:
    """
    Add to a strike what the limb's speed tells.

    Parameters
    ----------
    strike : Strike
        As measured from the force.
    motion : StrikeMotion
        What is known of the limb's motion at that strike.
    kind : str
        'punch', 'kick' or 'any': which published ranges the numbers are held against.
    source : str
        Where the speed comes from, in words.

    Returns
    -------
    Strike
        With approach speed and, as far as they can be stated, effective mass or its bounds, energies,
        powers, and the flags that say what is missing.
    """
    found = dict(strike.quantities)
    flags = [*strike.flags, *motion.flags]
    v1 = motion.approach_speed
    curve = LimbCurve(motion.time, motion.speed, motion.u_speed, _EMPTY, _EMPTY, source=source)
    if v1 is None or not v1.value > 0:
        if v1 is not None:
            flags.append(flag("moves-away"))
        found.pop("approach_speed", None)
        return replace(strike, quantities=found, flags=_unique(flags), limb=curve)
    found["approach_speed"] = v1
    if strike.curve.corrected.size == 0:
        flags.append(flag("no-force-curve"))
    elif motion.speed.size and motion.acceleration_before is not None:
        curve = _with_motion(strike, motion, v1, curve, found, flags)
    else:
        _bounds(strike, v1, found, flags)
    _plausible(kind, found, flags)
    return replace(strike, quantities=found, flags=_unique(flags), limb=curve)


def measure_limbs(joined: JoinedMotion, *, kind: str = "any", executor: Executor | None = None) -> Analysis:
    """
    Add to every strike of an analysis what the limb's speed tells.

    Parameters
    ----------
    joined : JoinedMotion
        The analysis and the motion at each of its strikes.
    kind : str
        As for :func:`measure_limb`.
    executor : concurrent.futures.Executor, optional
        Where strikes are measured; in this process if not given. The results are the same.

    Returns
    -------
    Analysis
        Strikes with everything that can be stated, and one more step of history.
    """
    began = datetime.now(UTC).isoformat(timespec="seconds")
    analysis = joined.analysis
    measure = partial(measure_limb, kind=kind, source=_SOURCES[joined.source])
    pairs = (analysis.strikes, joined.motions)
    if executor is None:
        strikes = tuple(map(measure, *pairs))
    else:
        strikes = tuple(executor.map(measure, *pairs, chunksize=16))
    output = hash_of([strike_as_json(s) for s in strikes])
    settings = {"kind": kind, "source": joined.source}
    inputs = tuple(step.output for step in analysis.history[-1:])
    step = Step("quintain.measure_limbs", __version__, settings, inputs, output, began)
    return replace(analysis, strikes=strikes, history=(*analysis.history, step))


def _with_motion(
    strike: Strike,
    limb: StrikeMotion,
    approach: Measured,
    curve: LimbCurve,
    found: dict[str, Measured],
    flags: list[Flag],
) -> LimbCurve:
    """Everything that force and speed through the contact tell; bounds where they do not reach the stop."""
    force = strike.curve
    lead = touch_before_start(force.time, force.corrected)
    end = strike.contacts[0].end - strike.start + lead.value
    a0 = float(limb.acceleration_before or 0.0)
    time = force.time + lead.value
    try:
        trace = join_speed(time, force.corrected, limb.time + lead.value, limb.speed, end=end)
    except ValueError:
        _bounds(strike, approach, found, flags)
        return curve
    u_shift = limb.u_time or 0.0
    if u_shift > 0 and _stop(trace) is not None:
        aligned = align_on_contact(
            trace.time,
            trace.impulse,
            limb.time + lead.value,
            limb.speed,
            acceleration=a0,
            u_alignment=u_shift,
        )
        u_shift = aligned.u
        if abs(aligned.disagreement) > CLOCKS:
            flags.append(flag("clocks-disagree", f"{1e3 * aligned.shift:.2f} ms"))
        curve = replace(curve, time=limb.time + aligned.shift)
        trace = join_speed(time, force.corrected, curve.time + lead.value, limb.speed, end=end)
    curve = replace(curve, power_time=trace.time - lead.value, power=power(trace), touch=-lead.value)
    stop = _stop(trace)
    if stop is None:
        cut = trace.time[-1] < end - 1e-9
        if cut:
            _bounds(strike, approach, found, flags)
        else:
            flags.append(flag("no-stop", f"{trace.speed[-1]:.2f} m/s as contact ends"))
        return curve
    doubts = _doubts(strike, limb, trace, stop, u_shift, lead)
    v1 = approach.value
    try:
        numbers = limb_numbers.measure_limb(trace, approach_speed=v1, acceleration=a0, doubts=doubts)
    except ValueError as problem:
        flags.append(flag("not-readable", f"Effective mass and energy: {problem}"))
        return curve
    for name, stated in _NAMES.items():
        found[stated] = _measured(stated, numbers.estimates[name])
    mass = numbers.estimates["effective_mass"]
    if mass.u > LOPSIDED * mass.value:
        _draw(trace, v1, a0, doubts, found, flags)
    _growth(trace, stop, a0, doubts, flags)
    return replace(curve, stop=stop - lead.value, improve=improve_first(mass))


def _stop(trace: LimbTrace) -> float | None:
    """Stop of the limb; None too where the speed leads away from the pad from the beginning."""
    return find_stop(trace) if trace.speed[0] > 0 else None


def _doubts(
    strike: Strike, limb: StrikeMotion, trace: LimbTrace, stop: float, u_shift: float, lead: Estimate
) -> LimbDoubts:
    force = strike.curve
    impulse = strike.quantities.get("impulse")
    gain = 0.0
    if impulse is not None:
        gain = abs(next((c.u for c in impulse.budget if c.name == "gain"), 0.0) / impulse.value)
    inside = (force.time >= 0) & (force.time <= stop)
    total = float(np.interp(stop, trace.time, trace.impulse))
    u_force = float(np.trapezoid(force.u_corrected[inside], force.time[inside])) / total if total > 0 else 0.0
    contact = strike.quantities.get("contact_time")
    u_start = 0.0
    if contact is not None:
        u_start = max((abs(c.u) for c in contact.budget if c.name == "start"), default=0.0)
    return LimbDoubts(
        gain=gain,
        force=u_force,
        speed_scale=limb.u_speed_scale,
        speed_offset=limb.u_speed_offset,
        acceleration=limb.u_acceleration_before or 0.0,
        alignment=u_shift,
        start=math.hypot(u_start, lead.u),
    )


def _draw(
    trace: LimbTrace, v1: float, a0: float, doubts: LimbDoubts, found: dict[str, Measured], flags: list[Flag]
) -> None:
    """Widen what first order states too narrow; the rest is named, so that the budget still adds up."""
    drawn = draw_limb(trace, approach_speed=v1, acceleration=a0, doubts=doubts, n_draws=N_DRAWS)
    low, high = drawn["effective_mass"].symmetric
    flags.append(flag("lopsided", f"Effective mass {low:.2f} to {high:.2f} kg (95 %)"))
    for name, stated in _NAMES.items():
        one = found[stated]
        more = drawn[name].u ** 2 - (one.u or 0.0) ** 2
        if more > 0:
            extra = Contribution("beyond first order", math.sqrt(more))
            found[stated] = Measured.of(stated, one.value, [*one.budget, extra])


def _growth(trace: LimbTrace, stop: float, a0: float, doubts: LimbDoubts, flags: list[Flag]) -> None:
    try:
        growth = mass_growth(
            trace, stop, acceleration=a0, u_alignment=doubts.alignment, u_acceleration=doubts.acceleration
        )
    except ValueError:
        return
    if growth.ratio > max(LATE_PUSH, 3 * growth.u_ratio):
        flags.append(
            flag(
                "late-push",
                f"{growth.whole:.2f} kg over the whole contact, {growth.to_stop:.2f} kg to the stop",
            )
        )


def _bounds(strike: Strike, v1: Measured, found: dict[str, Measured], flags: list[Flag]) -> None:
    to_peak, impulse = strike.quantities.get("impulse_to_peak"), strike.quantities.get("impulse")
    flags.append(flag("bounds-only"))
    if to_peak is None or impulse is None:
        return
    try:
        low, high = mass_bounds(
            to_peak.value,
            impulse.value,
            v1.value,
            u_impulse_to_peak=to_peak.u or 0.0,
            u_impulse=impulse.u or 0.0,
            u_approach_speed=v1.u or 0.0,
        )
    except ValueError as problem:
        flags.append(flag("not-readable", f"Bounds of the effective mass: {problem}"))
        return
    found["effective_mass_low"] = _measured("effective_mass_low", low)
    found["effective_mass_high"] = _measured("effective_mass_high", high)


def _plausible(kind: str, found: dict[str, Measured], flags: list[Flag]) -> None:
    names = {"speed": "approach_speed", "mass": "effective_mass", "peak_force": "peak_force"}
    values = {short: found[name].value for short, name in names.items() if name in found}
    for short, value, published in implausible(kind, **values):
        entry = found[names[short]].entry
        known = f"published {published.lowest:g} to {published.highest:g}"
        flags.append(flag("implausible", f"{entry.label} {value:.4g} {entry.unit}, {known}"))


def _measured(name: str, estimate: Estimate) -> Measured:
    contributions = [Contribution(_WORDS.get(c.name, c.name), c.u) for c in estimate.contributions]
    return Measured.of(name, estimate.value, contributions)


def _unique(flags: Sequence[Flag]) -> tuple[Flag, ...]:
    return tuple({(f.code, f.message): f for f in flags}.values())
