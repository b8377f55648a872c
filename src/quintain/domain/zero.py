"""A check of the zero: what the chain reads when nothing touches the target."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from quintain.domain.flags import Flag
from quintain.domain.measured import Measured

__all__ = ["ZeroCheck"]


@dataclass(frozen=True, slots=True)
class ZeroCheck:
    """
    Zero, drift and noise of a quiet recording.

    ``quantities`` holds ``zero``, ``zero_drift`` and ``noise``; ``duration`` is the time looked at
    [s], ``started`` when the recording began, where its file tells.
    """

    path: str
    sha256: str
    channel: str
    duration: float
    quantities: Mapping[str, Measured]
    flags: tuple[Flag, ...]
    quintain: str
    started: datetime | None = None
