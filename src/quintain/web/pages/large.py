"""Large mode: the last strike, to be read from three metres, and the page that says stop."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Annotated, NamedTuple

from fastapi import APIRouter, Form, HTTPException, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from quintain.domain.measured import Measured
from quintain.domain.session_summary import Usual
from quintain.errors import MissingError
from quintain.quantities import GLOSSARY
from quintain.report.rounding import MINUS, NARROW, number
from quintain.report.verdict import judge_strike
from quintain.store.lab import Lab
from quintain.store.results import load_strike
from quintain.tasks.last_strike import (
    USUAL_DAYS,
    Headline,
    LastStrike,
    Stop,
    answer_stop,
    last_strike,
)
from quintain.tasks.session_summary import FEWEST_FOR_USUAL
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._strike_shapes import Dot, draw_dots
from quintain.web.rendering import page

__all__ = ["router"]

router = APIRouter(prefix="/sessions/{code}/large", include_in_schema=False)

_SMALL = {
    "impulse": "whole event",
    "approach_speed": "at first touch",
    "effective_mass": "to the stop of the limb",
    "energy": "into the pad",
    "peak_force": "on the cell, corrected",
    "contact_time": "first touch to last",
}
_NAMES = {"impulse": "Impulse", "peak_force": "Peak force", "energy": "Energy"}
_BRIEFLY = {
    "beyond-calibration": "beyond the proved range",
    "clipped": "cut off at the range",
    "few-pairs": "clocks not settled yet",
    "few-samples": "few samples",
    "gyro-limit": "gyro at its limit",
    "late-push": "a push came in late",
    "pulse-near-rig-period": "short for this rig",
    "resultant-speed": "not along the target’s normal",
    "several-contacts": "more than one contact",
}
"""Doubts in few words, for three metres; of others the code itself is shown."""
_UP = "± 95 %, rounded up."
_PLACES = 10


class _Row(NamedTuple):
    """One number as it is shown."""

    name: str
    small: str
    value: str
    spread: str
    unit: str
    doubted: bool
    svg: Markup | None


@router.get("")
def large(request: Request, lab: CurrentLab, code: str) -> Response:
    """The page, which looks for news by itself."""
    seen = _seen(lab, code)
    return _page(request, lab, code, seen, "session_large.html")


@router.get("/now")
def now(request: Request, lab: CurrentLab, code: str, state: str = "") -> Response:
    """The page's content if something changed; else nothing, so that nothing moves on the screen."""
    seen = _seen(lab, code)
    if state == _state(seen):
        return Response(status_code=204)
    return _page(request, lab, code, seen, "session_large_now.html")


@router.post("/checked")
def checked(
    lab: CurrentLab, visitor: CurrentVisitor, code: str, strikes: Annotated[list[int], Form()]
) -> Response:
    """Answer a stop: somebody looked at the rig, and the audit says who."""
    _seen(lab, code)
    answer_stop(lab, code, strikes, who=visitor.who)
    return RedirectResponse(f"/sessions/{code}/large", 303)


def _seen(lab: Lab, code: str) -> LastStrike:
    try:
        return last_strike(lab, code)
    except MissingError:
        raise HTTPException(404, f"There is no session {code!r} in this lab.") from None


def _state(seen: LastStrike) -> str:
    """A word that changes whenever the page would."""
    row = seen.strike
    of_strike = f"{row.id}.{row.changes}.{row.result_id}" if row else "none"
    of_stop = "-".join(map(str, (seen.stop.why, *seen.stop.strikes))) if seen.stop else "go"
    return f"{of_strike}.{seen.n_own}.{of_stop}"


def _page(request: Request, lab: Lab, code: str, seen: LastStrike, template: str) -> Response:
    row = seen.strike
    mark, sentence, doubt = _verdict(lab, seen)
    if seen.stop:
        mark, sentence, doubt = "stop", *_stop_words(seen.stop, seen)
    return page(
        request,
        template,
        code=code,
        seen=seen,
        row=row,
        mark=mark,
        sentence=sentence,
        doubt=doubt,
        whose=", ".join(
            filter(None, (row.person, f"strike {row.position}", f"{row.type} {row.side}".strip()))
        )
        if row
        else "",
        rows=[_row(headline) for headline in seen.headlines],
        foot=_foot(seen),
        state=_state(seen),
    )


def _verdict(lab: Lab, seen: LastStrike) -> tuple[str, str, str]:
    row = seen.strike
    if row is None:
        return "open", "No strike yet.", ""
    if row.result_id is None:
        return "open", "The last strike has no result.", ""
    judged = judge_strike(load_strike(lab, row.id))
    lead = seen.headlines[0]
    words = f"{judged.word}. {_where(lead)}".strip()
    doubted = [h for h in seen.headlines if h.doubts]
    if doubted:
        told = "; ".join(f"{_name(h.quantity).lower()}: {_brief(h.doubts[0])}" for h in doubted[:2])
        return judged.mark, words, told
    return judged.mark, words, (_brief(row.codes[0]) if row.codes else "")


