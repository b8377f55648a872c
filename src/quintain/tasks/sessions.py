"""Sessions of a lab: make and change them, and lay down their plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.person import check_code
from quintain.domain.protocol import PlannedStrike, Protocol, plan_strikes
from quintain.errors import ConflictError, UsageError
from quintain.report.cautions import LOCAL_RULES, STRIKE_CAUTIONS
from quintain.store.lab import Lab
from quintain.store.schema import Person, Planned, Session, Strike
from quintain.tasks.lab_rows import person_row, rig_row, session_row, type_name

__all__ = [
    "SessionRecord",
    "add_session",
    "edit_session",
    "plan_session",
    "planned_strikes",
    "protocol_of",
    "running_sheet",
    "show_session",
]

_FIELDS = ("title", "when", "rig", "note")


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A session as it was entered; ``protocol`` is None while nothing is planned."""

    id: int
    code: str
    title: str
    when: datetime | None
    rig: str
    note: str
    protocol: Protocol | None
    changes: int


def show_session(lab: Lab, code: str) -> SessionRecord:
    """
    A session by its code.

    Raises
    ------
    LabError
        If there is no such session.
    """
    with lab.reading() as database:
        return _record(session_row(database, code))


def add_session(lab: Lab, code: str, *, who: str, **entries: Any) -> SessionRecord:
    """
    Add a session.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        What it is called.
    who : str
        In whose name.
    **entries
        ``title``, ``when`` (with its offset from UTC), ``rig`` (name of a rig of the lab), ``note``.

    Raises
    ------
    UsageError
        If an entry cannot be used.
    LabError
        If there is no such rig.
    ConflictError
        If the code is taken.
    """
    try:
        check_code(code)
    except ValueError as problem:
        raise UsageError(str(problem)) from None
    with lab.writing(who) as writer:
        database = writer.database
        taken = database.scalar(select(Session.code).where(func.lower(Session.code) == code.lower()))
        if taken is not None:
            raise ConflictError(f"the lab has a session {taken!r} already; take another code")
        row = Session(code=code, plan={}, changes=0, title="", note="")
        told = _fill(database, row, entries)
        database.add(row)
        database.flush()
        writer.note("add session", "session", row.id, after={"code": code, **told})
        return _record(row)


def edit_session(
    lab: Lab, code: str, *, changes: int | None = None, who: str, **entries: Any
) -> SessionRecord:
    """
    Change entries of a session; what is left out stays, None or an empty text takes it away.

    Raises
    ------
    UsageError, LabError, ConflictError
        As :func:`add_session`; also if somebody changed it since it was seen.
    """
    with lab.writing(who) as writer:
        database = writer.database
        row = session_row(database, code)
        _unchanged(row, changes)
        before = _plain(row)
        _fill(database, row, entries)
        database.flush()
        after = _plain(row)
        edited = [name for name in _FIELDS if before[name] != after[name]]
        if edited:
            row.changes += 1
            writer.note(
                "edit session", "session", row.id,
                before={name: before[name] for name in edited}, after={name: after[name] for name in edited},
            )  # fmt: skip
        return _record(row)


def plan_session(
    lab: Lab, code: str, protocol: Protocol, *, changes: int | None = None, who: str
) -> tuple[PlannedStrike, ...]:
    """
    Lay down a session's plan: what is asked for, and its strikes in order.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The session.
    protocol : Protocol
        What is asked of whom.

    Returns
    -------
    tuple of PlannedStrike
        The strikes in the order in which they are asked for.

    Raises
    ------
    LabError
        If the session or a person is not in the lab.
    UsageError
        If a type is not known.
    ConflictError
        If strikes were tagged by an earlier plan: it stays as it was carried out.
    """
    planned = plan_strikes(protocol)
    with lab.writing(who) as writer:
        database = writer.database
        row = session_row(database, code)
        _unchanged(row, changes)
        people = {person: person_row(database, person).id for person in protocol.people}
        types = {c.type: type_name(database, c.type) for c in protocol.conditions}
        of_plan = select(Planned.id).where(Planned.session_id == row.id)
        if database.scalar(select(func.count()).where(Strike.planned_id.in_(of_plan))):
            raise ConflictError(
                f"strikes of session {code!r} were tagged by its plan, which therefore stays; make a new "
                "session for another plan, or take the tags back first"
            )
        before = {"plan": row.plan or None}
        database.execute(delete(Planned).where(Planned.session_id == row.id))
        database.add_all(
            Planned(
                session_id=row.id, position=one.position, block=one.block, person_id=people[one.person],
                type=types[one.type], side=one.side, rest=one.rest,
            )
            for one in planned
        )  # fmt: skip
        row.plan, row.seed = protocol.to_dict(), protocol.seed
        row.changes += 1
        writer.note(
            "plan session", "session", row.id, before=before,
            after={"plan": row.plan, "strikes": len(planned)},
        )  # fmt: skip
    return planned


