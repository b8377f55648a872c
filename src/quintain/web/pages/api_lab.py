"""The lab, its words and its methods, for scripts."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fastapi import Request
from pydantic import Field
from sqlalchemy import select

from quintain.domain.flags import FLAGS
from quintain.quantities import GLOSSARY
from quintain.store import schema
from quintain.tasks.lab_views import lab_overview
from quintain.tasks.strike_types import list_types
from quintain.version import __version__
from quintain.web.current import CurrentLab
from quintain.web.pages._api import Answer, CountsOut, api_router, counts

__all__ = ["router"]

router = api_router("lab")


class Token(Answer):
    """The token that every request that changes something carries in the header X-CSRF-Token."""

    csrf: str = Field(description="Good for as long as nobody signs in or out with the same cookies.")
    role: str = Field(
        description="viewer, operator or engineer; empty where nobody is signed in.", examples=["operator"]
    )
    who: str = Field(description="Name under which changes are entered.", examples=["Ada"])


class LabOut(Answer):
    """The lab at a glance."""

    name: str = Field(examples=["Harbour lab"])
    invented: bool = Field(description="Everything in the lab is made up.")
    quintain: str = Field(description="Version of the software.")
    n_sessions: int
    n_people: int
    n_recordings: int
    n_unanalysed: int = Field(description="Recordings of strikes that were not analysed yet.")
    n_gone: int = Field(description="Recordings whose bytes are gone.")
    strikes: CountsOut


class Term(Answer):
    """A quantity of the glossary. Answers use its name and its SI unit."""

    name: str = Field(examples=["peak_force"])
    label: str = Field(examples=["Peak force on the cell"])
    symbol: str = Field(examples=["F"])
    unit: str = Field(description="SI unit of values.", examples=["N"])
    definition: str
    source: str
    shown_unit: str = Field(description="Unit in which people read it.", examples=["N"])
    shown_factor: float = Field(description="What people read over the value in SI.", examples=[1.0])


class FlagMeaningOut(Answer):
    """What a flag means and what to do about it."""

    code: str = Field(examples=["clipped"])
    meaning: str
    remedy: str
    withholds: list[str] = Field(description="Quantities that are not stated when it is raised.")
    doubts: list[str] = Field(description="Quantities that are stated but less certain.")


class TypeOut(Answer):
    """A type of strike."""

    name: str = Field(examples=["cross"])
    family: str = Field(examples=["punch"])
    own: bool = Field(description="Added by the lab.")
    n_strikes: int


class MethodOut(Answer):
    """All settings of an analysis, under their hash."""

    sha256: str
    name: str
    version: int
    settings: dict[str, Any] = Field(description="As in a method file; SI units.")
    added: datetime


@router.get("/token")
def token(request: Request) -> Token:
    """
    Give the token for requests that change something.

    It belongs to the cookies that this answer sets and to the session: ask again after signing in. It
    can be asked for before signing in, and serves for the form at /sign-in.
    """
    door, visitor = request.app.state.door, request.state.visitor
    return Token(
        csrf=door.csrf.token(request.state.bond),
        role="" if visitor is None else visitor.role.word,
        who="" if visitor is None else visitor.who,
    )


@router.get("/lab")
def lab_at_a_glance(lab: CurrentLab) -> LabOut:
    """Count what the lab holds."""
    seen = lab_overview(lab, n_sessions=1)
    return LabOut(
        name=seen.name,
        invented=seen.invented,
        quintain=__version__,
        n_sessions=seen.n_sessions,
        n_people=seen.n_people,
        n_recordings=seen.n_recordings,
        n_unanalysed=seen.n_unanalysed,
        n_gone=seen.n_gone,
        strikes=counts(seen.strikes),
    )


@router.get("/glossary")
def glossary() -> list[Term]:
    """List every quantity with symbol, unit, definition and source."""
    return [Term.model_validate(entry) for entry in GLOSSARY.values()]


@router.get("/flags")
def flag_meanings() -> list[FlagMeaningOut]:
    """List every doubt that a result can carry."""
    return [FlagMeaningOut.model_validate(entry) for entry in FLAGS.values()]


@router.get("/types")
def types(lab: CurrentLab) -> list[TypeOut]:
    """List the types of strikes."""
    return [TypeOut.model_validate(row) for row in list_types(lab)]


@router.get("/methods")
def methods(lab: CurrentLab) -> list[MethodOut]:
    """List the methods that analyses of the lab were made by, oldest first."""
    with lab.reading() as database:
        rows = database.scalars(select(schema.Method).order_by(schema.Method.added, schema.Method.sha256))
        return [MethodOut.model_validate(row) for row in rows]
