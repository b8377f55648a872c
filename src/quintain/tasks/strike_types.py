"""Types of strikes: the trade's, and those a lab adds."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import func, select

from quintain.errors import ConflictError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Strike, StrikeType

__all__ = ["FAMILIES", "TypeRow", "add_type", "check_type_name", "list_types"]

FAMILIES = ("punch", "palm", "elbow", "knee", "kick", "stick", "other")


@dataclass(frozen=True, slots=True)
class TypeRow:
    """A type of strike; ``own`` if the lab added it."""

    name: str
    family: str
    own: bool
    n_strikes: int


def list_types(lab: Lab) -> tuple[TypeRow, ...]:
    """All types by family and name, with the number of strikes of each that are not gone."""
    with lab.reading() as database:
        n_strikes = dict(
            database.execute(
                select(Strike.type, func.count()).where(Strike.state != "gone").group_by(Strike.type)
            ).all()
        )
        rows = [
            TypeRow(row.name, row.family, row.own, n_strikes.get(row.name, 0))
            for row in database.scalars(select(StrikeType))
        ]
    place = {family: i for i, family in enumerate(FAMILIES)}
    return tuple(sorted(rows, key=lambda row: (place.get(row.family, len(place)), row.name)))


def check_type_name(name: str) -> str:
    """A name of a type, if it may be written so; UsageError else."""
    if not 1 <= len(name) <= 60 or not name[0].isalnum() or not name.isprintable():
        raise UsageError(
            f"the name of a type is 1 to 60 letters and starts with a letter or digit, got {name[:60]!r}"
        )
    return name


def add_type(lab: Lab, name: str, *, family: str = "other", who: str) -> TypeRow:
    """
    Add a type of the lab's own.

    Raises
    ------
    UsageError
        If name or family cannot be used.
    ConflictError
        If there is one of that name, however it is written.
    """
    name = check_type_name(" ".join(name.split()))
    if family not in FAMILIES:
        raise UsageError(f"there is no family {family!r}; choose from {', '.join(FAMILIES)}")
    with lab.writing(who) as writer:
        database = writer.database
        for known in database.scalars(select(StrikeType)):
            if known.name.casefold() == name.casefold():
                raise ConflictError(f"the lab has the type {known.name!r} ({known.family}) already")
        database.add(StrikeType(name=name, family=family, own=True))
        writer.note("add strike type", "strike_type", name, after={"family": family})
    return TypeRow(name, family, True, 0)
