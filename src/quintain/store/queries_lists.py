"""Lists of what a lab holds: sessions, people, rigs, studies and recordings, with counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.orm import Session as Database

from quintain.errors import MissingError
from quintain.store.lab import Lab
from quintain.store.queries_columns import StrikeColumns, dense
from quintain.store.queries_filter import STATES
from quintain.store.queries_fresh import strike_columns
from quintain.store.schema import (
    Evidence,
    Person,
    Planned,
    Recording,
    Rig,
    RigVersion,
    Session,
    Study,
)

__all__ = [
    "Counts",
    "PersonRow",
    "RecordingRow",
    "RigRow",
    "SessionRow",
    "StudyRow",
    "list_people",
    "list_recordings",
    "list_rigs",
    "list_sessions",
    "list_studies",
]


class Counts(NamedTuple):
    """How many strikes, by what review says of them; ``flagged``: with a flag, gone ones left out."""

    waiting: int = 0
    accepted: int = 0
    rejected: int = 0
    gone: int = 0
    flagged: int = 0

    @property
    def total(self) -> int:
        """All but those that are gone."""
        return self.waiting + self.accepted + self.rejected


@dataclass(frozen=True, slots=True)
class SessionRow:
    """A session in a list."""

    id: int
    code: str
    title: str
    when: datetime | None
    rig: str
    n_people: int
    n_recordings: int
    n_planned: int
    strikes: Counts


@dataclass(frozen=True, slots=True)
class PersonRow:
    """A person in a list, by code alone. [kg], [m], [years]"""

    id: int
    code: str
    body_mass: float | None
    height: float | None
    side: str
    experience: float | None
    erased: datetime | None
    n_sessions: int
    strikes: Counts


@dataclass(frozen=True, slots=True)
class RigRow:
    """A rig in a list, with its newest piece of evidence."""

    id: int
    name: str
    version: str
    n_versions: int
    n_evidence: int
    last_evidence: datetime | None
    last_kind: str
    last_verdict: str
    strikes: Counts


@dataclass(frozen=True, slots=True)
class StudyRow:
    """A study in a list."""

    id: int
    code: str
    title: str
    added: datetime


@dataclass(frozen=True, slots=True)
class RecordingRow:
    """A recording in a list."""

    sha256: str
    name: str
    kind: str
    format: str
    when: datetime | None
    duration: float | None
    rate: float | None
    n_bytes: int
    session: str
    rig: str
    person: str
    type: str
    side: str
    imported: datetime
    gone: datetime | None
    strikes: Counts


def list_sessions(lab: Lab) -> tuple[SessionRow, ...]:
    """Sessions, the newest first; those without a time last."""
    columns = strike_columns(lab)
    strikes = _counts(columns, columns["session_id"])
    people = _different(columns["session_id"], columns["person_id"])
    with lab.reading() as database:
        recordings = _tally(database, Recording.session_id)
        planned = _tally(database, Planned.session_id)
        rows = database.execute(
            select(Session, Rig.name)
            .outerjoin(Rig, Rig.id == Session.rig_id)
            .order_by(Session.when.is_(None), Session.when.desc(), Session.id.desc())
        )
        return tuple(
            SessionRow(
                s.id, s.code, s.title, s.when, rig or "", people.get(s.id, 0), recordings.get(s.id, 0),
                planned.get(s.id, 0), strikes.get(s.id, Counts()),
            )
            for s, rig in rows
        )  # fmt: skip


def list_people(lab: Lab) -> tuple[PersonRow, ...]:
    """People by their codes."""
    columns = strike_columns(lab)
    strikes = _counts(columns, columns["person_id"])
    sessions = _different(columns["person_id"], columns["session_id"])
    with lab.reading() as database:
        return tuple(
            PersonRow(
                p.id, p.code, p.body_mass, p.height, p.side, p.experience, p.erased, sessions.get(p.id, 0),
                strikes.get(p.id, Counts()),
            )
            for p in database.scalars(select(Person).order_by(Person.code))
        )  # fmt: skip


def list_rigs(lab: Lab) -> tuple[RigRow, ...]:
    """Rigs by name."""
    columns = strike_columns(lab)
    strikes = _counts(columns, columns["rig_id"])
    with lab.reading() as database:
        versions = _tally(database, RigVersion.rig_id)
        evidence = _tally(database, Evidence.rig_id)
        newest = {
            rig_id: (when, kind, verdict)
            for rig_id, when, kind, verdict in database.execute(
                select(Evidence.rig_id, Evidence.when, Evidence.kind, Evidence.verdict).order_by(
                    Evidence.when, Evidence.id
                )
            )
        }
        rows = []
        for rig in database.scalars(select(Rig).order_by(Rig.name)):
            when, kind, verdict = newest.get(rig.id, (None, "", ""))
            rows.append(
                RigRow(
                    rig.id, rig.name, rig.current, versions.get(rig.id, 0), evidence.get(rig.id, 0), when,
                    kind, verdict, strikes.get(rig.id, Counts()),
                )
            )  # fmt: skip
        return tuple(rows)


def list_studies(lab: Lab) -> tuple[StudyRow, ...]:
    """Studies, the newest first."""
    with lab.reading() as database:
        return tuple(
            StudyRow(s.id, s.code, s.title, s.added)
            for s in database.scalars(select(Study).order_by(Study.added.desc(), Study.id.desc()))
        )


def list_recordings(
    lab: Lab,
    *,
    session: str | None = None,
    kind: str = "",
    sha256: str = "",
    offset: int = 0,
    limit: int = 100,
) -> tuple[tuple[RecordingRow, ...], int]:
    """
    Some of the recordings, the newest first, and how many there are.

    Parameters
    ----------
    lab : Lab
        The lab.
    session : str, optional
        Code of a session; the empty string means recordings of none.
    kind : str
        'strikes', 'motion', 'taps', 'drops', 'zero' or 'loads'; empty for all.
    sha256 : str
        One of them.
    offset, limit : int
        How many to pass over, and how many to give at most.

    Raises
    ------
    LabError
        If there is no such session.
    """
    where: list[ColumnElement[bool]] = []
    columns = strike_columns(lab)
    with lab.reading() as database:
        if session == "":
            where.append(Recording.session_id.is_(None))
        elif session is not None:
            id = database.scalar(select(Session.id).where(Session.code == session))
            if id is None:
                raise MissingError(f"there is no session {session!r} in the lab")
            where.append(Recording.session_id == id)
        if sha256:
            where.append(Recording.sha256 == sha256)
        if kind:
            where.append(Recording.kind == kind)
        total = database.scalar(select(func.count()).select_from(Recording).where(*where)) or 0
        found = database.scalars(
            select(Recording)
            .where(*where)
            .order_by(Recording.when.is_(None), Recording.when.desc(), Recording.name, Recording.sha256)
            .offset(offset)
            .limit(limit)
        ).all()
    strikes = _counts_of_recordings(columns, [r.sha256 for r in found])
    names = columns.names
    return tuple(
        RecordingRow(
            r.sha256, r.name, r.kind, r.format, r.when, r.duration, r.rate, r.n_bytes,
            names.sessions.get(r.session_id or 0, ""), names.rigs.get(r.rig_id or 0, ""),
            names.people.get(r.person_id or 0, ""), r.type or "", r.side, r.imported, r.gone,
            strikes[r.sha256],
        )
        for r in found
    ), total  # fmt: skip


def _tally(database: Database, column: InstrumentedAttribute[Any]) -> dict[int, int]:
    return dict(database.execute(select(column, func.count()).group_by(column)).all())


def _different(key: NDArray[np.int32], other: NDArray[np.int32]) -> dict[int, int]:
    """How many different others go with each key."""
    both = (key >= 0) & (other >= 0)
    size = int(other.max(initial=0)) + 1
    pairs, _ = dense(key[both].astype(np.int64) * size + other[both])
    ids, n = np.unique(pairs // size, return_counts=True)
    return dict(zip(ids.tolist(), n.tolist(), strict=True))


def _counts(
    columns: StrikeColumns, key: NDArray[np.int32], rows: NDArray[np.intp] | None = None
) -> dict[int, Counts]:
    """Strikes of each key by state, of all or of some rows."""
    state, codes = columns["state"], columns["codes"]
    if rows is not None:
        key, state, codes = key[rows], state[rows], codes[rows]
    if not key.size:
        return {}
    ids, index = dense(key)
    words = columns.words["state"]
    table = np.bincount(index * len(words) + state, minlength=ids.size * len(words)).reshape(ids.size, -1)
    flagged = np.array([bool(word) for word in columns.words["codes"]])[codes]
    if "gone" in words:
        flagged &= state != words.index("gone")
    n_flagged = np.bincount(index[flagged], minlength=ids.size).tolist()
    by_state = {
        name: table[:, words.index(name)].tolist() if name in words else [0] * ids.size for name in STATES
    }
    return {
        id: Counts(**{name: by_state[name][i] for name in STATES}, flagged=n_flagged[i])
        for i, id in enumerate(ids.tolist())
    }


def _counts_of_recordings(columns: StrikeColumns, wanted: list[str]) -> dict[str, Counts]:
    place = {word: i for i, word in enumerate(columns.words["recording"])}
    codes = [place.get(sha256, -1) for sha256 in wanted]
    found = _counts(columns, columns["recording"], np.flatnonzero(np.isin(columns["recording"], codes)))
    return {sha256: found.get(code, Counts()) for sha256, code in zip(wanted, codes, strict=True)}
