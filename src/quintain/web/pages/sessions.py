"""Sessions, and one session: its strikes in a table that is sorted and filtered on the server."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import PurePath
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from quintain.domain.strike import Strike
from quintain.errors import LabError, MissingError, QuintainError
from quintain.report.figures.overview import one_scale
from quintain.report.rounding import number
from quintain.store.curves import read_curves
from quintain.store.lab import Lab
from quintain.store.queries import StrikeRow, strike_page
from quintain.store.queries_fresh import one_state
from quintain.store.queries_lists import list_rigs, list_sessions
from quintain.store.results import load_strikes
from quintain.tasks.lab_views import SessionView, StrikeView, session_view, strike_view
from quintain.tasks.replay import curves_of, curves_of_each
from quintain.tasks.report import write_session_reports
from quintain.tasks.session_summary import summarise_session
from quintain.web.current import CurrentLab
from quintain.web.forms import EMPTY, Filled
from quintain.web.navigation import Nav
from quintain.web.pages._report_file import report_file
from quintain.web.pages._session_rows import (
    ANY,
    COLUMNS,
    asked_of,
    facets,
    lines_of,
    session_verdict,
)
from quintain.web.pages._strike_shapes import Drawn, draw_large, draw_small
from quintain.web.rendering import page

__all__ = ["NAV", "find_session", "list_page", "picture_of", "router"]

NAV = Nav("Sessions", "/sessions", 10)

router = APIRouter(prefix="/sessions", include_in_schema=False)

_PAGE = 100
"""Strikes of one page of the table."""


@router.get("")
def sessions(request: Request, lab: CurrentLab) -> Response:
    """All sessions, and a form for a new one."""
    return list_page(request, lab)


@router.get("/{code}")
def session(request: Request, lab: CurrentLab, code: str, strike: int = 0) -> Response:
    """One session: how far review is, its strikes, and the selected one beside them."""
    asked = asked_of(request.query_params, code)
    if asked.clean is not None and not asked.problem:
        return RedirectResponse(f"{request.url.path}{asked.clean}", 303)
    with one_state(lab):
        seen = find_session(lab, code)
        offset = _from(request)
        found = strike_page(
            lab, asked.strike_filter, sort=asked.chosen.sort, descending=asked.chosen.descending,
            offset=offset, limit=_PAGE, quantities=[name for name, _ in COLUMNS],
        )  # fmt: skip
        shape, sentence, why = session_verdict(lab, seen)
        selected = _selected(found.rows, strike)
        return page(
            request,
            "session.html",
            status=422 if asked.problem else 200,
            seen=seen,
            row=seen.row,
            shape=shape,
            sentence=sentence,
            why=why,
            asked=asked,
            facets=facets(lab, asked),
            any=ANY,
            columns=COLUMNS,
            lines=lines_of(found.rows, by_person=asked.chosen.sort == "order"),
            total=found.total,
            offset=offset,
            page_size=_PAGE,
            ended=_last(found.rows, seen),
            rigs=sorted({line.rig for line in found.rows if line.rig} | ({seen.row.rig} - {""})),
            cells_of=_shapes(lab, found.rows) if "shapes" in request.query_params else None,
            base_name=lambda path: PurePath(path).name,
            **(_peek(lab, selected) if selected else {"peek": None}),
        )


@router.get("/{code}/report.{kind}")
def report(lab: CurrentLab, code: str, kind: str, person: str = "", show: bool = False) -> Response:
    """The coach's page of a session, of everybody or of one person, as a file or shown in the browser."""
    find_session(lab, code)
    summary = summarise_session(lab, code, person=person)
    invented = lab.facts.invented
    return report_file(
        lambda folder: write_session_reports(summary, folder, invented=invented), kind, show=show
    )


@router.get("/{code}/peek")
def peek(request: Request, lab: CurrentLab, code: str, strike: int, make: int = 0) -> Response:
    """The side panel of one strike; ``make`` waits until its curves are made again."""
    asked = asked_of(request.query_params, code)
    return page(request, "session_peek.html", asked=asked, code=code, **_peek(lab, strike, make=bool(make)))


