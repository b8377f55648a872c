"""What is inside a recording, channel by channel, without analysing it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from quintain.domain.recording import Recording
from quintain.domain.trace import Trace
from quintain.errors import UnitError
from quintain.readers.registry import read
from quintain.tasks.progress import Progress, silent

__all__ = ["ChannelLook", "peek"]


@dataclass(frozen=True, slots=True)
class ChannelLook:
    """
    First look at a channel, in the SI unit of its trace.

    ``n_samples`` counts the samples and ``n_missing`` those among them that are not there; ``breaks``
    counts jumps in time by kind. What cannot be known, as the unit is not stated, is None and ``problem``
    says why.
    """

    trace: Trace
    n_samples: int | None
    duration: float | None
    """Time from the first sample to the last, breaks included. [s]"""
    n_missing: int | None
    lowest: float | None
    highest: float | None
    breaks: dict[str, int]
    problem: str = ""


def peek(
    path: str | Path, *, progress: Progress = silent, **settings: Any
) -> tuple[Recording, list[ChannelLook]]:
    """
    Look into a recording.

    Parameters
    ----------
    path : str or path-like
        The file.
    progress : Progress
        Told how many channels are done.
    **settings
        What the file does not say itself, see :func:`quintain.readers.registry.read`.

    Returns
    -------
    recording : Recording
        The file's traces, header and notes.
    looks : list of ChannelLook
        One per trace. Every sample is read once, in bounded memory.

    Raises
    ------
    RecordingError
        If the file cannot be read or no reader knows it.
    """
    recording = read(path, **settings)
    looks = []
    for i, trace in enumerate(recording.traces):
        looks.append(_look(trace))
        progress("channels", i + 1, len(recording.traces))
    return recording, looks


def _look(trace: Trace) -> ChannelLook:
    n = n_missing = 0
    begin, end = math.inf, -math.inf
    lowest, highest = math.inf, -math.inf
    breaks: dict[str, int] = {}
    try:
        for block in trace.blocks():
            n += block.samples.size
            known = block.samples[np.isfinite(block.samples)]
            n_missing += block.samples.size - known.size
            if known.size:
                lowest, highest = min(lowest, float(known.min())), max(highest, float(known.max()))
            begin = min(begin, block.start)
            end = max(end, block.start + (block.samples.size - 1) / trace.rate)
            if block.join:
                breaks[block.join] = breaks.get(block.join, 0) + 1
    except UnitError as problem:
        return ChannelLook(trace, None, None, None, None, None, {}, str(problem))
    seen = n > n_missing
    return ChannelLook(
        trace,
        n,
        end - begin if n else 0.0,
        n_missing,
        lowest if seen else None,
        highest if seen else None,
        breaks,
    )
