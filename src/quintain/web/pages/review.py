"""Review of a session, one strike after the other, by keyboard or by plain forms."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, HTTPException, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from quintain.domain.person import SIDES
from quintain.errors import ConflictError, LabError, MissingError, QuintainError, UsageError
from quintain.store.lab import Lab
from quintain.store.queries import matching_strikes
from quintain.store.queries_lists import list_people
from quintain.tasks import review
from quintain.tasks.lab_views import StrikeView, strike_view
from quintain.tasks.strike_types import list_types
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._session_rows import Asked, asked_of
from quintain.web.pages._strike_words import strike_rows, strike_words
from quintain.web.pages.sessions import find_session, picture_of
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs

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
    strike: Annotated[int, Form()],
    action: Annotated[str, Form()] = "",
    changes: Annotated[int | None, Form()] = None,
    reason: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
    person: Annotated[str, Form()] = "",
    type: Annotated[str, Form()] = "",
    side: Annotated[str, Form()] = "",
    series: Annotated[str, Form()] = "",
) -> Response:
    """
    Do one act of review.

    A script is answered in JSON: what was done in words, and which strike comes. A form is led on to that
    strike. Whoever comes too late is told, and gets back what they typed.
    """
    asked = asked_of(request.query_params, code)
    scripted = "application/json" in request.headers.get("accept", "")
    before = _seen(lab, code, asked, strike)
    seen: dict[str, Any] = {"changes": changes, "who": visitor.who}
    show, position = strike, before.row.position
    try:
        if action == "accept":
            review.accept(lab, strike, **seen)
        elif action == "reject":
            review.reject(lab, strike, reason, **seen)
        elif action == "wait":
            review.wait_again(lab, strike, **seen)
        elif action == "note":
            review.note(lab, strike, note, **seen)
        elif action == "retag":
            review.retag(lab, strike, person=person, type=type, side=side, series=_series(series), **seen)
        elif action == "undo":
            show = review.undo(lab, who=visitor.who, session=code).strikes[0].id
            position = strike_view(lab, show).row.position
        else:
            raise HTTPException(422, "There is no such act of review; use the buttons of the page.")
    except (ConflictError, UsageError, LabError) as problem:
        return _refused(
            request, lab, code, strike, problem, scripted=scripted,
            typed={"reason": reason, "note": note, "person": person, "type": type, "side": side,
                   "series": series} if action in ("reject", "note", "retag") else {},
        )  # fmt: skip
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
    request: Request,
    lab: Lab,
    code: str,
    strike: int,
    problem: QuintainError,
    *,
    scripted: bool,
    typed: dict[str, str],
) -> Response:
    status = 409 if isinstance(problem, ConflictError) else 422
    words = f"{str(problem)[:1].upper()}{str(problem)[1:]}."
    if scripted:
        return JSONResponse({"problem": words, "strike": strike}, status)
    return _show(request, lab, code, strike, problem=words, typed=typed, status=status)


def _show(
    request: Request,
    lab: Lab,
    code: str,
    strike: int,
    *,
    said: str = "",
    problem: str = "",
    typed: dict[str, str] | None = None,
    status: int = 200,
) -> Response:
    asked = asked_of(request.query_params, code)
    find_session(lab, code)
    strike = strike or _first(lab, code, asked)
    shown = {"said": said, "problem": problem or asked.problem, "typed": typed or {}}
    if not strike:
        return page(request, "review.html", status=status, seen=None, code=code, asked=asked, **shown)
    seen = _seen(lab, code, asked, strike)
    return page(
        request,
        "review.html",
        status=status,
        code=code,
        asked=asked,
        people=[person.code for person in list_people(lab) if person.erased is None],
        types=[one.name for one in list_types(lab)],
        sides=[side for side in SIDES if side],
        pairs=lambda words: [(word, word) for word in words],
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
    try:
        seen = strike_view(
            lab, strike, asked.strike_filter, sort=asked.chosen.sort, descending=asked.chosen.descending
        )
    except MissingError:
        raise HTTPException(404, f"There is no strike {strike} in this lab.") from None
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


def _series(text: str) -> int:
    if not text.strip():
        return 0
    try:
        return int(text)
    except ValueError:
        raise UsageError(f"series: expected a whole number from 1, or nothing, got {text!r}") from None
