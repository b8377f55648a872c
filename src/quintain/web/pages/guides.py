"""Guided tests of a rig: what to do, the recording, the verdict at once, and then the rig's log."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from quintain.errors import LabError, QuintainError, UsageError
from quintain.report.cautions import DROP_CAUTIONS, TAP_CAUTIONS
from quintain.store.lab import Lab
from quintain.tasks.arrivals import (
    Told,
    arrival_of,
    arrivals_folder,
    forget_arrival,
    keep_arrival,
    tell_arrival,
)
from quintain.tasks.evidence_time import evidence_time
from quintain.tasks.guided_tests import TestAsked, enter_test, tried_test, try_test
from quintain.tasks.lab_rigs import rig_of
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._guide_words import GUIDES
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs
from quintain.web.security.uploads import Form, receive_upload
from quintain.web.sentence import as_sentence

__all__ = ["router"]

router = APIRouter(prefix="/rigs/{name}", include_in_schema=False)

_LARGEST = 2 << 30
"""Bytes of one form."""

_KINDS = {"drop-test": "drops", "tap-test": "tap"}
_NUMBERS = {
    "mass": "the mass", "u_mass": "the uncertainty of the mass", "u_height": "the uncertainty of the height",
    "n_modes": "the number of modes",
}  # fmt: skip


@router.get("/{test}-test")
def guide(request: Request, lab: CurrentLab, name: str, test: str) -> Response:
    """What to do, and the form for the recording."""
    return _form(request, lab, name, f"{test}-test", {}, {})


@router.post("/{test}-test")
async def send(request: Request, lab: CurrentLab, name: str, test: str) -> Response:
    """Take the recording and say at once what it tells."""
    path = f"{test}-test"
    kind = _kind(path)
    async with receive_upload(request, arrivals_folder(lab), limit=_LARGEST, most_files=20) as form:
        return await run_in_threadpool(_try, request, lab, name, path, kind, form)


@router.get("/{test}-test/{code}")
def result(request: Request, lab: CurrentLab, name: str, test: str, code: str) -> Response:
    """What a test said, before it is entered."""
    path = f"{test}-test"
    _kind(path)
    try:
        tried, arrival = tried_test(lab, code), arrival_of(lab, code)
    except LabError as problem:
        raise HTTPException(404, as_sentence(problem)) from None
    return page(
        request, "guide_result.html", name=name, path=path, code=code, tried=tried,
        guide=GUIDES[tried.asked.kind], files=[file.name for file in arrival.files],
        cautions=_cautions(tried.asked.kind),
    )  # fmt: skip


@router.post("/{test}-test/{code}/enter", dependencies=[needs(Role.ENGINEER)])
def enter(
    lab: CurrentLab, visitor: CurrentVisitor, name: str, test: str, code: str, request: Request
) -> Response:
    """Enter the test into the rig's log."""
    _kind(f"{test}-test")
    enter_test(lab, code, who=visitor.who)
    return RedirectResponse(_rig_path(request), 303)


@router.post("/{test}-test/{code}/discard")
def discard(lab: CurrentLab, name: str, test: str, code: str, request: Request) -> Response:
    """Let the test and its recording go."""
    forget_arrival(lab, code)
    return RedirectResponse(f"{_rig_path(request)}/{test}-test", 303)


# -- the form


def _try(request: Request, lab: Lab, name: str, path: str, kind: str, form: Form) -> Response:
    fields = form.fields
    told = Told(
        kind={"tap": "taps", "drops": "drops"}[kind],
        channel=fields.get("channel", "").strip(),
        columns=fields.get("columns", "").strip(),
        rate=fields.get("rate", "").strip(),
        units=fields.get("units", "").strip(),
        settings=fields.get("settings", "").strip(),
    )
    code, errors = _keep(lab, form, told)
    asked, wrong = _understand(kind, name, fields)
    errors |= wrong
    if not errors and asked is not None:
        try:
            try_test(lab, code, asked)
            return RedirectResponse(f"{_rig_path(request)}/{path}/{code}", 303)
        except UsageError as problem:
            place = (
                str(problem).partition(":")[0].replace("height", "heights").replace("u_heights", "u_height")
            )
            errors[place if place in (*_NUMBERS, "heights") else "all"] = str(problem)
        except QuintainError as problem:
            errors["all"] = _without_place(lab, str(problem), code)
    return _form(request, lab, name, path, fields, errors, code=code, status=422)


