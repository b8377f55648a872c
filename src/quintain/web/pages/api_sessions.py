"""Sessions, for scripts."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import Path
from pydantic import AfterValidator, AwareDatetime, BeforeValidator, Field

from quintain.store.queries_groups import GroupRow
from quintain.store.queries_lists import SessionRow, list_sessions
from quintain.tasks.lab_views import session_view
from quintain.tasks.sessions import SessionRecord, add_session, edit_session
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.pages._api import CHANGES, Answer, Asked, CountsOut, api_router, counts, refusals
from quintain.web.pages._api_groups import Group, group

__all__ = ["router"]

router = api_router("sessions", "/sessions")

Code = Annotated[str, Path(max_length=200, description="Code of the session.", examples=["S-02"])]


class SessionOut(Answer):
    """A session in a list."""

    code: str = Field(examples=["S-02"])
    title: str
    when: datetime | None
    rig: str
    n_people: int
    n_recordings: int
    n_planned: int = Field(description="Strikes that its plan asks for.")
    strikes: CountsOut


class PlannedOut(Answer):
    """A strike that the plan asks for, and the strike that was tagged from it, if any."""

    position: int
    block: int
    person: str
    type: str
    side: str
    rest: float | None = Field(description="Rest before it. [s]")
    strike_id: int | None


class SessionWhole(SessionOut):
    """A session with its plan, and its strikes described by person, type and side."""

    note: str
    seed: int | None = Field(description="Of the plan's order.")
    changes: int = Field(description="Counter of changes; name it when you change the session.")
    recordings: list[str] = Field(description="SHA-256, in the order of time.")
    planned: list[PlannedOut]
    groups: list[Group] = Field(description="By person, type and side, without rejected strikes.")


def _in_utc(when: datetime | None) -> datetime | None:
    try:
        return None if when is None else when.astimezone(UTC)
    except OverflowError:
        raise ValueError("the time is beyond all calendars") from None


def _as_text(when: object) -> object:
    if when is not None and not isinstance(when, str):
        raise ValueError("a time is text with its offset from UTC, as 2026-05-04T14:30:00Z")
    return when


class _Entries(Asked):
    title: str = Field(default="", max_length=200)
    when: Annotated[AwareDatetime | None, BeforeValidator(_as_text), AfterValidator(_in_utc)] = Field(
        default=None, description="With its offset from UTC."
    )
    rig: str = Field(default="", max_length=200, description="Name of a rig of the lab.")
    note: str = Field(default="", max_length=20_000)


class NewSession(_Entries):
    """A session to be made."""

    code: str = Field(max_length=60, examples=["S-07"])


class ChangedSession(_Entries):
    """Entries to be changed; what is left out stays, null or an empty text takes it away."""

    changes: int | None = CHANGES


class SessionKept(Answer):
    """A session as it is kept now."""

    code: str
    title: str
    when: datetime | None
    rig: str
    note: str
    changes: int


@router.get("")
def sessions(lab: CurrentLab) -> list[SessionOut]:
    """List the sessions, the newest first."""
    return [SessionOut(**_row(row)) for row in list_sessions(lab)]


@router.post("", status_code=201, responses=refusals(400, 409, 413))
def new_session(lab: CurrentLab, visitor: CurrentVisitor, asked: NewSession) -> SessionKept:
    """Make a session."""
    return _kept(add_session(lab, who=visitor.who, **asked.model_dump()))


@router.get("/{code}")
def session(lab: CurrentLab, code: Code) -> SessionWhole:
    """Give a session whole."""
    seen = session_view(lab, code, limit=1)
    return SessionWhole(
        **_row(seen.row),
        note=seen.note,
        seed=seen.seed,
        changes=seen.changes,
        recordings=[recording.sha256 for recording in seen.recordings],
        planned=[PlannedOut.model_validate(planned) for planned in seen.planned],
        groups=[_group(row) for row in seen.groups],
    )


@router.patch("/{code}", responses=refusals(400, 409, 413))
def change_session(
    lab: CurrentLab, visitor: CurrentVisitor, code: Code, asked: ChangedSession
) -> SessionKept:
    """Change entries of a session."""
    entries = asked.model_dump(exclude_unset=True)
    return _kept(edit_session(lab, code, who=visitor.who, changes=entries.pop("changes", None), **entries))


def _row(row: SessionRow) -> dict[str, Any]:
    return {
        "code": row.code, "title": row.title, "when": row.when, "rig": row.rig, "n_people": row.n_people,
        "n_recordings": row.n_recordings, "n_planned": row.n_planned, "strikes": counts(row.strikes),
    }  # fmt: skip


def _group(row: GroupRow) -> Group:
    return group(row, ("person", "type", "side"))


def _kept(record: SessionRecord) -> SessionKept:
    return SessionKept.model_validate(record)
