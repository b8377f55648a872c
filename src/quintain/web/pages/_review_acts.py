"""One act of review as the forms of pages ask for it, and what those forms need of the lab."""

from __future__ import annotations

from typing import Any

from fastapi import HTTPException
from pydantic import BaseModel

from quintain.domain.person import SIDES
from quintain.errors import MissingError, UsageError
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_people
from quintain.tasks import review
from quintain.tasks.lab_views import StrikeView, strike_view
from quintain.tasks.strike_types import list_types
from quintain.web.chosen import Chosen

__all__ = ["Act", "do_act", "find_strike", "tag_choices"]


class Act(BaseModel):
    """An act of review, and what was typed for it; ``changes`` is the strike's counter as it was seen."""

    action: str = ""
    changes: int | None = None
    reason: str = ""
    note: str = ""
    person: str = ""
    type: str = ""
    side: str = ""
    series: str = ""

    def typed(self) -> dict[str, str]:
        """What would be lost."""
        return {name: getattr(self, name) for name in ("reason", "note", "person", "type", "side", "series")}


def do_act(lab: Lab, strike_id: int, act: Act, *, who: str, session: str | None = None) -> int:
    """
    Do one act of review, and say which strike it was done to.

    That is the strike itself, except for taking back, which is about the last act of whoever asks, in
    ``session`` where one is named.

    Raises
    ------
    ConflictError, MissingError, UsageError
        As the task of the act raises them.
    HTTPException
        422 if there is no such act.
    """
    seen: dict[str, Any] = {"changes": act.changes, "who": who}
    if act.action == "accept":
        review.accept(lab, strike_id, **seen)
    elif act.action == "reject":
        review.reject(lab, strike_id, act.reason, **seen)
    elif act.action == "wait":
        review.wait_again(lab, strike_id, **seen)
    elif act.action == "note":
        review.note(lab, strike_id, act.note, **seen)
    elif act.action == "retag":
        counted = _series(act.series)
        review.retag(lab, strike_id, person=act.person, type=act.type, side=act.side, series=counted, **seen)
    elif act.action == "undo":
        return review.undo(lab, who=who, session=session).strikes[0].id
    else:
        raise HTTPException(422, "There is no such act of review; use the buttons of the page.")
    return strike_id


def find_strike(lab: Lab, strike_id: int, chosen: Chosen) -> StrikeView:
    """
    A strike among those looked through.

    Raises
    ------
    HTTPException
        404 if there is no such strike.
    """
    try:
        return strike_view(lab, strike_id, chosen.filter, sort=chosen.sort, descending=chosen.descending)
    except MissingError:
        raise HTTPException(404, f"There is no strike {strike_id} in this lab.") from None


def tag_choices(lab: Lab) -> dict[str, Any]:
    """What a strike can be tagged with, for the template."""
    return {
        "people": [person.code for person in list_people(lab) if person.erased is None],
        "types": [one.name for one in list_types(lab)],
        "sides": [side for side in SIDES if side],
        "pairs": lambda words: [(word, word) for word in words],
    }


def _series(text: str) -> int:
    if not text.strip():
        return 0
    try:
        return int(text)
    except ValueError:
        raise UsageError(f"series: expected a whole number from 1, or nothing, got {text!r}") from None
