"""A session at a glance: who struck what how often, and where the numbers lie among their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["SessionLine", "SessionSummary", "SessionValue", "Usual"]


@dataclass(frozen=True, slots=True)
class Usual:
    """Middle 80 % of a person's own earlier strikes of that type and side. [SI]"""

    low: float
    high: float
    n: int


@dataclass(frozen=True, slots=True)
class SessionValue:
    """Mean of the strikes of a line, the least and the greatest of them, and what is usual. [SI]"""

    mean: float
    low: float
    high: float
    n: int
    usual: Usual | None


@dataclass(frozen=True, slots=True)
class SessionLine:
    """Strikes of one person, type and side; ``n_doubted`` of them carry a flag."""

    person: str
    type: str
    side: str
    n: int
    n_doubted: int
    values: Mapping[str, SessionValue]


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """
    What the coach takes home.

    Parameters
    ----------
    code, title, when, rig : str
        As the session states them; ``when`` is ISO 8601 or empty.
    rig_verdict : str
        What the rig's evidence says, in words; empty where nothing is known.
    unsafe : tuple of str
        Codes of flags that mean stop, raised on some strike.
    accepted, waiting, rejected : int
        Strikes by what the review said.
    lines : tuple of SessionLine
        By person, type and side; rejected strikes are not in them.
    person : str
        The only person it is about, or empty.
    """

    code: str
    title: str
    when: str
    rig: str
    rig_verdict: str
    unsafe: tuple[str, ...]
    accepted: int
    waiting: int
    rejected: int
    lines: tuple[SessionLine, ...]
    software: str
    made: str
    person: str = ""
