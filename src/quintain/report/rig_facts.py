"""What a rig file and a method state, as names and values."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from quintain.domain.method import Method
from quintain.domain.rig import Mode, Rig, RigPad
from quintain.report.parts import Fact
from quintain.report.rounding import number, rounded

__all__ = ["exactly", "method_facts", "rig_facts"]


def exactly(value: float) -> str:
    """
    A setting as it was set, with thousands parted.

    Examples
    --------
    >>> exactly(10000.0), exactly(0.027)
    ('10\u202f000', '0.027')
    """
    text = repr(float(value))
    digits = text.split("e")[0].replace(".", "").replace("-", "").strip("0")
    return number(value, max(1, len(digits))) if math.isfinite(value) else text


def rig_facts(rig: Rig) -> tuple[Fact, ...]:
    """What the rig file states that bears on a force; what it does not state reads so where it matters."""
    cell, calibration = rig.cell, rig.calibration
    label = ", ".join(part for part in (cell.maker, f"no. {cell.serial}" if cell.serial else "") if part)
    facts = [Fact("Rig", rig.name), Fact("Version", rig.version, mono=True)]
    if rig.note:
        facts.append(Fact("Note", rig.note))
    facts += [
        Fact("Cell", label or "not stated"),
        Fact("Capacity", _newtons(cell.capacity)),
        Fact("Safe overload", _newtons(cell.safe_overload)),
        Fact("Amplifier limit", _newtons(cell.range_limit)),
        Fact("A push reads", cell.direction),
    ]
    facts += [fact for i, mode in enumerate(rig.modes, 1) for fact in _mode_facts(mode, i, len(rig.modes))]
    if not rig.modes:
        facts.append(Fact("Natural frequency", "not stated"))
    filter_ = rig.anti_alias
    facts.append(
        Fact(
            "Anti-alias filter",
            f"Butterworth, order {filter_.order}, {exactly(filter_.cutoff)} Hz" if filter_ else "none stated",
        )
    )
    expanded = None if calibration.u_gain is None else 1.96 * calibration.u_gain
    gain = (
        " ± ".join(rounded(calibration.gain, expanded)) if expanded is not None else exactly(calibration.gain)
    )
    stated = "" if expanded is not None else ", uncertainty not stated"
    facts.append(Fact("Gain of the chain", gain + stated))
    if calibration.lowest is not None or calibration.highest is not None:
        low, high = calibration.lowest, calibration.highest
        proved = f"up to {_newtons(high)}" if low is None else f"{_newtons(low)} to {_newtons(high)}"
        facts.append(Fact("Proved", proved))
    facts.append(Fact("Calibrated", calibration.date.isoformat() if calibration.date else "date not stated"))
    if calibration.coefficients:
        listed = ", ".join(exactly(c) for c in calibration.coefficients)
        facts.append(Fact("Coefficients", f"{listed} (N per {calibration.input_unit or 'N'} and its powers)"))
    if rig.place:
        facts.append(
            Fact("Place", f"latitude {exactly(rig.place.latitude)}°, {exactly(rig.place.altitude)} m")
        )
    if rig.sensor:
        fit = rig.sensor.calibration
        done = "not calibrated" if fit is None else f"calibrated {fit.date or '(date not stated)'}"
        serial = f"no. {rig.sensor.serial}" if rig.sensor.serial else ""
        facts.append(Fact("Sensor on the limb", ", ".join(p for p in (rig.sensor.name, serial, done) if p)))
    return (*facts, *(fact for pad in rig.pads for fact in _pad_facts(pad, in_use=pad.name == rig.pad)))


def _pad_facts(pad: RigPad, *, in_use: bool) -> list[Fact]:
    law = f"{number(pad.stiffness, 3)} N/mⁿ, exponent {number(pad.exponent, 3)}"
    if pad.bottoming is not None:
        law += f", bottoms out at {number(1e3 * pad.bottoming, 3)} mm"
    if pad.loss_fraction is not None:
        law += f", keeps {number(100 * pad.loss_fraction, 2)} % of the energy"
    if pad.proved_to is not None:
        law += f", proved to {number(1e3 * pad.proved_to, 3)} mm"
    if pad.date is not None:
        law += f", {pad.date.isoformat()}"
    return [Fact("Pad in use" if in_use else "Pad", f"{pad.name}: {law}")]


def _newtons(force: float | None) -> str:
    return "not stated" if force is None else f"{exactly(force)} N"


def _mode_facts(mode: Mode, place: int, count: int) -> list[Fact]:
    which = f" {place}" if count > 1 else ""
    frequency = _with_spread(mode.natural_frequency, mode.u_natural_frequency, "Hz")
    u_damping = None if mode.u_damping_ratio is None else 100 * mode.u_damping_ratio
    damping = _with_spread(100 * mode.damping_ratio, u_damping, "%")
    share = f", share {exactly(mode.share)}" if count > 1 else ""
    return [Fact(f"Natural frequency{which}", frequency + share), Fact(f"Damping ratio{which}", damping)]


def _with_spread(value: float, u: float | None, unit: str) -> str:
    value_text, expanded = rounded(value, None if u is None else 1.96 * u)
    return f"{exactly(round(value, 9)) if u is None else value_text} ± {expanded} {unit}"


def method_facts(method: Method) -> tuple[tuple[str, tuple[Fact, ...]], ...]:
    """Every setting, group by group, with its unit."""
    groups = []
    plain = [Fact("Name", method.name), Fact("Version", str(method.version))]
    groups.append(("Method", (*plain, Fact("Hash", method.sha256[:12], mono=True))))
    for field in dataclasses.fields(method):
        group = getattr(method, field.name)
        if dataclasses.is_dataclass(group):
            groups.append((field.name.capitalize(), tuple(_settings(group))))
    return tuple(groups)


def _settings(group: Any) -> list[Fact]:
    facts = []
    for field in dataclasses.fields(group):
        value = getattr(group, field.name)
        unit = field.metadata.get("unit", "")
        if isinstance(value, bool):
            words = "yes" if value else "no"
        elif isinstance(value, (int, float)):
            words = f"{exactly(value)} {unit}".rstrip()
        else:
            words = str(value)
        facts.append(Fact(field.name.replace("_", " "), words))
    return facts
