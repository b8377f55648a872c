"""Take away what identifies a person and, if asked for, their data; what remains is said."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Text, cast, delete, func, or_, select, update
from sqlalchemy.orm import Session as Database

from quintain.domain.person import FACTS, IDENTIFYING
from quintain.store.batches import in_batches
from quintain.store.lab import Lab, Writer
from quintain.store.schema import (
    Analysis,
    Audit,
    Identity,
    Person,
    Recording,
    Result,
    Session,
    Source,
    Strike,
    StrikeType,
    Study,
)
from quintain.tasks.lab_rows import person_row

__all__ = ["Erasure", "erase_person", "scrub"]

ERASED = "erased"
"""What stands in the place of a name in file names and notes, and as the reason of a strike."""

_FREE_TEXTS = (
    (Recording, "name"), (Source, "path"), (Strike, "note"), (Strike, "reason"), (Session, "title"),
    (Session, "note"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Erasure:
    """What was taken away, and what remains with the reason, in words."""

    code: str
    removed: tuple[str, ...]
    remains: tuple[str, ...]


class _Held(NamedTuple):
    """Recordings that hold strikes of a person alone, and those that others share."""

    own: list[str]
    shared: list[str]


def erase_person(lab: Lab, code: str, *, data: bool = False, who: str) -> Erasure:
    """
    Take away what identifies a person.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The person. The code itself stays and is never used again.
    data : bool
        Also take away recordings' bytes, strikes and results, and what is stated under the code.
        Recordings that hold strikes of others are kept; the person's strikes in them lose tags and results.
    who : str
        In whose name.

    Returns
    -------
    Erasure
        What was taken away, what remains and why.

    Raises
    ------
    LabError
        If there is no such person, or the lab may not be written to.

    Notes
    -----
    The bytes go from the database's file and its log as well, by rewriting them. On disks that move
    blocks by themselves and in backups old bytes can live on, which no program can reach; the answer
    says so. Doing it again finishes what was interrupted.
    """
    removed: list[str] = []
    remains = [f"the code {code!r}, so that it is not given to somebody else, and the audit, under the code"]
    with lab.writing(who) as writer:
        database = writer.database
        if database.get_bind().dialect.name == "sqlite":
            database.connection().exec_driver_sql("pragma secure_delete = on")
        row = person_row(database, code, living=False)
        names = _names(database, row)
        held = _held(database, row.id) if data else _Held([], [])
        counts = _mask(database, names, row.id)
        fields = _clear(database, row, data)
        removed += [f"what was stated: {', '.join(fields)}"] if fields else []
        removed += [f"the name in {n} {what}" for what, n in counts.items() if n]
        if data:
            removed += _drop_data(writer, row, held)
            remains += _why_shared(database, held)
        else:
            remains += _kept_data(database, row)
        remains += _mentions(database, names)
        row.erased = row.erased or datetime.now(UTC)
        row.changes += 1
        writer.note(
            "erase person", "person", row.id,
            after={"fields": fields, "data": data, "recordings": len(held.own), "shared": len(held.shared)},
        )  # fmt: skip
        database.flush()
        for sha256 in held.own:
            _unlink(lab, sha256)
    shutil.rmtree(lab.cache, ignore_errors=True)
    remains += scrub(lab)
    remains.append("copies made elsewhere: backups, exports, and what the disk itself keeps of deleted files")
    return Erasure(code, tuple(removed), tuple(remains))


def scrub(lab: Lab) -> list[str]:
    """
    Rewrite the database's file, so that what was deleted is in it no more; say what stands in the way.

    Parameters
    ----------
    lab : Lab
        The lab.

    Returns
    -------
    list of str
        Where deleted bytes may still be; empty if nowhere in the lab's folder.
    """
    if lab.engine.dialect.name != "sqlite":
        return [
            "dead rows and the log of the PostgreSQL server, until its keeper runs VACUUM FULL on the lab's "
            "tables and the log has gone round"
        ]
    left = [
        f"the copy {copy.name} that was kept before a change of version; delete it when it is not needed"
        for copy in sorted(lab.folder.glob("lab.db.before-*"))
    ]
    try:
        with closing(sqlite3.connect(lab.folder / "lab.db", timeout=10, isolation_level=None)) as database:
            database.execute("pragma secure_delete = on")
            database.execute("vacuum")
            busy = database.execute("pragma wal_checkpoint(truncate)").fetchone()[0]
    except sqlite3.Error as problem:
        return [*left, f"old pages of lab.db: it could not be rewritten ({problem}); erase again to finish"]
    if busy:
        left.append("old pages in lab.db-wal, since another process is reading; erase again to finish")
    return left


def _names(database: Database, row: Person) -> list[str]:
    """Name and contact, to be looked for in free texts."""
    kept = database.get(Identity, row.id)
    return (
        [] if kept is None else [text for text in (kept.name.strip(), kept.contact.strip()) if len(text) > 2]
    )


def _clear(database: Database, row: Person, data: bool) -> list[str]:
    """Delete what identifies, the free note, and with the data also the facts; names of what was there."""
    kept = database.get(Identity, row.id)
    fields = [] if kept is None else [f"identity.{name}" for name in IDENTIFYING if getattr(kept, name)]
    if kept is not None:
        database.delete(kept)
    for name in FACTS if data else ("note",):
        if getattr(row, name):
            fields.append(name)
        setattr(row, name, "" if name in ("side", "note") else None)
    database.flush()
    database.expire(row, ["identity"])
    return fields


def _mask(database: Database, names: list[str], person_id: int) -> dict[str, int]:
    """Put a word in the place of the name in notes and file names; how many of each."""
    types = {word for name in database.scalars(select(StrikeType.name)) for word in name.casefold().split()}
    whole = [r"[\W_]*".join(map(re.escape, re.findall(r"[^\W_]+", name))) for name in names]
    parts = [w for name in names[:1] for w in re.findall(r"[^\W\d_]{3,}", name) if w.casefold() not in types]
    if not whole:
        return {}
    anywhere = re.compile("|".join(whole), re.IGNORECASE)
    # Single parts of a name are words of the language too: they are looked for in the person's own rows.
    own = re.compile(
        "|".join([*whole, *(rf"(?<![^\W\d_]){re.escape(part)}(?![^\W\d_])" for part in parts)]), re.IGNORECASE
    )
    mine = set(database.scalars(select(Recording.sha256).where(Recording.person_id == person_id)))
    mine |= set(database.scalars(select(Strike.recording_sha256).where(Strike.person_id == person_id)))
    counts: dict[str, int] = {}
    for table, column in _FREE_TEXTS:
        for row in database.scalars(select(table).where(getattr(table, column) != "")):
            text = getattr(row, column)
            sha256 = row.sha256 if isinstance(row, Recording) else getattr(row, "recording_sha256", None)
            pattern = own if sha256 in mine else anywhere
            if pattern.search(text):
                setattr(row, column, pattern.sub(ERASED, text))
                what = {"name": "names of recordings", "path": "paths of files"}.get(column, f"{column}s")
                counts[what] = counts.get(what, 0) + 1
    return counts


def _held(database: Database, person_id: int) -> _Held:
    """Recordings with strikes of a person, and motion that belongs to their own alone."""
    of_strikes = select(Strike.recording_sha256).where(Strike.person_id == person_id)
    own: list[str] = []
    shared: list[str] = []
    rows = database.scalars(
        select(Recording).where(or_(Recording.person_id == person_id, Recording.sha256.in_(of_strikes)))
    ).all()
    for row in rows:
        owners = set(
            database.scalars(
                select(Strike.person_id)
                .where(Strike.recording_sha256 == row.sha256, Strike.state != "gone")
                .distinct()
            )
        )
        # Untagged strikes in a recording of this person are theirs; in one of nobody they are unknown.
        alone = (owners <= {person_id, None} and row.person_id == person_id) or owners == {person_id}
        if row.person_id not in (None, person_id):
            alone = False
        (own if alone else shared).append(row.sha256)
    motions = {row.motion_sha256 for row in rows if row.motion_sha256 is not None and row.sha256 in own}
    own += sorted(motions - {*own, *shared})
    for sha256 in list(own):
        users = set(database.scalars(select(Recording.sha256).where(Recording.motion_sha256 == sha256)))
        if not users <= set(own):
            own.remove(sha256)
            shared.append(sha256)
    return _Held(own, shared)


def _drop_data(writer: Writer, row: Person, held: _Held) -> list[str]:
    database = writer.database
    analyses = select(Analysis.id).where(
        or_(Analysis.recording_sha256.in_(held.own), Analysis.motion_sha256.in_(held.own))
    )
    strikes = list(database.scalars(select(Strike.id).where(Strike.recording_sha256.in_(held.own))))
    elsewhere = list(
        database.scalars(
            select(Strike.id).where(Strike.person_id == row.id, Strike.recording_sha256.not_in(held.own))
        )
    )
    n_results = 0
    for some in in_batches([*strikes, *elsewhere]):
        database.execute(update(Strike).where(Strike.id.in_(some)).values(result_id=None))
        n_results += database.scalar(select(func.count()).where(Result.strike_id.in_(some))) or 0
        database.execute(delete(Result).where(Result.strike_id.in_(some)))
    for some in in_batches(elsewhere):
        database.execute(
            update(Strike)
            .where(Strike.id.in_(some))
            .values(
                person_id=None, planned_id=None, type=None, side="", series=None, note="", state="rejected",
                reason=ERASED, changes=Strike.changes + 1,
            )
        )  # fmt: skip
    for some in in_batches(strikes):
        database.execute(delete(Strike).where(Strike.id.in_(some)))
    database.execute(delete(Result).where(Result.analysis_id.in_(analyses)))
    database.execute(
        delete(Analysis).where(
            or_(Analysis.recording_sha256.in_(held.own), Analysis.motion_sha256.in_(held.own))
        )
    )
    database.execute(delete(Source).where(Source.recording_sha256.in_(held.own)))
    database.execute(
        update(Recording)
        .where(Recording.sha256.in_(held.own))
        .values(name=ERASED, gone=datetime.now(UTC), speeds="", alignment={}, reading={}, motion_sha256=None)
    )
    database.expire_all()
    return [
        f"the bytes of {len(held.own)} recordings with {len(strikes)} strikes",
        f"{n_results} results",
        *([f"tags and results of {len(elsewhere)} strikes in recordings of others"] if elsewhere else []),
    ]


def _why_shared(database: Database, held: _Held) -> list[str]:
    told = []
    for sha256 in held.shared:
        recording = database.get_one(Recording, sha256)
        told.append(
            f"the bytes of {recording.name} ({sha256[:12]}…): they also hold strikes of others, or of people "
            "nobody has named; a new analysis finds all of them again, without a person"
        )
    if held.own:
        told.append(
            f"that there were {len(held.own)} recordings, by their SHA-256, so that earlier reports can be "
            "understood"
        )
    return told


def _kept_data(database: Database, row: Person) -> list[str]:
    n = database.scalar(select(func.count()).where(Strike.person_id == row.id)) or 0
    facts = [name.replace("_", " ") for name in FACTS if getattr(row, name)]
    kept = [f"{n} strikes with their results and recordings, under the code"] if n else []
    return kept + ([f"{', '.join(facts)}, under the code"] if facts else [])


def _mentions(database: Database, names: list[str]) -> list[str]:
    """Texts that are not changed by rule but hold the name."""
    told = []
    # JSON spells letters beyond ASCII in a way of its own
    spelled = {*names, *(json.dumps(name)[1:-1] for name in names)}
    for table, column, what in (
        (Audit, func.coalesce(cast(Audit.before, Text), ""), "the audit, which is never changed"),
        (Audit, func.coalesce(cast(Audit.after, Text), ""), "the audit, which is never changed"),
        (Audit, Audit.who, "the audit as the one who acted"),
        (Study, Study.plan, "plans of studies"),
    ):
        n = sum(
            database.scalar(
                select(func.count()).select_from(table).where(column.icontains(name, autoescape=True))
            )
            or 0
            for name in spelled
        )
        if n:
            told.append(f"the name in {n} entries of {what}: somebody had typed it there")
    return list(dict.fromkeys(told))


def _unlink(lab: Lab, sha256: str) -> None:
    """Delete the bytes of a recording, wherever the lab keeps them."""
    places: list[Path] = list((lab.originals.folder / sha256[:2]).glob(f"{sha256}*"))
    places += lab.folder.glob(f"set-aside/**/{sha256}*")
    for place in places:
        if place.is_dir():
            shutil.rmtree(place)
        else:
            place.unlink(missing_ok=True)
