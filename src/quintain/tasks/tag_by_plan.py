"""Tag the strikes of a session from its plan, where it is sure which is which."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.domain.plan_match import PlanMatch, Seen, match_plan
from quintain.domain.protocol import PlannedStrike
from quintain.errors import UsageError
from quintain.store.batches import in_batches
from quintain.store.lab import Lab, Writer
from quintain.store.schema import Audit, Person, Planned, Recording, Session, Strike
from quintain.tasks.lab_rows import session_row
from quintain.tasks.review import change_strike

__all__ = ["WARM_UP", "TagReport", "UnsureRun", "tag_by_plan"]

WARM_UP = "warm-up"
"""Reason of strikes that were planned as warm-ups."""


@dataclass(frozen=True, slots=True)
class UnsureRun:
    """Strikes from one place in the session to another that cannot be told apart, and what they may be."""

    first: int
    last: int
    may_be: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TagReport:
    """
    What became of a session's strikes.

    ``tagged`` are numbers of strikes that were tagged (or would be, in a dry run), ``extra`` of those
    that are none of the plan; ``unsure`` is left as it was.
    """

    tagged: tuple[int, ...]
    extra: tuple[int, ...]
    unsure: tuple[UnsureRun, ...]
    n_strikes: int
    n_planned: int
    dry_run: bool


@dataclass(frozen=True, slots=True)
class _Found:
    row: Strike
    recording: Recording
    by_hand: bool


def tag_by_plan(
    lab: Lab,
    code: str,
    *,
    missing: int = 0,
    extra: int = 0,
    recording_is: str = "",
    gap: float | None = None,
    by_name: bool = False,
    warm_ups_recorded: bool = True,
    dry_run: bool = False,
    who: str,
) -> TagReport:
    """
    Give the strikes of a session the person, type, side and series of its plan.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The session.
    missing, extra : int
        At most so many planned strikes were not made or not found; at most so many that were found are
        none of the plan. Strikes that a reviewer rejected may be extra without being counted.
    recording_is : str
        'block' or 'person' if every recording holds one block, or one person, of the plan.
    gap : float, optional
        Strikes of the plan that follow each other by this time or more are of different blocks, those that
        follow sooner are of the same. [s]
    by_name : bool
        Recordings without a time come in the order of their names.
    warm_ups_recorded : bool
        Warm-ups of the plan are among the strikes; they are rejected as such.
    dry_run : bool
        Write nothing.

    Returns
    -------
    TagReport
        What was told for sure, and what could not be told and was left as it was.

    Raises
    ------
    LabError
        If there is no such session.
    UsageError
        If it has no plan or no strikes, the order of its recordings is not known, or nothing fits.

    Notes
    -----
    A strike is tagged only if all orders of events that fit everything stated agree; see
    :func:`quintain.domain.plan_match.match_plan`. What recordings say and what was tagged by hand is taken
    as true and left alone.
    """
    if recording_is not in ("", "block", "person"):
        raise UsageError(f"a recording is a 'block' or a 'person' of the plan, got {recording_is!r}")
    if recording_is and gap is not None:
        raise UsageError("either recordings or gaps tell blocks apart; state one of the two")
    if gap is not None and gap <= 0:
        raise UsageError(f"the gap must lie above 0 s, got {gap:g} s")
    with lab.writing(who) as writer:
        database = writer.database
        session = session_row(database, code)
        planned = _planned(database, session, warm_ups_recorded)
        found = _found(database, session, by_name)
        if not planned or not found:
            lacking = "plan" if not planned else "strikes; analyse its recordings first"
            raise UsageError(f"session {code!r} has no {lacking}")
        match = _match(database, found, [one for _, one in planned], missing, extra, recording_is, gap)
        if not match.possible:
            raise UsageError(_nothing_fits(code, found, planned, missing, extra))
        tagged = [] if dry_run else _tag(writer, found, planned, match)
        if dry_run:
            tagged = [one.row.id for i, one in enumerate(found) if match.sure(i) and not one.by_hand]
        return TagReport(
            tuple(tagged),
            tuple(one.row.id for i, one in enumerate(found) if match.choices[i] == {None}),
            tuple(_unsure(found, match)),
            len(found),
            len(planned),
            dry_run,
        )


def _planned(database: Database, session: Session, warm_ups: bool) -> list[tuple[Planned, PlannedStrike]]:
    rows = database.execute(
        select(Planned, Person.code)
        .join(Person, Person.id == Planned.person_id)
        .where(Planned.session_id == session.id)
        .order_by(Planned.position)
    )
    every = [(p, PlannedStrike(p.position, p.block, code, p.type, p.side, p.rest)) for p, code in rows]
    return [(row, one) for row, one in every if warm_ups or not one.warm_up]


def _found(database: Database, session: Session, by_name: bool) -> list[_Found]:
    rows = database.execute(
        select(Strike, Recording)
        .join(Recording, Recording.sha256 == Strike.recording_sha256)
        .where(Strike.session_id == session.id, Strike.state != "gone")
    ).all()
    recordings = {recording.sha256: recording for _, recording in rows}
    timeless = [recording for recording in recordings.values() if recording.when is None]
    if timeless and len(recordings) > 1 and not (by_name and len(timeless) == len(recordings)):
        raise UsageError(
            f"{len(timeless)} of {len(recordings)} recordings of session {session.code!r} state no time "
            f"(the first is {timeless[0].name}), so the order of the strikes is not known"
            + ("" if by_name else "; if none does, they can be taken in the order of their names")
        )
    by_hand = _by_hand(database, [strike.id for strike, _ in rows])
    found = [_Found(strike, recording, strike.id in by_hand) for strike, recording in rows]
    if by_name:
        return sorted(found, key=lambda f: (f.recording.name, f.recording.sha256, f.row.start))
    return sorted(found, key=lambda f: (_at(f) or 0.0, f.recording.sha256, f.row.start))


def _by_hand(database: Database, ids: Sequence[int]) -> set[int]:
    """Strikes whose tags somebody gave by hand after any plan did."""
    entries = [
        row
        for some in in_batches(ids)
        for row in database.execute(
            select(Audit.id, Audit.subject_id, Audit.action, Audit.after)
            .where(Audit.subject == "strike", Audit.action.in_(("retag", "tag by plan", "undo")))
            .where(Audit.subject_id.in_([str(id) for id in some]))
            .order_by(Audit.id)
        )
    ]
    acts: dict[int, dict[int, str]] = {id: {} for id in ids}
    for entry, subject, action, after in entries:
        of_strike = acts[int(subject)]
        if action == "undo":
            of_strike.pop((after or {}).get("undone", 0), None)
        else:
            of_strike[entry] = action
    return {id for id, kept in acts.items() if kept and kept[max(kept)] == "retag"}


def _match(
    database: Database,
    found: Sequence[_Found],
    planned: Sequence[PlannedStrike],
    missing: int,
    extra: int,
    recording_is: str,
    gap: float | None,
) -> PlanMatch:
    people = {row.id: row.code for row in database.execute(select(Person.id, Person.code))}
    seen = [_seen(one, people) for one in found]
    groups: Sequence[Hashable] | None = [p.person for p in planned] if recording_is == "person" else None
    try:
        return match_plan(
            seen, planned, missing=missing, extra=extra, groups=groups,
            apart=_apart(found, bool(recording_is), gap),
        )  # fmt: skip
    except ValueError as problem:
        raise UsageError(str(problem)) from None


def _seen(one: _Found, people: dict[int, str]) -> Seen:
    """What is known of a strike for sure: by hand, or by its recording."""
    told: Strike | Recording = one.row if one.by_hand else one.recording
    person = people.get(told.person_id, "") if told.person_id is not None else ""
    dropped = one.row.state == "rejected" and one.row.reason != WARM_UP
    return Seen(person, told.type or "", told.side, may_be_extra=dropped)


def _apart(
    found: Sequence[_Found], by_recording: bool, gap: float | None
) -> Callable[[int, int], bool | None] | None:
    if by_recording:
        return lambda i, k: found[i].recording.sha256 != found[k].recording.sha256
    if gap is None:
        return None
    times = [_at(one) for one in found]
    starts = [one.row.start for one in found]

    def by_gap(i: int, k: int) -> bool | None:
        if found[i].recording.sha256 == found[k].recording.sha256:
            return starts[k] - starts[i] >= gap
        before, after = times[i], times[k]
        return None if before is None or after is None else after - before >= gap

    return by_gap


def _at(one: _Found) -> float | None:
    """Time of a strike, seconds since 1970; None where its recording states none. [s]"""
    return None if one.recording.when is None else one.recording.when.timestamp() + one.row.start


def _tag(
    writer: Writer,
    found: Sequence[_Found],
    planned: Sequence[tuple[Planned, PlannedStrike]],
    match: PlanMatch,
) -> list[int]:
    """Tag what is sure and not yet so; tags given by hand stay."""
    act, done = uuid.uuid4().hex, []
    row_of = {one.position: row for row, one in planned}
    for i, one in enumerate(found):
        sure = match.sure(i)
        if sure is None or one.by_hand:
            continue
        asked, place = row_of[sure.position], match.place(i)
        tags = {
            "person_id": asked.person_id,
            "type": asked.type,
            "side": asked.side,
            "series": None if sure.warm_up else sure.block,
            "planned_id": None if place is None else planned[place][0].id,
        }
        if sure.warm_up and one.row.state != "rejected":
            tags |= {"state": "rejected", "reason": WARM_UP}
        if any(getattr(one.row, name) != value for name, value in tags.items()):
            change_strike(writer, one.row, "tag by plan", tags, act=act)
            done.append(one.row.id)
    return done


def _unsure(found: Sequence[_Found], match: PlanMatch) -> list[UnsureRun]:
    runs = []
    for first, last in match.unsure:
        words: dict[str, None] = {}
        for i in range(first, last + 1):
            for j in sorted(match.choices[i], key=lambda j: (j is None, j or 0)):
                words[_words(None if j is None else match.planned[j])] = None
        runs.append(UnsureRun(found[first].row.position, found[last].row.position, tuple(words)))
    return runs


def _words(one: PlannedStrike | None) -> str:
    if one is None:
        return "none of the plan"
    block = "warm-up" if one.warm_up else f"block {one.block}"
    return f"{one.person} {one.type} {one.side}".rstrip() + f" ({block})"


def _nothing_fits(
    code: str,
    found: Sequence[_Found],
    planned: Sequence[tuple[Planned, PlannedStrike]],
    missing: int,
    extra: int,
) -> str:
    off = len(planned) - len(found)
    lead = (
        f"session {code!r} has {len(found)} strikes for {len(planned)} that were planned, with at most "
        f"{missing} missing and {extra} extra"
    )
    if off > missing:
        return f"{lead}; at least {off} are missing: say how many may be"
    if -off > extra and not any(one.row.state == "rejected" for one in found):
        return f"{lead}; at least {-off} are extra: say how many may be, or reject those that are no strikes"
    return (
        f"{lead}; no order of events fits that and what recordings, gaps and tags by hand say. Allow "
        "more, or tag by hand"
    )
