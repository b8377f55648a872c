"""Review of strikes: accept, reject, retag, note; each act is in the audit and can be taken back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.person import SIDES
from quintain.errors import ConflictError, UsageError
from quintain.store.batches import in_batches
from quintain.store.lab import Lab, Writer
from quintain.store.schema import Analysis, Audit, Person, Recording, Result, Strike
from quintain.tasks.lab_rows import person_row, session_row, strike_row, type_name

__all__ = [
    "ACTS",
    "Reviewed",
    "Undone",
    "accept",
    "accept_unflagged",
    "change_strike",
    "next_waiting",
    "note",
    "reject",
    "retag",
    "retag_range",
    "undo",
    "wait_again",
]

ACTS = ("accept", "reject", "wait again", "retag", "note", "tag by plan")
"""Actions of the audit that can be undone."""

_STATED = ("state", "reason", "note", "type", "side", "series", "planned_id", "person_id")


@dataclass(frozen=True, slots=True)
class Reviewed:
    """
    A strike as it now is.

    ``changes`` is what the next act on it must name to notice that somebody else was faster.
    """

    id: int
    state: str
    reason: str
    person: str
    type: str
    side: str
    series: int | None
    note: str
    changes: int


@dataclass(frozen=True, slots=True)
class Undone:
    """An act that was taken back, and the strikes as they now are."""

    action: str
    strikes: tuple[Reviewed, ...]


def accept(lab: Lab, strike_id: int, *, changes: int | None = None, who: str) -> Reviewed:
    """
    Accept a strike.

    Parameters
    ----------
    lab : Lab
        The lab.
    strike_id : int
        The strike.
    changes : int, optional
        The strike's counter of changes as it was seen; nothing is compared if left out.
    who : str
        In whose name.

    Raises
    ------
    LabError
        If there is no such strike.
    ConflictError
        If somebody changed it since it was seen, or the newest analysis does not find it any more.
    """
    return _act(lab, strike_id, "accept", {"state": "accepted", "reason": ""}, changes, who)


def reject(lab: Lab, strike_id: int, reason: str, *, changes: int | None = None, who: str) -> Reviewed:
    """
    Reject a strike; it stays in the lab with its reason and is left out of statistics.

    Raises
    ------
    UsageError
        If no reason is given.
    LabError, ConflictError
        As :func:`accept`.
    """
    reason = reason.strip()
    if not reason:
        raise UsageError("a strike is rejected for a reason; say it in a few words")
    return _act(lab, strike_id, "reject", {"state": "rejected", "reason": reason}, changes, who)


def wait_again(lab: Lab, strike_id: int, *, changes: int | None = None, who: str) -> Reviewed:
    """Put a strike back among those that wait; errors as :func:`accept`."""
    return _act(lab, strike_id, "wait again", {"state": "waiting", "reason": ""}, changes, who)


def note(lab: Lab, strike_id: int, text: str, *, changes: int | None = None, who: str) -> Reviewed:
    """Write the note of a strike, in place of the one it had; errors as :func:`accept`."""
    return _act(lab, strike_id, "note", {"note": text.strip()}, changes, who)


def retag(
    lab: Lab,
    strike_id: int,
    *,
    person: str | None = None,
    type: str | None = None,
    side: str | None = None,
    series: int | None = None,
    changes: int | None = None,
    who: str,
) -> Reviewed:
    """
    Say who struck, what and with which side.

    Parameters
    ----------
    person, type, side : str, optional
        What is left out stays; an empty text says that it is not known.
    series : int, optional
        Number of the series; 0 for none.

    Raises
    ------
    UsageError
        If nothing is to change, or a type or side is not known.
    LabError, ConflictError
        As :func:`accept`; also if there is no such person.
    """
    with lab.writing(who) as writer:
        tags = _tags(writer.database, person, type, side, series)
        row = strike_row(writer.database, strike_id)
        return change_strike(writer, row, "retag", tags, seen=changes)


def retag_range(
    lab: Lab,
    session: str,
    first: int,
    last: int,
    *,
    person: str | None = None,
    type: str | None = None,
    side: str | None = None,
    series: int | None = None,
    who: str,
) -> tuple[Reviewed, ...]:
    """
    Tag the strikes of a session from one place in it to another, both counted in.

    Raises
    ------
    UsageError
        If the range holds no strike, or as :func:`retag`.
    LabError
        If there is no such session or person.
    """
    with lab.writing(who) as writer:
        database = writer.database
        tags = _tags(database, person, type, side, series)
        rows = database.scalars(
            select(Strike)
            .where(Strike.session_id == session_row(database, session).id, Strike.state != "gone")
            .where(Strike.position >= first, Strike.position <= last)
            .order_by(Strike.position)
        ).all()
        if not rows:
            raise UsageError(f"session {session!r} has no strikes from place {first} to {last}")
        act = uuid.uuid4().hex
        return tuple(change_strike(writer, row, "retag", tags, act=act) for row in rows)


def accept_unflagged(
    lab: Lab, session: str | None = None, *, strikes: Sequence[int] | None = None, who: str
) -> tuple[int, ...]:
    """
    Accept all strikes that wait and have no flag, in one act.

    Parameters
    ----------
    lab : Lab
        The lab.
    session : str, optional
        Only those of one session.
    strikes : sequence of int, optional
        Only those among these.

    Returns
    -------
    tuple of int
        Numbers of the strikes that were accepted.
    """
    with lab.writing(who) as writer:
        query = (
            select(Strike)
            .join(Result, Result.id == Strike.result_id)
            .where(Strike.state == "waiting", Result.codes == "")
            .order_by(Strike.session_id, Strike.position, Strike.id)
        )
        if session is not None:
            query = query.where(Strike.session_id == session_row(writer.database, session).id)
        rows = writer.database.scalars(query).all()
        wanted = None if strikes is None else set(strikes)
        act = uuid.uuid4().hex
        done = [
            change_strike(writer, row, "accept", {"state": "accepted", "reason": ""}, act=act)
            for row in rows
            if wanted is None or row.id in wanted
        ]
    return tuple(one.id for one in done)


def next_waiting(lab: Lab, session: str | None = None, *, after: int | None = None) -> int | None:
    """
    The next strike that waits for review, in the order of the lab.

    Parameters
    ----------
    lab : Lab
        The lab.
    session : str, optional
        Only of one session.
    after : int, optional
        The strike from which to look on; when none waits behind it, the search begins at the front.

    Returns
    -------
    int or None
        None where nothing waits.
    """
    with lab.reading() as database:
        query = select(Strike.id).where(Strike.state == "waiting")
        order = (Strike.session_id.is_(None), Strike.session_id, Recording.when, Recording.sha256)
        if session is not None:
            query = query.where(Strike.session_id == session_row(database, session).id)
        query = query.join(Strike.recording).order_by(
            *order[:2], Strike.position, *order[2:], Strike.start, Strike.id
        )
        if after is not None:
            here = strike_row(database, after)
            behind = query.where(Strike.session_id == here.session_id, Strike.position > here.position)
            found = database.scalar(behind.limit(1))
            if found is not None:
                return found
        return database.scalar(query.limit(1))


def undo(lab: Lab, *, who: str, session: str | None = None) -> Undone:
    """
    Take back one's own last act of review that was not taken back yet.

    Parameters
    ----------
    lab : Lab
        The lab.
    who : str
        Whose act; an act of somebody else is theirs to take back.
    session : str, optional
        The last act on strikes of this session.

    Returns
    -------
    Undone
        What was taken back. An act on many strikes is taken back as one.

    Raises
    ------
    UsageError
        If there is nothing to take back.
    ConflictError
        If a strike was changed by somebody since; nothing is taken back then.
    """
    with lab.writing(who) as writer:
        database = writer.database
        acts = _last_acts(database, who, session)
        if not acts:
            raise UsageError(f"there is nothing of {who!r} to take back")
        rows = _rows(database, acts)
        for act, row in zip(acts, rows, strict=True):
            _still(database, act, row)
        token = uuid.uuid4().hex
        done = tuple(
            change_strike(
                writer, row, "undo", {k: v for k, v in (act.before or {}).items() if k in _STATED},
                act=token, of=act.id, always=True,
            )
            for act, row in zip(acts, rows, strict=True)
        )  # fmt: skip
        return Undone(acts[0].action, done[::-1])


def change_strike(
    writer: Writer,
    row: Strike,
    action: str,
    to: Mapping[str, Any],
    *,
    seen: int | None = None,
    act: str = "",
    of: int | None = None,
    always: bool = False,
) -> Reviewed:
    """
    Change a strike and enter it into the audit, with before and after.

    Parameters
    ----------
    writer : Writer
        The transaction.
    row : Strike
        Its row.
    action : str
        Word of the audit.
    to : mapping
        New values by column.
    seen : int, optional
        Counter of changes as it was seen.
    act : str
        Shared by all entries of one act on many strikes.
    of : int, optional
        Number of the audit's entry that is taken back.
    always : bool
        Also where the newest analysis no longer finds the strike.

    Raises
    ------
    ConflictError
        If the counter is another one, or the strike is gone.
    """
    if seen is not None and row.changes != seen:
        by = _last_change(writer.database, row)
        raise ConflictError(
            f"strike {row.id} was changed since you looked at it{by}. Nothing was written; look again"
        )
    if row.state == "gone" and not always:
        raise ConflictError(
            f"the newest analysis no longer finds strike {row.id}, so there is nothing to review; its "
            "earlier results stay"
        )
    before = {name: getattr(row, name) for name in to}
    for name, value in to.items():
        setattr(row, name, value)
    row.changes += 1
    more: dict[str, Any] = {"act": act} if act else {}
    if of is not None:
        more["undone"] = of
    writer.note(action, "strike", row.id, before=before, after={**to, **more})
    # not flushed here: an act on thousands of strikes goes to the database as one
    person = _code_of(writer.database, row.person_id)
    return Reviewed(
        row.id, row.state, row.reason, person, row.type or "", row.side, row.series, row.note, row.changes
    )


def _act(
    lab: Lab, strike_id: int, action: str, to: Mapping[str, Any], changes: int | None, who: str
) -> Reviewed:
    with lab.writing(who) as writer:
        return change_strike(writer, strike_row(writer.database, strike_id), action, to, seen=changes)


def _code_of(database: Database, person_id: int | None) -> str:
    """Code of a person; each is looked up once a transaction."""
    if person_id is None:
        return ""
    codes: dict[int, str] = database.info.setdefault("codes of people", {})
    if person_id not in codes:
        with database.no_autoflush:
            codes[person_id] = database.scalar(select(Person.code).where(Person.id == person_id)) or ""
    return codes[person_id]


def _rows(database: Database, acts: Sequence[Audit]) -> list[Strike]:
    """The strike of each act."""
    ids = [int(act.subject_id) for act in acts]
    rows = {
        row.id: row
        for some in in_batches(ids)
        for row in database.scalars(select(Strike).where(Strike.id.in_(some)))
    }
    return [rows.get(id) or strike_row(database, id) for id in ids]


def _last_change(database: Database, row: Strike) -> str:
    last = database.scalars(
        select(Audit)
        .where(Audit.subject == "strike", Audit.subject_id == str(row.id))
        .order_by(Audit.id.desc())
        .limit(1)
    ).first()
    analysed = database.scalar(
        select(func.max(Analysis.at)).where(Analysis.recording_sha256 == row.recording_sha256)
    )
    if last is None or (analysed is not None and analysed > last.at):
        return " by a new analysis"
    return f"; the last to change it was {last.who} ({last.action})"


def _tags(
    database: Database, person: str | None, type: str | None, side: str | None, series: int | None
) -> dict[str, Any]:
    tags: dict[str, Any] = {}
    if person is not None:
        tags["person_id"] = person_row(database, person).id if person else None
    if type is not None:
        tags["type"] = type_name(database, type) if type else None
    if side is not None:
        if side not in SIDES:
            raise UsageError(f"a side is 'left', 'right' or empty, got {side!r}")
        tags["side"] = side
    if series is not None:
        if series < 0:
            raise UsageError(f"series are counted from 1 (0 for none), got {series}")
        tags["series"] = series or None
    if not tags:
        raise UsageError("nothing is to change; name a person, a type, a side or a series")
    return tags | {"planned_id": None}


def _last_acts(database: Database, who: str, session: str | None) -> list[Audit]:
    """Entries of the last act of somebody that was not taken back."""
    of_session: set[str] | None = None
    if session is not None:
        id = session_row(database, session).id
        of_session = {str(i) for i in database.scalars(select(Strike.id).where(Strike.session_id == id))}
    undone: set[int] = set()
    entries = database.scalars(
        select(Audit)
        .where(Audit.who == who, Audit.subject == "strike", Audit.action.in_((*ACTS, "undo")))
        .order_by(Audit.id.desc())
        .execution_options(yield_per=200)
    )
    acts: list[Audit] = []
    for entry in entries:
        after = entry.after or {}
        if entry.action == "undo":
            undone.add(after["undone"])
            continue
        if acts and not (after.get("act") and after.get("act") == (acts[0].after or {}).get("act")):
            break
        if entry.id in undone or (of_session is not None and entry.subject_id not in of_session):
            continue
        acts.append(entry)
    return acts


def _still(database: Database, act: Audit, row: Strike) -> None:
    """That a strike is still as an act left it."""
    left = {name: value for name, value in (act.after or {}).items() if name in _STATED}
    others = [name for name, value in left.items() if getattr(row, name) != value]
    if others:
        words = ", ".join(name.removesuffix("_id") for name in others)
        raise ConflictError(
            f"strike {row.id} was changed since ({words}), so the act '{act.action}' cannot be taken back; "
            "change the strike itself"
        )
