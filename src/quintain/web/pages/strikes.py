"""A strike: its curves, its numbers with their doubts, review, and the way back to the bytes."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Form, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.domain.as_json import STRIKE_QUANTITIES, strike_as_json
from quintain.domain.strike import Strike
from quintain.errors import ConflictError, MissingError, QuintainError, UsageError
from quintain.quantities import GLOSSARY
from quintain.report.figures.strike import draw_strike
from quintain.report.figures.style import standalone
from quintain.report.parts import budget_of
from quintain.store.curves import read_curves
from quintain.store.lab import Lab
from quintain.store.queries_fresh import one_state
from quintain.store.results import load_strike
from quintain.tasks.compare_analyses import reasons
from quintain.tasks.lab_views import StrikeView, strike_view
from quintain.tasks.replay import ResultHistory, StrikeCurves, StrikeHistory, curves_of, history_of, replay
from quintain.web.chosen import CurrentChosen
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.forms import EMPTY, Filled, refused
from quintain.web.pages._review_acts import Act, do_act, find_strike, tag_choices
from quintain.web.pages._strike_charts import strike_charts
from quintain.web.pages._strike_words import BUDGETS, deed_words, strike_rows, strike_words
from quintain.web.rendering import page
from quintain.web.security.headers import REPORT_POLICY

__all__ = ["router"]

router = APIRouter(prefix="/strikes", include_in_schema=False)

_COMPARED = ("impulse", "peak_force", "contact_time", "effective_mass")
"""Quantities shown beside each result of a strike."""


class _Earlier(NamedTuple):
    """A result, its strike as it stated it, and what made it differ from the one before."""

    result: ResultHistory
    strike: Strike
    why: tuple[str, ...]


@router.get("/{strike_id:int}")
def strike(
    request: Request,
    lab: CurrentLab,
    chosen: CurrentChosen,
    strike_id: int,
    quantity: str = "",
    again: int = 0,
) -> Response:
    """Show a strike; ``quantity`` chooses the budget, ``again`` an analysis that is made once more."""
    return _show(request, lab, chosen, strike_id, quantity=quantity, again=again)


@router.post("/{strike_id:int}/review")
def act(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    chosen: CurrentChosen,
    strike_id: int,
    typed: Annotated[Act, Form()],
) -> Response:
    """Accept, reject, tag, note or take back; whoever was faster is told, and nothing typed is lost."""
    try:
        show = do_act(lab, strike_id, typed, who=visitor.who)
    except (ConflictError, MissingError, UsageError) as problem:
        return _show(request, lab, chosen, strike_id, refused(typed.typed(), problem))
    return RedirectResponse(f"/strikes/{show}{chosen.query}", 303)


@router.get("/{strike_id:int}/charts.json")
def charts(lab: CurrentLab, strike_id: int) -> Response:
    """Force, speed and power, as the page draws them."""
    whole, found = _with_curves(lab, strike_id)
    return JSONResponse(strike_charts(whole, found.rate) | {"note": found.note})


@router.get("/{strike_id:int}/figure.svg")
def figure(lab: CurrentLab, strike_id: int) -> Response:
    """The force as a picture, for reports and for browsers that draw nothing."""
    whole, found = _with_curves(lab, strike_id)
    drawn = standalone(draw_strike(whole, rate=found.rate or 0.0))
    return Response(drawn, media_type="image/svg+xml", headers={"Content-Security-Policy": REPORT_POLICY})


@router.get("/{strike_id:int}/strike.json")
def data(lab: CurrentLab, strike_id: int) -> Response:
    """Everything about a strike in SI units: numbers, doubts, tags, curves, history."""
    seen = strike_view(lab, strike_id)
    history = history_of(lab, strike_id)
    curves = _curves(lab, strike_id)
    told = {
        "strike": strike_id,
        "recording": {"sha256": history.recording_sha256, "name": PurePath(history.name).name},
        "tags": {"session": seen.row.session, "person": seen.row.person, "type": seen.row.type,
                 "side": seen.row.side, "series": seen.row.series},
        "state": seen.row.state,
        "reason": seen.row.reason,
        "result": None if seen.result is None else strike_as_json(seen.result),
        "analysis": None if seen.analysis is None else {
            "method_sha256": seen.analysis.method_sha256, "rig_version": seen.analysis.rig_version,
            "quintain": seen.analysis.quintain, "output": seen.analysis.output,
        },
        "curves": {f"{name}, {unit}": {"time_s": time, "value": value, "u": u}
                   for name, unit, time, value, u in curves},
    }  # fmt: skip
    return _download(JSONResponse(told).body, f"strike-{strike_id}.json", "application/json")


@router.get("/{strike_id:int}/quantities.csv")
def quantities(lab: CurrentLab, strike_id: int) -> Response:
    """The numbers in SI units, unrounded."""
    measured = load_strike(lab, strike_id).quantities
    rows = [
        (name, m.entry.label, repr(m.value), "" if m.u is None else repr(m.u), m.unit)
        for name, m in measured.items()
    ]
    rows += [(name, GLOSSARY[name].label, "", "", GLOSSARY[name].unit)
             for name in STRIKE_QUANTITIES if name not in measured]  # fmt: skip
    head = ("quantity", "label", "value", "standard_uncertainty", "unit")
    return _table(head, rows, f"strike-{strike_id}-quantities.csv")


@router.get("/{strike_id:int}/curves.csv")
def curves(lab: CurrentLab, strike_id: int) -> Response:
    """The curves in SI units, one below the other; times count from the start of contact."""
    rows = [
        (name, unit, repr(at), "" if y is None else repr(y), "" if u is None else repr(u))
        for name, unit, time, value, spread in _curves(lab, strike_id)
        for at, y, u in zip(time, value, spread or [None] * len(time), strict=True)
    ]
    head = ("curve", "unit", "time_s", "value", "standard_uncertainty")
    return _table(head, rows, f"strike-{strike_id}-curves.csv")


# -- the page


def _show(
    request: Request,
    lab: Lab,
    chosen: CurrentChosen,
    strike_id: int,
    filled: Filled = EMPTY,
    *,
    quantity: str = "",
    again: int = 0,
) -> Response:
    with one_state(lab):
        seen = find_strike(lab, strike_id, chosen)
        history = history_of(lab, strike_id)
        result = seen.result
        words = strike_words(result) if result is not None else None
        moved = any(one.in_force and (one.motion_sha256 or one.told.get("speeds")) for one in history.results)
        named = [
            name
            for name in BUDGETS
            if result and name in result.quantities and result.quantities[name].budget
        ]
        budget_for = quantity if quantity in named else (named[0] if named else "")
        measured = result.quantities[budget_for] if result and budget_for else None
        budget = None if measured is None else budget_of(measured)
        row = seen.row
        tags = {
            "person": row.person, "type": row.type, "side": row.side,
            "series": "" if row.series is None else str(row.series), "note": row.note, "reason": row.reason,
        }  # fmt: skip
        return page(
            request,
            "strike.html",
            status=filled.status,
            seen=seen,
            drawable=_drawable(lab, seen, history),
            row=row,
            words=words,
            rows=strike_rows(result, moved=moved) if result is not None else (),
            measured=measured,
            budgets=named,
            advice="" if budget is None else budget.advice,
            chosen=chosen,
            history=history,
            earlier=_earlier(lab, history),
            compared=_COMPARED,
            deed_words=deed_words,
            again=_again(lab, history, again),
            typed=tags | {name: value for name, value in filled.typed.items() if value},
            problem=filled.problem,
            base_name=lambda path: PurePath(path).name,
            **tag_choices(lab),
        )


def _earlier(lab: Lab, history: StrikeHistory) -> tuple[_Earlier, ...]:
    """Results, the newest first, each with what made it differ from the one before it."""
    results: Sequence[ResultHistory] = history.results
    found = []
    for before, result in zip((None, *results), results, strict=False):
        why = () if before is None else reasons(lab, before.analysis_id, result.analysis_id)
        found.append(_Earlier(result, load_strike(lab, history.strike_id, result_id=result.result_id), why))
    return tuple(found[::-1])


def _again(lab: Lab, history: StrikeHistory, analysis_id: int) -> dict[str, Any] | None:
    """An analysis of this strike made once more, or why it cannot be."""
    if analysis_id not in {result.analysis_id for result in history.results}:
        return None
    try:
        return {"made": replay(lab, analysis_id), "problem": ""}
    except QuintainError as problem:
        return {"made": None, "problem": str(problem)}


def _drawable(lab: Lab, seen: StrikeView, history: StrikeHistory) -> bool:
    """Whether there are curves, or bytes from which they can be made again."""
    if seen.analysis is None or seen.row.number is None:
        return False
    return bool(history.kept_at) or read_curves(lab.cache, seen.analysis.output, seen.row.number) is not None


# -- curves and files


def _with_curves(lab: Lab, strike_id: int) -> tuple[Strike, StrikeCurves]:
    found = curves_of(lab, strike_id)
    return replace(load_strike(lab, strike_id), curve=found.force, limb=found.limb), found


_Curve = tuple[str, str, list[float], list[float | None], list[float | None] | None]
"""Name, unit, times, values, standard uncertainties."""


def _curves(lab: Lab, strike_id: int) -> list[_Curve]:
    try:
        found = curves_of(lab, strike_id)
    except QuintainError:
        return []
    force, limb = found.force, found.limb
    told = [("raw", "N", force.raw_time, force.raw, None),
            ("corrected", "N", force.time, force.corrected, force.u_corrected)]  # fmt: skip
    if limb is not None:
        told += [("speed", "m/s", limb.time, limb.speed, limb.u_speed),
                 ("power", "W", limb.power_time, limb.power, None)]  # fmt: skip
    return [
        (name, unit, time.tolist(), _known(value), None if u is None else _known(u))
        for name, unit, time, value, u in told
        if time.size
    ]


def _known(values: Any) -> list[float | None]:
    return [None if v != v else v for v in values.tolist()]


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], name: str) -> Response:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows(rows)
    return _download(text.getvalue().encode(), name, "text/csv; charset=utf-8")


def _download(content: bytes | memoryview, name: str, media_type: str) -> Response:
    return Response(
        bytes(content),
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
