"""Reports that can be made, and those of people, recordings and rigs as files."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePath
from urllib.parse import quote

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from quintain.errors import LabError
from quintain.store.lab import Lab
from quintain.store.queries_lists import (
    list_people,
    list_recordings,
    list_rigs,
    list_sessions,
    list_studies,
)
from quintain.tasks.current_analysis import current_analysis
from quintain.tasks.lab_views import recording_view, rig_state_in_lab
from quintain.tasks.person_summary import summarise_person
from quintain.tasks.report import write_person_reports, write_reports, write_rig_reports
from quintain.web.current import CurrentLab
from quintain.web.navigation import Nav
from quintain.web.pages._report_file import report_file
from quintain.web.rendering import page
from quintain.web.sentence import as_sentence

__all__ = ["NAV", "router"]

NAV = Nav("Reports", "/reports", 80)

router = APIRouter(include_in_schema=False)

_NEWEST = 12
"""Of each kind that the page lists; the rest are reached from their own lists."""


@dataclass(frozen=True, slots=True)
class _Line:
    """One report that can be made: of what, where that has its page, and in a few words."""

    name: str
    page: str
    words: str
    told: str


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Reports of one kind, the newest first; ``total`` are all that the lab holds, ``all`` lists them."""

    title: str
    note: str
    all: str
    lines: tuple[_Line, ...]
    total: int
    empty: str


@router.get("/reports")
def reports(request: Request, lab: CurrentLab) -> Response:
    """What can be made of this lab."""
    shelves = (_sessions(lab), _people(lab), _studies(lab), _recordings(lab), _rigs(lab))
    return page(request, "reports.html", shelves=shelves, some=any(shelf.lines for shelf in shelves))


@router.get("/people/{code}/report.{kind}")
def person(lab: CurrentLab, code: str, kind: str, show: bool = False) -> Response:
    """A person's course over sessions; the code alone tells who."""
    if all(row.code != code for row in list_people(lab)):
        raise HTTPException(404, f"There is no person {code!r} in this lab.")
    invented = lab.facts.invented
    return report_file(
        lambda folder: write_person_reports(summarise_person(lab, code), folder, invented=invented),
        kind,
        show=show,
    )


@router.get("/recordings/{sha256}/report.{kind}")
def recording(lab: CurrentLab, sha256: str, kind: str, show: bool = False) -> Response:
    """Every strike of a recording by its analysis in force."""
    try:
        row = recording_view(lab, sha256, limit=1).row
        analysis = current_analysis(lab, row.sha256)
    except LabError as problem:
        raise HTTPException(404, as_sentence(problem)) from None
    invented = lab.facts.invented
    return report_file(lambda folder: write_reports(analysis, folder, invented=invented), kind, show=show)


@router.get("/rigs/{name}/report.{kind}")
def rig(lab: CurrentLab, name: str, kind: str, show: bool = False) -> Response:
    """How a rig stands by its evidence."""
    if all(row.name != name for row in list_rigs(lab)):
        raise HTTPException(404, f"There is no rig {name!r} in this lab.")
    state = rig_state_in_lab(lab, name)
    stem = "".join(c if c.isalnum() else "-" for c in name).strip("-") or "rig"
    invented = lab.facts.invented
    return report_file(
        lambda folder: write_rig_reports(state, folder, name=stem, invented=invented), kind, show=show
    )


def _sessions(lab: Lab) -> _Shelf:
    rows = [row for row in list_sessions(lab) if row.strikes.total]
    lines = [
        _Line(
            row.code, _path("sessions", row.code), f"{_day(row.when)}{row.title}", _strikes(row.strikes.total)
        )
        for row in rows[:_NEWEST]
    ]
    return _Shelf(
        "Sessions", "for the coach: one page, large figures, everybody against their own earlier strikes",
        "/sessions", tuple(lines), len(rows), "Import recordings into a session, and analyse them.",
    )  # fmt: skip


def _people(lab: Lab) -> _Shelf:
    rows = [row for row in list_people(lab) if row.strikes.total]
    lines = [
        _Line(
            row.code,
            _path("people", row.code),
            _count(row.n_sessions, "session"),
            _strikes(row.strikes.total),
        )
        for row in rows[:_NEWEST]
    ]
    return _Shelf(
        "People", "by code alone: own strikes by session, changes beyond error, left against right",
        "/people", tuple(lines), len(rows), "Tag strikes with a person's code in review.",
    )  # fmt: skip


def _studies(lab: Lab) -> _Shelf:
    rows = sorted(list_studies(lab), key=lambda row: row.added, reverse=True)
    lines = [
        _Line(row.code, _path("studies", row.code), row.title, f"planned {row.added:%-d %b %Y}")
        for row in rows[:_NEWEST]
    ]
    return _Shelf(
        "Studies", "for the reviewer: answers and refusals by the plan, with the methods paragraph",
        "/studies", tuple(lines), len(rows), "Write a plan on the page of studies.",
    )  # fmt: skip


def _recordings(lab: Lab) -> _Shelf:
    rows, _ = list_recordings(lab, kind="strikes", limit=500)
    rows = tuple(row for row in rows if row.strikes.total)
    lines = [
        _Line(PurePath(row.name).name, _path("recordings", row.sha256), f"{_day(row.when)}{row.session}",
              _strikes(row.strikes.total))
        for row in rows[:_NEWEST]
    ]  # fmt: skip
    return _Shelf(
        "Recordings", "for the engineer: every strike with uncertainty, doubts, figure and settings",
        "/recordings", tuple(lines), len(rows), "Import recordings and analyse them.",
    )  # fmt: skip


def _rigs(lab: Lab) -> _Shelf:
    rows = list_rigs(lab)
    lines = [
        _Line(row.name, _path("rigs", row.name), row.last_verdict, _count(row.n_evidence, "piece of evidence",
              "pieces of evidence"))
        for row in rows[:_NEWEST]
    ]  # fmt: skip
    return _Shelf(
        "Rigs", "for whoever answers for the rig: calibration, taps, drops, trends, what is due",
        "/rigs", tuple(lines), len(rows), "Add a rig, tap it and drop a known mass on it.",
    )  # fmt: skip


def _path(what: str, name: str) -> str:
    return f"/{what}/{quote(name, safe='')}"


def _day(when: datetime | None) -> str:
    return f"{when:%-d %b %Y} " if when else ""


def _strikes(n: int) -> str:
    return _count(n, "strike")


def _count(n: int, one: str, many: str = "") -> str:
    return f"{n} {one if n == 1 else many or one + 's'}"
