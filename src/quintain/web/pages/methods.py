"""Methods of the lab, and two methods or versions of the software on the same strikes."""

from __future__ import annotations

import json
from typing import Annotated, Any

import tomlkit
from fastapi import APIRouter, Form, HTTPException, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.domain.method import Method
from quintain.errors import ConflictError, MethodFileError, UsageError
from quintain.quantities import GLOSSARY
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.parts import Figure
from quintain.report.rounding import number
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_sessions
from quintain.tasks.compare_methods import MethodsCompared, compare_methods
from quintain.tasks.lab_methods import add_method, method_as_toml, methods_of_lab, software_of_lab
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.navigation import Nav
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs
from quintain.web.sentence import as_sentence

__all__ = ["NAV", "router"]

NAV = Nav("Methods", "/methods", 70)

router = APIRouter(prefix="/methods", include_in_schema=False)

_DRAWN = 2000
"""Points in the figure at most; of more, every k-th is drawn and the numbers are of all."""

_LISTED = 100


@router.get("")
def methods(
    request: Request,
    lab: CurrentLab,
    by: str = "",
    first: str = "",
    second: str = "",
    quantity: str = "peak_force",
) -> Response:
    """All methods; with ``first`` and ``second``, how they agree."""
    return _show(request, lab, by, first, second, quantity)


@router.post("", dependencies=[needs(Role.ENGINEER)])
def add(
    request: Request, lab: CurrentLab, visitor: CurrentVisitor, settings: Annotated[str, Form()] = ""
) -> Response:
    """Keep a method; one that cannot be used comes back with what is wrong, and nothing typed is lost."""
    try:
        kept = add_method(lab, settings.replace("\r\n", "\n"), who=visitor.who)
    except (MethodFileError, ConflictError) as problem:
        return _show(request, lab, typed=settings, wrong=str(problem))
    return RedirectResponse(f"/methods#{kept.sha256[:12]}", 303)


def _show(
    request: Request,
    lab: Lab,
    by: str = "",
    first: str = "",
    second: str = "",
    quantity: str = "peak_force",
    *,
    typed: str = "",
    wrong: str = "",
) -> Response:
    known, software = methods_of_lab(lab), software_of_lab(lab)
    compared: MethodsCompared | None = None
    problem = ""
    if first or second:
        try:
            compared = _compare(lab, by or "method", first, second, quantity)
        except UsageError as refused:
            problem = str(refused)
    return page(
        request,
        "methods.html",
        status=422 if problem or wrong else 200,
        methods=known,
        software=software,
        by=by or "method",
        first=first or (known[-1].sha256[:12] if known else ""),
        second=second or (known[0].sha256[:12] if known else ""),
        quantity=quantity,
        quantities=[(name, GLOSSARY[name].label) for name in STRIKE_QUANTITIES],
        problem=problem,
        compared=compared,
        sentence=_sentence(compared) if compared else _count(len(known)),
        figure=_figure(compared) if compared and compared.limits else None,
        every=_every(compared) if compared else 1,
        beyond=compared.beyond[:_LISTED] if compared else (),
        typed=typed
        or (method_as_toml(lab, known[0].sha256)[0] if known else tomlkit.dumps(Method().settings())),
        wrong=wrong,
        sessions=[one.code for one in list_sessions(lab)],
        settings=lambda told: json.dumps(told, indent=2, ensure_ascii=False),
    )


@router.get("/compared.json")
def data(
    lab: CurrentLab, first: str = "", second: str = "", by: str = "method", quantity: str = "peak_force"
) -> Response:
    """The comparison strike by strike, in SI units."""
    found = _compare(lab, by, first, second, quantity)
    return JSONResponse(
        {
            "quantity": quantity,
            "unit": GLOSSARY[quantity].unit,
            "first": found.first,
            "second": found.second,
            "why": list(found.whole.why),
            "limits_of_agreement": None if found.limits is None else found.limits._asdict(),
            "strikes": [
                {"strike": one.strike_id, "first": one.first.value, "u_first": one.first.u,
                 "second": one.second.value, "u_second": one.second.u}
                for one in found.strikes
            ],
        },
        headers={"Content-Disposition": 'attachment; filename="methods-compared.json"'},
    )  # fmt: skip


@router.get("/{sha256}.toml")
def settings_file(lab: CurrentLab, sha256: str) -> Response:
    """A method as a settings file, for the command line."""
    try:
        text, name = method_as_toml(lab, sha256)
    except UsageError as problem:
        raise HTTPException(404, as_sentence(problem)) from None
    plain = name.encode("ascii", "replace").decode().replace('"', "").replace("/", "-")
    headers = {"Content-Disposition": f'attachment; filename="{plain}"'}
    return Response(text, media_type="application/toml", headers=headers)


def _compare(lab: CurrentLab, by: str, first: str, second: str, quantity: str) -> MethodsCompared:
    if by not in ("method", "software"):
        raise UsageError(f"methods or versions of the software are compared, not {by!r}")
    return compare_methods(lab, "method" if by == "method" else "software", first, second, quantity)


def _count(n: int) -> str:
    if not n:
        return "No method has been used yet."
    return "One method." if n == 1 else f"{n} methods."


def _sentence(found: MethodsCompared) -> str:
    entry = GLOSSARY[found.quantity]
    label = entry.label
    n = len(found.strikes)
    if not n:
        return f"{label}: no strike states it by both."
    far = len(found.beyond)
    same = found.whole.n_same == found.whole.n_recordings
    if same or all(one.change == 0 for one in found.strikes):
        return f"{label}: the same bit for bit on all {n} strikes."
    moved = f"{far} of {n} strikes moved by more than their standard uncertainty" if far else (
        f"none of {n} strikes moved by more than its standard uncertainty"
    )  # fmt: skip
    if found.limits is None:
        return f"{label}: {moved}."
    bias = number(found.limits.bias * entry.shown_factor, 2)
    unit = "" if entry.shown_unit == "1" else f" {entry.shown_unit}"
    return f"{label}: {found.first} less {found.second} is {bias}{unit} in the mean; {moved}."


def _every(found: MethodsCompared) -> int:
    return max(1, -(-len(found.strikes) // _DRAWN))


def _figure(found: MethodsCompared) -> Figure:
    """Differences against means, with bias and limits (Bland and Altman 1986)."""
    limits = found.limits
    assert limits is not None
    entry = GLOSSARY[found.quantity]
    factor, unit = entry.shown_factor, "" if entry.shown_unit == "1" else entry.shown_unit

    def level(at: float, word: str, interval: tuple[float, float], limit: bool = False) -> Level:
        return Level(at, f"{word} {number(at * factor, 2)}", limit, 0.5 * (interval[1] - interval[0]))

    points = [
        Point(0.5 * (one.first.value + one.second.value), -one.change)
        for one in found.strikes[:: _every(found)]
    ]
    words = (
        f"{entry.label} of {len(found.strikes)} strikes: {found.first} less {found.second} against their mean"
    )
    drawn: dict[str, Any] = {"x_factor": factor, "y_factor": factor, "height": 300}
    svg = draw_points(
        points,
        name=f"{found.first} less {found.second}" + (f", {unit}" if unit else ""),
        x_unit=unit,
        label=words,
        levels=[
            level(limits.bias, "bias", limits.bias_interval),
            level(limits.upper, "+1.96 SD", limits.upper_interval, True),
            level(limits.lower, "−1.96 SD", limits.lower_interval, True),
        ],
        **drawn,
    )
    return Figure(svg, words)
