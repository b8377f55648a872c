"""Review of a session, one strike after the other, by keyboard or by plain forms."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, HTTPException, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.errors import LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.queries import matching_strikes
from quintain.tasks import review
from quintain.tasks.lab_views import StrikeView, strike_view
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.forms import EMPTY, Filled, refused
from quintain.web.pages._review_acts import Act, do_act, find_strike, tag_choices
from quintain.web.pages._session_rows import Asked, asked_of
from quintain.web.pages._strike_words import strike_rows, strike_words
from quintain.web.pages.sessions import find_session, picture_of
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs
from quintain.web.sentence import as_sentence

__all__ = ["router"]

router = APIRouter(prefix="/sessions/{code}/review", include_in_schema=False)

_DONE = {
    "accept": "accepted",
    "reject": "rejected",
    "wait": "waits again",
    "note": "has its note",
    "retag": "has its tags",
    "undo": "is as it was before your last act",
}
_GOES_ON = ("accept", "reject")
"""Acts after which the next strike comes."""


class _ActOnStrike(Act):
    strike: int


@router.get("", dependencies=[needs(Role.OPERATOR)])
def review_page(
    request: Request, lab: CurrentLab, code: str, strike: int = 0, did: str = "", of: int = 0
) -> Response:
    """One strike large, with everything that can be done to it; ``did`` and ``of`` say what was just done."""
    said = f"Strike {of} {_DONE[did]}." if did in _DONE else ""
    return _show(request, lab, code, strike, said=said)


@router.get("/strike", dependencies=[needs(Role.OPERATOR)])
def strike_part(request: Request, lab: CurrentLab, code: str, strike: int) -> Response:
    """The part of the page that changes from strike to strike; fetched ahead."""
    asked = asked_of(request.query_params, code)
    seen = _seen(lab, code, asked, strike)
    return page(request, "review_strike.html", code=code, asked=asked, **_told(lab, code, seen))


@router.post("", dependencies=[needs(Role.OPERATOR)])
def act(
    request: Request,
    lab: CurrentLab,
    visitor: CurrentVisitor,
    code: str,
    typed: Annotated[_ActOnStrike, Form()],
) -> Response:
    """
    Do one act of review.

    A script is answered in JSON: what was done in words, and which strike comes. A form is led on to that
    strike. Whoever comes too late is told, and gets back what they typed.
    """
    asked = asked_of(request.query_params, code)
    scripted = "application/json" in request.headers.get("accept", "")
    strike, action = typed.strike, typed.action
    before = _seen(lab, code, asked, strike)
    try:
        show = do_act(lab, strike, typed, who=visitor.who, session=code)
    except (UsageError, LabError) as problem:
        kept = typed.typed() if action in ("reject", "note", "retag") else {}
        return _refused(request, lab, code, strike, refused(kept, problem), scripted=scripted)
    position = before.row.position if show == strike else strike_view(lab, show).row.position
    after = before.neighbours.after
    following = after if action in _GOES_ON and after is not None else show
    if scripted:
        said = f"Strike {position} {_DONE[action]}."
        return JSONResponse({"said": said, "changed": show, "show": following, "position": position})
    if request.query_params.get("back") == "list":
        return RedirectResponse(f"/sessions/{code}{asked.query(strike=strike)}#peek", 303)
    told = asked.query(strike=following, did=action, of=position)
    return RedirectResponse(f"/sessions/{code}/review{told}", 303)


def _refused(
    request: Request, lab: Lab, code: str, strike: int, filled: Filled, *, scripted: bool
) -> Response:
    if scripted:
        return JSONResponse({"problem": as_sentence(filled.problem), "strike": strike}, filled.status)
    return _show(request, lab, code, strike, filled)


def _show(
    request: Request, lab: Lab, code: str, strike: int, filled: Filled = EMPTY, *, said: str = ""
) -> Response:
    asked = asked_of(request.query_params, code)
    find_session(lab, code)
    strike = strike or _first(lab, code, asked)
    problem = as_sentence(filled.problem) if filled.problem else asked.problem
    shown = {"said": said, "problem": problem, "typed": filled.typed}
    if not strike:
        return page(request, "review.html", status=filled.status, seen=None, code=code, asked=asked, **shown)
    seen = _seen(lab, code, asked, strike)
    return page(
        request,
        "review.html",
        status=filled.status,
        code=code,
        asked=asked,
        **tag_choices(lab),
        **(_told(lab, code, seen) | shown),
    )


def _first(lab: Lab, code: str, asked: Asked) -> int:
    """Where review begins: the first chosen strike that waits, else the first chosen one."""
    chosen = matching_strikes(
        lab, asked.strike_filter, sort=asked.chosen.sort, descending=asked.chosen.descending
    )
    if not chosen:
        return 0
    waiting = None if asked.is_filtered else review.next_waiting(lab, code)
    return waiting or chosen[0]


def _seen(lab: Lab, code: str, asked: Asked, strike: int) -> StrikeView:
    seen = find_strike(lab, strike, asked.chosen)
    if seen.row.session != code:
        raise HTTPException(404, f"Strike {strike} is none of session {code!r}.")
    return seen


def _told(lab: Lab, code: str, seen: StrikeView) -> dict[str, Any]:
    """What the changing part shows of a strike."""
    result, drawn, trouble = picture_of(lab, seen, make=True, character=1.2)
    waiting = review.next_waiting(lab, code, after=seen.row.id)
    return {
        "seen": seen,
        "row": seen.row,
        "drawn": drawn,
        "trouble": trouble,
        "words": None if result is None else strike_words(result),
        "rows": () if result is None else [r for r in strike_rows(result, moved=True) if not r.part],
        "doubts": () if result is None else result.flags,
        "waiting": None if waiting == seen.row.id else waiting,
        "typed": {},
        "problem": "",
    }
