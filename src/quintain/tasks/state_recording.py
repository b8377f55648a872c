"""State facts of a recording that is in the lab, or take them back; what was analysed keeps its result."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.domain.person import SIDES
from quintain.errors import ConflictError, QuintainError, UsageError
from quintain.readers.registry import read
from quintain.store.lab import Lab, Writer
from quintain.store.results import renumber_strikes
from quintain.store.schema import Analysis, Audit, Person, Recording, Result, Rig, Session, Strike
from quintain.tasks.add_motion import (
    keep_speeds,
    parse_clock_offset,
    parse_normal,
    parse_sync,
    parse_track,
)
from quintain.tasks.lab_rows import person_row, recording_row, rig_row, session_row, type_name
from quintain.tasks.motion_fits import OF_MOTION, RecordedFile, check_motion, check_speeds
from quintain.tasks.review import change_strike

__all__ = ["FACTS", "Stated", "check_facts", "facts_of", "for_audit", "state_recording"]

FACTS = {
    "motion": "the recording of the limb's motion, by name or SHA-256",
    "speeds": "approach speeds in m/s with their 95 % uncertainty, as 8.2+-0.2; several by ;, or a table",
    "offset": "clock of the motion less that of the force, and how far off, in s: 28.9+-0.05",
    "sync": "instead of offset: channel of a pulse in both files, or force's and motion's: sync,trigger",
    "track": "one or three channels of the striking point in the motion, as hx,hy,hz",
    "normal": "direction into the target in the axes of sensor or track, as 1,0,0",
    "channel": "channel of the force, if there are several",
    "rig": "name of the rig",
    "session": "code of the session",
    "person": "code of the person",
    "type": "type of strike",
    "side": "left or right",
}
"""What may be stated of a recording; an empty text says that it is not known."""

_OF_STRIKES = ("motion", "speeds", *OF_MOTION)

_TYPED: dict[str, Callable[[str], object]] = {
    "offset": parse_clock_offset,
    "sync": parse_sync,
    "track": parse_track,
    "normal": parse_normal,
}


@dataclass(frozen=True, slots=True)
class Stated:
    """
    A recording as it is stated now.

    Parameters
    ----------
    sha256, name : str
        The recording.
    before, facts : mapping of str to str
        By :data:`FACTS`; a motion by its SHA-256.
    changes : int
        What the next statement must name to notice that somebody else was faster.
    n_strikes : int
        Strikes whose tags or session followed.
    """

    sha256: str
    name: str
    before: Mapping[str, str]
    facts: Mapping[str, str]
    changes: int
    n_strikes: int = 0

    @property
    def changed(self) -> tuple[str, ...]:
        """Names of the facts that are others now."""
        return tuple(name for name in self.facts if self.facts[name] != self.before[name])


def state_recording(
    lab: Lab, recording: str, facts: Mapping[str, str], *, changes: int | None = None, who: str
) -> Stated:
    """
    State facts of a recording, or take them back.

    Parameters
    ----------
    lab : Lab
        The lab.
    recording : str
        Its SHA-256, or the first six digits of it or more, or its name.
    facts : mapping of str to str
        By :data:`FACTS`; what is left out stays, an empty text takes back. With another motion, or without
        one, goes what was said of the earlier one and is not said anew. A recording that moves to another
        session takes that session's rig, unless it had one of its own.
    changes : int, optional
        The recording's counter of changes as it was seen; nothing is compared if left out.
    who : str
        In whose name, for the audit.

    Returns
    -------
    Stated
        Strikes that were found keep their results. Those that still say of who, what and side what the
        recording said before, follow it; others were told otherwise, by review or plan, and stay.

    Raises
    ------
    UsageError
        If something cannot be understood, contradicts another fact or makes no sense.
    MissingError
        If the lab holds no such recording, motion, session, rig or person.
    RecordingError, AnalysisError
        If a channel is not there, or pulses do not tell the clocks' offset.
    ConflictError
        If somebody stated something else since it was seen; nothing is written.
    """
    seen, new = check_facts(lab, recording, facts, changes=changes)
    with lab.writing(who) as writer:
        row = writer.database.get_one(Recording, seen.sha256)
        if row.changes != seen.changes or row.gone is not None:
            raise _conflict(writer.database, row)
        before = facts_of(writer.database, row)
        n_strikes = _enter(writer, row, before, new)
        stated = Stated(row.sha256, row.name, before, new, row.changes, n_strikes)
        if not stated.changed:
            return stated
        row.changes += 1
        writer.note(
            "state", "recording", row.sha256,
            before=for_audit({name: before[name] for name in stated.changed}),
            after=for_audit({name: new[name] for name in stated.changed}),
        )  # fmt: skip
        return Stated(row.sha256, row.name, before, new, row.changes, n_strikes)


def check_facts(
    lab: Lab,
    recording: str,
    facts: Mapping[str, str],
    *,
    changes: int | None = None,
    motion: RecordedFile | None = None,
) -> tuple[Stated, dict[str, str]]:
    """
    See that facts can be stated, and write nothing.

    Parameters
    ----------
    motion : RecordedFile, optional
        A motion that is not in the lab yet; ``facts`` name it by the SHA-256 that it will have.

    Returns
    -------
    seen : Stated
        The recording as it is.
    new : dict of str to str
        All of its facts as they would be.

    Raises
    ------
    QuintainError
        As :func:`state_recording`, which has the other parameters.
    """
    unknown = [name for name in facts if name not in FACTS]
    if unknown:
        raise UsageError(f"there is no fact {unknown[0]!r}; there are: {', '.join(FACTS)}")
    if not facts:
        raise UsageError(f"nothing is stated; name at least one of: {', '.join(FACTS)}")
    with lab.reading() as database:
        row = recording_row(database, recording)
        if changes is not None and row.changes != changes:
            raise _conflict(database, row)
        if row.gone is not None:
            raise UsageError(
                f"the bytes of {row.name} are gone, so nothing can be measured anew; import them"
            )
        before = facts_of(database, row)
        new = _merged(database, row, before, facts, outside=motion is not None)
        starts = _starts(database, row.sha256)
        there = database.get(Recording, new["motion"]) if new["motion"] else None
        if row.kind != "strikes":
            stray = [name for name in _OF_STRIKES if new[name]]
            if stray:
                raise UsageError(
                    f"{row.name} holds {row.kind}; {stray[0]} is stated of the recording of the strikes"
                )
    changed = {name for name in new if new[name] != before[name]}
    if changed & {"motion", "speeds", "channel", *OF_MOTION}:
        try:
            _check_files(lab, row, there, motion, new, changed, starts)
        except QuintainError as problem:
            raise type(problem)(_by_name(str(problem), lab, (row, there))) from None
    return Stated(row.sha256, row.name, before, before, row.changes), new


def _check_files(
    lab: Lab,
    row: Recording,
    there: Recording | None,
    outside: RecordedFile | None,
    new: Mapping[str, str],
    changed: Set[str],
    starts: Sequence[float],
) -> None:
    """Whether what changed fits the files; they are opened as far as that needs it."""
    force = _file(lab, row, new["channel"])
    if "channel" in changed and new["channel"]:
        read(force.path, **force.reading).trace(new["channel"])
    if "speeds" in changed and new["speeds"] and starts:
        check_speeds(new["speeds"], starts)
    moved = outside or (None if there is None else _file(lab, there))
    if moved is not None and changed & {"motion", "channel", *OF_MOTION}:
        check_motion(force, moved, new, starts=starts)


def facts_of(database: Database, row: Recording) -> dict[str, str]:
    """What is stated of a recording, by :data:`FACTS`; empty where nothing is."""
    return {
        "motion": row.motion_sha256 or "",
        "speeds": row.speeds,
        **{name: row.alignment.get(name, "") for name in OF_MOTION},
        "channel": row.channel,
        "rig": _text(database, select(Rig.name).where(Rig.id == row.rig_id)),
        "session": _text(database, select(Session.code).where(Session.id == row.session_id)),
        "person": _text(database, select(Person.code).where(Person.id == row.person_id)),
        "type": row.type or "",
        "side": row.side,
    }


def for_audit(facts: Mapping[str, str]) -> dict[str, str]:
    """Facts as the audit keeps them: of speeds how many, since what was measured may have to be erased."""
    told = dict(facts)
    if told.get("speeds"):
        table = "\n" in told["speeds"]
        n = len(told["speeds"].splitlines()) - 1 if table else told["speeds"].count(";") + 1
        told["speeds"] = f"{'a table of ' if table else ''}{n} stated"
    return told


# -- what is to be


def _merged(
    database: Database, row: Recording, before: Mapping[str, str], facts: Mapping[str, str], *, outside: bool
) -> dict[str, str]:
    """All facts as they will be; each understood, and none against another."""
    given = {name: text.strip() for name, text in facts.items()}
    if given.get("motion") and not outside:
        motion = recording_row(database, given["motion"])
        if motion.sha256 != before["motion"]:
            _check_kind(motion, row)
        given["motion"] = motion.sha256
    if given.get("speeds"):
        given["speeds"] = keep_speeds(given["speeds"])
    for name, parse in _TYPED.items():
        if given.get(name):
            parse(given[name])
    if given.get("type"):
        given["type"] = type_name(database, given["type"])
    if given.get("side", "") not in SIDES:
        raise UsageError(f"a side is 'left', 'right' or empty, got {given['side']!r}")
    if given.get("person") and given["person"] != before["person"]:
        person_row(database, given["person"])
    if given.get("rig"):
        rig_row(database, given["rig"])
    if given.get("session"):
        session = session_row(database, given["session"])
        if "rig" not in given and before["session"] != given["session"]:
            own = _text(database, select(Rig.name).join(Session).where(Session.id == row.session_id))
            if before["rig"] in ("", own):
                given["rig"] = _text(database, select(Rig.name).where(Rig.id == session.rig_id))
    new = {**before, **given}
    if new["motion"] != before["motion"]:
        new |= {name: given.get(name, "") for name in OF_MOTION}
    said = [name for name in OF_MOTION if new[name]]
    if said and not new["motion"]:
        raise UsageError(f"{said[0]} says something of a recording of the motion; state the motion as well")
    if new["offset"] and new["sync"]:
        raise UsageError("offset and sync both tell the offset between the clocks; give one of them")
    if (
        new["motion"]
        and new["speeds"]
        and (new["motion"], new["speeds"]) != (before["motion"], before["speeds"])
    ):
        there = "speeds" if before["speeds"] else "a motion"
        raise UsageError(
            f"there would be both a motion and speeds ({there} stated before); take one of them back"
        )
    return new


def _check_kind(motion: Recording, row: Recording) -> None:
    """Refuse what is no motion; force and motion may lie in one file."""
    if motion.gone is not None:
        raise UsageError(f"the bytes of {motion.name} are gone; import them again")
    if motion.kind != "motion" and motion.sha256 != row.sha256:
        raise UsageError(f"{motion.name} holds {motion.kind}, not the motion of a limb")


def _starts(database: Database, sha256: str) -> list[float]:
    """Starts of the strikes that the analysis in force found. [s]"""
    return list(
        database.scalars(
            select(Strike.start)
            .join(Result, Result.id == Strike.result_id)
            .join(Analysis, Analysis.id == Result.analysis_id)
            .where(Analysis.recording_sha256 == sha256, Analysis.current)
            .order_by(Strike.start)
        )
    )


def _file(lab: Lab, row: Recording, channel: str = "") -> RecordedFile:
    reading = lab.originals.settings(row.reading)
    return RecordedFile(lab.originals.path(row.sha256), row.name, reading, channel, row.duration)


def _by_name(message: str, lab: Lab, rows: Sequence[Recording | None]) -> str:
    """A message that calls recordings by their names and not by the lab's places."""
    for row in rows:
        place = None if row is None else lab.originals.find(row.sha256)
        if row is not None and place is not None:
            message = message.replace(str(place), row.name)
    return message


