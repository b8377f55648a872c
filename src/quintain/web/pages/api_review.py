"""Review of strikes by scripts: each act is entered into the audit and can be taken back."""

from __future__ import annotations

from pydantic import Field

from quintain.tasks import review
from quintain.tasks.review import Reviewed
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import CHANGES, Answer, Asked, StrikeNumber, api_router, refusals

__all__ = ["router"]

router = api_router("review")

_REFUSED = refusals(400, 409, 413)


class Seen(Asked):
    """A strike as it was seen."""

    changes: int | None = CHANGES


class Rejection(Seen):
    """Why a strike is rejected; it stays in the lab with its reason."""

    reason: str = Field(min_length=1, max_length=2000, examples=["touched the frame"])


class Note(Seen):
    """A note, in place of the one that was there."""

    note: str = Field(max_length=20_000, examples=["second attempt"])


class Tags(Seen):
    """Who struck, what, and with which side; what is left out stays, an empty text says it is not known."""

    person: str | None = Field(default=None, max_length=60, examples=["P03"])
    type: str | None = Field(default=None, max_length=60, examples=["cross"])
    side: str | None = Field(default=None, description="left, right, or empty.", examples=["right"])
    series: int | None = Field(default=None, ge=0, le=2**31 - 1, description="0 for none.")


class Taken(Asked):
    """Whose last act: one's own, on strikes of one session if it is named."""

    session: str | None = Field(default=None, max_length=60)


class ReviewedOut(Answer):
    """A strike as it is now; name its counter in the next act."""

    id: int
    state: str = Field(examples=["accepted"])
    reason: str
    person: str
    type: str
    side: str
    series: int | None
    note: str
    changes: int


class UndoneOut(Answer):
    """The act that was taken back, and its strikes as they are now."""

    action: str
    strikes: list[ReviewedOut]


class Accepted(Answer):
    """Strikes that were accepted."""

    accepted: list[int]


def _out(reviewed: Reviewed) -> ReviewedOut:
    return ReviewedOut.model_validate(reviewed)


@router.post("/strikes/{strike_id}/accept", responses=_REFUSED)
def accept(lab: CurrentLab, visitor: CurrentVisitor, strike_id: StrikeNumber, asked: Seen) -> ReviewedOut:
    """Accept a strike."""
    return _out(review.accept(lab, strike_id, changes=asked.changes, who=visitor.who))


@router.post("/strikes/{strike_id}/reject", responses=_REFUSED)
def reject(
    lab: CurrentLab, visitor: CurrentVisitor, strike_id: StrikeNumber, asked: Rejection
) -> ReviewedOut:
    """Reject a strike for a reason; it is left out of statistics."""
    return _out(review.reject(lab, strike_id, asked.reason, changes=asked.changes, who=visitor.who))


@router.post("/strikes/{strike_id}/wait", responses=_REFUSED)
def wait(lab: CurrentLab, visitor: CurrentVisitor, strike_id: StrikeNumber, asked: Seen) -> ReviewedOut:
    """Put a strike back among those that wait for review."""
    return _out(review.wait_again(lab, strike_id, changes=asked.changes, who=visitor.who))


@router.post("/strikes/{strike_id}/note", responses=_REFUSED)
def note(lab: CurrentLab, visitor: CurrentVisitor, strike_id: StrikeNumber, asked: Note) -> ReviewedOut:
    """Write the note of a strike."""
    return _out(review.note(lab, strike_id, asked.note, changes=asked.changes, who=visitor.who))


@router.post("/strikes/{strike_id}/retag", responses=_REFUSED)
def retag(lab: CurrentLab, visitor: CurrentVisitor, strike_id: StrikeNumber, asked: Tags) -> ReviewedOut:
    """Say who struck, what, and with which side."""
    return _out(review.retag(lab, strike_id, who=visitor.who, **asked.model_dump()))


@router.post("/review/accept-unflagged", responses=_REFUSED)
def accept_unflagged(lab: CurrentLab, visitor: CurrentVisitor, asked: Taken) -> Accepted:
    """Accept all strikes that wait and have no flag, as one act."""
    return Accepted(accepted=list(review.accept_unflagged(lab, asked.session, who=visitor.who)))


@router.post("/review/undo", responses=_REFUSED)
def undo(lab: CurrentLab, visitor: CurrentVisitor, asked: Taken) -> UndoneOut:
    """Take back one's own last act of review."""
    return UndoneOut.model_validate(review.undo(lab, who=visitor.who, session=asked.session))
