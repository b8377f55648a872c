"""Codes of people, types, sessions and rigs as a lab knows them, and what was meant by one it does not."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.domain.person import check_code
from quintain.errors import UsageError
from quintain.store.schema import Person, Rig, Session, StrikeType
from quintain.tasks.import_plan import Asked
from quintain.tasks.strike_types import check_type_name

__all__ = ["LabNames"]

_LONGEST = {"person": 40, "type": 60, "session": 60, "rig": 200}


class LabNames:
    """What a lab knows by name when an import begins; what is allowed is added as it comes."""

    def __init__(self, database: Database, *, add_people: bool, add_types: bool, add_sessions: bool) -> None:
        self._known = {
            "person": set(database.scalars(select(Person.code).where(Person.erased.is_(None)))),
            "type": set(database.scalars(select(StrikeType.name))),
            "session": set(database.scalars(select(Session.code))),
            "rig": set(database.scalars(select(Rig.name))),
        }
        self._erased = set(database.scalars(select(Person.code).where(Person.erased.is_not(None))))
        self._may_add = {"person": add_people, "type": add_types, "session": add_sessions, "rig": False}

    def settle(self, asked: Asked) -> Asked:
        """Put names as the lab writes them; where one is not known, the problem says what to do."""
        problems = [asked.problem] if asked.problem else []
        settled: dict[str, Any] = {}
        for kind in ("person", "type", "session", "rig"):
            value = getattr(asked, kind)
            if value:
                settled[kind], problem = self._find(kind, value)
                problems += [problem] if problem else []
        asked = replace(asked, **settled, problem="; ".join(problems))
        if not problems:
            for kind, value in settled.items():
                self._known[kind].add(value)
        return asked

    def _find(self, kind: str, value: str) -> tuple[str, str]:
        known = self._known[kind]
        if value in known:
            return value, ""
        if kind == "type":
            spelled = {_plain(name): name for name in known}
            if _plain(value) in spelled:
                return spelled[_plain(value)], ""
        if kind == "person" and value in self._erased:
            return value, f"the person {value!r} was erased from the lab; give another code"
        if not value.isprintable():
            return value, f"the {kind} {value!r} holds marks that cannot be shown; name the file otherwise"
        if len(value) > _LONGEST[kind]:
            return value, f"the {kind} {value[:20]!r}… is longer than {_LONGEST[kind]} letters"
        if self._may_add[kind]:
            return value, _trouble(kind, value)
        option = {"person": "--add-people", "type": "--add-types", "session": "--add-sessions"}.get(kind)
        way = f"to add it: {option}" if option else "add the rig to the lab first"
        return value, f"the lab knows no {kind} {value!r}; {_meant(value, known)}{way}"


def _trouble(kind: str, value: str) -> str:
    """What is wrong with a name that would be new."""
    try:
        (check_type_name if kind == "type" else check_code)(value)
    except (ValueError, UsageError) as problem:
        return f"the {kind} {value!r} cannot be added: {problem}"
    return ""


def _plain(name: str) -> str:
    return "".join(mark for mark in name.casefold() if mark.isalnum())


def _meant(value: str, known: Iterable[str]) -> str:
    plain = {_plain(name): name for name in known}
    close = difflib.get_close_matches(_plain(value), plain, n=1)
    return f"did you mean {plain[close[0]]!r}? Else " if close else ""
