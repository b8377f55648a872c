"""What is told of one person over sessions: kinds of strikes, their course, left against right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from quintain.domain.session_summary import Usual

if TYPE_CHECKING:
    from quintain.study.asymmetry import PersonAsymmetry
    from quintain.study.progress import Progress

__all__ = [
    "Kind",
    "PersonProgress",
    "PersonSummary",
    "ProgressLine",
    "SessionMean",
    "SessionStrikes",
    "SideLine",
]


@dataclass(frozen=True, slots=True)
class Kind:
    """Strikes of one type, side and rig; another pad gives other numbers, so rigs are never mixed."""

    type: str
    side: str
    rig: str
    n_strikes: int
    n_sessions: int


@dataclass(frozen=True, slots=True)
class ProgressLine:
    """
    One quantity over the person's sessions, in order of time. [SI unit of the quantity]

    ``means`` and ``u`` are of the person's strikes in each session, ``u`` is nan where it is not known;
    ``progress`` is None where it cannot be judged, and ``refused`` says why.
    """

    quantity: str
    sessions: tuple[str, ...]
    when: tuple[datetime | None, ...]
    n_strikes: tuple[int, ...]
    means: tuple[float, ...]
    u: tuple[float, ...]
    progress: Progress | None
    refused: str
    n_people: int
    """People whose sessions told the error of measurement."""


@dataclass(frozen=True, slots=True)
class SideLine:
    """Left against right in one type on one rig; ``asymmetry`` is None where it cannot be told."""

    type: str
    rig: str
    quantity: str
    asymmetry: PersonAsymmetry | None
    refused: str


@dataclass(frozen=True, slots=True)
class PersonProgress:
    """
    A person's course.

    ``kinds`` are all that the person struck, the commonest first; ``kind`` is the one that is shown, None
    where nothing is told. ``unreviewed`` says that strikes which wait are counted too, because none of
    that kind is accepted yet.
    """

    person: str
    kinds: tuple[Kind, ...]
    kind: Kind | None
    unreviewed: bool
    lines: tuple[ProgressLine, ...]
    sides: tuple[SideLine, ...]


class SessionMean(NamedTuple):
    """One quantity of one session: mean, SD between the strikes (None for one strike), n. [SI unit]"""

    mean: float
    sd: float | None
    n: int


@dataclass(frozen=True, slots=True)
class SessionStrikes:
    """A person's strikes of one kind in one session; quantities that no strike states are left out."""

    kind: Kind
    session: str
    when: datetime | None
    n: int
    quantities: Mapping[str, SessionMean]


@dataclass(frozen=True, slots=True)
class PersonSummary:
    """
    What a report of one person says; of the person it holds the code alone.

    Parameters
    ----------
    code : str
        The person.
    erased : bool
        Whether what identified them was erased.
    accepted, waiting, rejected : int
        Strikes by what the review said.
    sessions : tuple of SessionStrikes
        By kind, then in order of time; rejected strikes are not in them.
    courses : tuple of PersonProgress
        One a kind, the commonest first.
    usual : mapping of (Kind, str) to Usual
        Middle 80 % of the person's accepted strikes of that kind before their latest session in it, where
        there are enough.
    methods : str
        How the numbers came about, in a paragraph.
    method_sha256, rig_versions : tuple of str
        What the numbers rest on.
    data_sha256 : str
        Hash of the values that went in.
    software, made : str
        Version, and when the summary was made (ISO 8601).
    """

    code: str
    erased: bool
    accepted: int
    waiting: int
    rejected: int
    sessions: tuple[SessionStrikes, ...]
    courses: tuple[PersonProgress, ...]
    usual: Mapping[tuple[Kind, str], Usual]
    methods: str
    method_sha256: tuple[str, ...]
    rig_versions: tuple[str, ...]
    data_sha256: str
    software: str
    made: str
