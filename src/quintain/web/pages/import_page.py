"""Import: send files, see what would become of each, then take them into the lab."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from sqlalchemy import select
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from quintain.errors import LabError, QuintainError, UsageError
from quintain.report.verdict import Verdict
from quintain.store.lab import Lab
from quintain.store.schema import Rig, Session
from quintain.tasks.arrivals import (
    Arrival,
    Told,
    arrival_of,
    arrivals_folder,
    forget_arrival,
    keep_arrival,
    look_at_arrival,
    tell_arrival,
)
from quintain.tasks.import_plan import KINDS
from quintain.tasks.import_recordings import ImportReport
from quintain.tasks.jobs import ask_job
from quintain.tasks.peek import ChannelLook, peek
from quintain.tasks.sidecar import COLUMNS
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.navigation import Nav
from quintain.web.rendering import page
from quintain.web.security.uploads import Form, Received, receive_upload
from quintain.web.sentence import as_sentence

__all__ = ["NAV", "router"]

NAV = Nav("Import", "/import", 50)

router = APIRouter(prefix="/import", include_in_schema=False)

_LARGEST = 64 << 30
"""Bytes of one form; the disk is the true limit."""
_MOST = 2000
"""Files of one form."""

_KIND_WORDS = {
    "strikes": "strikes on the cell", "motion": "motion of a limb", "taps": "taps", "drops": "dropped masses",
    "zero": "the rig at rest", "loads": "known loads, as a table",
}  # fmt: skip
_OPTION = re.compile(r"to add it: --add-\w+")
_RESTATE = re.compile(r"to state it: --restate, or quintain state \w+")
_FIELDS = ("session", "rig", "kind", "pattern", "channel", "columns", "rate", "units", "settings")


@router.get("")
def begin(request: Request, lab: CurrentLab) -> Response:
    """The form for files."""
    return _start(request, lab, {}, "")


@router.post("")
async def send(request: Request, lab: CurrentLab) -> Response:
    """Take files; nothing is entered into the lab yet."""
    async with receive_upload(request, arrivals_folder(lab), limit=_LARGEST, most_files=_MOST) as form:
        return await run_in_threadpool(_keep, request, lab, form)


@router.get("/{code}")
def look(request: Request, lab: CurrentLab, code: str) -> Response:
    """What would become of each file."""
    arrival = _found(lab, code)
    report, trouble = None, ""
    try:
        report = look_at_arrival(lab, arrival)
    except UsageError as problem:
        trouble = str(problem).replace(str(arrival.folder / "files") + "/", "")
    return page(
        request,
        "import_look.html",
        arrival=arrival,
        report=report,
        judged=_judge(report, trouble),
        told=arrival.told,
        n_new=len(report.of("new")) if report else 0,
        n_restated=len(report.of("restated")) if report else 0,
        names={file: i for i, file in enumerate(arrival.files)},
        plain=_plain,
        unknown=_has_unknown(report),
        **_choices(lab),
    )


@router.post("/{code}/told")
async def tell(request: Request, lab: CurrentLab, code: str) -> Response:
    """Say something else of the files."""
    form = await request.form()
    fields = {name: str(value) for name, value in form.items()}
    try:
        tell_arrival(lab, code, _told(fields))
    except LabError as problem:
        raise HTTPException(404, as_sentence(problem)) from None
    return RedirectResponse(f"/import/{code}", 303)


@router.post("/{code}/import")
def take(request: Request, lab: CurrentLab, visitor: CurrentVisitor, code: str) -> Response:
    """Take the files into the lab; a job does it."""
    _found(lab, code)
    number = ask_job(lab, "import", {"arrival": code}, who=visitor.who)
    request.app.state.jobs.wake()
    return RedirectResponse(f"/jobs/{number}", 303)


@router.post("/{code}/discard")
def discard(lab: CurrentLab, code: str) -> Response:
    """Let the files go."""
    forget_arrival(lab, code)
    return RedirectResponse("/import", 303)


@router.get("/{code}/files/{number}")
def look_inside(request: Request, lab: CurrentLab, code: str, number: int) -> Response:
    """What is inside a file, channel by channel."""
    arrival = _found(lab, code)
    if not 0 <= number < len(arrival.files):
        raise HTTPException(404, "There is no such file among those that wait.")
    file = arrival.files[number]
    recording, trouble = None, ""
    looks: list[ChannelLook] = []
    try:
        recording, looks = peek(file, **arrival.told.reading())
    except QuintainError as problem:
        trouble = str(problem).replace(str(file), file.name)
    return page(
        request, "import_peek.html", code=code, name=file.name, recording=recording, looks=looks,
        trouble=trouble,
    )  # fmt: skip


# -- what was sent


def _keep(request: Request, lab: Lab, form: Form) -> Response:
    files = [file for file in form.files if file.field != "table"]
    table = next((file for file in form.files if file.field == "table"), None)
    if not files:
        return _start(request, lab, form.fields, "Choose the recordings to import.", status=422)
    arrival = keep_arrival(
        lab, [_placed(file) for file in files], _told(form.fields), table=_placed(table) if table else None
    )
    return RedirectResponse(f"/import/{arrival.code}", 303)


def _placed(file: Received) -> tuple[str, Any]:
    return file.name, file.path


def _told(fields: Mapping[str, str]) -> Told:
    said = {name: fields.get(name, "").strip() for name in _FIELDS}
    if said["kind"] not in KINDS:
        said["kind"] = "strikes"
    return Told(
        session=said["session"], rig=said["rig"], kind=said["kind"], pattern=said["pattern"],
        channel=said["channel"], columns=said["columns"], rate=said["rate"], units=said["units"],
        settings=said["settings"].replace("\r\n", "\n"), add=bool(fields.get("add")),
        restate=bool(fields.get("restate")),
    )  # fmt: skip


def _start(request: Request, lab: Lab, fields: Mapping[str, str], error: str, status: int = 200) -> Response:
    return page(
        request, "import.html", status=status, told=_told(fields), error=error, columns=COLUMNS,
        **_choices(lab),
    )  # fmt: skip


def _choices(lab: Lab) -> dict[str, Any]:
    with lab.reading() as database:
        sessions = list(database.scalars(select(Session.code).order_by(Session.when.desc(), Session.code)))
        rigs = list(database.scalars(select(Rig.name).order_by(Rig.name)))
    return {
        "sessions": sessions,
        "rigs": [("", "none stated"), *((name, name) for name in rigs)],
        "kinds": list(_KIND_WORDS.items()),
    }


def _found(lab: Lab, code: str) -> Arrival:
    try:
        return arrival_of(lab, code)
    except LabError as problem:
        raise HTTPException(404, as_sentence(problem)) from None


def _plain(reason: str) -> str:
    """A reason without the words of the command line."""
    return _RESTATE.sub("to state it: tick the box below", _OPTION.sub("add it below", reason))


def _has_unknown(report: ImportReport | None) -> bool:
    """Whether files are refused for a code that could be added."""
    return report is not None and any("the lab knows no" in file.reason for file in report.of("refused"))


def _judge(report: ImportReport | None, trouble: str) -> Verdict:
    if report is None:
        return Verdict("doubt", "With doubt", "What was said of the files cannot be understood.", trouble)
    states = ("new", "restated", "known", "refused")
    new, restated, known, refused = (len(report.of(state)) for state in states)
    parts = [f"{new} can be imported"]
    if restated:
        parts.append(f"{restated} in the lab already can be stated anew")
    if known:
        parts.append(f"{known} {'is' if known == 1 else 'are'} in the lab already")
    if refused:
        parts.append(f"{refused} cannot be taken as {'it is' if refused == 1 else 'they are'}")
    n = len(report.files)
    sentence = f"{n} file{'' if n == 1 else 's'}: {', '.join(parts)}."
    why = "Nothing is in the lab yet."
    return Verdict("doubt" if refused else "sound" if new or restated else "open", "", sentence, why)