def _keep(lab: Lab, form: Form, told: Told) -> tuple[str, dict[str, str]]:
    """Keep what was sent, or find what was sent before."""
    if form.files:
        with suppress(LabError):
            forget_arrival(lab, form.fields.get("arrival", ""))
        return keep_arrival(lab, [(file.name, file.path) for file in form.files], told).code, {}
    code = form.fields.get("arrival", "")
    if not code:
        return "", {"files": "Choose the recording."}
    try:
        return tell_arrival(lab, code, told).code, {}
    except LabError:
        return "", {"files": "The recording is no longer here; choose it again."}


def _understand(kind: str, rig: str, fields: Mapping[str, str]) -> tuple[TestAsked | None, dict[str, str]]:
    """Numbers of the form; what cannot be read is said beside its field."""
    errors: dict[str, str] = {}
    numbers: dict[str, float | None] = {}
    for key in _NUMBERS:
        text = fields.get(key, "").strip().replace(",", ".")
        try:
            numbers[key] = float(text) if text else None
        except ValueError:
            errors[key] = f"{text!r} is no number; write {_NUMBERS[key]} as 5.012"
    when = ""
    try:
        when = read_when(fields.get("when", ""))
    except UsageError as problem:
        errors["when"] = as_sentence(problem)
    if kind == "tap":
        n = numbers["n_modes"]
        return TestAsked("tap", rig, {}, n_modes=None if n is None else int(n), when=when), errors
    try:
        heights = read_heights(fields.get("heights", ""))
    except ValueError as problem:
        errors["heights"] = str(problem)
        heights = []
    if numbers.get("mass") is None and "mass" not in errors:
        errors["mass"] = "State the mass that fell, in kg."
    if errors:
        return None, errors
    drops: dict[str, Any] = {"mass": numbers["mass"], "heights": heights}
    drops |= {"u_mass": numbers["u_mass"]} if numbers["u_mass"] is not None else {}
    drops |= {"u_height": (numbers["u_height"] or 0.0) / 1000} if numbers["u_height"] is not None else {}
    return TestAsked("drops", rig, drops, pad=fields.get("pad", "").strip(), when=when), errors


def read_when(text: str) -> str:
    """
    The time of a test as it is kept; without an offset it is UTC, as the form says.

    Raises
    ------
    UsageError
        If it is no time, lies in the future or cannot be.

    Examples
    --------
    >>> read_when("2026-05-04 14:30"), read_when(" ")
    ('2026-05-04T14:30:00+00:00', '')
    """
    if not text.strip():
        return ""
    try:
        told = datetime.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"expected a time as 2026-05-04 14:30, got {text!r}") from None
    return evidence_time(told if told.tzinfo else told.replace(tzinfo=UTC)).isoformat()


def read_heights(text: str) -> list[float]:
    """
    Heights in metres, parted by spaces, semicolons or commas.

    Raises
    ------
    ValueError
        If one is no number.

    Examples
    --------
    >>> read_heights("0.2 0.5"), read_heights("0,2; 0,5"), read_heights("0.2, 0.5"), read_heights("")
    ([0.2, 0.5], [0.2, 0.5], [0.2, 0.5], [])
    """
    if "." in text:
        text = text.replace(",", " ")
    heights = []
    for word in re.split(r"[;\s]+", text.strip()):
        if not word:
            continue
        try:
            heights.append(float(word.rstrip(",").replace(",", ".")))
        except ValueError:
            raise ValueError(f"{word!r} is no height; write metres, as 0.2 0.5 1.0") from None
    return heights


def _form(
    request: Request,
    lab: Lab,
    name: str,
    path: str,
    fields: Mapping[str, str],
    errors: Mapping[str, str],
    *,
    code: str = "",
    status: int = 200,
) -> Response:
    kind = _kind(path)
    try:
        rig = rig_of(lab, name)
    except LabError as problem:
        raise HTTPException(404, as_sentence(problem)) from None
    files = [file.name for file in arrival_of(lab, code).files] if code else []
    return page(
        request, "guide.html", status=status, name=name, path=path, kind=kind, guide=GUIDES[kind],
        cautions=_cautions(kind), fields=dict(fields), errors=dict(errors), code=code, files=files, rig=rig,
    )  # fmt: skip


def _kind(path: str) -> str:
    if path not in _KINDS:
        raise HTTPException(404, "There is a drop test and a tap test.")
    return _KINDS[path]


def _cautions(kind: str) -> Any:
    return TAP_CAUTIONS if kind == "tap" else DROP_CAUTIONS


def _rig_path(request: Request) -> str:
    """The path of the rig's page, as it was asked for."""
    return "/".join(request.scope["raw_path"].decode("ascii").split("/")[:3])


def _without_place(lab: Lab, text: str, code: str) -> str:
    """A message about a file under the name its sender knows."""
    for file in arrival_of(lab, code).files:
        text = text.replace(str(file), file.name)
    return text
