"""People of a lab, known by codes; what identifies them lies apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.person import FACTS, IDENTIFYING, Identity, PersonFacts, check_code
from quintain.errors import ConflictError, UsageError
from quintain.store import schema
from quintain.store.lab import Lab, Writer
from quintain.tasks.lab_rows import person_row

__all__ = ["PersonRecord", "add_person", "edit_person", "identify_person", "show_person"]


@dataclass(frozen=True, slots=True)
class PersonRecord:
    """
    A person as the lab knows them.

    ``identity`` is None where nothing that identifies is kept, or it was not asked for; ``identified``
    says whether something is kept. [kg], [m], [years]
    """

    id: int
    code: str
    facts: PersonFacts
    identified: bool
    identity: Identity | None
    added: datetime
    erased: datetime | None
    changes: int


def show_person(lab: Lab, code: str, *, identity: bool = False) -> PersonRecord:
    """
    A person by their code; what identifies them only if asked for.

    Raises
    ------
    LabError
        If there is no such person.
    """
    with lab.reading() as database:
        return _view(database, person_row(database, code, living=False), identity)


def add_person(
    lab: Lab, code: str, *, identity: Mapping[str, Any] | None = None, who: str, **facts: Any
) -> PersonRecord:
    """
    Add a person.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        What the person is called in all data; it should not identify.
    identity : mapping, optional
        What identifies, see :func:`identify_person`.
    who : str
        In whose name.
    **facts
        ``body_mass`` [kg], ``height`` [m], ``side``, ``experience`` [years], ``note``.

    Raises
    ------
    UsageError
        If a value is not plausible.
    ConflictError
        If the code is taken, also by somebody whose data were erased.
    """
    stated = _facts(PersonFacts(), facts)
    try:
        check_code(code)
    except ValueError as problem:
        raise UsageError(str(problem)) from None
    with lab.writing(who) as writer:
        database = writer.database
        _free(database, code)
        row = schema.Person(code=code, **asdict(stated))
        database.add(row)
        database.flush()
        writer.note("add person", "person", row.id, after={"fields": _given(stated)})
        if identity:
            _identify(writer, row, identity)
        return _view(database, row, bool(identity))


def edit_person(
    lab: Lab, code: str, *, new_code: str | None = None, changes: int | None = None, who: str, **facts: Any
) -> PersonRecord:
    """
    Change what is stated of a person; what is left out stays, None or an empty text takes it away.

    Parameters
    ----------
    new_code : str, optional
        Another code for the same person.
    changes : int, optional
        The person's counter of changes as it was seen.

    Raises
    ------
    UsageError, LabError, ConflictError
        As :func:`add_person`; if there is no such person; if somebody changed them since they were seen.

    Notes
    -----
    The audit says which entries changed, never what they held: it is kept when a person is erased.
    """
    with lab.writing(who) as writer:
        database = writer.database
        row = person_row(database, code)
        if changes is not None and row.changes != changes:
            raise ConflictError(
                f"the person {code!r} was changed since you looked. Nothing was written; look again"
            )
        before = PersonFacts(**{name: getattr(row, name) for name in FACTS})
        after = _facts(before, facts)
        edited = [name for name in FACTS if getattr(before, name) != getattr(after, name)]
        if new_code is not None and new_code != code:
            try:
                row.code = check_code(new_code)
            except ValueError as problem:
                raise UsageError(str(problem)) from None
            _free(database, new_code, but=row.id)
            edited.append("code")
        if edited:
            for name in FACTS:
                setattr(row, name, getattr(after, name))
            row.changes += 1
            writer.note("edit person", "person", row.id, after={"fields": edited})
        database.flush()
        return _view(database, row, False)


def identify_person(lab: Lab, code: str, *, who: str, **identity: Any) -> PersonRecord:
    """
    Keep what identifies a person, apart from everything else.

    Parameters
    ----------
    **identity
        ``name``, ``contact``, ``born``, ``note``; what is left out stays, an empty text takes it away.

    Raises
    ------
    UsageError
        If an entry is not known, or the date of birth is none.
    LabError
        If there is no such person.
    """
    with lab.writing(who) as writer:
        row = person_row(writer.database, code)
        _identify(writer, row, identity)
        return _view(writer.database, row, True)


def _identify(writer: Writer, row: schema.Person, identity: Mapping[str, Any]) -> None:
    unknown = sorted(set(identity) - set(IDENTIFYING))
    if unknown:
        raise UsageError(f"there is no entry {unknown[0]!r}; choose from {', '.join(IDENTIFYING)}")
    kept = row.identity or schema.Identity(person_id=row.id, name="", contact="", born="", note="")
    told = {name: getattr(kept, name) for name in IDENTIFYING}
    try:
        stated = Identity(**(told | {k: (v or "").strip() for k, v in identity.items()}))
    except ValueError as problem:
        raise UsageError(str(problem)) from None
    edited = [name for name in IDENTIFYING if getattr(stated, name) != told[name]]
    if edited:
        for name in edited:
            setattr(kept, name, getattr(stated, name))
        row.identity = kept
        row.changes += 1
        writer.note("edit identity", "person", row.id, after={"fields": edited})
    writer.database.flush()


def _facts(before: PersonFacts, told: dict[str, Any]) -> PersonFacts:
    unknown = sorted(set(told) - set(FACTS))
    if unknown:
        raise UsageError(f"a person has no {unknown[0]!r}; choose from {', '.join(FACTS)}")
    texts = ("side", "note")
    stated = {k: (v or "").strip() if k in texts else v for k, v in told.items()}
    try:
        numbers = {k: v if v is None or k in texts else float(v) for k, v in stated.items()}
        return PersonFacts(**(asdict(before) | numbers))
    except (ValueError, TypeError) as problem:
        raise UsageError(str(problem)) from None


def _given(facts: PersonFacts) -> list[str]:
    return [field.name for field in fields(facts) if getattr(facts, field.name) != field.default]


def _free(database: Database, code: str, *, but: int | None = None) -> None:
    """That a code is not taken, whatever its case."""
    with database.no_autoflush:
        taken = database.scalar(
            select(schema.Person).where(
                func.lower(schema.Person.code) == code.lower(), schema.Person.id != but
            )
            if but is not None
            else select(schema.Person).where(func.lower(schema.Person.code) == code.lower())
        )
    if taken is None:
        return
    if taken.erased is not None:
        raise ConflictError(
            f"the code {taken.code!r} belonged to somebody who was erased on {taken.erased:%Y-%m-%d}; "
            "a code is never used twice, take another"
        )
    raise ConflictError(f"the code {taken.code!r} is taken by another person; take another")


def _view(database: Database, row: schema.Person, identity: bool) -> PersonRecord:
    kept = database.get(schema.Identity, row.id)
    told = Identity(**{name: getattr(kept, name) for name in IDENTIFYING}) if kept and identity else None
    return PersonRecord(
        row.id, row.code, PersonFacts(**{name: getattr(row, name) for name in FACTS}), kept is not None, told,
        row.added, row.erased, row.changes,
    )  # fmt: skip