# -- into the lab


def _enter(writer: Writer, row: Recording, before: Mapping[str, str], new: Mapping[str, str]) -> int:
    """Write facts into the row, and have strikes follow; how many did."""
    database = writer.database
    was = {name: getattr(row, name) for name in ("session_id", "person_id", "type", "side")}
    row.motion_sha256 = new["motion"] or None
    row.speeds, row.channel = new["speeds"], new["channel"]
    row.alignment = {name: new[name] for name in OF_MOTION if new[name]}
    row.session_id = session_row(database, new["session"]).id if new["session"] else None
    row.rig_id = rig_row(database, new["rig"]).id if new["rig"] else None
    if new["person"] != before["person"]:
        row.person_id = person_row(database, new["person"]).id if new["person"] else None
    row.type, row.side = new["type"] or None, new["side"]
    others = {name: getattr(row, name) for name in was if getattr(row, name) != was[name]}
    if not others:
        return 0
    moved = {name: others.pop(name) for name in ("session_id",) if name in others}
    if moved:
        moved["planned_id"] = None
    strikes = database.scalars(select(Strike).where(Strike.recording_sha256 == row.sha256)).all()
    n_strikes = 0
    for strike in strikes:
        by_plan = strike.planned_id is not None
        same = {name: to for name, to in others.items() if getattr(strike, name) == was[name]}
        follows = moved | ({} if by_plan else same)
        if follows:
            change_strike(writer, strike, "state", follows, always=True)
            n_strikes += 1
    if moved:
        database.flush()
        for session_id in (was["session_id"], row.session_id):
            renumber_strikes(database, session_id, row.sha256)
    return n_strikes


def _conflict(database: Database, row: Recording) -> ConflictError:
    last = database.scalars(
        select(Audit)
        .where(Audit.subject == "recording", Audit.subject_id == row.sha256)
        .where(Audit.action == "state")
        .order_by(Audit.id.desc())
        .limit(1)
    ).first()
    by = f" by {last.who}" if last is not None else ""
    return ConflictError(
        f"what is stated of {row.name} was changed{by} since you looked at it. Nothing was written; look "
        "again"
    )


def _text(database: Database, query: Any) -> str:
    return database.scalar(query) or ""
