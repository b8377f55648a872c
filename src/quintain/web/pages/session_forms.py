"""Make and change sessions, plan them, print the running sheet, and tell strikes by the plan."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request
from pydantic import BaseModel
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from quintain.domain.protocol import Condition, Protocol
from quintain.errors import LabError, UsageError
from quintain.report.cautions import LOCAL_RULES, STRIKE_CAUTIONS
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_people, list_rigs
from quintain.tasks.sessions import (
    add_session,
    edit_session,
    plan_session,
    planned_strikes,
    protocol_of,
    running_sheet,
    show_session,
)
from quintain.tasks.strike_types import list_types
from quintain.tasks.tag_by_plan import TagReport, tag_by_plan
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.forms import EMPTY, Filled, refused
from quintain.web.pages.sessions import find_session, list_page
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs

__all__ = ["router"]

router = APIRouter(prefix="/sessions", include_in_schema=False)

_CHOICES = {
    "arrangement": [
        ("blocks", "blocks: all of a condition, then the next"),
        ("rounds", "rounds: each once, then again"),
    ],
    "order": [
        ("balanced", "balanced over people"),
        ("random", "random for each person"),
        ("written", "as written"),
    ],
    "turns": [
        ("person", "one person does everything, then the next"),
        ("block", "people take turns after each block"),
    ],
}
_NUMBERS = ("repetitions", "warm_ups", "rest", "rest_between_blocks", "seed")


class _Entries(BaseModel):
    """What is stated of a session, as typed."""

    title: str = ""
    when: str = ""
    rig: str = ""
    note: str = ""

    def stated(self) -> dict[str, Any]:
        return {"title": self.title, "when": _when(self.when), "rig": self.rig, "note": self.note}


class _NewSession(_Entries):
    code: str = ""


class _KnownSession(_Entries):
    changes: int | None = None


class _Plan(BaseModel):
    """A plan, as typed."""

    people: str = ""
    conditions: str = ""
    repetitions: str = ""
    arrangement: str = "blocks"
    order: str = "balanced"
    turns: str = "person"
    rest: str = ""
    rest_between_blocks: str = ""
    warm_ups: str = ""
    seed: str = ""
    changes: int | None = None


class _Known(BaseModel):
    """What is known of strikes that the plan is to tell, as typed."""

    missing: str = "0"
    extra: str = "0"
    recording_is: str = ""
    gap: str = ""
    by_name: bool = False
    no_warm_ups: bool = False


@router.post("")
def add(
    request: Request, lab: CurrentLab, visitor: CurrentVisitor, typed: Annotated[_NewSession, Form()]
) -> Response:
    """Add a session; what cannot be used comes back with what is wrong."""
    try:
        made = add_session(lab, typed.code.strip(), who=visitor.who, **typed.stated())
    except (UsageError, LabError) as problem:
        return list_page(request, lab, refused(typed, problem))
    return RedirectResponse(f"/sessions/{quote(made.code)}", 303)


@router.get("/{code}/edit", dependencies=[needs(Role.OPERATOR)])
def edit_form(request: Request, lab: CurrentLab, code: str) -> Response:
    """The form of a session's entries."""
    return _edit(request, lab, code)


@router.post("/{code}/edit")
def edit(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: str,
    typed: Annotated[_KnownSession, Form()],
) -> Response:
    """Change a session; whoever comes too late is told, and nothing typed is lost."""
    find_session(lab, code)
    try:
        edit_session(lab, code, changes=typed.changes, who=visitor.who, **typed.stated())
    except (UsageError, LabError) as problem:
        return _edit(request, lab, code, refused(typed, problem))
    return RedirectResponse(f"/sessions/{quote(code)}", 303)


@router.get("/{code}/plan")
def plan_form(request: Request, lab: CurrentLab, code: str) -> Response:
    """The plan as it stands, and the form that makes it."""
    return _plan(request, lab, code)


@router.post("/{code}/plan")
def plan(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: str,
    typed: Annotated[_Plan, Form()],
) -> Response:
    """Lay down the plan."""
    find_session(lab, code)
    try:
        plan_session(lab, code, _protocol(typed), changes=typed.changes, who=visitor.who)
    except (UsageError, LabError) as problem:
        return _plan(request, lab, code, refused(typed, problem))
    return RedirectResponse(f"/sessions/{quote(code)}/plan", 303)


@router.get("/{code}/sheet.txt")
def sheet(lab: CurrentLab, code: str) -> Response:
    """The running sheet, to be printed."""
    find_session(lab, code)
    return PlainTextResponse(running_sheet(lab, code))


@router.get("/{code}/tag", dependencies=[needs(Role.OPERATOR)])
def tag_form(
    request: Request, lab: CurrentLab, visitor: CurrentVisitor, code: str, typed: Annotated[_Known, Query()]
) -> Response:
    """What tagging by the plan would do, without doing it."""
    return _tag(request, lab, code, visitor.who, typed, dry_run=True)


@router.post("/{code}/tag")
def tag(
    request: Request, lab: CurrentLab, visitor: CurrentVisitor, code: str, typed: Annotated[_Known, Form()]
) -> Response:
    """Tag the strikes that are told for sure."""
    return _tag(request, lab, code, visitor.who, typed, dry_run=False)


