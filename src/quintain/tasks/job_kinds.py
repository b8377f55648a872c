"""What long work there is, what it may be asked, and how it is done."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import select

from quintain.domain.method import Method
from quintain.errors import MissingError, UsageError
from quintain.store import schema
from quintain.store.lab import Lab
from quintain.store.queries_filter import StrikeFilter
from quintain.store.results import load_method
from quintain.tasks.analyse_lab import analyse_lab, choose
from quintain.tasks.arrivals import arrival_of, forget_arrival, import_arrival
from quintain.tasks.cluster import local_crew
from quintain.tasks.doctor import doctor
from quintain.tasks.export import FORMATS, export_tables
from quintain.tasks.package import write_package
from quintain.tasks.progress import Progress
from quintain.tasks.report import write_study_reports
from quintain.tasks.study import kept_plan, run_study

__all__ = ["JOB_KINDS", "JobKind", "Outcome", "Work"]


@dataclass(frozen=True, slots=True)
class Work:
    """A job under way: the lab, in whose name, what was asked, and a folder for files."""

    lab: Lab
    who: str
    asked: Mapping[str, Any]
    folder: Path
    progress: Progress


@dataclass(frozen=True, slots=True)
class Outcome:
    """
    What a job did in words; ``failures`` are parts of it that could not be done, each a name and why.

    ``where`` is the page of the app that shows what came out.
    """

    says: str
    failures: tuple[tuple[str, str], ...] = ()
    where: str = ""


@dataclass(frozen=True, slots=True)
class JobKind:
    """A kind of work: its name in words, what it takes, and how it is done."""

    words: Callable[[Mapping[str, Any]], str]
    run: Callable[[Work], Outcome]
    takes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    engineer: bool = False

    def check(self, lab: Lab, asked: Mapping[str, Any]) -> None:
        """
        See that what is asked for can be looked for.

        Raises
        ------
        UsageError
            If it does not take that, or something is missing.
        LabError
            If there is no such session, recording, method or study.
        """
        for name in asked:
            if name not in self.takes:
                raise UsageError(
                    f"this work takes no {name!r}; it takes: {', '.join(self.takes) or 'nothing'}"
                )
        for name in self.needs:
            if name not in asked:
                raise UsageError(f"this work needs {name!r}")
        _check_codes(lab, asked)


def _check_codes(lab: Lab, asked: Mapping[str, Any]) -> None:
    with lab.reading() as database:
        session = asked.get("session")
        if (
            session
            and database.scalar(select(schema.Session.id).where(schema.Session.code == session)) is None
        ):
            raise MissingError(f"there is no session {session!r} in the lab")
        for sha256 in asked.get("recordings", ()):
            if database.get(schema.Recording, sha256) is None:
                raise MissingError(f"there is no recording {sha256[:12]!r} in the lab")
        if asked.get("method"):
            load_method(database, asked["method"])
    if asked.get("study"):
        kept_plan(lab, asked["study"])
    if asked.get("format") and asked["format"] not in FORMATS:
        raise UsageError(f"there is no format {asked['format']!r}; choose from {', '.join(FORMATS)}")
    if asked.get("arrival"):
        arrival_of(lab, asked["arrival"])


# -- analysis


def _analyse_words(asked: Mapping[str, Any]) -> str:
    verb = "Analyse again" if asked.get("again") or asked.get("method") else "Analyse"
    n = len(asked.get("recordings", ()))
    if n:
        return f"{verb} {n} recording{'s' if n > 1 else ''}"
    if asked.get("session"):
        return f"{verb} session {asked['session']}"
    return f"{verb} the whole lab" if verb == "Analyse again" else "Analyse all that is new"


def _analyse(work: Work) -> Outcome:
    asked = work.asked
    method: Method | None = None
    if asked.get("method"):
        with work.lab.reading() as database:
            method = load_method(database, asked["method"])
    meant: dict[str, Any] = {
        "recordings": asked.get("recordings"), "session": asked.get("session"), "method": method,
        "again": bool(asked.get("again")),
    }  # fmt: skip
    todo, _ = choose(work.lab, **meant)
    # processes take seconds to begin: not worth it for a few recordings
    jobs = min(os.cpu_count() or 1, len(todo) // 2) or 1
    with local_crew(jobs) as (executor, in_flight):
        run = analyse_lab(
            work.lab, who=work.who, executor=executor, in_flight=in_flight, progress=work.progress, **meant
        )
    says = f"{_count(len(run.analysed), 'recording')} analysed, {_count(run.n_strikes, 'strike')} found"
    if run.up_to_date:
        says += f"; {run.up_to_date} needed nothing"
    if run.failed:
        says += f"; {len(run.failed)} could not be analysed"
    where = ""
    if asked.get("session"):
        where = f"/sessions/{quote(asked['session'], safe='')}"
    elif len(asked.get("recordings", ())) == 1:
        where = f"/recordings/{asked['recordings'][0]}"
    return Outcome(f"{says}.", tuple((one.name, one.message) for one in run.failed), where)


# -- import


def _import(work: Work) -> Outcome:
    arrival = arrival_of(work.lab, work.asked["arrival"])
    report = import_arrival(work.lab, arrival, who=work.who, progress=work.progress)
    states = ("new", "restated", "known", "refused")
    new, restated, known, refused = (report.of(state) for state in states)
    says = f"{_count(len(new), 'recording')} imported"
    if restated:
        says += f"; {_count(len(restated), 'recording')} stated anew"
    if known:
        says += f"; {_count(len(known), 'file')} known already"
    if refused:
        says += f"; {_count(len(refused), 'file')} refused"
    failures = tuple((file.path.name, file.reason) for file in refused)
    if refused:  # they wait, so that what was said of them can be mended
        return Outcome(f"{says}.", failures, f"/import/{arrival.code}")
    forget_arrival(work.lab, arrival.code)
    sessions = {file.session for file in new}
    one = sessions.pop() if len(sessions) == 1 else ""
    return Outcome(f"{says}.", where=f"/sessions/{quote(one, safe='')}" if one else "/recordings")


# -- the lab as a whole


def _doctor(work: Work) -> Outcome:
    repair = bool(work.asked.get("repair"))
    report = doctor(work.lab.folder, repair=repair, who=work.who, progress=work.progress)
    word = "whole" if report.sound else "not whole"
    says = (
        f"The lab is {word}: {_count(report.n_originals, 'original')} read and compared with their hashes, "
        f"{_count(len(report.findings), 'finding')}."
    )
    found = tuple(
        (finding.subject, finding.message + ("" if finding.fault else " (a note: nothing is lost)"))
        for finding in report.findings
    )
    return Outcome(says, found)


def _export(work: Work) -> Outcome:
    form = work.asked.get("format", "csv")
    chosen = StrikeFilter(sessions=(work.asked["session"],)) if work.asked.get("session") else None
    done = export_tables(work.lab, _fresh(work.folder), format=form, chosen=chosen, progress=work.progress)
    return Outcome(f"{_count(len(done.files), 'file')} with {_count(done.n_strikes, 'strike')}.")


def _package(work: Work) -> Outcome:
    sessions = (work.asked["session"],) if work.asked.get("session") else ()
    to = _fresh(work.folder) / "quintain-package.zip"
    done = write_package(
        work.lab, to, sessions=sessions, recordings=not work.asked.get("without_recordings"),
        progress=work.progress,
    )  # fmt: skip
    says = f"A package of {_count(done.n_strikes, 'strike')} and {_count(done.n_recordings, 'original')}."
    if done.n_missing:
        says += f" {_count(done.n_missing, 'original')} were not at hand."
    return Outcome(says)


def _study(work: Work) -> Outcome:
    code = work.asked["study"]
    work.progress("steps", 0, 2)
    result = run_study(work.lab, kept_plan(work.lab, code).plan)
    work.progress("steps", 1, 2)
    write_study_reports(result, _fresh(work.folder), invented=work.lab.facts.invented)
    work.progress("steps", 2, 2)
    return Outcome(f"The report of the study {code}.", where=f"/studies/{quote(code, safe='')}")


def _fresh(folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _of_session(words: str) -> Callable[[Mapping[str, Any]], str]:
    return lambda asked: (
        f"{words} of session {asked['session']}" if asked.get("session") else f"{words} of the lab"
    )


JOB_KINDS: dict[str, JobKind] = {
    "analyse": JobKind(_analyse_words, _analyse, ("session", "recordings", "method", "again")),
    "import": JobKind(lambda asked: "Import", _import, ("arrival",), ("arrival",)),
    "doctor": JobKind(
        lambda asked: "Check and mend the lab" if asked.get("repair") else "Check the lab",
        _doctor, ("repair",), engineer=True,
    ),
    "export": JobKind(_of_session("Tables"), _export, ("session", "format")),
    "package": JobKind(_of_session("Data package"), _package, ("session", "without_recordings")),
    "study": JobKind(lambda asked: f"Report of study {asked['study']}", _study, ("study",), ("study",)),
}  # fmt: skip
"""By the name that asks for it."""
