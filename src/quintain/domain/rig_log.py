"""What was done to prove a rig, and when: one dated entry a test or calibration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from quintain.domain.measured import Measured

__all__ = ["KINDS", "LogEntry"]

KINDS = ("tap", "drops", "zero", "calibration", "sensor")
"""Kinds of evidence a rig's log holds."""


@dataclass(frozen=True, slots=True)
class LogEntry:
    """
    One dated piece of evidence.

    Parameters
    ----------
    when : datetime.datetime
        When it was made, with its offset from UTC.
    kind : str
        One of :data:`KINDS`.
    rig_version : str
        Version of the rig file at that time.
    inputs : tuple of str
        SHA-256 of the recordings it rests on.
    values : mapping of str to Measured
        What came out, by glossary name.
    verdict : str
        'pass', 'fail', 'undecided', or empty where none was asked for.
    quintain : str
        Version of the software.
    """

    when: datetime
    kind: str
    rig_version: str
    inputs: tuple[str, ...]
    values: Mapping[str, Measured]
    verdict: str = ""
    quintain: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind must be one of {', '.join(KINDS)}, got {self.kind!r}")
        if self.when.tzinfo is None:
            raise ValueError("when must state its offset from UTC")