def _edit(request: Request, lab: Lab, code: str, filled: Filled = EMPTY) -> Response:
    find_session(lab, code)
    record = show_session(lab, code)
    stated = {
        "title": record.title, "rig": record.rig, "note": record.note,
        "when": f"{record.when.astimezone(UTC):%Y-%m-%d %H:%M}" if record.when else "",
    }  # fmt: skip
    return page(
        request, "session_edit.html", status=filled.status, session=record, typed=filled.typed or stated,
        problem=filled.problem, rigs=[rig.name for rig in list_rigs(lab)],
    )  # fmt: skip


def _plan(request: Request, lab: Lab, code: str, filled: Filled = EMPTY) -> Response:
    seen = find_session(lab, code)
    protocol = protocol_of(lab, code)
    return page(
        request,
        "session_plan.html",
        status=filled.status,
        session=show_session(lab, code),
        seen=seen,
        protocol=protocol,
        planned=planned_strikes(lab, code),
        tagged={row.position: row.strike_id for row in seen.planned if row.strike_id is not None},
        typed=filled.typed or _stated(protocol),
        problem=filled.problem,
        people=[person.code for person in list_people(lab) if person.erased is None],
        types=[one.name for one in list_types(lab)],
        choices=_CHOICES,
        cautions=STRIKE_CAUTIONS,
        local_rules=LOCAL_RULES,
    )


def _tag(request: Request, lab: Lab, code: str, who: str, typed: _Known, *, dry_run: bool) -> Response:
    seen = find_session(lab, code)
    told: TagReport | None = None
    filled = Filled(typed.model_dump())
    try:
        told = tag_by_plan(
            lab, code, missing=int(_number("missing", typed.missing)),
            extra=int(_number("extra", typed.extra)), recording_is=typed.recording_is,
            gap=_number("gap", typed.gap) or None, by_name=typed.by_name,
            warm_ups_recorded=not typed.no_warm_ups, dry_run=dry_run, who=who,
        )  # fmt: skip
    except (UsageError, LabError) as problem:
        filled = refused(typed, problem)
    return page(
        request, "session_tag.html", status=200 if dry_run else filled.status, seen=seen, row=seen.row,
        typed=filled.typed, told=told, problem=filled.problem,
    )  # fmt: skip


def _stated(protocol: Protocol | None) -> dict[str, str]:
    if protocol is None:
        plain = Protocol(("P",), (Condition("jab"),))
        told = {name: f"{getattr(plain, name):g}" for name in _NUMBERS}
        return {**told, "people": "", "conditions": "", **{name: getattr(plain, name) for name in _CHOICES}}
    return {
        "people": ", ".join(protocol.people),
        "conditions": "\n".join(f"{c.type} {c.side}".strip() for c in protocol.conditions),
        **{name: f"{getattr(protocol, name):g}" for name in _NUMBERS if name != "seed"},
        "seed": str(protocol.seed),
        **{name: getattr(protocol, name) for name in _CHOICES},
    }


def _protocol(typed: _Plan) -> Protocol:
    people = tuple(typed.people.replace(",", " ").split())
    conditions = tuple(_condition(line) for line in typed.conditions.splitlines() if line.strip())
    numbers = {name: _number(name, getattr(typed, name)) for name in _NUMBERS}
    others: dict[str, Any] = {name: int(numbers[name]) for name in ("repetitions", "warm_ups", "seed")}
    others |= {name: getattr(typed, name) for name in _CHOICES}
    try:
        return Protocol(
            people, conditions, rest=numbers["rest"], rest_between_blocks=numbers["rest_between_blocks"],
            **others,
        )  # fmt: skip
    except ValueError as problem:
        raise UsageError(str(problem)) from None


def _condition(line: str) -> Condition:
    """A line such as 'front kick left'."""
    words = line.replace(",", " ").split()
    side = words[-1].lower() if words[-1].lower() in ("left", "right") else ""
    try:
        return Condition(" ".join(words[:-1] if side else words), side)
    except ValueError as problem:
        raise UsageError(str(problem)) from None


def _number(name: str, text: str) -> float:
    """A number as typed; nothing is 0."""
    words = name.replace("_", " ")
    told = (text.strip() or "0").replace(",", ".")
    try:
        value = float(told)
    except ValueError:
        raise UsageError(f"{words}: expected a number, got {text!r}") from None
    whole = name in ("missing", "extra", "repetitions", "warm_ups", "seed")
    if not 0 <= value <= 2**53 or (whole and value != int(value)):
        kind = "whole number" if whole else "number"
        raise UsageError(f"{words}: expected a {kind} from 0 up, got {text!r}")
    return value


def _when(text: str) -> datetime | None:
    """A time as typed; without an offset it is UTC, as the form says."""
    if not text.strip():
        return None
    try:
        told = datetime.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"when: expected a time as 2026-11-25 17:00, got {text!r}") from None
    return told if told.tzinfo else told.replace(tzinfo=UTC)