def planned_strikes(lab: Lab, code: str) -> tuple[PlannedStrike, ...]:
    """
    A session's plan in order; empty where there is none.

    Raises
    ------
    LabError
        If there is no such session.
    """
    with lab.reading() as database:
        return tuple(one for _, one in _planned(database, session_row(database, code)))


def protocol_of(lab: Lab, code: str) -> Protocol | None:
    """What a session's plan was made of, or None; errors as :func:`planned_strikes`."""
    return show_session(lab, code).protocol


def running_sheet(lab: Lab, code: str) -> str:
    """
    A session's plan as a text to print and to run the session by.

    Raises
    ------
    LabError
        If there is no such session.
    UsageError
        If it has no plan.
    """
    session = show_session(lab, code)
    planned = planned_strikes(lab, code)
    if not planned or session.protocol is None:
        raise UsageError(f"session {code!r} has no plan yet; plan it first")
    facts = lab.facts
    protocol = session.protocol
    n_warm = sum(one.warm_up for one in planned)
    lines = [
        f"{facts.name}{' (invented)' if facts.invented else ''}: session {code}",
        *([session.title] if session.title else []),
        f"when: {session.when:%Y-%m-%d %H:%M} UTC" if session.when else "when: ____________________",
        f"rig:  {session.rig or '____________________'}",
        f"{len(planned) - n_warm} strikes of {len(protocol.people)} people"
        + (f", and {n_warm} warm-ups" if n_warm else "")
        + f"; at least {_minutes(planned)} min of rest; seed {protocol.seed}",
        f"Order: {protocol.balance}.",
        "",
        *(f"{caution.lead} {caution.words}" for caution in STRIKE_CAUTIONS),
        LOCAL_RULES,
    ]
    before: tuple[int, str] | None = None
    for one in planned:
        if (one.block, one.person) != before:
            before = one.block, one.person
            name = "warm-up" if one.warm_up else f"block {one.block}"
            wait = f", rest {one.rest:g} s before it" if one.rest else ""
            lines += ["", f"{one.person}, {name}{wait}"]
            within = protocol.rest
            lines.append(f"  (rest {within:g} s between strikes)")
        what = f"{one.type} {one.side}".strip()
        lines.append(f"  [ ] {one.position:>4}  {what}")
    return "\n".join(lines) + "\n"


def _minutes(planned: tuple[PlannedStrike, ...]) -> int:
    return round(sum(one.rest or 0.0 for one in planned) / 60)


def _planned(database: Database, session: Session) -> list[tuple[int, PlannedStrike]]:
    rows = database.execute(
        select(Planned, Person.code)
        .join(Person, Person.id == Planned.person_id)
        .where(Planned.session_id == session.id)
        .order_by(Planned.position)
    )
    return [
        (row.id, PlannedStrike(row.position, row.block, person, row.type, row.side, row.rest))
        for row, person in rows
    ]


def _fill(database: Database, row: Session, entries: dict[str, Any]) -> dict[str, Any]:
    unknown = sorted(set(entries) - set(_FIELDS))
    if unknown:
        raise UsageError(f"a session has no {unknown[0]!r}; choose from {', '.join(_FIELDS)}")
    for name in ("title", "note"):
        if name in entries:
            text = (entries[name] or "").strip()
            if name == "title" and len(text) > 200:
                raise UsageError(f"the title is longer than 200 letters, got {len(text)}")
            setattr(row, name, text)
    if "when" in entries:
        when = entries["when"]
        if when is not None and when.tzinfo is None:
            raise UsageError(f"the time {when:%Y-%m-%d %H:%M} must state its offset from UTC")
        row.when = when
    if "rig" in entries:
        row.rig = rig_row(database, entries["rig"]) if entries["rig"] else None
    return {name: value for name, value in _plain(row).items() if value}


def _plain(row: Session) -> dict[str, Any]:
    return {
        "title": row.title,
        "when": None if row.when is None else row.when.isoformat(),
        "rig": row.rig.name if row.rig else "",
        "note": row.note,
    }


def _unchanged(row: Session, seen: int | None) -> None:
    if seen is not None and row.changes != seen:
        raise ConflictError(
            f"session {row.code!r} was changed since you looked. Nothing was written; look again"
        )


def _record(row: Session) -> SessionRecord:
    return SessionRecord(
        row.id, row.code, row.title, row.when, row.rig.name if row.rig else "", row.note,
        Protocol.from_dict(row.plan) if row.plan else None, row.changes,
    )  # fmt: skip
