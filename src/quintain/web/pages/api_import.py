"""New recordings sent by scripts."""

from __future__ import annotations

from typing import Literal

from fastapi import HTTPException, Request
from pydantic import Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from quintain.store.lab import Lab
from quintain.tasks import arrivals
from quintain.tasks.import_recordings import ImportedFile, ImportReport
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import Answer, Asked, api_router, refusals
from quintain.web.security.uploads import Form, receive_upload

__all__ = ["router"]

router = api_router("recordings", "/recordings")

LIMIT = 4 << 30
"""Bytes of one request."""

_MOST_FILES = 100


class Sent(Asked):
    """What is said of the files of one request, in fields of the form."""

    csrf: str = Field("", description="The token, where it does not stand in the header X-CSRF-Token.")
    session: str = Field("", max_length=60, description="Code of the session.")
    rig: str = Field("", max_length=200, description="Name of a rig of the lab.")
    kind: Literal["strikes", "motion", "taps", "drops", "zero", "loads"] = "strikes"
    pattern: str = Field(
        "", max_length=500, description="What the names of the files say.", examples=["{session}-{person}"]
    )
    channel: str = Field("", description="Channel of the force, where there are several.")
    columns: str = Field("", description="Which columns of a text file, as for quintain import.")
    rate: str = Field("", description="Samples per second, where the file does not say it. [Hz]")
    units: str = Field("", description="Units, where the file does not say them.", examples=["N"])
    settings: str = Field("", description="More settings of the reader, a line name=value each.")
    add: Literal["", "0", "1"] = Field("", description="1: add people, types, sessions that are new.")
    restate: Literal["", "0", "1"] = Field(
        "", description="1: state what is said of recordings the lab has already as well."
    )
    dry_run: Literal["", "0", "1"] = Field("", description="1: look at everything and keep nothing.")


class FileOut(Answer):
    """What became of a file."""

    name: str
    state: str = Field(
        description="new, known (the same bytes are in the lab), restated (what was said now is stated of "
        "them), or refused."
    )
    reason: str = Field(description="Why it was refused; of known ones what the lab says otherwise.")
    sha256: str
    n_bytes: int
    format: str
    kind: str
    person: str
    type: str
    side: str
    session: str
    rig: str
    duration: float | None = Field(description="[s]")
    rate: float | None = Field(description="[Hz]")


class Imported(Answer):
    """What became of every file of a request."""

    dry_run: bool
    files: list[FileOut]


def _body() -> dict[str, object]:
    """Description of the form: the fields of Sent, and the files."""
    told = Sent.model_json_schema()
    files = {
        "type": "array",
        "minItems": 1,
        "maxItems": _MOST_FILES,
        "items": {"type": "string", "format": "binary"},
    }
    schema = {
        "type": "object",
        "required": ["files"],
        "additionalProperties": False,
        "properties": told["properties"] | {"files": files},
    }
    return {"requestBody": {"required": True, "content": {"multipart/form-data": {"schema": schema}}}}


@router.post(
    "", status_code=201, response_model=Imported, openapi_extra=_body(),
    responses={200: {"model": Imported, "description": "Looked at only, or nothing was new."},
               **refusals(400, 409, 413)},
)  # fmt: skip
async def send_recordings(request: Request, lab: CurrentLab, visitor: CurrentVisitor) -> JSONResponse:
    """
    Send recordings as a form with files; files of one recording go in one request.

    A file that cannot be read is refused with the reason while the others go on.
    """
    place = arrivals.arrivals_folder(lab)
    async with receive_upload(request, place, limit=LIMIT, most_files=_MOST_FILES) as form:
        report = await run_in_threadpool(_take, lab, form, visitor.who)
    answer = Imported(dry_run=report.dry_run, files=[_out(file) for file in report.files])
    new = bool(report.of("new")) and not report.dry_run
    return JSONResponse(answer.model_dump(mode="json"), 201 if new else 200)


def _take(lab: Lab, form: Form, who: str) -> ImportReport:
    try:
        sent = Sent.model_validate(form.fields)
    except ValidationError as problem:
        faults = [f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in problem.errors()]
        raise HTTPException(422, f"{'; '.join(faults)}.") from None
    if not form.files:
        raise HTTPException(422, "No file arrived; send at least one in the field 'files'.")
    told = arrivals.Told(
        **sent.model_dump(exclude={"csrf", "add", "restate", "dry_run"}),
        add=sent.add == "1",
        restate=sent.restate == "1",
    )
    told.reading()  # what cannot be understood is said before anything is kept
    arrival = arrivals.keep_arrival(lab, [(file.name, file.path) for file in form.files], told)
    try:
        if sent.dry_run == "1":
            return arrivals.look_at_arrival(lab, arrival)
        return arrivals.import_arrival(lab, arrival, who=who)
    finally:
        arrivals.forget_arrival(lab, arrival.code)


def _out(file: ImportedFile) -> FileOut:
    told = {name: getattr(file, name) for name in FileOut.model_fields if name != "name"}
    # its sender knows it by its name, not by the place where it lies here
    return FileOut(name=file.path.name, **told | {"reason": file.reason.replace(f"{file.path.parent}/", "")})