def _brief(code: str) -> str:
    return _BRIEFLY.get(code, code.replace("-", " "))


def _where(lead: Headline) -> str:
    if lead.value is None:
        return f"{_name(lead.quantity)} is not stated."
    if lead.usual is None:
        return ""
    name = _name(lead.quantity)
    if lead.value > lead.usual.high:
        return f"{name} above the usual range."
    return f"{name} {'below' if lead.value < lead.usual.low else 'within'} the usual range."


def _stop_words(stop: Stop, seen: LastStrike) -> tuple[str, str]:
    places = ", ".join(map(str, stop.places[-3:]))
    strikes = f"strike{'s' if len(stop.places) > 1 else ''} {places}"
    below = f" Below: strike {seen.strike.position}, the last sound one." if seen.strike else ""
    if stop.why == "overload":
        return (
            "Stop. The cell was overloaded.",
            f"On {strikes}. Nobody strikes. Check pad, mount and cable, then zero and calibration.{below}",
        )
    return (
        "Stop. The rig has changed.",
        f"It rings otherwise than its file says on {strikes}. Check the bolts of the mount, then tap.{below}",
    )


def _row(headline: Headline) -> _Row:
    entry = GLOSSARY[headline.quantity]
    factor, unit = entry.shown_factor, "" if entry.shown_unit == "1" else entry.shown_unit
    name, small = _name(headline.quantity), _SMALL.get(headline.quantity, "")
    if headline.value is None:
        return _Row(name, small, "–", "not stated", unit, False, _dots(headline, name, factor))
    measured = Measured(headline.quantity, headline.value, headline.u)
    expanded = None if measured.expanded is None else factor * measured.expanded
    value, spread = _rounded_up(factor * headline.value, expanded)
    return _Row(name, small, value, f"± {spread}", unit, bool(headline.doubts), _dots(headline, name, factor))


def _dots(headline: Headline, name: str, factor: float) -> Markup | None:
    last = len(headline.recent) - 1
    dots = [Dot(factor * value, i == last) for i, value in enumerate(headline.recent) if value is not None]
    if not dots:
        return None
    usual = headline.usual
    limits = None if usual is None else _limits(usual, factor)
    behind = "with this person’s usual range" if usual else "without a usual range yet"
    return draw_dots(dots, label=f"{name}: the last {len(dots)}, {behind}", places=_PLACES, limits=limits)


def _limits(usual: Usual, factor: float) -> tuple[float, float, str, str]:
    low, high = factor * usual.low, factor * usual.high
    return low, high, number(low, 3), number(high, 3)


def _foot(seen: LastStrike) -> str:
    row = seen.strike
    if row is None:
        return "It appears here as soon as it is analysed."
    if not (row.person and row.type):
        return f"Last ten of the session, newest right. No usual range: nobody told who struck what. {_UP}"
    if any(headline.usual for headline in seen.headlines):
        what = f"{row.type} {row.side}".strip()
        return (
            "Last ten, newest right. Grey band: this person’s usual range, the middle 80 % of "
            f"{seen.n_own} own strikes ({what}, on this rig) in {USUAL_DAYS} days. {_UP}"
        )
    few = f"The usual range comes with {FEWEST_FOR_USUAL} own earlier strikes."
    return f"Last ten, newest right. {few} {_UP}"


def _name(quantity: str) -> str:
    return _NAMES.get(quantity, GLOSSARY[quantity].label)


def _rounded_up(value: float, expanded: float | None) -> tuple[str, str]:
    r"""
    A value and its uncertainty for the far side of a room: one digit, never less than it is.

    Examples
    --------
    >>> _rounded_up(38.4234, 0.41), _rounded_up(3216.0, 48.0)
    (('38.4', '0.5'), ('3\u202f220', '50'))
    """
    if expanded is None or not math.isfinite(expanded) or expanded <= 0:
        return number(value, 3), "?" if expanded != 0 else "0"
    exact = Decimal(repr(expanded))
    place = Decimal(1).scaleb(exact.adjusted())
    up = exact.quantize(place, ROUND_CEILING)
    if up.adjusted() > exact.adjusted():  # 0.96 becomes 1
        place = place.scaleb(1)
    at = Decimal(repr(value)).quantize(place, ROUND_HALF_UP)
    return _plain(at), _plain(up.quantize(place))


def _plain(exact: Decimal) -> str:
    text = f"{abs(exact):,f}".replace(",", NARROW)
    return f"{MINUS}{text}" if exact < 0 else text
