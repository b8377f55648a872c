"""Whether a recording of the motion, or stated speeds, can belong to a recording of strikes at all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from quintain.domain.motion import TypedSpeed
from quintain.domain.trace import Trace
from quintain.errors import RecordingError, UsageError
from quintain.readers.registry import read
from quintain.tasks.add_motion import (
    clock_offset_of_pulses,
    kept_speeds,
    parse_clock_offset,
    parse_sync,
    parse_track,
)
from quintain.tasks.motion import GATE_REACH, is_track

__all__ = ["OF_MOTION", "RecordedFile", "check_channels", "check_motion", "check_speeds"]

OF_MOTION = ("offset", "sync", "track", "normal")
"""What is said of a motion, and goes with it."""

LEAST_COVERED = 0.5
"""A motion shorter than this part of what it should cover is taken for another one, unless an offset is
stated. Common practice, no source: a sensor started late still shows most of the strikes."""


@dataclass(frozen=True, slots=True)
class RecordedFile:
    """A recording on a disk: what it is called, how it is read, and its length where that is known. [s]"""

    path: Path
    name: str
    reading: Mapping[str, Any] = field(default_factory=dict)
    channel: str = ""
    duration: float | None = None


def check_channels(force: RecordedFile, motion: RecordedFile, stated: Mapping[str, str]) -> None:
    """
    See that the channels are there that tie motion and force.

    Parameters
    ----------
    force, motion : RecordedFile
        The two.
    stated : mapping of str to str
        'sync' and 'track' as typed, as far as they are stated.

    Raises
    ------
    ChannelError
        If one is not.
    UsageError
        If what was typed cannot be understood.
    """
    names = [*parse_track(stated["track"])] if stated.get("track") else []
    if stated.get("sync"):
        of_force, of_motion = parse_sync(stated["sync"])
        read(force.path, **force.reading).trace(of_force)
        names.append(of_motion)
    if names:
        recording = read(motion.path, **motion.reading)
        for name in names:
            recording.trace(name)


def check_motion(
    force: RecordedFile, motion: RecordedFile, stated: Mapping[str, str], *, starts: Sequence[float] = ()
) -> None:
    """
    See that a motion covers strikes of the force, as far as that can be told before an analysis.

    Parameters
    ----------
    force, motion : RecordedFile
        The two.
    stated : mapping of str to str
        'offset', 'sync' and 'track' as typed, as far as they are stated.
    starts : sequence of float
        Strikes that were found in the force, if it was analysed. [s]

    Raises
    ------
    ChannelError
        If a channel is not there.
    AnalysisError
        If pulses do not tell the offset.
    RecordingError
        If the motion holds no samples.
    UsageError
        If the motion lies before or behind all of it on the clock of the force, or is much too short.

    Notes
    -----
    Where the impacts alone will tie the clocks, only lengths can be compared. A motion that is longer than
    the force fits: a sensor may stay on the limb over several recordings.
    """
    check_channels(force, motion, stated)
    recording = read(motion.path, **motion.reading)
    names = parse_track(stated["track"]) if stated.get("track") else ()
    if not recording.traces:
        raise RecordingError(f"{motion.name}: there is no channel in it; export the recording again")
    begin, end = _stretch(recording.trace(names[0]) if names else recording.traces[0], motion.duration)
    if not end > begin:
        raise RecordingError(f"{motion.name}: it holds no samples; export it again")
    if starts:
        low, high, what = min(starts), max(starts), "the strikes"
    else:
        trace = read(force.path, **force.reading).trace(force.channel or None)
        low, high = _stretch(trace, force.duration)
        what = "the recording"
    offset = None
    if stated.get("sync"):
        offset = clock_offset_of_pulses(
            force.path, motion.path, stated["sync"], reading=force.reading, motion_reading=motion.reading
        )
    elif stated.get("offset"):
        offset = parse_clock_offset(stated["offset"])
    elif names or is_track(recording):
        offset = 0.0, 0.0  # as the analysis assumes
    if offset is None:
        if end - begin < LEAST_COVERED * (high - low):
            raise UsageError(
                f"the motion {motion.name} lasts {end - begin:.4g} s, {what} of {force.name} "
                f"{high - low:.4g} s: is it of another recording? If it is the right one, state the offset "
                "of the clocks as well"
            )
        return
    begin, end = begin - offset[0], end - offset[0]
    if end + offset[1] < low or begin - offset[1] > high:
        raise UsageError(
            f"the motion {motion.name} covers nothing of {force.name}: with an offset of {offset[0]:.6g} s "
            f"it runs from {begin:.6g} to {end:.6g} s on the clock of the force, {what} from {low:.6g} to "
            f"{high:.6g} s. The offset is the motion's clock less the force's: check its sign, or the file"
        )


def check_speeds(stated: str, starts: Sequence[float]) -> None:
    """
    See that stated speeds belong to strikes that were found.

    Parameters
    ----------
    stated : str
        As a lab keeps them.
    starts : sequence of float
        Strikes that were found. [s]

    Raises
    ------
    UsageError
        If there are speeds of more strikes, or no gate was broken before any of them.
    """
    told = kept_speeds(stated)
    if isinstance(told, TypedSpeed):
        last = max(told.by_strike, default=0)
        if last > len(starts):
            raise UsageError(
                f"a speed is stated for strike {last}, but {len(starts)} were found; state one for each in "
                "their order, or a table with their numbers"
            )
        return
    if not any(0 <= start - second <= GATE_REACH for start in starts for _, second in told.times):
        seconds = [second for _, second in told.times]
        raise UsageError(
            f"no strike begins within {GATE_REACH:g} s after the second gate: it was broken from "
            f"{min(seconds):.6g} to {max(seconds):.6g} s, strikes begin from {min(starts):.6g} to "
            f"{max(starts):.6g} s. Give the times on the clock of the force"
        )


def _stretch(trace: Trace, duration: float | None) -> tuple[float, float]:
    """From where to where on its own clock. [s]"""
    blocks = trace.blocks()
    if duration is not None:
        first = next(iter(blocks)).start
        return first, first + duration
    begin, end = math.inf, -math.inf
    for block in blocks:
        begin, end = min(begin, block.start), max(end, block.start + block.samples.size / trace.rate)
    return begin, end
