"""Domain objects as plain values for JSON: the contract that scripts rely on."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quintain.domain.analysis import Analysis
from quintain.domain.clock import ClockMatch
from quintain.domain.drop import Drop, DropTest
from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.domain.rig_state import RigState
from quintain.domain.strike import Strike
from quintain.domain.tap import TapTest

__all__ = [
    "analyses_as_json",
    "answer",
    "clock_as_json",
    "clock_from_json",
    "drop_as_json",
    "drops_as_json",
    "flag_as_json",
    "measured_as_json",
    "rig_state_as_json",
    "strike_as_json",
    "taps_as_json",
    "text",
]

STRIKE_QUANTITIES = (
    "contact_time",
    "impulse",
    "impulse_to_stop",
    "impulse_to_peak",
    "peak_force",
    "peak_contact_force",
    "peak_force_raw",
    "peak_force_cfc",
    "time_to_peak",
    "rate_of_force_development",
    "expected_peak",
    "sampling_loss",
    "approach_speed",
    "time_to_stop",
    "effective_mass",
    "effective_mass_low",
    "effective_mass_high",
    "energy",
    "kinetic_energy",
    "mean_power",
    "peak_power",
)
"""Quantities of a strike in the order shown; those not stated are null."""


DROP_QUANTITIES = (
    "approach_speed",
    "rebound_speed",
    "restitution",
    "impulse",
    "contact_time",
    "peak_force",
    "peak_force_raw",
    "height",
    "speed_by_height",
    "speed_until_rest",
    "friction_excess",
    "gain",
    "gain_without_height",
)
"""Quantities of a drop in the order shown; those not stated are null."""

PAD_QUANTITIES = (
    "pad_compression",
    "pad_energy_in",
    "pad_energy_lost",
    "pad_loss_fraction",
    "pad_stiffness",
    "pad_exponent",
    "pad_bottoming_at",
    "pad_bottoming_index",
)
"""Quantities of a pad in the order shown; those not stated are null."""


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def measured_as_json(measured: Measured | None) -> dict[str, Any] | None:
    """``{"value", "u", "unit"}``, or None where nothing is stated."""
    if measured is None:
        return None
    return {"value": _finite(measured.value), "u": _finite(measured.u), "unit": measured.unit}


def flag_as_json(flag: Flag) -> dict[str, str]:
    """``{"code", "message", "where"}``."""
    return {"code": flag.code, "message": flag.message, "where": flag.where}


def strike_as_json(strike: Strike, *, recording: int = 0) -> dict[str, Any]:
    """One strike; ``recording`` is the index of its file among the inputs."""
    return {
        "input": recording,
        "number": strike.number,
        "start_s": strike.start,
        "contacts_s": [[contact.start, contact.end] for contact in strike.contacts],
        "force_kind": strike.force_kind,
        **{name: measured_as_json(strike.quantities.get(name)) for name in STRIKE_QUANTITIES},
        "budget": {
            name: {c.name: _finite(c.u) for c in measured.budget}
            for name, measured in strike.quantities.items()
            if measured.budget
        },
        "flags": [flag_as_json(flag) for flag in strike.flags],
    }


def answer(
    command: str,
    *,
    version: str,
    inputs: Iterable[tuple[str, str]],
    method: Mapping[str, Any],
    results: Any,
    flags: Iterable[Flag],
    errors: Sequence[Mapping[str, str]] = (),
) -> dict[str, Any]:
    """The object every command prints with ``--json``; ``inputs`` are path and SHA-256."""
    return {
        "quintain": version,
        "command": command,
        "inputs": [{"path": path, "sha256": sha256} for path, sha256 in inputs],
        "method": dict(method),
        "results": results,
        "flags": [flag_as_json(flag) for flag in flags],
        "errors": list(errors),
    }


def analyses_as_json(
    analyses: Sequence[Analysis], *, version: str, errors: Sequence[Mapping[str, str]] = ()
) -> dict[str, Any]:
    """The answer of ``quintain analyse`` for one or many recordings."""
    flags = [flag for analysis in analyses for flag in analysis.flags]
    for analysis in analyses:
        for strike in analysis.strikes:
            place = f"{analysis.path}, strike {strike.number}"
            flags += [Flag(f.code, f.message, f"{place}, {f.where}".rstrip(", ")) for f in strike.flags]
    settings = analyses[0].method.settings() | {"sha256": analyses[0].method.sha256} if analyses else {}
    found = answer(
        "analyse",
        version=version,
        inputs=[(analysis.path, analysis.sha256) for analysis in analyses],
        method=settings,
        results=[
            strike_as_json(strike, recording=i)
            for i, analysis in enumerate(analyses)
            for strike in analysis.strikes
        ],
        flags=flags,
        errors=errors,
    )
    return found | {"clocks": [clock_as_json(analysis.clock) for analysis in analyses]}


def clock_as_json(clock: ClockMatch | None) -> dict[str, Any] | None:
    """How the clock of the motion was tied to that of the force; None where strikes did not tie them."""
    if clock is None:
        return None
    return {
        "tie": clock.tie,
        "offset": {"value": clock.offset, "u": clock.u_offset, "unit": "s"},
        "drift": {"value": clock.drift, "u": clock.u_drift, "unit": "1"},
        "middle_s": clock.middle,
        "spread_s": clock.spread,
        "matched": [
            {"strike": number, "start_s": time, "residual_s": residual}
            for number, time, residual in zip(clock.strikes, clock.times, clock.residuals, strict=True)
        ],
        "missed": list(clock.missed),
        "extra_s": list(clock.extra),
    }


def clock_from_json(told: Mapping[str, Any] | None) -> ClockMatch | None:
    """
    What :func:`clock_as_json` gave, as it was.

    Examples
    --------
    >>> clock = ClockMatch("impacts", 28.9, 0.001, 5e-5, 1e-5, 7.0, 0.001, (2,), (4.2,), (0.0,), (1,), (5.2,))
    >>> clock_from_json(json.loads(json.dumps(clock_as_json(clock)))) == clock
    True
    """
    if told is None:
        return None
    matched = told["matched"]
    return ClockMatch(
        told["tie"],
        told["offset"]["value"],
        told["offset"]["u"],
        told["drift"]["value"],
        told["drift"]["u"],
        told["middle_s"],
        told["spread_s"],
        tuple(pair["strike"] for pair in matched),
        tuple(pair["start_s"] for pair in matched),
        tuple(pair["residual_s"] for pair in matched),
        tuple(told["missed"]),
        tuple(told["extra_s"]),
    )


def drop_as_json(drop: Drop) -> dict[str, Any]:
    """One drop; ``pad`` is null where its first contact tells nothing of the pad."""
    pad = drop.pad
    return {
        "number": drop.number,
        "start_s": drop.start,
        "starts_s": list(drop.starts),
        **{name: measured_as_json(drop.quantities.get(name)) for name in DROP_QUANTITIES},
        "other_speeds": {name: _finite(value) for name, value in drop.others.items()},
        "pad": None
        if pad is None
        else {
            **{name: measured_as_json(pad.quantities.get(name)) for name in PAD_QUANTITIES},
            "bottoms": pad.bottoms,
        },
        "verdict": drop.verdict,
        "e_n": _finite(drop.e_n),
        "reasons": list(drop.reasons),
        "budget": {
            name: {c.name: _finite(c.u) for c in measured.budget}
            for name, measured in drop.quantities.items()
            if measured.budget
        },
        "flags": [flag_as_json(flag) for flag in drop.flags],
    }


def drops_as_json(test: DropTest, *, version: str) -> dict[str, Any]:
    """The answer of ``quintain drops``."""
    agreement = test.agreement
    results = {
        "drops": [drop_as_json(drop) for drop in test.drops],
        "gain": measured_as_json(test.quantities.get("gain")),
        "gain_without_height": measured_as_json(test.quantities.get("gain_without_height")),
        "agreement": None
        if agreement is None
        else {name: getattr(agreement, name) for name in agreement.__slots__},
        "verdict": test.verdict,
        "e_n": _finite(test.e_n),
        "reasons": list(test.reasons),
        "caution": test.caution,
    }
    flags = list(test.flags)
    for drop in test.drops:
        flags += [Flag(f.code, f.message, f"drop {drop.number}") for f in drop.flags]
    return answer(
        "drops",
        version=version,
        inputs=[(test.path, test.sha256)],
        method=test.settings,
        results=results,
        flags=flags,
    )


def taps_as_json(test: TapTest, *, version: str) -> dict[str, Any]:
    """The answer of ``quintain tap``."""
    results = {
        "modes": [
            {
                "natural_frequency": measured_as_json(mode.natural_frequency),
                "damping_ratio": measured_as_json(mode.damping_ratio),
                "share": mode.share,
                "spread_hz": mode.spread,
                "taps": mode.n_seen,
                "over_least_uncertainty": mode.over_least if mode.over_least == mode.over_least else None,
                "alias_candidates_hz": list(mode.candidates),
            }
            for mode in test.modes
        ],
        "shortest_pulse_s": next(p.duration for p in test.shortest_pulses if p.tolerance == 0.02),
        "shortest_pulses": [
            {"tolerance": p.tolerance, "duration_s": p.duration, "shape": p.shape}
            for p in test.shortest_pulses
        ],
        "shortest_corrected_pulse_s": test.shortest_corrected_pulse,
        "bandwidth_hz": test.bandwidth,
        "alias_candidates_hz": list(test.main_mode.candidates),
        "moving_mass": measured_as_json(test.moving_mass),
        "moving_stiffness": measured_as_json(test.moving_stiffness),
        "left_out_hz": list(test.left_out),
        "taps": [
            {
                "path": one.path,
                "start_s": one.start,
                "duration_s": one.duration,
                "natural_frequencies_hz": list(one.natural_frequency),
                "damping_ratios": list(one.damping_ratio),
                "orders": [
                    {"modes": n, "criterion": score, "residual_sd": sd} for n, score, sd in one.orders
                ],
                "flags": [flag_as_json(f) for f in one.flags],
            }
            for one in test.taps
        ],
    }
    return answer(
        "tap",
        version=version,
        inputs=test.inputs,
        method=test.history[0].settings,
        results=results,
        flags=test.flags,
    )


def rig_state_as_json(state: RigState, *, path: str, sha256: str, version: str) -> dict[str, Any]:
    """The answer of ``quintain rig``."""
    trends = [
        {
            "quantity": trend.quantity,
            "newest": measured_as_json(trend.values[-1]),
            "when": [when.isoformat() for when in trend.when],
            "values": [_finite(m.value) for m in trend.values],
            "centre": trend.centre,
            "lower": trend.lower,
            "upper": trend.upper,
            "jumped": trend.jumped,
            "drifted": trend.drifted,
        }
        for trend in state.trends
    ]
    due = [
        {
            "kind": check.kind,
            "last": None if check.last is None else check.last.isoformat(),
            "allowed_days": check.allowed_days,
            "overdue": check.overdue,
        }
        for check in state.due
    ]
    results = {
        "rig": state.rig.name,
        "version": state.rig.version,
        "verdict": state.verdict,
        "reasons": list(state.reasons),
        "trends": trends,
        "due": due,
        "earlier_versions": state.n_earlier_versions,
    }
    return answer("rig", version=version, inputs=[(path, sha256)], method={}, results=results, flags=[])


def text(value: Mapping[str, Any]) -> str:
    """JSON text; a number that is not finite is a defect and raises ValueError."""
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
