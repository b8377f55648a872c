"""Add and change people; what identifies them, their own copy of it all, and erasing it."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, RedirectResponse, Response

from quintain.domain.person import IDENTIFYING, LIMITS
from quintain.errors import ConflictError, UsageError
from quintain.store.lab import Lab
from quintain.tasks.erase_person import Erasure, erase_person
from quintain.tasks.export_person import export_person
from quintain.tasks.people import add_person, edit_person, identify_person, show_person
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.forms import EMPTY, Filled, refused
from quintain.web.pages.people import find_person, people_page
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs

__all__ = ["router"]

router = APIRouter(prefix="/people", include_in_schema=False, dependencies=[needs(Role.ENGINEER)])


class _Facts(BaseModel):
    """What is stated of a person, as typed."""

    body_mass: str = ""
    height: str = ""
    side: str = ""
    experience: str = ""
    note: str = ""


class _NewPerson(_Facts):
    code: str = ""


class _KnownPerson(_Facts):
    new_code: str = ""
    changes: int | None = None


class _Identity(BaseModel):
    """What identifies a person, as typed."""

    name: str = ""
    contact: str = ""
    born: str = ""
    note: str = ""


@router.post("")
def add(
    request: Request, lab: CurrentLab, visitor: CurrentVisitor, typed: Annotated[_NewPerson, Form()]
) -> Response:
    """Add a person; what cannot be used comes back with what is wrong."""
    try:
        made = add_person(lab, typed.code.strip(), who=visitor.who, **_facts(typed))
    except (UsageError, ConflictError) as problem:
        return people_page(request, lab, refused(typed, problem))
    return RedirectResponse(f"/people/{quote(made.code)}", 303)


@router.get("/{code}/edit")
def edit_form(request: Request, lab: CurrentLab, code: str) -> Response:
    """The form of what is stated of a person."""
    return _edit(request, lab, code)


@router.post("/{code}/edit")
def edit(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: str,
    typed: Annotated[_KnownPerson, Form()],
) -> Response:
    """Change what is stated; whoever comes too late is told, and nothing typed is lost."""
    new_code = typed.new_code.strip() or None
    try:
        told = edit_person(
            lab, code, new_code=new_code, changes=typed.changes, who=visitor.who, **_facts(typed)
        )
    except (UsageError, ConflictError) as problem:
        return _edit(request, lab, code, refused(typed, problem))
    return RedirectResponse(f"/people/{quote(told.code)}", 303)


@router.get("/{code}/identity")
def identity_form(request: Request, lab: CurrentLab, code: str) -> Response:
    """What identifies a person, on a page of its own."""
    return _identity(request, lab, code)


@router.post("/{code}/identity")
def identify(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: str,
    typed: Annotated[_Identity, Form()],
) -> Response:
    """Keep what identifies a person, apart from everything else."""
    find_person(lab, code)
    try:
        identify_person(lab, code, who=visitor.who, **typed.model_dump())
    except (UsageError, ConflictError) as problem:
        return _identity(request, lab, code, refused(typed, problem))
    return RedirectResponse(f"/people/{quote(code)}/identity", 303)


@router.get("/{code}/export.zip")
def export(lab: CurrentLab, code: str, recordings: bool = False) -> Response:
    """Everything the lab holds on a person, for the person."""
    find_person(lab, code)
    place = Path(tempfile.mkdtemp(prefix="quintain-export-"))
    try:
        export_person(lab, code, place / code, recordings=recordings)
        packed = shutil.make_archive(str(place / "packed"), "zip", place, code)
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    return FileResponse(
        packed, media_type="application/zip", filename=f"{code}.zip", headers={"Cache-Control": "no-store"},
        background=BackgroundTask(shutil.rmtree, place, ignore_errors=True),
    )  # fmt: skip


@router.get("/{code}/erase")
def erase_form(request: Request, lab: CurrentLab, code: str) -> Response:
    """What erasing takes away and what remains, before it is done."""
    return _erase(request, lab, code)


@router.post("/{code}/erase")
def erase(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: str,
    typed_code: Annotated[str, Form()] = "",
    data: Annotated[str, Form()] = "",
) -> Response:
    """Erase, once the code was typed."""
    find_person(lab, code)
    if typed_code.strip() != code:
        words = (
            f"type {code} to erase; read {typed_code.strip()!r}"
            if typed_code.strip()
            else f"type {code} to erase"
        )
        return _erase(request, lab, code, problem=words, with_data=bool(data), status=422)
    return _erase(request, lab, code, done=erase_person(lab, code, data=bool(data), who=visitor.who))


def _edit(request: Request, lab: Lab, code: str, filled: Filled = EMPTY) -> Response:
    record, _ = find_person(lab, code)
    facts = record.facts
    stated = {
        "new_code": record.code, "side": facts.side, "note": facts.note,
        **{name: _written(getattr(facts, name)) for name in LIMITS},
    }  # fmt: skip
    return page(
        request, "person_edit.html", status=filled.status, person=record, typed=filled.typed or stated,
        problem=filled.problem,
    )  # fmt: skip


def _identity(request: Request, lab: Lab, code: str, filled: Filled = EMPTY) -> Response:
    find_person(lab, code)
    record = show_person(lab, code, identity=True)
    kept = {name: getattr(record.identity, name, "") for name in IDENTIFYING}
    answer = page(
        request, "person_identity.html", status=filled.status, person=record, typed=filled.typed or kept,
        problem=filled.problem,
    )  # fmt: skip
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _erase(
    request: Request,
    lab: Lab,
    code: str,
    *,
    problem: str = "",
    with_data: bool = False,
    done: Erasure | None = None,
    status: int = 200,
) -> Response:
    record, seen = find_person(lab, code)
    return page(
        request, "person_erase.html", status=status, person=record, seen=seen, problem=problem,
        with_data=with_data, done=done,
    )  # fmt: skip


def _facts(typed: _Facts) -> dict[str, Any]:
    """What was typed as facts; numbers may have a comma."""
    facts: dict[str, Any] = {"side": typed.side, "note": typed.note}
    for name, (_, _, unit) in LIMITS.items():
        told: str = getattr(typed, name)
        text = told.strip().replace(",", ".")
        try:
            facts[name] = float(text) if text else None
        except ValueError:
            words = name.replace("_", " ")
            raise UsageError(f"{words}: expected a number in {unit}, or nothing, got {told!r}") from None
    return facts


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
