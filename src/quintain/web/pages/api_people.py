"""People by their codes, for scripts; what identifies them is never answered."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import Path
from pydantic import Field

from quintain.store.queries_lists import PersonRow, list_people
from quintain.tasks.lab_views import person_view
from quintain.tasks.people import add_person, edit_person
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import CHANGES, Answer, Asked, CountsOut, api_router, counts, refusals
from quintain.web.pages._api_groups import Group, group
from quintain.web.security.roles import Role, needs

__all__ = ["router"]

router = api_router("people", "/people")

Code = Annotated[str, Path(max_length=200, description="Code of the person.", examples=["P03"])]


class PersonOut(Answer):
    """A person by code."""

    code: str = Field(examples=["P03"])
    body_mass: float | None = Field(description="[kg]")
    height: float | None = Field(description="[m]")
    side: str = Field(description="Preferred side: left, right, or empty.")
    experience: float | None = Field(description="[years]")
    erased: datetime | None = Field(description="When everything about them was erased, if it was.")
    n_sessions: int
    strikes: CountsOut


class PersonWhole(PersonOut):
    """A person with their numbers by type and side, over all sessions and by session."""

    changes: int = Field(description="Counter of changes; name it when you change the person.")
    groups: list[Group] = Field(description="By type and side, without rejected strikes.")
    sessions: list[Group] = Field(description="By session, type and side, in the order of time.")


class _Facts(Asked):
    body_mass: float | None = Field(default=None, description="[kg]", examples=[72.5])
    height: float | None = Field(default=None, description="[m]", examples=[1.78])
    side: str = Field(default="", max_length=20, description="left, right, or empty.", examples=["right"])
    experience: float | None = Field(default=None, description="[years]", examples=[6])


class NewPerson(_Facts):
    """A person to be added under a code that does not identify them."""

    code: str = Field(max_length=60, examples=["P09"])


class ChangedPerson(_Facts):
    """Entries to be changed; what is left out stays, null or an empty text takes it away."""

    changes: int | None = CHANGES


@router.get("")
def people(lab: CurrentLab) -> list[PersonOut]:
    """List the people by their codes."""
    return [PersonOut(**_row(row)) for row in list_people(lab)]


@router.post("", status_code=201, responses=refusals(400, 409, 413), dependencies=[needs(Role.ENGINEER)])
def new_person(lab: CurrentLab, visitor: CurrentVisitor, asked: NewPerson) -> PersonWhole:
    """Add a person; needs an engineer."""
    add_person(lab, who=visitor.who, **asked.model_dump())
    return _whole(lab, asked.code)


@router.get("/{code}")
def person(lab: CurrentLab, code: Code) -> PersonWhole:
    """Give a person with their numbers."""
    return _whole(lab, code)


@router.patch("/{code}", responses=refusals(400, 409, 413), dependencies=[needs(Role.ENGINEER)])
def change_person(lab: CurrentLab, visitor: CurrentVisitor, code: Code, asked: ChangedPerson) -> PersonWhole:
    """Change what is stated of a person; needs an engineer."""
    entries = asked.model_dump(exclude_unset=True)
    edit_person(lab, code, who=visitor.who, changes=entries.pop("changes", None), **entries)
    return _whole(lab, code)


def _whole(lab: CurrentLab, code: str) -> PersonWhole:
    seen = person_view(lab, code, limit=1)
    return PersonWhole(
        **_row(seen.row),
        changes=seen.changes,
        groups=[group(row, ("type", "side")) for row in seen.groups],
        sessions=[group(row, ("session", "type", "side")) for row in seen.sessions],
    )


def _row(row: PersonRow) -> dict[str, Any]:
    return {
        "code": row.code, "body_mass": row.body_mass, "height": row.height, "side": row.side,
        "experience": row.experience, "erased": row.erased, "n_sessions": row.n_sessions,
        "strikes": counts(row.strikes),
    }  # fmt: skip
