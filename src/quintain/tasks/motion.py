"""Join the strikes of an analysis with the speed of the limb: from a sensor, a track, gates, or typed."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from quintain.domain.analysis import Analysis
from quintain.domain.clock import ClockMatch
from quintain.domain.flags import FLAGS, Flag, flag
from quintain.domain.history import Step
from quintain.domain.measured import Contribution, Measured
from quintain.domain.motion import (
    GateTimes,
    ImuSetup,
    JoinedMotion,
    MotionSetup,
    StrikeMotion,
    TrackSetup,
    TypedSpeed,
)
from quintain.domain.recording import Recording
from quintain.domain.rig import Rig
from quintain.domain.strike import Strike
from quintain.domain.trace import Trace
from quintain.errors import AnalysisError, ChannelError, UsageError
from quintain.numerics.approach_speed import ApproachSpeed, approach_speed_from_imu
from quintain.numerics.clocks import ClockFit, find_pulses, find_stretch, fit_clock
from quintain.numerics.free_fall import STANDARD_GRAVITY, normal_gravity
from quintain.numerics.gates import speed_from_gates
from quintain.numerics.impact_edge import ImpactEdge, find_impact_edges
from quintain.numerics.imu_errors import UNCALIBRATED
from quintain.numerics.stillness import Rest, find_rests, reads_gravity
from quintain.numerics.track import speed_from_track
from quintain.tasks.imu_recording import ImuStretch, has_imu, pick_axes, read_imu
from quintain.version import __version__

__all__ = ["is_track", "join_motion", "offset_by_pulses"]

Floats = NDArray[np.float64]

REST = 1.0
"""At most so much of a rest is used. [s]"""

OLDEST_REST = 10.0
"""A rest longer ago than this is no starting point. [s]"""

LEAST_PAIRS = 3
"""Fewer pairs leave the drift between the clocks unknown."""

STRETCHED = 1e-3
"""A stated rate that is off by more than this is told from two crystals."""

OFF_NORMAL = 0.7
"""A speed along the normal below this part of the resultant is doubted: 45 degrees off."""

GATE_REACH = 0.5
"""A strike begins within this time after the second gate. [s]"""

OF_SCALE = frozenset(
    {
        "accelerometer_scale",
        "accelerometer_misalignment",
        "gyro_scale",
        "gyro_misalignment",
        "lever_arm",
        "normal",
        "scale",
        "spacing",
        "time",
        "turning",
    }
)
"""Contributions that grow in proportion to the speed; the others are the same during the contact."""


def join_motion(
    analysis: Analysis,
    motion: Recording | TypedSpeed | GateTimes,
    *,
    setup: MotionSetup | None = None,
    clock_offset: tuple[float, float] | None = None,
) -> JoinedMotion:
    """
    Give every strike the speed of the limb, as far as it is known.

    Parameters
    ----------
    analysis : Analysis
        Strikes of the force.
    motion : Recording, TypedSpeed or GateTimes
        A recording of an inertial sensor or of tracked positions, speeds as stated, or gate times.
    setup : ImuSetup or TrackSetup, optional
        How a recording is to be understood; told by its channels if not given. A recording with positions
        and without accelerations is a track in any case.
    clock_offset : tuple of float, optional
        Expected time of the motion's clock less the force's, and how far off it may be. Not needed where
        the strikes tell it by themselves, or both lie in one file. [s]

    Returns
    -------
    JoinedMotion
        The analysis with approach speeds, and the motion around every strike. A strike without a speed
        has a flag that says why.

    Raises
    ------
    ChannelError, UnitError
        If the axes cannot be told.
    AnalysisError
        If there is no gyro and nothing says that the strikes are straight, or time stamps of a track
        cannot be trusted.
    UsageError
        If stated speeds, gates or setup make no sense.
    """
    began = datetime.now(UTC).isoformat(timespec="seconds")
    if isinstance(motion, TypedSpeed):
        joined = _typed(analysis, motion)
    elif isinstance(motion, GateTimes):
        joined = _gates(analysis, motion)
    elif isinstance(setup, TrackSetup):
        joined = _track(analysis, motion, setup, clock_offset)
    elif is_track(motion):
        joined = _track(analysis, motion, TrackSetup(normal=setup.normal if setup else None), clock_offset)
    else:
        joined = _imu(analysis, motion, setup or ImuSetup(), clock_offset)
    return replace(joined, analysis=_with_step(joined, motion, setup, clock_offset, began))


def offset_by_pulses(force: Trace, motion: Trace) -> tuple[float, float]:
    """
    The offset between two clocks from a pulse that both recorded, for ``clock_offset``.

    Parameters
    ----------
    force, motion : Trace
        The synchronisation channels of the force's and the motion's recording.

    Returns
    -------
    tuple of float
        Time of the motion's clock less the force's, and how far off it may be at a strike: the drift
        over the recording and the difference of how late two devices show an impact. [s]

    Raises
    ------
    AnalysisError
        If a channel shows no pulse, or the pulses do not tell how the clocks belong together.
    """
    times = []
    for trace in (force, motion):
        whole = trace.read()
        level = float(np.nanmin(whole) + np.nanmax(whole)) / 2  # of all blocks: one without a pulse is noise
        found = [
            block.start + find_pulses(block.samples, trace.rate, level=level) for block in trace.blocks()
        ]
        times.append(np.unique(np.concatenate(found)) if found else np.empty(0))
        if not times[-1].size:
            raise AnalysisError(f"channel {trace.name!r} shows no pulse that rises; choose another one")
    clock = fit_clock(*times)
    if clock is None or clock.ambiguous:
        raise AnalysisError(
            f"the pulses on {force.name!r} ({times[0].size}) and {motion.name!r} ({times[1].size}) do not "
            "tell how the clocks belong together; send pulses in an uneven rhythm, or a single one"
        )
    span = float(np.ptp(times[0]))
    return clock.offset, 0.01 + abs(clock.drift) * span + 3 * clock.u_at(clock.middle + span / 2)


# -- an inertial sensor


def _imu(
    analysis: Analysis, recording: Recording, setup: ImuSetup, clock_offset: tuple[float, float] | None
) -> JoinedMotion:
    stretches = read_imu(recording, setup)
    if not stretches:
        raise ChannelError(f"{recording.path or 'recording'}: the sensor's channels hold no samples")
    gyro = stretches[0].angular_rate is not None
    if not gyro and not setup.straight:
        raise AnalysisError(
            f"{recording.path or 'recording'}: there is an accelerometer but no gyro. Its speed holds for "
            "straight strikes only, within 5-20 %: use a gyro, or say that the strikes are straight "
            "(--straight)"
        )
    tie = "impacts alone" if clock_offset is None else "impacts near the stated offset"
    if clock_offset is None and recording.sha256 and recording.sha256 == analysis.sha256:
        clock_offset, tie = (0.0, 0.02), "impacts in one file"
    gravity, seen = _gravity(analysis.rig), [_Seen.of(stretch, setup) for stretch in stretches]
    edges = [
        (seen_one, edge, seen_one.stretch.start + edge.time) for seen_one in seen for edge in seen_one.edges
    ]
    edges.sort(key=lambda item: item[2])
    times = [time for *_, time in edges]
    starts = [strike.start for strike in analysis.strikes]
    clock = fit_clock(starts, times, around=clock_offset) if starts and times else None
    flags = _wrong_unit(seen, gravity)
    usable, doubts = _judge_clock(clock, starts, times, stretches[0].rate, clock_offset)
    flags += doubts
    partner = {int(i): int(j) for i, j in clock.pairs} if clock is not None and usable else {}
    motions = []
    for i, strike in enumerate(analysis.strikes):
        if i in partner and clock is not None:
            where, edge, _ = edges[partner[i]]
            motions.append(_one_strike(strike, where, edge, setup, gravity, clock.spread))
        else:
            motions.append(
                StrikeMotion(strike.number, None, flags=_why_none(strike, clock, usable, stretches))
            )
    unmatched = tuple(t for j, t in enumerate(times) if j not in partner.values())
    if usable and unmatched:
        listed = ", ".join(f"{t:.2f} s" for t in unmatched[:5])
        flags.append(flag("motion-only-impacts", f"{len(unmatched)} at {listed} on the sensor's clock"))
    if usable and clock is not None:
        analysis = replace(analysis, clock=_clock_match(tie, clock, analysis.strikes, times, unmatched))
    return JoinedMotion(
        _filled(analysis, motions),
        tuple(motions),
        "imu" if gyro else "accelerometer",
        clock if usable else None,
        unmatched,
        tuple(flags),
    )


class _Seen:
    """A stretch with its rests and impact edges."""

    def __init__(self, stretch: ImuStretch, rests: list[Rest], edges: list[ImpactEdge]) -> None:
        self.stretch, self.rests, self.edges = stretch, rests, edges

    @classmethod
    def of(cls, stretch: ImuStretch, setup: ImuSetup) -> _Seen:
        rests = find_rests(stretch.acceleration, stretch.rate, angular_rate=stretch.angular_rate)
        edges = find_impact_edges(stretch.acceleration, stretch.rate, step=setup.edge_step)
        return cls(stretch, rests, edges)

    def rest_before(self, edge: float) -> tuple[int, int] | None:
        rate = self.stretch.rate
        latest = math.floor(edge * rate) - max(round(0.02 * rate), 10)
        found = [r for r in self.rests if r.start + 3 < latest and r.stop / rate > edge - OLDEST_REST]
        if not found:
            return None
        stop = min(found[-1].stop, latest)
        start = max(found[-1].start, stop - round(REST * rate))
        return (start, stop) if stop - start >= 0.1 * rate else None

    def rest_after(self, edge: float) -> tuple[int, int] | None:
        rate = self.stretch.rate
        found = [r for r in self.rests if edge < r.start / rate < edge + 3.0]
        return (found[0].start, min(found[0].stop, found[0].start + round(REST * rate))) if found else None


def _one_strike(
    strike: Strike, seen: _Seen, edge: ImpactEdge, setup: ImuSetup, gravity: float, spread: float
) -> StrikeMotion:
    rest = seen.rest_before(edge.time)
    if rest is None:
        return StrikeMotion(strike.number, None, flags=(flag("no-stillness"),))
    stretch, first = seen.stretch, rest[0]
    after = seen.rest_after(edge.time) if setup.rest_after else None
    last = max(math.ceil((edge.time + 0.1) * stretch.rate), after[1] if after else 0)
    rates = stretch.angular_rate
    found = approach_speed_from_imu(
        stretch.acceleration[first:last],
        None if rates is None else rates[first:last],
        stretch.rate,
        rest=(0, rest[1] - first),
        edge=edge._replace(time=edge.time - first / stretch.rate),
        lever_arm=setup.lever_arm,
        u_lever_arm=setup.u_lever_arm,
        normal=setup.normal,
        u_normal=setup.u_normal,
        errors=UNCALIBRATED if setup.calibration is None else setup.calibration.errors(),
        gravity=gravity,
        acceleration_limit=setup.acceleration_limit,
        rate_limit=setup.rate_limit,
        rest_after=None if after is None else (after[0] - first, after[1] - first),
        straight=setup.straight,
    )
    return _motion_of(strike, found, math.hypot(spread, edge.u))


def _motion_of(strike: Strike, found: ApproachSpeed, u_time: float) -> StrikeMotion:
    flags = [flag(code) for code in found.flags]
    if found.value <= 0:
        flags.append(flag("moves-away"))
    elif found.value < OFF_NORMAL * found.resultant:
        flags.append(flag("off-normal", f"{found.value:.2f} m/s along it, {found.resultant:.2f} m/s in all"))
    speed = None
    if not any("approach_speed" in FLAGS[f.code].withholds for f in flags):
        speed = _measured(found.value, [Contribution(c.name, c.u) for c in found.contributions])
    scale, offset = _split(found.value, (Contribution(c.name, c.u) for c in found.contributions))
    keep = found.time > -0.5
    return StrikeMotion(
        strike.number,
        speed,
        found.acceleration_before,
        found.u_acceleration_before,
        found.time[keep],
        found.speed[keep],
        found.acceleration[keep],
        found.u_speed[keep],
        u_time,
        scale,
        offset,
        tuple(flags),
    )


def _gravity(rig: Rig | None) -> float:
    if rig is None or rig.place is None:
        return STANDARD_GRAVITY
    return normal_gravity(rig.place.latitude, rig.place.altitude)


def _wrong_unit(seen: Sequence[_Seen], gravity: float) -> list[Flag]:
    rests = [rest for one in seen for rest in one.rests]
    if not rests:
        return []
    # by how long each lasts: a short steady swing looks like a rest and is none
    shown = [float(np.linalg.norm(rest.acceleration)) for rest in rests]
    length = float(np.median(np.repeat(shown, [rest.stop - rest.start for rest in rests])))
    if reads_gravity([0.0, 0.0, length], gravity=gravity):
        return []
    guess = ""
    if 0.9 < length < 1.1:
        guess = "; the channels seem to be in g, not in m/s²"
    elif length < 0.3:
        guess = "; gravity seems to have been taken out"
    elif 0.9 < length / gravity**2 < 1.1:
        guess = "; the channels seem to be in m/s², not in g"
    return [flag("still-not-g", f"At rest it shows {length:.2f} m/s²{guess}")]


# -- clocks


def _judge_clock(
    clock: ClockFit | None,
    starts: Sequence[float],
    times: Sequence[float],
    rate: float,
    stated: tuple[float, float] | None,
) -> tuple[bool, list[Flag]]:
    """Whether pairs may be used, and what is to be said about the clocks."""
    if not starts or not times:
        return False, [flag("no-common-impacts", f"{len(starts)} in the force, {len(times)} in the motion")]
    paired = 0 if clock is None else len(clock.pairs)
    # two halves that agree among themselves are no chance, even if neither is the larger one
    halves = clock is not None and clock.jumped and paired >= LEAST_PAIRS
    doubtful = clock is None or (clock.ambiguous and not halves)
    if doubtful or paired < 0.6 * min(len(starts), len(times)):
        factor = find_stretch(starts, times)
        if factor is not None and abs(factor - 1) > STRETCHED:
            detail = f"Its intervals are {factor:.4f} times as long: {rate:.5g} Hz as stated, about "
            return False, [flag("motion-rate", f"{detail}{rate * factor:.5g} Hz by the strikes")]
    if clock is None or doubtful:
        near = "" if stated is None else f", within {stated[1]:g} s of the offset {stated[0]:g} s"
        detail = f"{len(starts)} in the force, {len(times)} in the motion, at most {paired} agree{near}"
        return False, [flag("clock-ambiguous", detail)]
    flags = []
    if clock.jumped:
        flags.append(flag("clock-jumped", f"{paired} of {len(starts)} strikes could be matched"))
    if paired < LEAST_PAIRS:
        flags.append(flag("few-pairs", f"{paired} matched"))
    return True, flags


def _clock_match(
    tie: str, clock: ClockFit, strikes: Sequence[Strike], times: Sequence[float], extra: tuple[float, ...]
) -> ClockMatch:
    pairs = [(strikes[int(i)], times[int(j)]) for i, j in clock.pairs]
    matched = {strike.number for strike, _ in pairs}
    return ClockMatch(
        tie,
        clock.offset,
        clock.u_offset,
        clock.drift,
        clock.u_drift,
        clock.middle,
        clock.spread,
        tuple(strike.number for strike, _ in pairs),
        tuple(strike.start for strike, _ in pairs),
        tuple(time - clock.to_other(strike.start) for strike, time in pairs),
        tuple(strike.number for strike in strikes if strike.number not in matched),
        extra,
    )


def _why_none(
    strike: Strike, clock: ClockFit | None, usable: bool, stretches: Sequence[ImuStretch]
) -> tuple[Flag, ...]:
    if not usable or clock is None:
        return (flag("clocks-apart"),)
    at = clock.to_other(strike.start)
    if at < stretches[0].start:
        return (flag("no-motion", f"It begins {stretches[0].start - at:.1f} s after this strike"),)
    if at > stretches[-1].end:
        return (flag("no-motion", f"It ended {at - stretches[-1].end:.1f} s before this strike"),)
    if not any(s.start <= at <= s.end for s in stretches):
        return (flag("no-motion", "Its samples are missing there"),)
    return (flag("no-motion", "It shows no impact there"),)


# -- other sources


def is_track(recording: Recording) -> bool:
    """Whether a recording of the motion holds positions and no accelerations."""
    return not has_imu(recording) and any(trace.quantity == "position" for trace in recording.traces)


def _track(
    analysis: Analysis, recording: Recording, setup: TrackSetup, clock_offset: tuple[float, float] | None
) -> JoinedMotion:
    where = recording.path or "recording"
    if len(setup.channels) == 1:
        traces: tuple[Trace, ...] = (recording.trace(setup.channels[0]),)
    else:
        traces = pick_axes(recording, "position", setup.channels)
    if not traces:
        raise ChannelError(f"{where}: there is no channel of acceleration and none of position")
    columns = [trace.read() for trace in traces]
    position = np.stack(columns, axis=1)
    first = next(iter(traces[0].blocks())).start
    time = first + np.arange(len(position)) / traces[0].rate
    offset, within = clock_offset or (0.0, 0.0)
    same_file = bool(recording.sha256) and recording.sha256 == analysis.sha256
    doubts = () if clock_offset or same_file else (flag("clock-assumed"),)
    motions = []
    for strike in analysis.strikes:
        at = strike.start + offset
        if not time[0] < at <= time[-1]:
            motions.append(StrikeMotion(strike.number, None, flags=(flag("no-motion"),)))
            continue
        around = (time > at - 0.5) & (time < at + 0.1)
        u_contact = math.hypot(within / math.sqrt(3), 1 / traces[0].rate / math.sqrt(12))
        try:
            found = speed_from_track(
                position[around],
                time[around],
                at,
                normal=setup.normal,
                u_position=setup.u_position,
                u_scale=setup.u_scale,
                u_contact=u_contact,
            )
        except ValueError as problem:
            motions.append(StrikeMotion(strike.number, None, flags=(flag("no-motion", str(problem)),)))
            continue
        contributions = [Contribution(c.name, c.u) for c in found.contributions]
        scale, off = _split(found.value, contributions)
        motions.append(
            StrikeMotion(
                strike.number,
                _measured(found.value, contributions),
                found.acceleration,
                found.u_acceleration,
                u_time=u_contact,
                u_speed_scale=scale,
                u_speed_offset=off,
                flags=(*doubts, *_without_normal(setup, traces)),
            )
        )
    return JoinedMotion(_filled(analysis, motions), tuple(motions), "track", flags=doubts)


def _without_normal(setup: TrackSetup, traces: Sequence[Trace]) -> tuple[Flag, ...]:
    return (flag("resultant-speed"),) if setup.normal is None and len(traces) == 3 else ()


def _gates(analysis: Analysis, gates: GateTimes) -> JoinedMotion:
    motions = []
    used: set[int] = set()
    for strike in analysis.strikes:
        near = [
            (strike.start - second, i)
            for i, (_, second) in enumerate(gates.times)
            if 0 <= strike.start - second <= GATE_REACH and i not in used
        ]
        if not near:
            motions.append(
                StrikeMotion(strike.number, None, flags=(flag("no-motion", "No gate was broken"),))
            )
            continue
        i = min(near)[1]
        used.add(i)
        try:
            found = speed_from_gates(
                *gates.times[i],
                gates.spacing,
                u_spacing=gates.u_spacing,
                u_time=gates.u_time,
                distance_to_pad=gates.distance_to_pad,
            )
        except ValueError as problem:
            raise UsageError(f"strike {strike.number}: {problem}") from None
        contributions = [Contribution(c.name, c.u) for c in found.contributions]
        scale, offset = _split(found.value, contributions)
        speed = _measured(found.value, contributions)
        motions.append(StrikeMotion(strike.number, speed, u_speed_scale=scale, u_speed_offset=offset))
    left = tuple(second for i, (_, second) in enumerate(gates.times) if i not in used)
    return JoinedMotion(_filled(analysis, motions), tuple(motions), "gates", unmatched=left)


def _typed(analysis: Analysis, typed: TypedSpeed) -> JoinedMotion:
    unknown = sorted(set(typed.by_strike) - {strike.number for strike in analysis.strikes})
    if unknown:
        raise UsageError(f"a speed is stated for strike {unknown[0]}, but there are {len(analysis.strikes)}")
    motions = []
    for strike in analysis.strikes:
        speed, u = typed.by_strike.get(strike.number, (typed.speed, typed.u))
        if speed is None:
            motions.append(StrikeMotion(strike.number, None, flags=(flag("no-motion", "None was stated"),)))
            continue
        if not (math.isfinite(speed) and speed > 0) or (u is not None and not (math.isfinite(u) and u >= 0)):
            raise UsageError(f"strike {strike.number}: need a speed above 0 m/s, got {speed} ± {u}")
        if u is None:
            measured, flags = Measured("approach_speed", speed, None), (flag("speed-without-doubt"),)
            motions.append(StrikeMotion(strike.number, measured, flags=flags))
        else:
            measured = _measured(speed, [Contribution("stated", u)])
            motions.append(StrikeMotion(strike.number, measured, u_speed_scale=u / speed))
    return JoinedMotion(_filled(analysis, motions), tuple(motions), "typed")


# -- what goes into the analysis


def _measured(value: float, contributions: Iterable[Contribution]) -> Measured:
    return Measured.of("approach_speed", value, contributions)


def _split(value: float, contributions: Iterable[Contribution]) -> tuple[float, float]:
    """Relative and constant part of the uncertainty, the latter in m/s."""
    contributions = list(contributions)
    by_scale = math.hypot(*(c.u for c in contributions if c.name in OF_SCALE))
    constant = math.hypot(*(c.u for c in contributions if c.name not in OF_SCALE))
    return by_scale / max(abs(value), 1e-9), constant


def _filled(analysis: Analysis, motions: Sequence[StrikeMotion]) -> Analysis:
    strikes = []
    for strike, motion in zip(analysis.strikes, motions, strict=True):
        quantities = dict(strike.quantities)
        quantities.pop("approach_speed", None)
        if motion.approach_speed is not None:
            quantities["approach_speed"] = motion.approach_speed
        flags = {f.code: f for f in (*strike.flags, *motion.flags)}
        strikes.append(replace(strike, quantities=quantities, flags=tuple(flags.values())))
    return replace(analysis, strikes=tuple(strikes))


def _with_step(
    joined: JoinedMotion,
    motion: Recording | TypedSpeed | GateTimes,
    setup: MotionSetup | None,
    clock_offset: tuple[float, float] | None,
    began: str,
) -> Analysis:
    analysis = joined.analysis
    settings: dict[str, object] = {"source": joined.source, "clock_offset": clock_offset}
    settings["setup"] = _plain(asdict(setup)) if setup is not None else None
    inputs = tuple(step.output for step in analysis.history[-1:])
    if isinstance(motion, Recording):
        inputs += (motion.sha256,)
    else:
        settings["stated"] = _plain(asdict(motion))
    speeds = [m.approach_speed and (m.approach_speed.value, m.approach_speed.u) for m in joined.motions]
    output = hashlib.sha256(json.dumps(speeds).encode()).hexdigest()
    step = Step("quintain.join_motion", __version__, settings, inputs, output, began)
    return replace(analysis, history=(*analysis.history, step), flags=(*analysis.flags, *joined.flags))


def _plain(value: object) -> object:
    """The same in lists, mappings and plain numbers."""
    if isinstance(value, dict):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(entry) for entry in value]
    return value.tolist() if isinstance(value, np.ndarray) else value
