"""Add and change people; what identifies them, their own copy of it all, and erasing it."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, RedirectResponse, Response

from quintain.domain.person import IDENTIFYING
from quintain.errors import ConflictError, QuintainError, UsageError
from quintain.store.lab import Lab
from quintain.tasks.erase_person import Erasure, erase_person
from quintain.tasks.export_person import export_person
from quintain.tasks.people import add_person, edit_person, identify_person, show_person
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages.people import find_person, people_page
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs

__all__ = ["router"]

router = APIRouter(prefix="/people", include_in_schema=False, dependencies=[needs(Role.ENGINEER)])

Text = Annotated[str, Form()]


@router.post("")
def add(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: Text = "",
    body_mass: Text = "",
    height: Text = "",
    side: Text = "",
    experience: Text = "",
    note: Text = "",
) -> Response:
    """Add a person; what cannot be used comes back with what is wrong."""
    typed = {"code": code, "body_mass": body_mass, "height": height, "side": side,
             "experience": experience, "note": note}  # fmt: skip
    try:
        made = add_person(lab, code.strip(), who=visitor.who, **_facts(typed))
    except (UsageError, ConflictError) as problem:
        return people_page(request, lab, typed=typed, problem=str(problem), status=_status(problem))
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
    new_code: Text = "",
    body_mass: Text = "",
    height: Text = "",
    side: Text = "",
    experience: Text = "",
    note: Text = "",
    changes: Annotated[int | None, Form()] = None,
) -> Response:
    """Change what is stated; whoever comes too late is told, and nothing typed is lost."""
    typed = {"new_code": new_code, "body_mass": body_mass, "height": height, "side": side,
             "experience": experience, "note": note}  # fmt: skip
    try:
        told = edit_person(
            lab, code, new_code=new_code.strip() or None, changes=changes, who=visitor.who, **_facts(typed)
        )
    except (UsageError, ConflictError) as problem:
        return _edit(request, lab, code, typed=typed, problem=str(problem), status=_status(problem))
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
    name: Text = "",
    contact: Text = "",
    born: Text = "",
    note: Text = "",
) -> Response:
    """Keep what identifies a person, apart from everything else."""
    typed = {"name": name, "contact": contact, "born": born, "note": note}
    find_person(lab, code)
    try:
        identify_person(lab, code, who=visitor.who, **typed)
    except (UsageError, ConflictError) as problem:
        return _identity(request, lab, code, typed=typed, problem=str(problem), status=_status(problem))
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
    typed_code: Text = "",
    data: Text = "",
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


def _edit(
    request: Request,
    lab: Lab,
    code: str,
    *,
    typed: dict[str, str] | None = None,
    problem: str = "",
    status: int = 200,
) -> Response:
    record, _ = find_person(lab, code)
    facts = record.facts
    stated = {
        "new_code": record.code, "side": facts.side, "note": facts.note,
        **{name: _written(getattr(facts, name)) for name in ("body_mass", "height", "experience")},
    }  # fmt: skip
    return page(
        request, "person_edit.html", status=status, person=record, typed=typed or stated, problem=problem
    )


def _identity(
    request: Request,
    lab: Lab,
    code: str,
    *,
    typed: dict[str, str] | None = None,
    problem: str = "",
    status: int = 200,
) -> Response:
    find_person(lab, code)
    record = show_person(lab, code, identity=True)
    kept = {name: getattr(record.identity, name, "") for name in IDENTIFYING}
    answer = page(
        request, "person_identity.html", status=status, person=record, typed=typed or kept, problem=problem
    )
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


def _facts(typed: dict[str, str]) -> dict[str, Any]:
    """What was typed as facts; numbers may have a comma."""
    facts: dict[str, Any] = {"side": typed["side"], "note": typed["note"]}
    for name, unit in (("body_mass", "kg"), ("height", "m"), ("experience", "years")):
        text = typed[name].strip().replace(",", ".")
        try:
            facts[name] = float(text) if text else None
        except ValueError:
            words = name.replace("_", " ")
            raise UsageError(
                f"{words}: expected a number in {unit}, or nothing, got {typed[name]!r}"
            ) from None
    return facts


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _status(problem: QuintainError) -> int:
    return 409 if isinstance(problem, ConflictError) else 422