@router.get("/{code}/shapes")
def shapes(request: Request, lab: CurrentLab, code: str, strike: int = 0) -> Response:
    """Small pictures of the strikes of one page of the table, all on one scale."""
    asked = asked_of(request.query_params, code)
    found = strike_page(
        lab, asked.strike_filter, sort=asked.chosen.sort, descending=asked.chosen.descending,
        offset=_from(request), limit=_PAGE, quantities=(),
    )  # fmt: skip
    return page(
        request, "session_shapes.html", asked=asked, code=code, cells_of=_shapes(lab, found.rows),
        chosen_id=strike,
    )  # fmt: skip


def list_page(request: Request, lab: Lab, filled: Filled = EMPTY) -> Response:
    """The list, with what somebody typed into the form of a new session."""
    found = list_sessions(lab)
    waiting = sum(one.strikes.waiting for one in found)
    return page(
        request, "sessions.html", status=filled.status, sessions=found, waiting=waiting, typed=filled.typed,
        problem=filled.problem, rigs=[rig.name for rig in list_rigs(lab)],
    )  # fmt: skip


def find_session(lab: Lab, code: str) -> SessionView:
    """
    A session, or a page that says that there is none.

    Raises
    ------
    HTTPException
        404 if there is no such session.
    """
    try:
        return session_view(lab, code, limit=1)
    except MissingError:
        raise HTTPException(404, f"There is no session {code!r} in this lab.") from None


def picture_of(
    lab: Lab, seen: StrikeView, *, make: bool, character: float
) -> tuple[Strike | None, Drawn | None, str]:
    """
    A strike with its curve, its picture, and why there is none.

    ``character`` is as for ``draw_large``. ``make`` waits for curves that are not in the cache; else there
    is no picture then, and no reason.
    """
    if seen.result is None or seen.analysis is None or seen.row.number is None:
        return seen.result, None, "No result is in force; analyse the recording again."
    name = f"Strike {seen.row.position}"
    found = read_curves(lab.cache, seen.analysis.output, seen.row.number)
    if found is None:
        if not make:
            return seen.result, None, ""
        try:
            made = curves_of(lab, seen.row.id)
        except QuintainError as problem:
            return seen.result, None, f"The curves cannot be shown: {problem}."
        whole = replace(seen.result, curve=made.force, limb=made.limb)
    else:
        whole = replace(seen.result, curve=found.force, limb=found.limb)
    return whole, draw_large(whole, name=name, character=character), ""


def _from(request: Request) -> int:
    told = request.query_params.get("from", "0")
    return int(told) if told.isascii() and told.isdecimal() and len(told) < 10 else 0


def _selected(rows: tuple[StrikeRow, ...], strike: int) -> int:
    """The strike of the side panel: the one asked for, else the first that waits, else the first."""
    if strike:
        return strike
    waiting = next((row.id for row in rows if row.state == "waiting"), 0)
    return waiting or (rows[0].id if rows else 0)


def _peek(lab: Lab, strike: int, *, make: bool = False) -> dict[str, Any]:
    try:
        seen = strike_view(lab, strike)
    except LabError:
        return {"peek": None}
    _, drawn, trouble = picture_of(lab, seen, make=make, character=2.6)
    flags = () if seen.result is None else seen.result.flags
    return {"peek": seen.row, "drawn": drawn, "trouble": trouble, "doubts": flags}


def _shapes(lab: Lab, rows: tuple[StrikeRow, ...]) -> dict[str, Any]:
    """Small pictures by strike, and their scale in words."""
    known = load_strikes(lab, [row.id for row in rows])
    whole = {
        id: replace(known[id], curve=found.force, limb=found.limb)
        for id, found in curves_of_each(lab, list(known))
        if not isinstance(found, QuintainError)
    }
    if not whole:
        return {"rows": rows, "svg": {}, "scale": ""}
    scale = one_scale(list(whole.values()))
    span = number(1e3 * (scale.time_high - scale.time_low), 2)
    words = f"0 to {number(scale.force_high / 1e3, 2)} kN, {span} ms"
    return {"rows": rows, "svg": {id: draw_small(one, scale) for id, one in whole.items()}, "scale": words}


def _last(rows: tuple[StrikeRow, ...], seen: SessionView) -> datetime | None:
    """When the last strike shown was made, if the session is of one day."""
    times = [row.when for row in rows if row.when is not None]
    last = max(times, default=None)
    begun = seen.row.when
    return last if last and begun and last > begun and last.date() == begun.date() else None
