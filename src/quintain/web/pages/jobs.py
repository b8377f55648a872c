"""Jobs: long work that goes on when the tab closes."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import Annotated

from fastapi import APIRouter, FastAPI, Form, HTTPException, Request
from sqlalchemy.exc import SQLAlchemyError
from starlette.responses import FileResponse, RedirectResponse, Response

from quintain.errors import LabError
from quintain.tasks.arrivals import sweep_arrivals
from quintain.tasks.job_worker import JobWorker
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
from quintain.web.pages._job_role import check_may_ask, may_ask
from quintain.web.rendering import page
from quintain.web.sentence import as_sentence

__all__ = ["router"]

_SHOWN = 50

_MARKS = {
    "waiting": "wait", "running": "wait", "cancelling": "wait", "interrupted": "open", "done": "yes",
    "failed": "no", "cancelled": "no",
}  # fmt: skip
_WORDS = {
    "waiting": "waits", "running": "at work", "cancelling": "stops after this step",
    "interrupted": "interrupted", "done": "done", "failed": "failed", "cancelled": "cancelled",
}  # fmt: skip


@asynccontextmanager
async def _life(app: FastAPI) -> AsyncIterator[None]:
    """A worker for as long as the server lives; waiting jobs of an earlier server are its first work."""
    with suppress(LabError, SQLAlchemyError, OSError):  # a lab that is away now says so on every page
        sweep_arrivals(app.state.open_lab.lab())
    app.state.jobs = JobWorker(app.state.open_lab.lab)
    app.state.jobs.start()
    yield
    app.state.jobs.stop()


router = APIRouter(prefix="/jobs", include_in_schema=False, lifespan=_life)


@router.get("")
def jobs(request: Request, lab: CurrentLab, offset: int = 0) -> Response:
    """All jobs, the newest first."""
    rows, total = list_jobs(lab, offset=max(0, offset), limit=_SHOWN)
    return page(
        request, "jobs.html", rows=rows, total=total, offset=max(0, offset), shown_at_most=_SHOWN,
        open_jobs=[row for row in rows if row.is_open], marks=_MARKS, words=_WORDS,
    )  # fmt: skip


@router.post("")
def ask(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    kind: Annotated[str, Form()] = "",
    session: Annotated[str, Form()] = "",
    recording: Annotated[list[str] | None, Form()] = None,
    method: Annotated[str, Form()] = "",
    study: Annotated[str, Form()] = "",
    format: Annotated[str, Form()] = "",
    again: Annotated[str, Form()] = "",
    repair: Annotated[str, Form()] = "",
    without_recordings: Annotated[str, Form()] = "",
) -> Response:
    """Ask for long work."""
    check_may_ask(visitor, kind)
    asked = {
        "session": session, "recordings": sorted(set(recording or ())), "method": method, "study": study,
        "format": format, "again": bool(again), "repair": bool(repair),
        "without_recordings": bool(without_recordings),
    }  # fmt: skip
    try:
        number = ask_job(lab, kind, asked, who=visitor.who)
    except LabError as problem:
        if lab.read_only:
            raise
        raise HTTPException(404, as_sentence(problem)) from None
    request.app.state.jobs.wake()
    return _to(request, f"/jobs/{number}")


@router.get("/{number}")
def job(request: Request, lab: CurrentLab, number: int) -> Response:
    """One job."""
    found = _found(lab, number)
    return page(
        request, "job.html", job=found, files=job_files(lab, number), mark=_MARKS[found.state],
        word=_WORDS[found.state], may_ask=may_ask(request.state.visitor, found.kind),
        sentence=_sentence(found),
    )  # fmt: skip


@router.get("/{number}/state")
def state(request: Request, lab: CurrentLab, number: int) -> Response:
    """How far a job is, for a page that waits; once it has ended the page is loaded anew."""
    found = _found(lab, number)
    answer = page(request, "job_state.html", job=found, may_ask=may_ask(request.state.visitor, found.kind))
    if not found.is_open:
        answer.headers["HX-Refresh"] = "true"
    return answer


@router.post("/{number}/cancel")
def cancel(request: Request, lab: CurrentLab, visitor: CurrentVisitor, number: int) -> Response:
    """Stop a job between two steps."""
    check_may_ask(visitor, _found(lab, number).kind)
    cancel_job(lab, number, who=visitor.who)
    return _to(request, f"/jobs/{number}")


@router.post("/{number}/go-on")
def go_on(request: Request, lab: CurrentLab, visitor: CurrentVisitor, number: int) -> Response:
    """Let a job go on from what is done."""
    check_may_ask(visitor, _found(lab, number).kind)
    resume_job(lab, number, who=visitor.who)
    request.app.state.jobs.wake()
    return _to(request, f"/jobs/{number}")


@router.get("/{number}/files/{name}")
def file(lab: CurrentLab, number: int, name: str) -> Response:
    """A file that a job made."""
    _found(lab, number)
    for made in job_files(lab, number):
        if made.name == name:
            return FileResponse(job_folder(lab, number) / name, filename=name)
    raise HTTPException(404, "The job made no such file, or it was cleared away; let the job make it again.")


def _found(lab: CurrentLab, number: int) -> JobView:
    try:
        return job_view(lab, number)
    except LabError as problem:
        raise HTTPException(404, as_sentence(problem)) from None


def _sentence(job: JobView) -> tuple[str, str]:
    """Shape and first sentence."""
    if job.state == "done":
        return ("doubt" if job.failures and job.kind != "doctor" else "sound"), f"{job.words}: done."
    if job.state == "waiting":
        return "open", f"{job.words}: waits for its turn."
    if job.is_open:
        return "open", f"{job.words}: {_WORDS[job.state]}."
    return "doubt", f"{job.words}: {_WORDS[job.state]}."


def _to(request: Request, path: str) -> Response:
    if "hx-request" in request.headers:
        return Response(status_code=204, headers={"HX-Redirect": path})
    return RedirectResponse(path, 303)
