"""From an analysis and what the user gives of the limb's motion to strikes with mass, energy and power."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path
from typing import Any

from quintain.domain.analysis import Analysis
from quintain.domain.motion import GateTimes, ImuSetup, MotionSetup, TrackSetup, TypedSpeed
from quintain.domain.rig import Rig
from quintain.errors import UsageError
from quintain.readers.registry import read
from quintain.tasks.limb import measure_limbs
from quintain.tasks.motion import join_motion, offset_by_pulses
from quintain.tasks.speed_table import (
    TABLES,
    keep_speed_table,
    parse_speed_table,
    read_speed_table,
    text_of_table,
)

__all__ = [
    "add_motion",
    "clock_offset_of_pulses",
    "keep_speeds",
    "kept_speeds",
    "motion_setup",
    "parse_clock_offset",
    "parse_normal",
    "parse_speeds",
    "parse_sync",
    "parse_track",
    "parse_vector",
    "text_of_speeds",
]

EXPANDED = 1.96
"""What follows ± is an expanded uncertainty (95 %), as everywhere on screen."""

_OFFSET = re.compile(r"^\s*([+-]?\d+(?:\.\d*)?)\s*(?:±|\+-|\+/-)\s*(\d+(?:\.\d*)?|\.\d+)\s*s?\s*$")
_SPEED = re.compile(r"^\s*(\d+(?:\.\d*)?|\.\d+)\s*(?:(?:±|\+-|\+/-)\s*(\d+(?:\.\d*)?|\.\d+))?\s*(?:m/s)?\s*$")


def add_motion(
    analysis: Analysis,
    *,
    motion: str | Path | None = None,
    speeds: str | None = None,
    setup: MotionSetup | None = None,
    reading: Mapping[str, Any] | None = None,
    clock_offset: tuple[float, float] | None = None,
    kind: str = "any",
    executor: Executor | None = None,
) -> Analysis:
    """
    Add the limb's motion to an analysis.

    Parameters
    ----------
    analysis : Analysis
        Strikes of the force.
    motion : path, optional
        A recording of an inertial sensor or of a tracked position.
    speeds : str, optional
        Approach speeds as typed, see :func:`parse_speeds`, or the name of a table of them, see
        :func:`~quintain.tasks.speed_table.read_speed_table`. One of both is needed.
    setup : ImuSetup or TrackSetup, optional
        How the sensor sits on the limb, or which tracked point strikes.
    reading : mapping, optional
        How the motion's file is to be read; as for :func:`quintain.read`.
    clock_offset : tuple of float, optional
        Expected time of the motion's clock less the force's, and how far off it may be. [s]
    kind : str
        'punch', 'kick' or 'any': the published ranges the numbers are held against.
    executor : concurrent.futures.Executor, optional
        Where strikes are measured; in this process if not given.

    Returns
    -------
    Analysis
        With approach speed, and effective mass, energy and power or the flags that say why not.

    Raises
    ------
    UsageError
        If both or neither are given, or a speed cannot be understood.
    RecordingError, UnitError
        If the motion's file or a table of speeds cannot be read.
    AnalysisError
        If the motion cannot be used.
    """
    if (motion is None) == (speeds is None):
        raise UsageError("give either a recording of the motion or speeds, not both")
    if speeds is not None:
        stated = read_speed_table(speeds) if _names_table(speeds) else parse_speeds(speeds)
        return measure_limbs(join_motion(analysis, stated), kind=kind, executor=executor)
    recording = read(str(motion), **(reading or {}))
    joined = join_motion(analysis, recording, setup=setup, clock_offset=clock_offset)
    return measure_limbs(joined, kind=kind, executor=executor)


def clock_offset_of_pulses(
    force: str | Path,
    motion: str | Path,
    channels: str,
    *,
    reading: Mapping[str, Any] | None = None,
    motion_reading: Mapping[str, Any] | None = None,
) -> tuple[float, float]:
    """
    The offset between two files from a pulse that both recorded, for ``clock_offset``.

    Parameters
    ----------
    force, motion : path
        The recordings.
    channels : str
        Name of the channel of the pulse in both, or both names divided by a comma, the force's first.
    reading, motion_reading : mapping, optional
        How they are to be read.

    Returns
    -------
    tuple of float
        As :func:`~quintain.tasks.motion.offset_by_pulses`. [s]

    Raises
    ------
    ChannelError
        If there is no such channel.
    AnalysisError
        If the pulses do not tell the offset.
    """
    of_force, of_motion = parse_sync(channels)
    here = read(force, **(reading or {})).trace(of_force)
    there = read(motion, **(motion_reading or {})).trace(of_motion)
    return offset_by_pulses(here, there)


def motion_setup(
    rig: Rig | None,
    *,
    normal: str | None = None,
    lever_arm: str | None = None,
    straight: bool = False,
    track: str | None = None,
) -> MotionSetup:
    """
    How a recording of the motion is to be understood: what the rig says of its sensor, and what is typed.

    Parameters
    ----------
    rig : Rig or None
        May hold a sensor.
    normal, lever_arm : str, optional
        Three numbers each, in place of the rig's. [1], [m]
    straight : bool
        Says that strikes are straight.
    track : str, optional
        One or three channels of a tracked point, divided by commas; the motion is a track then.

    Raises
    ------
    UsageError
        If something cannot be understood.
    """
    direction = None if normal is None else parse_normal(normal)
    if track is not None:
        channels = parse_track(track)
        if lever_arm is not None or straight:
            raise UsageError("--lever-arm and --straight are of a sensor on the limb, not of a track")
        return TrackSetup(channels, direction)
    setup = ImuSetup.of(rig.sensor if rig is not None else None)
    if lever_arm is not None:
        setup = replace(setup, lever_arm=parse_vector(lever_arm, "lever arm"))
    if direction is not None:
        setup = replace(setup, normal=direction)
    return replace(setup, straight=True) if straight else setup


def parse_clock_offset(text: str) -> tuple[float, float]:
    """
    Understand an offset between clocks and how far off it may be.

    Examples
    --------
    >>> parse_clock_offset("-28.9+-0.05")
    (-28.9, 0.05)
    """
    match = _OFFSET.match(text)
    if match is None or not float(match[2]) > 0:
        raise UsageError(
            f"expected an offset in s and how far off it may be, as in '28.9+-0.05', got {text!r}"
        )
    return float(match[1]), float(match[2])


def parse_sync(text: str) -> tuple[str, str]:
    """
    Understand in which channels of force and motion a common pulse is.

    Raises
    ------
    UsageError
        If no channel is named, or more than two.

    Examples
    --------
    >>> parse_sync("sync, trigger"), parse_sync("sync")
    (('sync', 'trigger'), ('sync', 'sync'))
    """
    names = [name.strip() for name in text.split(",")]
    if len(names) > 2 or not all(names):
        raise UsageError(f"expected the name of a channel, or two as in 'sync,trigger', got {text!r}")
    return names[0], names[-1]


def parse_track(text: str) -> tuple[str, ...]:
    """
    Understand the channels of a tracked point.

    Raises
    ------
    UsageError
        If there are not one or three, or one has no name.

    Examples
    --------
    >>> parse_track("hx, hy, hz")
    ('hx', 'hy', 'hz')
    """
    channels = tuple(name.strip() for name in text.split(","))
    if len(channels) not in (1, 3) or not all(channels):
        raise UsageError(f"a tracked point has one or three channels, as in 'hx,hy,hz', got {text!r}")
    return channels


def text_of_speeds(told: str) -> str:
    """
    Speeds as typed, or the text of the table that was named, for :func:`keep_speeds`.

    Raises
    ------
    RecordingError
        If the table cannot be read.
    """
    return text_of_table(told) if _names_table(told) else told


def _names_table(text: str) -> bool:
    """Whether the text names a file rather than speeds: a path that exists, or ends as tables of text do."""
    return Path(text).suffix.lower() in TABLES or (len(text) < 1000 and Path(text).is_file())


def parse_speeds(text: str) -> TypedSpeed:
    """
    Understand typed speeds.

    Parameters
    ----------
    text : str
        One for all strikes, as in ``'8.2+-0.2'``, or one for each in order, divided by semicolons. In m/s;
        what follows ± is the expanded uncertainty (95 %).

    Returns
    -------
    TypedSpeed
        Speeds with standard uncertainties.

    Raises
    ------
    UsageError
        If it cannot be understood, or a speed is zero.

    Examples
    --------
    >>> parse_speeds("8.2+-0.196")
    TypedSpeed(speed=8.2, u=0.1, by_strike={})
    >>> sorted(parse_speeds("8.2+-0.2; 7.9").by_strike)
    [1, 2]
    """
    found = []
    for part in text.split(";"):
        match = _SPEED.match(part)
        if match is None:
            raise UsageError(f"expected a speed in m/s such as '8.2+-0.2', got {part.strip()!r}")
        speed, expanded = float(match[1]), match[2]
        if not speed > 0:
            raise UsageError(f"an approach speed must be above 0 m/s, got {part.strip()!r}")
        found.append((speed, None if expanded is None else round(float(expanded) / EXPANDED, 9)))
    if len(found) == 1:
        return TypedSpeed(*found[0])
    return TypedSpeed(by_strike=dict(enumerate(found, start=1)))


def keep_speeds(text: str) -> str:
    """
    Speeds as a lab keeps them: as typed, or the text of a table without what says nothing of a speed.

    Parameters
    ----------
    text : str
        As for :func:`parse_speeds`, or the text of a table, which has several lines.

    Raises
    ------
    UsageError, RecordingError, UnitError
        If it cannot be understood.
    """
    text = text.strip()
    if "\n" in text or "\r" in text:
        return keep_speed_table(text)
    parse_speeds(text)
    return text


def kept_speeds(text: str) -> TypedSpeed | GateTimes:
    """What :func:`keep_speeds` kept, as numbers; errors as there."""
    return parse_speed_table(text) if "\n" in text else parse_speeds(text)


def parse_normal(text: str) -> tuple[float, float, float]:
    """
    Understand the direction into the target.

    Raises
    ------
    UsageError
        If there are not three numbers, or all are zero.

    Examples
    --------
    >>> parse_normal("1,0,0")
    (1.0, 0.0, 0.0)
    """
    direction = parse_vector(text, "normal")
    if not any(direction) or not all(map(math.isfinite, direction)):
        raise UsageError(f"the normal needs a length, got {text!r}")
    return direction


def parse_vector(text: str, what: str) -> tuple[float, float, float]:
    """
    Understand three numbers divided by commas.

    Raises
    ------
    UsageError
        If there are not three.

    Examples
    --------
    >>> parse_vector("0, 0, 0.12", "lever arm")
    (0.0, 0.0, 0.12)
    """
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"expected three numbers for the {what}, as in '1,0,0', got {text!r}") from None
    return x, y, z
