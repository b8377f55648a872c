"""Long work of a lab: asked once, seen by all, stopped between steps, and going on from what is done."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

import pytest

from patience import wait_for
from quintain.errors import LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Job
from quintain.tasks import job_kinds
from quintain.tasks.job_kinds import JobKind, Outcome
from quintain.tasks.job_worker import JobWorker
from quintain.tasks.jobs import SILENCE, ask_job, cancel_job, job_files, job_view, list_jobs, resume_job
from simulated_lab import make_lab


@pytest.fixture
def lab(tmp_path):
    with Lab.create(tmp_path / "lab", name="jobs", invented=True) as lab:
        yield lab


@pytest.fixture
def worker(lab):
    worker = JobWorker(lambda: lab)
    yield worker
    worker.stop()


@pytest.fixture
def steps(monkeypatch):
    """Work of ten steps that waits before the fourth, listening for a stop; the gate and the steps done."""
    gate, done = threading.Event(), []

    def run(work):
        for i in range(len(done), 10):
            while i == 3 and not gate.wait(0.02):
                work.progress("steps", i, 10)
            work.progress("steps", i, 10)
            done.append(i)
        return Outcome(f"{len(done)} steps.")

    monkeypatch.setitem(job_kinds.JOB_KINDS, "steps", JobKind(lambda asked: "Steps", run, ("n",)))
    return gate, done


def until(lab, number, *states):
    def look():
        seen = job_view(lab, number)
        return seen if seen.state in states else None

    return wait_for(look, f"job {number} did not become {' or '.join(states)}")


def test_what_cannot_be_done_is_refused_when_it_is_asked(lab):
    with pytest.raises(UsageError, match="no work of kind 'nonsense'"):
        ask_job(lab, "nonsense", {}, who="t")
    with pytest.raises(UsageError, match="takes no 'speed'"):
        ask_job(lab, "analyse", {"speed": 3}, who="t")
    with pytest.raises(LabError, match="no session 'S-9'"):
        ask_job(lab, "analyse", {"session": "S-9"}, who="t")
    assert list_jobs(lab) == ([], 0)


def test_the_same_work_is_not_asked_for_twice_while_it_waits(lab):
    first = ask_job(lab, "analyse", {"session": ""}, who="a")
    assert ask_job(lab, "analyse", {}, who="b") == first
    assert ask_job(lab, "analyse", {"again": True}, who="b") != first
    assert list_jobs(lab)[1] == 2


def test_a_session_is_analysed_and_the_failure_of_one_recording_is_said(tmp_path):
    with make_lab(tmp_path / "lab", n=1, broken=True) as lab:
        worker = JobWorker(lambda: lab)
        worker.start()
        seen = until(lab, ask_job(lab, "analyse", {}, who="t"), "done", "failed")
        worker.stop()
    assert seen.state == "done", seen.message
    assert seen.message.startswith("1 recording analysed")
    assert len(seen.failures) == 1
    assert seen.done == seen.total == 2


def test_files_of_an_export_can_be_fetched_until_the_cache_is_cleared(lab, worker):
    worker.start()
    number = ask_job(lab, "export", {"format": "csv"}, who="t")
    worker.wake()
    assert until(lab, number, "done", "failed").state == "done"
    assert {"strikes.csv", "codebook.csv"} <= {file.name for file in job_files(lab, number)}


def test_cancelled_between_steps_and_going_on_from_what_is_done(lab, worker, steps):
    gate, done = steps
    worker.start()
    number = ask_job(lab, "steps", {}, who="t")
    worker.wake()
    until(lab, number, "running")
    cancel_job(lab, number, who="u")
    assert job_view(lab, number).state == "cancelling"
    seen = until(lab, number, "cancelled")
    assert "What was done is kept" in seen.message
    assert done == [0, 1, 2]
    gate.set()
    resume_job(lab, number, who="u")
    worker.wake()
    assert until(lab, number, "done").message == "10 steps."
    assert done == list(range(10))


def test_a_job_whose_server_stops_is_interrupted_and_another_server_goes_on(lab, steps):
    gate, done = steps
    first = JobWorker(lambda: lab)
    first.start()
    number = ask_job(lab, "steps", {}, who="t")
    first.wake()
    until(lab, number, "running")
    first.stop()
    gate.set()
    seen = job_view(lab, number)
    assert (seen.state, seen.can_go_on) == ("interrupted", True)
    second = JobWorker(lambda: lab)
    second.start()
    resume_job(lab, number, who="t")
    second.wake()
    assert until(lab, number, "done").state == "done"
    second.stop()
    assert done == list(range(10))


def test_a_job_whose_process_was_killed_shows_as_interrupted(lab):
    number = ask_job(lab, "analyse", {}, who="t")
    with lab.writing("t") as writer:
        row = writer.database.get_one(Job, number)
        row.state, row.touched = "running", datetime.now(UTC) - SILENCE - timedelta(seconds=1)
    seen = job_view(lab, number)
    assert seen.state == "interrupted"
    assert "The server stopped" in seen.message
    with lab.writing("t") as writer:
        writer.database.get_one(Job, number).touched = datetime.now(UTC)
    assert job_view(lab, number).state == "running"


def test_a_defect_ends_one_job_and_not_the_worker(lab, worker, monkeypatch):
    def fail(work):
        raise KeyError("x")

    monkeypatch.setitem(job_kinds.JOB_KINDS, "fail", JobKind(lambda asked: "Fail", fail))
    worker.start()
    bad = ask_job(lab, "fail", {}, who="t")
    good = ask_job(lab, "doctor", {}, who="t")
    worker.wake()
    assert until(lab, bad, "failed").message.startswith("A defect of quintain: KeyError")
    assert until(lab, good, "done").message.startswith("The lab is whole")
