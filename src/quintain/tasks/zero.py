"""Check the zero of a rig that nobody touches."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from quintain.domain.flags import flag
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.domain.trace import Trace
from quintain.domain.zero import ZeroCheck
from quintain.errors import AnalysisError
from quintain.numerics.quiet import measure_zero
from quintain.readers.registry import read
from quintain.tasks.analyse import find_strikes, pick_force
from quintain.tasks.evidence_time import evidence_time
from quintain.tasks.rig_file import append_log
from quintain.version import __version__

__all__ = ["check_zero", "record_zero"]

LONGEST = 60.0
"""At most so much of the recording is looked at. [s]"""

SHORTEST = 1.0
"""Less rest than this is no check of a zero. [s]"""


def check_zero(
    path: str | Path,
    *,
    rig: Rig | None = None,
    channel: str | None = None,
    **reading: Any,
) -> ZeroCheck:
    """
    Measure zero, drift and noise on a recording of an untouched rig.

    Parameters
    ----------
    path : path
        The recording; its first minute is looked at.
    rig : Rig, optional
        Its calibration turns volts into newtons.
    channel
        As for :func:`quintain.tasks.analyse.analyse_file`.
    **reading
        What the file does not say itself, see :func:`quintain.readers.registry.read`.

    Returns
    -------
    ZeroCheck
        Zero at the middle of the stretch, drift and noise, with their uncertainties.

    Raises
    ------
    ChannelError, UnitError
        If the channel cannot be told or is no force.
    AnalysisError
        If somebody touched the rig, or there is less than a second of rest.
    """
    recording = read(path, **reading)
    trace = pick_force(recording, rig, channel)
    pieces, count = [], 0
    for block in trace.blocks():
        if block.join:
            break
        pieces.append(block.samples)
        count += block.samples.size
        if count >= LONGEST * trace.rate:
            break
    samples = np.concatenate(pieces)[: round(LONGEST * trace.rate)] if pieces else np.empty(0)
    duration = samples.size / trace.rate
    if np.count_nonzero(np.isfinite(samples)) < SHORTEST * trace.rate:
        raise AnalysisError(
            f"{path}: {duration:.2g} s of samples are too short for a check of the zero; record "
            f"at least {SHORTEST:g} s of an untouched rig"
        )
    touched = find_strikes(Trace.from_array(samples, trace.rate))
    if touched:
        at = touched[0].start / trace.rate
        raise AnalysisError(
            f"{path}: something touched the rig at {at:.3f} s, so this is no check of the zero; "
            "record it untouched"
        )
    zero = measure_zero(samples, trace.rate)
    n = max(zero.n - 1, 1)
    quantities = {
        "zero": Measured("zero", zero.value, zero.u_value),
        "zero_drift": Measured("zero_drift", zero.drift, zero.u_drift),
        "noise": Measured("noise", zero.noise, zero.noise / math.sqrt(2 * n)),
    }
    flags = (flag("coarse-steps"),) if zero.coarse else ()
    return ZeroCheck(
        str(path),
        recording.sha256,
        trace.name,
        duration,
        quantities,
        flags,
        __version__,
        recording.started,
    )


def record_zero(check: ZeroCheck, rig_path: str | Path, *, when: datetime | None = None) -> None:
    """
    Enter a check of the zero into a rig's log.

    Parameters
    ----------
    check : ZeroCheck
        What it told.
    rig_path : path
        The rig file.
    when : datetime.datetime, optional
        When it was made, with its offset from UTC; as its recording says if not given, or now.

    Raises
    ------
    UsageError
        If the time lies in the future or cannot be, see :func:`~quintain.tasks.evidence_time.evidence_time`.
    RigFileError, OutputError
        If the rig file cannot be read, or its log not be written.
    """
    at, rig = evidence_time(when, check.started), Rig.load(rig_path)
    append_log(
        rig_path,
        LogEntry(at, "zero", rig.version, (check.sha256,), check.quantities, "", check.quintain),
    )
