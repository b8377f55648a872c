"""From an analysis and what the user gives of the limb's motion to strikes with mass, energy and power."""

from __future__ import annotations

import re
from concurrent.futures import Executor
from pathlib import Path
from typing import Any

from quintain.domain.analysis import Analysis
from quintain.domain.motion import ImuSetup, TypedSpeed
from quintain.errors import UsageError
from quintain.readers.registry import read
from quintain.tasks.limb import measure_limbs
from quintain.tasks.motion import join_motion

__all__ = ["add_motion", "parse_speeds", "parse_vector"]

EXPANDED = 1.96
"""What follows ± is an expanded uncertainty (95 %), as everywhere on screen."""

_SPEED = re.compile(r"^\s*(\d+(?:\.\d*)?|\.\d+)\s*(?:(?:±|\+-|\+/-)\s*(\d+(?:\.\d*)?|\.\d+))?\s*(?:m/s)?\s*$")


def add_motion(
    analysis: Analysis,
    *,
    motion: str | Path | None = None,
    speeds: str | None = None,
    setup: ImuSetup | None = None,
    columns: str | None = None,
    rate: float | None = None,
    units: str | None = None,
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
        Approach speeds as typed; see :func:`parse_speeds`. One of both is needed.
    setup : ImuSetup, optional
        How the sensor sits on the limb.
    columns, rate, units : optional
        How the motion's file is to be read; as for :func:`quintain.read`.
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
    RecordingError
        If the motion's file cannot be read.
    AnalysisError
        If its motion cannot be used.
    """
    if (motion is None) == (speeds is None):
        raise UsageError("give either a recording of the motion or speeds, not both")
    if speeds is not None:
        return measure_limbs(join_motion(analysis, parse_speeds(speeds)), kind=kind, executor=executor)
    options: dict[str, Any] = {"columns": columns, "rate": rate, "units": units}
    recording = read(str(motion), **{name: value for name, value in options.items() if value is not None})
    return measure_limbs(join_motion(analysis, recording, setup=setup), kind=kind, executor=executor)


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
