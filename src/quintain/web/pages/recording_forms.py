"""State what was learned of a recording after its import, or take it back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from contextlib import ExitStack
from typing import Any

from fastapi import APIRouter, Request
from sqlalchemy import select
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from quintain.errors import QuintainError
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_people, list_recordings, list_rigs
from quintain.store.schema import Recording, Session
from quintain.tasks.arrivals import Told, arrivals_folder, arrived
from quintain.tasks.bring_motion import bring_motion
from quintain.tasks.lab_views import recording_view
from quintain.tasks.motion_fits import OF_MOTION
from quintain.tasks.speed_table import text_of_table
from quintain.tasks.state_recording import FACTS, facts_of, state_recording
from quintain.tasks.strike_types import list_types
from quintain.tasks.zoom import look_into
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.forms import EMPTY, Filled, refused
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs
from quintain.web.security.uploads import Form, receive_upload

__all__ = ["router"]

router = APIRouter(prefix="/recordings", include_in_schema=False)

_LARGEST = 4 << 30
"""Bytes of one form."""
_LISTED = 200
"""Motions that are offered by name; others can be typed."""
_LONGEST = 50_000
"""A longer table of speeds is not shown to be changed; another one can be sent."""


@router.get("/{sha256}/state", dependencies=[needs(Role.OPERATOR)])
def state_form(request: Request, lab: CurrentLab, sha256: str) -> Response:
    """The form of what is stated of a recording."""
    return _form(request, lab, sha256)


@router.post("/{sha256}/state")
async def state(request: Request, lab: CurrentLab, visitor: CurrentVisitor, sha256: str) -> Response:
    """State it; whoever comes too late is told, and nothing typed is lost."""
    async with receive_upload(request, arrivals_folder(lab), limit=_LARGEST, most_files=2) as form:
        return await run_in_threadpool(_state, request, lab, visitor.who, sha256, form)


def _state(request: Request, lab: Lab, who: str, sha256: str, form: Form) -> Response:
    row = recording_view(lab, sha256, limit=1).row
    files = {file.field: file for file in form.files}
    called = {str(file.path): file.name for file in form.files}
    with ExitStack() as stack:
        try:
            facts = _facts(lab, row.sha256, form.fields)
            if "speeds_file" in files:
                facts["speeds"] = text_of_table(files["speeds_file"].path)
            counter = form.fields.get("changes", "")
            changes = int(counter[:10]) if counter.isdecimal() else None
            if "motion_file" in files:
                sent = files["motion_file"]
                path = stack.enter_context(arrived(lab, sent.name, sent.path, who=who))
                called[str(path)] = sent.name
                reading = Told(settings=form.fields.get("settings", "").replace("\r\n", "\n")).reading()
                facts["motion"] = ""
                bring_motion(lab, row.sha256, path, facts, reading=reading, changes=changes, who=who)
            else:
                state_recording(lab, row.sha256, facts, changes=changes, who=who)
        except QuintainError as problem:
            words = str(problem)
            for place, name in called.items():
                words = words.replace(place, name)
            return _form(request, lab, row.sha256, refused(form.fields, type(problem)(words)))
    return RedirectResponse(f"/recordings/{row.sha256}", 303)


def _facts(lab: Lab, sha256: str, fields: Mapping[str, str]) -> dict[str, str]:
    """What was typed, by fact; with a motion that is taken away goes what still stands there of it."""
    facts = {name: fields[name] for name in FACTS if name in fields}
    if not facts.get("motion", "").strip():
        with lab.reading() as database:
            there = facts_of(database, database.get_one(Recording, sha256))
        facts = {n: text for n, text in facts.items() if n not in OF_MOTION or text != there[n]}
    return facts


def _form(request: Request, lab: Lab, sha256: str, filled: Filled = EMPTY) -> Response:
    seen = recording_view(lab, sha256, limit=1)
    motions = [row for row in list_recordings(lab, kind="motion", limit=_LISTED)[0] if row.gone is None]
    with lab.reading() as database:
        names = [row.name for row in motions]
        alike = Counter(database.scalars(select(Recording.name).where(Recording.name.in_(names))))
        stated = facts_of(database, database.get_one(Recording, seen.row.sha256))
        sessions = list(database.scalars(select(Session.code).order_by(Session.when.desc(), Session.code)))
    called = {row.sha256: row.name if alike[row.name] == 1 else row.sha256[:12] for row in motions}
    now = next((_words(row) for row in motions if row.sha256 == stated["motion"]), "")
    stated["motion"] = called.get(stated["motion"], stated["motion"][:12])
    return page(
        request,
        "recording_state.html",
        status=filled.status,
        row=seen.row,
        changes=seen.changes,
        typed={**stated, "settings": "", **filled.typed},
        problem=filled.problem,
        long_table=len(stated["speeds"]) > _LONGEST,
        motion_words=now,
        motions=[(called[row.sha256], _words(row)) for row in motions],
        channels=[(name, name) for name in _channels(lab, seen.row.sha256)],
        sessions=[(code, "") for code in sessions],
        rigs=[("", "the session’s, if any"), *((rig.name, rig.name) for rig in list_rigs(lab))],
        people=[(person.code, "") for person in list_people(lab) if person.erased is None],
        types=[(one.name, "") for one in list_types(lab)],
    )


def _words(row: Any) -> str:
    """By what somebody tells one motion from another."""
    when = f"{row.when:%Y-%m-%d %H:%M} UTC" if row.when else ""
    return ", ".join(filter(None, (row.name, row.session, row.person, when)))


def _channels(lab: Lab, sha256: str) -> list[str]:
    try:
        return [channel.name for channel in look_into(lab, sha256).channels]
    except QuintainError:
        return []
