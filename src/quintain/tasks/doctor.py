"""Is a lab whole: every byte what it was, every reference kept, nothing left behind. Repairs what can be."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import exists, func, or_, select, text
from sqlalchemy.orm import Session as Database

from quintain.errors import LabError
from quintain.store.lab import Lab, write_settings
from quintain.store.originals import Originals
from quintain.store.schema import Evidence, Job, LabFacts, Recording, Result, Rig, RigVersion, Source, Strike
from quintain.store.trouble import READ_ONLY
from quintain.tasks.progress import Progress, silent

__all__ = ["DoctorReport", "Finding", "doctor"]

ASIDE = "set-aside"
"""Folder of the lab for what has no place in it any more; nothing is ever deleted from there."""

UNDER_WAY = timedelta(minutes=10)
"""Bytes younger than this may belong to an import that is just going on, and a job without a sign of life
for longer has no process any more."""


@dataclass(frozen=True, slots=True)
class Finding:
    """
    Something that is not as it should be.

    ``code`` is stable; a ``fault`` means something is lost or may be, a note needs no action.
    """

    code: str
    subject: str
    message: str
    fault: bool = True
    repaired: bool = False


@dataclass(frozen=True, slots=True)
class DoctorReport:
    """What was looked at and found; ``n_gone`` recordings are marked as having lost their bytes."""

    folder: Path
    name: str
    n_recordings: int
    n_gone: int
    n_originals: int
    n_bytes: int
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        """No fault is left."""
        return not any(finding.fault and not finding.repaired for finding in self.findings)


def doctor(
    folder: str | Path,
    *,
    repair: bool = False,
    jobs: int | None = None,
    who: str = "quintain doctor",
    progress: Progress = silent,
) -> DoctorReport:
    """
    Look a lab over.

    Parameters
    ----------
    folder : path
        The lab.
    repair : bool
        Mend what can be: mark recordings whose bytes are lost, set aside what belongs to nothing, take
        away what interrupted work left, end jobs whose process is gone. No original is deleted.
    jobs : int, optional
        Threads that read and hash; one for each processor if left out.
    who : str
        In whose name repairs are entered into the audit.
    progress : Progress
        Told of bytes that were checked.

    Returns
    -------
    DoctorReport
        Also of a lab whose database cannot be used: the originals are checked against their names then.

    Raises
    ------
    LabError
        If there is no lab, or repairs are asked for where nothing may be written.
    """
    folder = Path(folder)
    findings = list(_settings(folder, repair))
    try:
        lab = Lab.open(folder)
    except LabError as problem:
        if not (folder / "recordings").is_dir():
            raise
        findings.append(Finding("database", "lab.db", str(problem)))
        return _without_database(folder, findings, jobs, progress)
    with lab:
        if repair and lab.read_only:
            raise LabError(f"{folder}: {READ_ONLY}")
        try:
            findings += _database(lab)
            with lab.reading() as database:
                findings += _references(database)
                rows = {row.sha256: row for row in database.scalars(select(Recording))}
            name = lab.facts.name
        except LabError as problem:
            findings.append(Finding("database", "lab.db", str(problem)))
            return _without_database(folder, findings, jobs, progress)
        broken, n, size = _check_bytes(lab.originals, jobs, progress)
        findings += _originals(lab, rows, broken, repair, who)
        findings += _left_behind(lab, repair)
        findings += _jobs(lab, repair, who)
        with lab.reading() as database:
            gone = database.scalar(select(func.count()).where(Recording.gone.is_not(None))) or 0
    return DoctorReport(folder, name, len(rows), gone, n, size, tuple(findings))


def _without_database(
    folder: Path, findings: list[Finding], jobs: int | None, progress: Progress
) -> DoctorReport:
    """The originals alone, which carry their hash in their name."""
    broken, n, size = _check_bytes(Originals(folder / "recordings"), jobs, progress)
    damaged = [_damaged(sha256, sha256[:12], why) for sha256, why in broken.items()]
    return DoctorReport(folder, folder.resolve().name, 0, 0, n, size, (*findings, *damaged))


def _settings(folder: Path, repair: bool) -> Iterator[Finding]:
    if (folder / "lab.toml").exists() or not (folder / "lab.db").is_file():
        return
    found = Finding("settings-missing", "lab.toml", "lab.toml is missing beside lab.db")
    if not repair:
        yield replace(found, message=found.message + "; --repair writes it again")
        return
    try:
        write_settings(folder, folder.resolve().name, "")
        with Lab.open(folder) as lab:
            write_settings(folder, lab.facts.name, "")
    except OSError as problem:
        raise LabError(f"{folder}: lab.toml cannot be written: {problem.strerror}") from None
    yield replace(found, message="lab.toml was missing and was written again", repaired=True)


def _database(lab: Lab) -> Iterator[Finding]:
    if lab.engine.dialect.name != "sqlite":
        return
    with lab.reading() as database:
        for (line,) in database.execute(text("pragma integrity_check(20)")):
            if line != "ok":
                yield Finding(
                    "database", "lab.db",
                    f"the database is damaged: {line}; copy the whole folder first, then restore lab.db from "
                    "a backup",
                )  # fmt: skip
        for table, row, other, _ in database.execute(text("pragma foreign_key_check")):
            yield Finding("reference", f"{table} {row}", f"a row of {table} points to no row of {other}")
        kept = set(database.scalars(text("select name from sqlite_master where type = 'trigger'")))
        if not {"audit_no_update", "audit_no_delete"} <= kept:
            yield Finding("audit", "audit", "the audit is not protected against changes any more")


def _references(database: Database) -> Iterator[Finding]:
    """What no foreign key holds."""
    wrong = select(Strike.id).join(Result, Strike.result_id == Result.id).where(Result.strike_id != Strike.id)
    for strike in database.scalars(wrong):
        yield Finding("reference", f"strike {strike}", "its result in force is that of another strike")
    lost = select(Rig.name).where(Rig.current != "", ~exists().where(RigVersion.version == Rig.current))
    for rig in database.scalars(lost):
        yield Finding("reference", f"rig {rig}", "the version of the rig in use is not in the lab")
    known = set(database.scalars(select(Recording.sha256)))
    for evidence, inputs in database.execute(select(Evidence.id, Evidence.inputs)):
        for sha256 in set(inputs) - known:
            yield Finding(
                "reference", f"evidence {evidence}", f"it rests on {sha256[:12]}…, which is not in the lab"
            )
    if database.get(LabFacts, 1) is None:
        yield Finding("database", "lab", "the lab has lost its name; restore lab.db from a backup")


def _check_bytes(
    originals: Originals, jobs: int | None, progress: Progress
) -> tuple[dict[str, str], int, int]:
    """Hash all originals: what is wrong with those that are broken, their number and their bytes."""
    entries = list(originals.entries())
    sizes = {place: _size(place) for _, place in entries}
    total, done = float(sum(sizes.values())), 0.0
    broken: dict[str, str] = {}
    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        work = {pool.submit(originals.broken, sha256, place): (sha256, place) for sha256, place in entries}
        try:
            for future in as_completed(work):
                sha256, place = work[future]
                if why := future.result():
                    broken[sha256] = why
                done += sizes[place]
                progress("check", done, total)
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    return broken, len(entries), int(total)


def _size(place: Path) -> int:
    if place.is_dir():
        return sum(file.stat().st_size for file in place.rglob("*") if file.is_file())
    return place.stat().st_size


def _damaged(sha256: str, name: str, why: str) -> Finding:
    return Finding("original-damaged", sha256, f"the original of {name} is damaged: {why}")


def _originals(
    lab: Lab, rows: dict[str, Recording], broken: dict[str, str], repair: bool, who: str
) -> Iterator[Finding]:
    there = dict(lab.originals.entries())
    settings = {
        str(value).removeprefix("original:")
        for row in rows.values()
        for value in row.reading.values()
        if str(value).startswith("original:")
    }
    for sha256, row in rows.items():
        if sha256 in broken:
            found = _damaged(sha256, row.name, broken[sha256])
            if repair:
                _set_aside(lab, there[sha256])
                _mark(lab, sha256, who, gone=True)
                found = replace(found, repaired=True)
            yield replace(found, message=f"{found.message}; {_remedy(lab, row, repair)}")
        elif sha256 not in there and row.gone is None:
            found = Finding("original-missing", sha256, f"the original of {row.name} is missing")
            if repair:
                _mark(lab, sha256, who, gone=True)
                found = replace(found, repaired=True)
            yield replace(found, message=f"{found.message}; {_remedy(lab, row, repair)}")
        elif sha256 in there and row.gone is not None:
            found = Finding(
                "original-back", sha256, f"the original of {row.name} is there again", fault=False
            )
            if repair:
                _mark(lab, sha256, who, gone=False)
            yield replace(found, repaired=repair)
    for sha256, place in there.items():
        if sha256 in rows:
            continue
        if sha256 in settings:
            if sha256 in broken:
                yield _damaged(sha256, f"a layout ({place.name})", broken[sha256])
            continue
        age = datetime.now(UTC) - datetime.fromtimestamp(place.stat().st_mtime, UTC)
        if age < UNDER_WAY:
            message = "bytes of no recording, stored just now: an import may be going on, or was interrupted"
            yield Finding("original-unclaimed", sha256, f"{message}; repeat it and it goes on", fault=False)
            continue
        message = f"bytes of no recording ({place.name}), left by an import that was interrupted"
        if repair:
            message += f"; set aside as {_set_aside(lab, place).relative_to(lab.folder)}"
        yield Finding("original-unclaimed", sha256, message, fault=False, repaired=repair)
    for sha256 in settings - set(there):
        yield Finding("original-missing", sha256, "the layout that recordings are read with is missing")


def _remedy(lab: Lab, row: Recording, repaired: bool) -> str:
    with lab.reading() as database:
        known = select(Source.path).where(Source.recording_sha256 == row.sha256).order_by(Source.id.desc())
        source = database.scalar(known.limit(1))
    marked = "it is marked as gone and its results stay; " if repaired else ""
    return f"{marked}import it again from {source or 'a copy'}"


def _mark(lab: Lab, sha256: str, who: str, *, gone: bool) -> None:
    with lab.writing(who) as writer:
        row = writer.database.get_one(Recording, sha256)
        before = None if row.gone is None else row.gone.isoformat()
        row.gone = datetime.now(UTC) if gone else None
        after = None if row.gone is None else row.gone.isoformat()
        writer.note(
            "original lost" if gone else "original found",
            "recording",
            sha256,
            before={"gone": before},
            after={"gone": after},
        )


def _set_aside(lab: Lab, place: Path) -> Path:
    try:
        (lab.folder / ASIDE).mkdir(exist_ok=True)
        target = lab.folder / ASIDE / place.name
        number = 1
        while target.exists():
            number += 1
            target = lab.folder / ASIDE / f"{number}-{place.name}"
        return Path(shutil.move(place, target))
    except OSError as problem:
        raise LabError(f"{place}: cannot be set aside: {problem.strerror}") from None


def _left_behind(lab: Lab, repair: bool) -> Iterator[Finding]:
    for part in [*lab.originals.left_behind(), *lab.folder.glob("lab.*.part")]:
        if repair:
            with suppress(OSError):
                shutil.rmtree(part) if part.is_dir() else part.unlink()
        done = "; taken away" if repair else ""
        yield Finding(
            "left-behind", part.name, f"half a file of interrupted work{done}", fault=False,
            repaired=repair and not part.exists(),
        )  # fmt: skip


def _jobs(lab: Lab, repair: bool, who: str) -> Iterator[Finding]:
    before = datetime.now(UTC) - UNDER_WAY
    stuck = select(Job).where(
        Job.state == "running", Job.added < before, or_(Job.touched.is_(None), Job.touched < before)
    )
    with lab.reading() as database:
        found: list[Any] = list(database.scalars(stuck))
    for job in found:
        if repair:
            with lab.writing(who) as writer:
                row = writer.database.get_one(Job, job.id)
                row.state, row.ended = "failed", datetime.now(UTC)
                row.message = "the process that did it ended; ask for it again"
                writer.note("end job", "job", job.id, before={"state": "running"}, after={"state": "failed"})
        message = f"{job.kind} has shown no sign of life for {UNDER_WAY.seconds // 60} minutes and more"
        yield Finding("job-stuck", f"job {job.id}", message, fault=False, repaired=repair)
