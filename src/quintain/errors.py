"""
Every exception Quintain raises on purpose.

A message says what is wrong in lab words, where (file, row, channel, time), what was expected and
found, and what to do next. ``code`` names the page of the documentation; ``exit_code`` is what the
command line returns.
"""

from __future__ import annotations

from typing import ClassVar

__all__ = [
    "AnalysisError",
    "ChannelError",
    "ConflictError",
    "LabError",
    "MethodFileError",
    "MissingError",
    "OutputError",
    "QuintainError",
    "RecordingError",
    "RigFileError",
    "StudyError",
    "StudyPlanError",
    "UnitError",
    "UsageError",
]


class QuintainError(Exception):
    """Something Quintain can explain to the person in front of it."""

    code: ClassVar[str] = "error"
    exit_code: ClassVar[int] = 3


class UsageError(QuintainError):
    """The request itself cannot be carried out as it was put."""

    code = "usage"
    exit_code = 2


class RecordingError(QuintainError):
    """A recording cannot be read: not there, damaged, of an unknown kind, or changing while read."""

    code = "recording"


class ChannelError(RecordingError):
    """A channel that was asked for is not in the recording, or no channel can be told apart."""

    code = "channel"


class UnitError(RecordingError):
    """A unit is missing or unknown; Quintain never guesses one."""

    code = "unit"


class RigFileError(QuintainError):
    """A rig file has an entry that cannot be used; the message names file and line."""

    code = "rig-file"
    exit_code = 2


class MethodFileError(QuintainError):
    """A method file has an entry that cannot be used; the message names file and line."""

    code = "method-file"
    exit_code = 2


class StudyPlanError(QuintainError):
    """A study's plan has an entry that cannot be used; the message names file and line."""

    code = "study-plan"
    exit_code = 2


class OutputError(QuintainError):
    """A result cannot be written where it was asked to go."""

    code = "output"


class LabError(QuintainError):
    """A lab cannot be opened or used: not there, locked, read-only, damaged, or of a newer version."""

    code = "lab"


class MissingError(LabError):
    """What was asked for is not in the lab, or there are several of that name."""

    code = "missing"


class ConflictError(LabError):
    """Somebody else changed the same thing in the meantime; nothing was written."""

    code = "conflict"
    exit_code = 1


class AnalysisError(QuintainError):
    """The data do not allow what was asked, and no flagged result would be honest."""

    code = "analysis"
    exit_code = 1


class StudyError(QuintainError):
    """The results at hand do not carry the statistic that was asked for; it is refused, not faked."""

    code = "study"
    exit_code = 1
