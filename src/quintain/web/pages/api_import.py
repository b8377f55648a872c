"""New recordings sent by scripts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal

from fastapi import HTTPException, Request
from pydantic import Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from quintain.store.lab import Lab
from quintain.tasks.import_recordings import ImportedFile, ImportReport, import_recordings
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import Answer, Asked, api_router, refusals
from quintain.web.security.uploads import Form, receive_upload

__all__ = ["router"]

router = api_router("recordings", "/recordings")

LIMIT = 4 << 30
"""Bytes of one request."""

_MOST_FILES = 100


class Reading(Asked):
    """What text files do not say themselves, as for `quintain import`."""

    reader: str | None = None
    rate: float | None = Field(default=None, gt=0, allow_inf_nan=False, description="[Hz]")
    units: str | dict[str, str] | None = None
    columns: list[str] | dict[str, Any] | None = None
    encoding: str | None = None
    separator: str | None = None
    decimal: str | None = None
    first_row: int | None = None


class Told(Asked):
    """What is said of the files of one request."""

    session: str | None = Field(default=None, max_length=60, description="Code of the session.")
    rig: str | None = Field(default=None, max_length=200, description="Name of a rig of the lab.")
    kind: Literal["strikes", "motion", "taps", "drops", "zero", "loads"] = "strikes"
    pattern: str | None = Field(
        default=None, max_length=500, description="What names of files say, such as {session}-{person}."
    )
    channel: str | None = Field(default=None, description="Channel of the force, where there are several.")
    reading: Reading = Reading()
    add_people: bool = Field(default=False, description="Add codes of people that the lab does not know.")
    add_types: bool = False
    add_sessions: bool = False
    dry_run: bool = Field(default=False, description="Look at everything and keep nothing.")


class FileOut(Answer):
    """What became of a file."""

    name: str
    state: str = Field(description="new, known (the same bytes are in the lab), or refused.")
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


_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["files"],
                    "properties": {
                        "about": {
                            "type": "string",
                            "description": "JSON text of what is said of the files; see the schema Told.",
                            "contentMediaType": "application/json",
                            "example": '{"session": "S-07", "kind": "strikes"}',
                        },
                        "files": {"type": "array", "minItems": 1, "maxItems": _MOST_FILES,
                                  "items": {"type": "string", "format": "binary"}},
                    },
                }
            }
        },
    }
}  # fmt: skip


@router.post(
    "", status_code=201, response_model=Imported, openapi_extra=_BODY,
    responses={200: {"model": Imported, "description": "Looked at only, or nothing was new."},
               **refusals(400, 409, 413)},
)  # fmt: skip
async def send_recordings(request: Request, lab: CurrentLab, visitor: CurrentVisitor) -> JSONResponse:
    """
    Send recordings as a form with files; files of one recording go in one request.

    A file that cannot be read is refused with the reason while the others go on. The token must stand
    in the header X-CSRF-Token.
    """
    async with receive_upload(request, lab.cache / "incoming", limit=LIMIT, most_files=_MOST_FILES) as form:
        report = await run_in_threadpool(_take, lab, form, visitor.who)
    answer = Imported(dry_run=report.dry_run, files=[_out(file) for file in report.files])
    new = bool(report.of("new")) and not report.dry_run
    return JSONResponse(answer.model_dump(mode="json"), 201 if new else 200)


def _take(lab: Lab, form: Form, who: str) -> ImportReport:
    try:
        told = Told.model_validate(json.loads(form.fields.get("about") or "{}"))
    except ValidationError as problem:
        faults = [f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in problem.errors()]
        raise HTTPException(422, f"about: {'; '.join(faults)}.") from None
    except (ValueError, RecursionError):
        raise HTTPException(422, "about: expected JSON text.") from None
    if not form.files:
        raise HTTPException(422, "No file arrived; send at least one in the field 'files'.")
    names = [file.name for file in form.files]
    if len({name.casefold() for name in names}) < len(names):
        raise HTTPException(422, "Two files of one request bear the same name; send them in two.")
    paths: list[Path] = []
    for file in form.files:
        # beside where it lies, under the name that pattern and lab go by; it is never more than a name
        safe = file.name if file.name not in (".", "..") else "unnamed"
        folder = file.path.parent / "named"
        folder.mkdir(exist_ok=True)
        paths.append(file.path.rename(folder / safe))
    settings = told.model_dump(exclude={"reading"})
    return import_recordings(
        lab, paths, reading=told.reading.model_dump(exclude_none=True), who=who, **settings
    )


def _out(file: ImportedFile) -> FileOut:
    told = {name: getattr(file, name) for name in FileOut.model_fields if name != "name"}
    # its sender knows it by its name, not by the place where it lies here
    return FileOut(name=file.path.name, **told | {"reason": file.reason.replace(f"{file.path.parent}/", "")})
