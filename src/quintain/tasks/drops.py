"""From a recording of dropped masses to a verdict on the measuring chain."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from quintain.domain.as_json import drop_as_json
from quintain.domain.drop import Agreement, Drop, DropSettings, DropTest
from quintain.domain.flags import Flag, flag
from quintain.domain.history import Step, hash_of
from quintain.domain.measured import Measured
from quintain.domain.recording import Recording
from quintain.domain.rig import Mode, Rig
from quintain.domain.trace import Trace
from quintain.errors import AnalysisError, UsageError
from quintain.numerics.agreement import fit_line, limits_of_agreement
from quintain.numerics.drop_numbers import CHAIN_U_GAIN, DropNumbers
from quintain.numerics.free_fall import STANDARD_GRAVITY, U_NORMAL_GRAVITY, normal_gravity
from quintain.numerics.impacts import find_drops
from quintain.numerics.taps import identify_from_strikes
from quintain.numerics.uncertainty.linear import Estimate
from quintain.numerics.verdict import combine_gains, judge_gain
from quintain.readers.registry import read
from quintain.tasks.analyse import pick_force
from quintain.tasks.measure import RigInUse
from quintain.tasks.measure_drop import Known, Stretch, measure_drop, measured
from quintain.tasks.progress import Progress, silent
from quintain.version import __version__

__all__ = ["analyse_drops", "analyse_drops_file"]

U_MASS = 5e-4
"""Relative standard uncertainty of the mass where none is stated: a shop scale (common practice, no
source)."""
U_GRAVITY_ANYWHERE = 0.015
"""Standard uncertainty of standard gravity as the gravity of an unknown place: uniform between 9.780 and
9.832 m/s². [m/s²]"""
CONTRADICTING = {"height-and-bounces-disagree", "mass-or-height-implausible"}
"""Doubts of a single drop that the others cannot outvote: what was stated of it is wrong."""
OUTLYING = 1.5
"""A single drop this far outside its expanded uncertainty is not averaged away."""


def analyse_drops_file(
    path: str | Path,
    settings: DropSettings,
    *,
    rig: Rig | None = None,
    channel: str | None = None,
    progress: Progress = silent,
    **reading: Any,
) -> DropTest:
    """
    Read a recording of drops and analyse it.

    Parameters
    ----------
    path : path
        The recording's file.
    settings, rig, channel, progress
        As for :func:`analyse_drops`.
    **reading
        What the file does not say itself, see :func:`quintain.readers.registry.read`.

    Returns
    -------
    DropTest
        Drops and verdict.

    Raises
    ------
    RecordingError
        If the file cannot be read.
    """
    recording = read(path, **reading)
    return analyse_drops(recording, settings, rig=rig, channel=channel, progress=progress)


def analyse_drops(
    recording: Recording | Trace,
    settings: DropSettings,
    *,
    rig: Rig | None = None,
    channel: str | None = None,
    progress: Progress = silent,
) -> DropTest:
    """
    Find every drop of a recording, measure it, and judge the chain.

    Parameters
    ----------
    recording : Recording or Trace
        What was recorded; of several force channels, ``channel`` names one.
    settings : DropSettings
        Mass, heights, place.
    rig : Rig, optional
        How the rig rings, and what its calibration claims. Without it the ringing is estimated from the
        drops themselves and flagged so.
    channel : str, optional
        Name of the channel.
    progress : Progress, optional
        Told of the drops analysed, and able to stop the work.

    Returns
    -------
    DropTest
        Drops in order of time and a verdict: 'undecided', with the reason, wherever they prove nothing.

    Raises
    ------
    ChannelError, UnitError
        If the channel cannot be told or is no force.
    UsageError
        If the number of heights fits neither one nor the number of drops.
    AnalysisError
        If the recording is too short to hold a drop.
    """
    if isinstance(recording, Trace):
        recording = Recording("", "", 0, (recording,))
    trace = pick_force(recording, rig, channel)
    began = datetime.now(UTC).isoformat(timespec="seconds")
    in_use = RigInUse.of(rig)
    flags: list[Flag] = []
    gravity, u_gravity = _gravity(settings, rig, flags)
    stretches = _stretches(trace, in_use, settings.mass, gravity, flags)
    in_use = _with_modes(in_use, stretches, trace.rate, flags)
    n_drops = sum(len(s.drops) for s in stretches)
    if len(settings.heights) > 1 and len(settings.heights) != n_drops:
        raise UsageError(
            f"heights: expected one for all drops or one for each of the {n_drops} drops found, "
            f"got {len(settings.heights)}"
        )
    u_mass = U_MASS * settings.mass if settings.u_mass is None else settings.u_mass
    stiffness = settings.cell_stiffness or (rig.cell.stiffness if rig else None)
    known = Known(settings.mass, u_mass, settings.u_height, gravity, u_gravity, stiffness)
    drops: list[Drop] = []
    numbers: list[DropNumbers] = []
    for stretch in stretches:
        for place in stretch.drops:
            heights = settings.heights
            height = None if not heights else heights[0] if len(heights) == 1 else heights[len(drops)]
            drop, found = measure_drop(stretch, place, in_use, known, height, len(drops) + 1)
            drops.append(drop)
            numbers.append(found)
            progress("drops", len(drops), n_drops)
    used = {
        "mass": settings.mass,
        "u_mass": u_mass,
        "heights": list(settings.heights),
        "u_height": settings.u_height,
        "gravity": gravity,
        "u_gravity": u_gravity,
        "u_gain": in_use.u_gain,
        "cell_stiffness": stiffness,
        "natural_frequency": [m.natural_frequency for m in in_use.modes],
        "damping_ratio": [m.damping_ratio for m in in_use.modes],
    }
    quantities, verdict, e_n, reasons = _judge(drops, numbers, in_use.u_gain)
    output = hash_of([drop_as_json(d) for d in drops])
    inputs = (recording.sha256, *((rig.version,) if rig else ()))
    step = Step("quintain.analyse_drops", __version__, used, inputs, output, began)
    return DropTest(
        path=recording.path,
        sha256=recording.sha256,
        n_bytes=recording.n_bytes,
        channel=trace.name,
        unit_in_file=trace.unit_in_file or trace.unit,
        rate=trace.rate,
        duration=sum(s.raw.size for s in stretches) / trace.rate,
        rig=rig,
        settings=used,
        drops=tuple(drops),
        quantities=quantities,
        verdict=verdict,
        e_n=e_n,
        reasons=reasons,
        agreement=_agreement(numbers),
        flags=tuple({f.code: f for f in flags}.values()),
        history=(step,),
        quintain=__version__,
        started=recording.started,
    )


# -- what is known before any drop


def _gravity(settings: DropSettings, rig: Rig | None, flags: list[Flag]) -> tuple[float, float]:
    if settings.gravity is not None:
        return settings.gravity, settings.u_gravity or 0.0
    latitude, altitude = settings.latitude, settings.altitude
    if latitude is None and rig is not None and rig.place is not None:
        latitude = rig.place.latitude
        altitude = rig.place.altitude if altitude is None else altitude
    if latitude is None:
        flags.append(flag("gravity-assumed"))
        return STANDARD_GRAVITY, U_GRAVITY_ANYWHERE
    u = U_NORMAL_GRAVITY if settings.u_gravity is None else settings.u_gravity
    return normal_gravity(latitude, altitude or 0.0), u


def _stretches(trace: Trace, rig: RigInUse, mass: float, gravity: float, flags: list[Flag]) -> list[Stretch]:
    """The samples in newtons, pushes positive, in stretches without breaks, with the drops in each."""
    parts: list[list[np.ndarray[Any, Any]]] = []
    begins: list[float] = []
    for block in trace.blocks():
        if block.join or not parts:
            if block.join:
                flags.append(flag(block.join, where=f"{block.start:.4f} s"))
            parts.append([])
            begins.append(block.start)
        parts[-1].append(block.samples)
    frequency = np.array([m.natural_frequency for m in rig.modes])
    damping = np.array([m.damping_ratio for m in rig.modes])
    stretches = []
    for part, begin in zip(parts, begins, strict=True):
        raw = np.concatenate(part)
        if raw.size < max(0.3 * trace.rate, 60):
            continue
        filled = np.where(np.isfinite(raw), raw, np.nanmedian(raw) if np.isfinite(raw).any() else 0.0)
        centre = float(np.median(filled))
        sign = rig.sign or (1 if filled.max() - centre >= centre - filled.min() else -1)
        force = sign * rig.gain * filled
        noise = float(np.median(np.abs(np.diff(force)))) / 0.954
        drops = find_drops(
            force,
            trace.rate,
            mass=mass,
            gravity=gravity,
            noise=noise,
            frequency=frequency,
            damping=damping,
        )
        stretches.append(Stretch(raw, force, trace.rate, begin, drops))
    if not stretches:
        raise AnalysisError(
            f"the recording is too short to hold a drop: expected 0.3 s at least at {trace.rate:g} Hz; "
            "record from half a second before the drop until the mass lies still"
        )
    return stretches


def _with_modes(rig: RigInUse, stretches: list[Stretch], rate: float, flags: list[Flag]) -> RigInUse:
    """Modes from the rig file, or from what rings between the first contact and the second."""
    if rig.modes:
        return rig
    tails = []
    for stretch in stretches:
        for place in stretch.drops:
            after = stretch.force[place.first + int(0.045 * rate) : place.first + int(0.14 * rate)]
            if after.size > 40:
                tails.append(after - after.mean())
    try:
        ring = identify_from_strikes(tails, rate)
    except ValueError:
        flags.append(flag("no-mode"))
        return rig
    flags.append(flag("mode-from-recording"))
    columns = (ring.natural_frequency, ring.damping_ratio, ring.share)
    return rig.with_modes(Mode(float(f), float(z), float(s)) for f, z, s in zip(*columns, strict=True))


# -- all drops together


def _judge(
    drops: Sequence[Drop], numbers: Sequence[DropNumbers], u_gain: float | None
) -> tuple[dict[str, Measured], str, float | None, tuple[str, ...]]:
    claim = CHAIN_U_GAIN if u_gain is None else u_gain
    if not drops:
        reason = (
            "No drop was found: the mass missed the pad, or mass, unit or direction are not what was stated."
        )
        return {}, "undecided", None, (reason,)
    sound = [n for n in numbers if n.verdict.decision != "undecided"]
    by_height = _joined([n.gain for n in sound])
    by_bounces = _joined([n.gain_without_height for n in sound])
    quantities = {}
    if by_height is not None:
        quantities["gain"] = measured("gain", by_height)
    if by_bounces is not None:
        quantities["gain_without_height"] = measured("gain_without_height", by_bounces)
    reasons = [
        f"Drop {drop.number}: {reason}"
        for drop in drops
        if drop.verdict == "undecided"
        for reason in drop.reasons
    ]
    if not sound:
        return quantities, "undecided", None, tuple(reasons)
    verdict = judge_gain(by_height if by_height is not None else by_bounces, u_gain=claim)
    apart = [
        drop.number
        for drop in drops
        if (drop.verdict == "fail" and drop.e_n is not None and abs(drop.e_n) > OUTLYING)
        or CONTRADICTING & {f.code for f in drop.flags}
    ]
    if verdict.decision != "fail" and apart:
        which = ", ".join(map(str, apart))
        return (
            quantities,
            "undecided",
            verdict.e_n,
            (
                *verdict.reasons,
                f"Drop {which} disagrees with that by far: look for what was different.",
                *reasons,
            ),
        )
    return quantities, verdict.decision, verdict.e_n, (*verdict.reasons, *reasons)


def _joined(gains: Sequence[Estimate | None]) -> Estimate | None:
    known = [g for g in gains if g is not None]
    return combine_gains(known) if known else None


def _agreement(numbers: Sequence[DropNumbers]) -> Agreement | None:
    pairs = [
        (n.approach_speed.value, n.speed_by_height.value)
        for n in numbers
        if n.approach_speed is not None and n.speed_by_height is not None
        and n.verdict.decision != "undecided"
    ]  # fmt: skip
    if len(pairs) < 3:
        return None
    force, height = np.array(pairs).T
    d = limits_of_agreement(force, height)
    line = fit_line(height, force) if np.ptp(height) > 0.02 * height.mean() else None
    return Agreement(
        n=d.n,
        bias=d.bias,
        bias_interval=d.bias_interval,
        lower=d.lower,
        upper=d.upper,
        lower_interval=d.lower_interval,
        upper_interval=d.upper_interval,
        slope=line.slope if line else None,
        slope_interval=line.slope_interval if line else None,
        intercept=line.intercept if line else None,
        intercept_interval=line.intercept_interval if line else None,
    )
