"""Whoever does the jobs of a lab: a thread of the server, with processes of its own for analysis."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.exc import SQLAlchemyError

from quintain.errors import LabError, QuintainError
from quintain.store.lab import Lab
from quintain.store.schema import Job
from quintain.tasks.job_kinds import JOB_KINDS, Outcome, Work
from quintain.tasks.jobs import job_folder
from quintain.tasks.progress import Cancelled

__all__ = ["JobWorker"]

_LOOK = 5.0
"""How often to look for work that another process of the lab asked for. [s]"""
_BEAT = 0.5
"""How often a job's row is brought up to date while it works. [s]"""
_LIFE = 5.0
"""How often it gives a sign of life when nothing changes. [s]"""

_log = logging.getLogger("quintain.jobs")


class JobWorker:
    """
    Does waiting jobs, one after the other, until it is stopped.

    Parameters
    ----------
    lab : callable
        Gives the open lab; a LabError means that it is away for now.
    """

    def __init__(self, lab: Callable[[], Lab]) -> None:
        self._lab = lab
        self._woken = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="jobs", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def wake(self) -> None:
        """Look for work now."""
        self._woken.set()

    def stop(self, patience: float = 10.0) -> None:
        """
        Stop between two steps of the job under way, which others then see as interrupted.

        Parameters
        ----------
        patience : float
            How long to wait for the step. [s]
        """
        self._stopping.set()
        self._woken.set()
        if self._thread.is_alive():
            self._thread.join(patience)

    def _work(self) -> None:
        while not self._stopping.is_set():
            try:
                lab = self._lab()
                number = None if lab.read_only else _claim(lab)
            except (LabError, SQLAlchemyError):
                number = None
            if number is None:
                self._woken.wait(_LOOK)
                self._woken.clear()
                continue
            with suppress(LabError, SQLAlchemyError):  # the lab went away: its row falls silent
                self._do(lab, number)

    def _do(self, lab: Lab, number: int) -> None:
        with lab.reading() as database:
            row = database.get_one(Job, number)
        pulse = _Pulse(lab, number, self._stopping)
        work = Work(lab, row.who, row.asked, job_folder(lab, number), pulse)
        try:
            with pulse:
                outcome = JOB_KINDS[row.kind].run(work)
        except Cancelled:
            state = "interrupted" if self._stopping.is_set() else "cancelled"
            said = (
                "The server stopped while it was at work." if state == "interrupted" else "Stopped as asked."
            )
            _end(lab, number, state, Outcome(f"{said} What was done is kept."), pulse)
        except QuintainError as problem:
            _end(lab, number, "failed", Outcome(str(problem)), pulse)
        except Exception as problem:
            _log.exception("job %d", number)
            words = f"A defect of quintain: {type(problem).__name__}: {problem}"
            _end(lab, number, "failed", Outcome(f"{words}. The server's log holds the details."), pulse)
        else:
            _end(lab, number, "done", outcome, pulse)


class _Pulse:
    """Progress of a job, brought into its row by a thread of its own; raises Cancelled when it is to stop."""

    def __init__(self, lab: Lab, number: int, stopping: threading.Event) -> None:
        self.now: tuple[str, float, float | None] = ("", 0.0, None)
        self._lab, self._number, self._stopping = lab, number, stopping
        self._cancelled = threading.Event()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._beat, name=f"job {number}", daemon=True)

    def __call__(self, what: str, done: float, total: float | None) -> None:
        self.now = (what, done, total)
        if self._cancelled.is_set() or self._stopping.is_set():
            raise Cancelled

    def __enter__(self) -> _Pulse:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _beat(self) -> None:
        written: Any = None
        quiet = _LIFE
        while not self._over.wait(_BEAT):
            quiet += _BEAT
            try:
                with self._lab.reading() as database:
                    if database.scalar(select(Job.state).where(Job.id == self._number)) == "cancelling":
                        self._cancelled.set()
                if self.now != written or quiet >= _LIFE:
                    written, quiet = self.now, 0.0
                    with self._lab.writing("quintain") as writer:
                        writer.database.execute(
                            update(Job).where(Job.id == self._number).values(**self.row())
                        )
            except (LabError, SQLAlchemyError):
                continue  # the next beat tries again

    def row(self) -> dict[str, Any]:
        """Columns of the job as it is now."""
        what, done, total = self.now
        return {"what": what, "done": done, "total": total, "touched": datetime.now(UTC)}


def _claim(lab: Lab) -> int | None:
    """Take the oldest waiting job, which nobody else then gets."""
    waiting = select(Job.id).where(Job.state == "waiting").order_by(Job.id).limit(1)
    with lab.reading() as database:
        if database.scalar(waiting) is None:
            return None
    now = datetime.now(UTC)
    with lab.writing("quintain") as writer:
        row = writer.database.scalar(select(Job).where(Job.state == "waiting").order_by(Job.id).limit(1))
        if row is None:
            return None
        if row.kind not in JOB_KINDS:
            row.state, row.message, row.ended = "failed", "This version knows no such work.", now
            return None
        row.state, row.touched, row.result = "running", now, {"begun": now.isoformat()}
        return row.id


def _end(lab: Lab, number: int, state: str, outcome: Outcome, pulse: _Pulse) -> None:
    with lab.writing("quintain") as writer:
        row = writer.database.get_one(Job, number)
        for name, value in pulse.row().items():
            setattr(row, name, value)
        row.state, row.message, row.ended = state, outcome.says, datetime.now(UTC)
        row.result = {**row.result, "failures": [list(f) for f in outcome.failures], "where": outcome.where}
        writer.note("end job", "job", number, after={"state": state, "message": outcome.says})
