"""Long work that somebody asked for: rows of the lab, so that all tabs, users and servers see the same."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from quintain.errors import MissingError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Job
from quintain.tasks.job_kinds import JOB_KINDS

__all__ = [
    "SILENCE",
    "JobView",
    "ask_job",
    "cancel_job",
    "job_files",
    "job_folder",
    "job_view",
    "list_jobs",
    "resume_job",
]

SILENCE = timedelta(seconds=30)
"""A running job without a sign of life for longer was interrupted: its server stopped."""

_OPEN = ("waiting", "running", "cancelling")
_ENDED = ("interrupted", "failed", "cancelled")


@dataclass(frozen=True, slots=True)
class JobView:
    """
    A job as it stands.

    ``state`` is 'waiting', 'running', 'cancelling', 'interrupted', 'done', 'failed' or 'cancelled';
    ``left`` is a guess from the pace so far. [s]
    """

    id: int
    kind: str
    words: str
    state: str
    what: str
    done: float
    total: float | None
    left: float | None
    message: str
    failures: tuple[tuple[str, str], ...]
    where: str
    who: str
    added: datetime
    ended: datetime | None

    @property
    def is_open(self) -> bool:
        """Whether it still changes by itself."""
        return self.state in _OPEN

    @property
    def can_go_on(self) -> bool:
        """Whether it may be asked to go on."""
        return self.state in _ENDED


def ask_job(lab: Lab, kind: str, asked: Mapping[str, Any], *, who: str) -> int:
    """
    Ask for long work; a worker of the server does it, see :mod:`quintain.tasks.job_worker`.

    Parameters
    ----------
    lab : Lab
        The lab.
    kind : str
        From :data:`~quintain.tasks.job_kinds.JOB_KINDS`.
    asked : mapping
        What exactly, by the names that the kind takes; empty values are left out.
    who : str
        In whose name.

    Returns
    -------
    int
        Number of the job. The same work that is already waiting or running is not asked for twice.

    Raises
    ------
    UsageError
        If there is no such work, or it does not take that.
    LabError
        If what is asked for is not in the lab, or the lab cannot be written to.
    """
    known = JOB_KINDS.get(kind)
    if known is None:
        raise UsageError(f"there is no work of kind {kind!r}; there are: {', '.join(JOB_KINDS)}")
    given = {name: value for name, value in asked.items() if value not in (None, "", False, [], ())}
    known.check(lab, given)
    now = datetime.now(UTC)
    with lab.writing(who) as writer:
        there = select(Job).where(Job.kind == kind, Job.state.in_(_OPEN)).order_by(Job.id)
        for row in writer.database.scalars(there):
            if row.asked == given and _state(row, now) in ("waiting", "running"):
                return row.id
        job = Job(kind=kind, state="waiting", asked=given, who=who, added=now)
        writer.database.add(job)
        writer.database.flush()
        writer.note("ask for job", "job", job.id, after={"kind": kind, **given})
        return job.id


def list_jobs(lab: Lab, *, offset: int = 0, limit: int = 50) -> tuple[list[JobView], int]:
    """Jobs, the newest first, and how many there are."""
    with lab.reading() as database:
        rows = database.scalars(select(Job).order_by(Job.id.desc()).offset(offset).limit(limit)).all()
        total = database.scalar(select(func.count()).select_from(Job)) or 0
    now = datetime.now(UTC)
    return [_view(row, now) for row in rows], total


def job_view(lab: Lab, number: int) -> JobView:
    """
    One job.

    Raises
    ------
    LabError
        If there is none of that number.
    """
    with lab.reading() as database:
        row = database.get(Job, number)
    if row is None:
        raise MissingError(f"there is no job {number} in the lab")
    return _view(row, datetime.now(UTC))


def cancel_job(lab: Lab, number: int, *, who: str) -> None:
    """Stop a job between two steps; what is done by then is kept. One that has ended is left as it is."""
    with lab.writing(who) as writer:
        row = _row(writer.database.get(Job, number), number)
        state = _state(row, datetime.now(UTC))
        if state not in ("waiting", "running", "interrupted"):
            return
        before = row.state
        row.state = "cancelling" if state == "running" else "cancelled"
        if row.state == "cancelled":
            row.ended = datetime.now(UTC)
        writer.note("cancel job", "job", number, before={"state": before}, after={"state": row.state})


def resume_job(lab: Lab, number: int, *, who: str) -> None:
    """Let a job that was interrupted, failed or cancelled go on from what is done; others are left alone."""
    with lab.writing(who) as writer:
        row = _row(writer.database.get(Job, number), number)
        before = _state(row, datetime.now(UTC))
        if before not in _ENDED:
            return
        row.state, row.message, row.result, row.ended = "waiting", "", {}, None
        row.done, row.total, row.touched = 0.0, None, None
        writer.note("resume job", "job", number, before={"state": before}, after={"state": "waiting"})


def job_folder(lab: Lab, number: int) -> Path:
    """Where a job leaves its files; it lies in the cache, as they can be made again."""
    return lab.cache / "jobs" / str(number)


def job_files(lab: Lab, number: int) -> list[Path]:
    """Files that a job has made and that are still there, by name."""
    folder = job_folder(lab, number)
    return sorted(file for file in folder.iterdir() if file.is_file()) if folder.is_dir() else []


def _row(row: Job | None, number: int) -> Job:
    if row is None:
        raise MissingError(f"there is no job {number} in the lab")
    return row


def _state(row: Job, now: datetime) -> str:
    """The state, where a process that is gone could not write it."""
    silent = row.touched is None or now - row.touched > SILENCE
    if row.state == "running" and silent:
        return "interrupted"
    if row.state == "cancelling" and silent:
        return "cancelled"
    return row.state


def _view(row: Job, now: datetime) -> JobView:
    state = _state(row, now)
    left = None
    begun = row.result.get("begun")
    if state == "running" and begun and row.total and 0 < row.done < row.total:
        spent = (now - datetime.fromisoformat(begun)).total_seconds()
        left = spent * (row.total - row.done) / row.done
    kind = JOB_KINDS.get(row.kind)
    message = row.message
    if state == "interrupted" and not message:
        message = "The server stopped while it was at work. What was done is kept."
    return JobView(
        id=row.id,
        kind=row.kind,
        words=kind.words(row.asked) if kind else row.kind,
        state=state,
        what=row.what,
        done=row.done,
        total=row.total,
        left=left,
        message=message,
        failures=tuple((name, why) for name, why in row.result.get("failures", ())),
        where=row.result.get("where", ""),
        who=row.who,
        added=row.added,
        ended=row.ended,
    )
