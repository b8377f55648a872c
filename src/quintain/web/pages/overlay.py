"""Strikes and drops overlaid, aligned at contact, with their numbers side by side."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, NamedTuple
from urllib.parse import urlencode

import numpy as np
from fastapi import APIRouter, Request
from starlette.datastructures import QueryParams
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.errors import QuintainError, UsageError
from quintain.report.figures.strike import COVERAGE
from quintain.report.parts import doubting
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_people
from quintain.tasks.overlay import (
    MOST,
    TYPICAL,
    Overlaid,
    differences,
    drop_evidence,
    overlay_drops,
    overlay_strikes,
    pick_drops,
    pick_people,
    pick_sessions,
)
from quintain.tasks.strike_types import list_types
from quintain.web.current import CurrentLab
from quintain.web.navigation import Nav
from quintain.web.pages._strike_charts import thinned
from quintain.web.rendering import page

__all__ = ["NAV", "router"]

NAV = Nav("Compare", "/overlay", 60)

router = APIRouter(prefix="/overlay", include_in_schema=False)

_STRIKES = ("impulse", "peak_force", "contact_time", "approach_speed", "effective_mass", "energy")
_DROPS = ("impulse", "peak_force", "contact_time", "approach_speed", "restitution")
_SHORT = {
    "impulse": "impulse", "peak_force": "peak force", "contact_time": "contact time",
    "approach_speed": "approach speed", "effective_mass": "effective mass", "energy": "energy",
    "restitution": "restitution",
}  # fmt: skip
_RAW_UP_TO = 3
"""Curves behind which the raw traces are drawn unless asked otherwise."""

_RANGE = re.compile(r"(\d{1,9})(?:\s*[-–]\s*(\d{1,9}))?")


class _Asked(NamedTuple):
    strikes: tuple[int, ...]
    drops: tuple[tuple[int, int], ...]
    mass: float | None
    raw: bool | None
    problem: str

    @property
    def n(self) -> int:
        return len(self.strikes) + len(self.drops)

    @property
    def query(self) -> str:
        told: dict[str, str] = {}
        if self.strikes:
            told["strikes"] = ",".join(map(str, self.strikes))
        if self.drops:
            told["drops"] = ",".join(f"{evidence}.{number}" for evidence, number in self.drops)
        if self.mass is not None:
            told["mass"] = f"{self.mass:g}"
        if self.raw is not None:
            told["raw"] = "1" if self.raw else "0"
        return f"?{urlencode(told, safe=',')}" if told else ""


class _Line(NamedTuple):
    """One curve in the table; ``apart`` holds its differences to the first."""

    label: str
    mark: int
    one: Overlaid
    href: str
    codes: tuple[str, ...]
    doubted: frozenset[str]
    apart: dict[str, Any]


@router.get("")
def overlay(request: Request, lab: CurrentLab) -> Response:
    """The curves asked for, or ways to pick some."""
    asked = _asked(request.query_params)
    found, troubles = _overlaid(lab, asked)
    columns = _columns(found)
    lines = _lines(found, columns)
    return page(
        request,
        "overlay.html",
        status=422 if asked.problem else 200,
        asked=asked,
        lines=lines,
        columns=[(name, _SHORT[name]) for name in columns],
        troubles=troubles,
        verdict_words=_words(lines, columns),
        most=MOST,
        typical=TYPICAL,
        typed=request.query_params.get("strikes", "")
        if asked.problem
        else ", ".join(map(str, asked.strikes)),
        people=[person.code for person in list_people(lab) if person.strikes.total],
        types=[one.name for one in list_types(lab) if one.n_strikes],
        tests=drop_evidence(lab),
        raw=asked.raw if asked.raw is not None else len(found) <= _RAW_UP_TO,
        other_raw=asked._replace(raw=not (asked.raw if asked.raw is not None else len(found) <= _RAW_UP_TO)),
    )


@router.get("/pick")
def pick(
    lab: CurrentLab,
    what: str = "",
    person: str = "",
    second: str = "",
    type: str = "",
    drops: int = 0,
    others: int = 0,
    mass: str = "",
) -> Response:
    """From a wish such as 'one person on two days' to the curves themselves."""
    if what == "days":
        ids = pick_sessions(lab, person, type)
    elif what == "people":
        ids = pick_people(lab, person, second, type)
    elif what == "drops":
        weight = _mass(mass)
        pairs = pick_drops(lab, drops, others, mass=weight)
        return RedirectResponse(f"/overlay{_Asked((), pairs, weight, None, '').query}", 303)
    else:
        raise UsageError("choose one person on two days, two strikers, or two drop tests")
    return RedirectResponse(f"/overlay{_Asked(ids, (), None, None, '').query}", 303)


@router.get("/charts.json")
def charts(request: Request, lab: CurrentLab) -> Response:
    """Force, and speed where it is known, from contact on."""
    asked = _asked(request.query_params)
    found, _ = _overlaid(lab, asked)
    raw = asked.raw if asked.raw is not None else len(found) <= _RAW_UP_TO
    marks = _marks(found)
    force: list[dict[str, Any]] = []
    speed: list[dict[str, Any]] = []
    ends = [0.02]
    for one in found:
        if raw and one.curve.raw.size:
            force.append(
                {"kind": "raw", "label": "", "x": _ms(one.curve.raw_time), "y": _listed(one.curve.raw, 1)}
            )
        if "contact_time" in one.quantities:
            ends.append(one.quantities["contact_time"].value)
    for i, one in enumerate(found):
        tag: dict[str, Any] = {"mark": marks[i], "badge": str(i + 1), "label": _label(i, one)}
        curve = one.curve
        if curve.corrected.size > 1:
            time, values, u = thinned(curve.time, curve.corrected, curve.u_corrected)
            low, high = values - COVERAGE * u, values + COVERAGE * u
            band = {"low": _listed(low, 1), "high": _listed(high, 1)}
            force.append({"kind": "corrected", **tag, "x": _ms(time), "y": _listed(values, 1), **band})
        elif curve.raw.size:
            tag["label"] += ", raw only"
            force.append({"kind": "ink", **tag, "x": _ms(curve.raw_time), "y": _listed(curve.raw, 1)})
        if one.limb is not None and one.limb.speed.size > 1:
            time, values = thinned(one.limb.time, one.limb.speed)
            speed.append(
                {"kind": "corrected", "mark": marks[i], "label": "", "x": _ms(time), "y": _listed(values, 3)}
            )
    shown = [{"title": "Force on the cell", "unit": "N", "size": "tall", "series": force,
              "events": [{"at": 0, "label": "contact starts", "note": ""}]}]  # fmt: skip
    if speed:
        shown.append({"title": "Speed", "of": "of the striking point", "unit": "m/s", "size": "low",
                      "series": speed, "events": [{"at": 0}]})  # fmt: skip
    window = [-0.25e3 * max(ends), 1.9e3 * max(ends)]
    return JSONResponse({"x": {"label": "time from contact", "unit": "ms"}, "range": window, "charts": shown})


# -- what was asked for


def _asked(query: QueryParams) -> _Asked:
    """Strikes and drops of a query; nonsense is said in words, and what can be read is kept."""
    problems = []
    strikes: list[int] = []
    for part in re.split(r"[,;\s]+", ",".join(query.getlist("strikes"))):
        if not part:
            continue
        match = _RANGE.fullmatch(part)
        if match is None:
            problems.append(f"“{part}” is no strike; write numbers, such as 12, 14, 20-22.")
            continue
        first = int(match[1])
        last = int(match[2] or first)
        strikes += range(first, min(last, first + MOST) + 1)
    drops = []
    for part in re.split(r"[,;\s]+", ",".join(query.getlist("drops"))):
        evidence, _, number = part.partition(".")
        if evidence.isdigit() and (number or "1").isdigit():
            drops.append((int(evidence), int(number or 1)))
        elif part:
            problems.append(f"“{part}” is no drop; write evidence and number, such as 3.1.")
    try:
        mass = _mass(query.get("mass", ""))
    except UsageError as problem:
        mass = None
        problems.append(str(problem))
    ids, pairs = tuple(dict.fromkeys(strikes)), tuple(dict.fromkeys(drops))
    if len(ids) + len(pairs) > MOST:
        problems.append(f"Only the first {MOST} are shown; more curves cannot be told apart.")
        ids, pairs = ids[:MOST], pairs[: max(0, MOST - len(ids))]
    raw = {"1": True, "0": False}.get(query.get("raw", ""))
    return _Asked(ids, pairs, mass, raw, " ".join(problems))


def _mass(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        mass = float(text.replace(",", "."))
    except ValueError:
        raise UsageError(f"mass: expected a number of kilograms, got {text!r}") from None
    if not 0.05 <= mass <= 500:
        raise UsageError(f"mass: expected from 0.05 to 500 kg, got {text} kg")
    return mass


def _overlaid(lab: Lab, asked: _Asked) -> tuple[list[Overlaid], list[str]]:
    strikes, troubles = overlay_strikes(lab, asked.strikes)
    try:
        drops, others = overlay_drops(lab, asked.drops, mass=asked.mass)
    except QuintainError as problem:
        drops, others = (), (str(problem),)
    return [*strikes, *drops], [*troubles, *others]


# -- how they are shown


def _columns(found: Sequence[Overlaid]) -> list[str]:
    names = dict.fromkeys(
        name for one in found for name in (_STRIKES if one.drop is None else _DROPS) if name in one.quantities
    )
    return [name for name in _SHORT if name in names]


def _marks(found: Sequence[Overlaid]) -> list[int]:
    """A colour and shape each while they last; else one for each rig, person, session or type."""
    if len(found) <= 5:
        return [i + 1 for i in range(len(found))]
    for key in ("rig", "person", "session", "type"):
        levels = list(dict.fromkeys(getattr(one, key) for one in found))
        if 2 <= len(levels) <= 5:
            return [levels.index(getattr(one, key)) + 1 for one in found]
    return [i % 5 + 1 for i in range(len(found))]


def _lines(found: Sequence[Overlaid], columns: Sequence[str]) -> list[_Line]:
    marks = _marks(found)
    return [
        _Line(
            str(i + 1),
            marks[i],
            one,
            f"/strikes/{one.id}" if one.drop is None else "",
            tuple(flag.code for flag in one.flags),
            frozenset(name for name in columns if doubting(name, one.flags)),
            differences(found[0], one, columns) if i else {},
        )
        for i, one in enumerate(found)
    ]


def _label(i: int, one: Overlaid) -> str:
    if one.drop is not None:
        return f"{i + 1}  drop {one.drop}, {one.rig}"
    what = " ".join(filter(None, (one.person, one.type, one.side))) or f"strike {one.position}"
    day = f", {one.when:%-d %b}" if one.when else ""
    return f"{i + 1}  {what}{day}"


def _words(lines: Sequence[_Line], columns: Sequence[str]) -> str:
    """What differs from the first beyond uncertainty, and what does not."""
    if len(lines) < 2:
        return "One curve. Add another to compare." if lines else ""
    apart, alike = [], []
    for name in columns:
        judged = [line.apart[name][1] for line in lines[1:] if name in line.apart]
        if True in judged:
            n = judged.count(True)
            apart.append(_SHORT[name] + (f" ({n} of {len(judged)})" if len(judged) > 1 else ""))
        elif judged and None not in judged:
            alike.append(_SHORT[name])
    said = (
        [f"{_listing(apart)} {'differ' if len(apart) > 1 else 'differs'} from the first beyond uncertainty"]
        if apart
        else []
    )
    if alike:
        said.append(f"{_listing(alike)} {'do' if len(alike) > 1 else 'does'} not")
    words = "; ".join(said) or "No number can be held against another"
    return f"{len(lines)} curves. {words[:1].upper()}{words[1:]}."


def _listing(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _ms(values: Any) -> list[float]:
    listed: list[float] = np.round(1e3 * values, 4).tolist()
    return listed


def _listed(values: Any, places: int) -> list[float | None]:
    return [None if v != v else v for v in np.round(values, places).tolist()]
