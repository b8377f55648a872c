"""Rows of a lab by the name people use for them; errors say what was meant instead."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.errors import LabError, MissingError, UsageError
from quintain.store.schema import Person, Recording, Rig, Session, Strike, StrikeType

__all__ = ["person_row", "recording_row", "rig_row", "session_row", "strike_row", "type_name"]


def person_row(database: Database, code: str, *, living: bool = True) -> Person:
    """
    A person by their code; with ``living``, one whose data were erased is refused.

    Raises
    ------
    LabError
        If there is none.
    """
    row = database.scalar(select(Person).where(Person.code == code))
    if row is None:
        raise MissingError(
            f"there is no person {code!r} in the lab{_meant(code, database.scalars(select(Person.code)))}"
        )
    if living and row.erased is not None:
        raise LabError(f"the person {code!r} was erased on {row.erased:%Y-%m-%d}; add a new code")
    return row


def session_row(database: Database, code: str) -> Session:
    """
    A session by its code.

    Raises
    ------
    LabError
        If there is none.
    """
    row = database.scalar(select(Session).where(Session.code == code))
    if row is None:
        raise MissingError(
            f"there is no session {code!r} in the lab{_meant(code, database.scalars(select(Session.code)))}"
        )
    return row


def recording_row(database: Database, told: str) -> Recording:
    """
    A recording by its SHA-256, the first six digits of it or more, or its name.

    Raises
    ------
    LabError
        If there is none, or several.
    """
    found: Sequence[Recording] = ()
    if len(told) >= 6 and set(told) <= set("0123456789abcdef"):
        found = database.scalars(select(Recording).where(Recording.sha256.startswith(told)).limit(2)).all()
    if not found:
        found = database.scalars(select(Recording).where(Recording.name == told).limit(2)).all()
    if len(found) != 1:
        many = "more than one" if found else "no"
        raise MissingError(
            f"there is {many} recording {told!r} in the lab; give its name or more of its SHA-256"
        )
    return found[0]


def rig_row(database: Database, name: str) -> Rig:
    """
    A rig by its name.

    Raises
    ------
    LabError
        If there is none.
    """
    row = database.scalar(select(Rig).where(Rig.name == name))
    if row is None:
        raise MissingError(
            f"there is no rig {name!r} in the lab{_meant(name, database.scalars(select(Rig.name)))}; add it "
            "by its rig file"
        )
    return row


def strike_row(database: Database, strike_id: int) -> Strike:
    """
    A strike by its number in the lab.

    Raises
    ------
    LabError
        If there is none.
    """
    row = database.get(Strike, strike_id)
    if row is None:
        raise MissingError(f"there is no strike {strike_id} in the lab")
    return row


def type_name(database: Database, name: str) -> str:
    """
    A type of strike as the lab writes it; None is none.

    Raises
    ------
    UsageError
        If the lab does not know it.
    """
    if database.get(StrikeType, name) is None:
        known = list(database.scalars(select(StrikeType.name)))
        spelled = {other.casefold(): other for other in known}
        if name.casefold() in spelled:
            return spelled[name.casefold()]
        raise UsageError(f"the lab knows no type of strike {name!r}{_meant(name, known)}; types may be added")
    return name


def _meant(name: str, known: Iterable[str]) -> str:
    plain = {other.casefold(): other for other in known}
    close = difflib.get_close_matches(name.casefold(), plain, n=1)
    return f"; did you mean {plain[close[0]]!r}?" if close else ""
