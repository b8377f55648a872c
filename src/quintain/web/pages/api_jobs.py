"""Long work that scripts ask for; it goes on when nobody waits for it."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import HTTPException, Path, Request
from pydantic import Field
from starlette.responses import FileResponse, Response

from quintain.store.lab import Lab
from quintain.tasks.jobs import (
    JobView,
    ask_job,
    cancel_job,
    job_files,
    job_folder,
    job_view,
    list_jobs,
    resume_job,
)
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import Answer, Asked, Count, Offset, api_router, refusals
from quintain.web.pages._job_role import check_may_ask

__all__ = ["router"]

router = api_router("jobs", "/jobs")

Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="Number of the job.", examples=[1])]


class JobAsked(Asked):
    """Long work; what a kind does not take is refused."""

    kind: Literal["analyse", "doctor", "export", "package", "study"] = Field(
        description="analyse: what is new, or again; doctor: check the whole lab (needs an engineer); "
        "export: tables; package: the lab as a data package; study: a study's report."
    )
    session: str = Field("", max_length=60, description="Only this session.")
    recordings: list[Annotated[str, Field(pattern="^[0-9a-f]{64}$")]] = Field(
        [], max_length=10_000, description="SHA-256 of recordings to analyse."
    )
    method: str = Field("", max_length=64, description="SHA-256 of a method of the lab.")
    again: bool = Field(False, description="Also what a newer rig, method or software made out of date.")
    study: str = Field("", max_length=60, description="Code of the study.")
    format: Literal["", "csv", "xlsx", "parquet"] = Field("", description="Form of the tables.")
    repair: bool = Field(False, description="Mend what can be mended.")
    without_recordings: bool = Field(False, description="A package without the original bytes.")


class Undone(Answer):
    """A part of a job that could not be done."""

    name: str
    why: str


class JobOut(Answer):
    """A job as it stands."""

    id: int
    kind: str
    words: str = Field(examples=["Analyse session S-02"])
    state: str = Field(description="waiting, running, cancelling, interrupted, done, failed or cancelled.")
    what: str = Field(description="What is counted by done and total.")
    done: float
    total: float | None
    left: float | None = Field(description="A guess from the pace so far. [s]")
    message: str
    failures: list[Undone]
    who: str
    added: datetime
    ended: datetime | None
    files: list[str] = Field(description="Names of files that it made.")


class JobPage(Answer):
    """Some of the jobs, and how many there are."""

    total: int
    offset: int
    jobs: list[JobOut]


@router.get("")
def jobs(lab: CurrentLab, offset: Offset = 0, count: Count = 50) -> JobPage:
    """List jobs, the newest first."""
    rows, total = list_jobs(lab, offset=offset, limit=count)
    return JobPage(total=total, offset=offset, jobs=[_out(lab, row) for row in rows])


@router.post("", status_code=202, responses=refusals(400, 413))
def ask(request: Request, lab: CurrentLab, visitor: CurrentVisitor, asked: JobAsked) -> JobOut:
    """Ask for long work; the same that waits or runs already is not asked for twice."""
    check_may_ask(visitor, asked.kind)
    number = ask_job(lab, asked.kind, asked.model_dump(exclude={"kind"}), who=visitor.who)
    request.app.state.jobs.wake()
    return _out(lab, job_view(lab, number))


@router.get("/{number}")
def job(lab: CurrentLab, number: Number) -> JobOut:
    """Give a job as it stands."""
    return _out(lab, job_view(lab, number))


@router.post("/{number}/cancel")
def cancel(lab: CurrentLab, visitor: CurrentVisitor, number: Number) -> JobOut:
    """Stop a job between two steps; what is done by then is kept."""
    check_may_ask(visitor, job_view(lab, number).kind)
    cancel_job(lab, number, who=visitor.who)
    return _out(lab, job_view(lab, number))


@router.post("/{number}/go-on")
def go_on(request: Request, lab: CurrentLab, visitor: CurrentVisitor, number: Number) -> JobOut:
    """Let a job that was interrupted, failed or cancelled go on from what is done."""
    check_may_ask(visitor, job_view(lab, number).kind)
    resume_job(lab, number, who=visitor.who)
    request.app.state.jobs.wake()
    return _out(lab, job_view(lab, number))


@router.get(
    "/{number}/files/{name}",
    response_class=Response,
    responses={
        200: {"content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}
    },
)
def file(
    lab: CurrentLab, number: Number, name: Annotated[str, Path(max_length=200, description="Its name.")]
) -> Response:
    """Give a file that a job made."""
    job_view(lab, number)
    if name not in {made.name for made in job_files(lab, number)}:
        raise HTTPException(404, "The job made no such file, or it was cleared away.")
    return FileResponse(job_folder(lab, number) / name, media_type="application/octet-stream", filename=name)


def _out(lab: Lab, row: JobView) -> JobOut:
    told: dict[str, Any] = {name: getattr(row, name) for name in JobOut.model_fields if name != "files"}
    return JobOut(
        **told | {"failures": list(row.failures), "files": [f.name for f in job_files(lab, row.id)]}
    )
