"""Who did what, and when: the audit, which only ever grows."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, func, select

from quintain.errors import UsageError
from quintain.report.whole_file import write_whole
from quintain.store.export.cells import guard
from quintain.store.lab import Lab
from quintain.store.schema import Audit

__all__ = ["AuditEntry", "AuditFilter", "AuditPage", "export_audit", "list_audit"]


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One act; ``before`` and ``after`` hold what changed, by name, or only the names for people."""

    id: int
    at: datetime
    who: str
    action: str
    subject: str
    subject_id: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class AuditFilter:
    """Entries that meet every condition; empty asks nothing. ``since`` counts in, ``until`` does not."""

    who: str = ""
    action: str = ""
    subject: str = ""
    subject_id: str = ""
    since: datetime | None = None
    until: datetime | None = None


class AuditPage(NamedTuple):
    """Some entries, the newest first, of all that a filter means."""

    entries: tuple[AuditEntry, ...]
    total: int
    offset: int


def list_audit(
    lab: Lab, chosen: AuditFilter | None = None, *, offset: int = 0, limit: int = 100
) -> AuditPage:
    """
    Some of the entries, the newest first.

    Raises
    ------
    UsageError
        If the page is none, or a time has no offset from UTC.
    """
    if offset < 0 or limit < 1:
        raise UsageError(f"a page starts at 0 or later and holds 1 or more, got {offset} and {limit}")
    where = _conditions(chosen or AuditFilter())
    with lab.reading() as database:
        total = database.scalar(select(func.count()).select_from(Audit).where(*where)) or 0
        rows = database.scalars(
            select(Audit).where(*where).order_by(Audit.id.desc()).offset(offset).limit(limit)
        )
        return AuditPage(tuple(map(_entry, rows)), total, offset)


def export_audit(lab: Lab, path: str | Path, chosen: AuditFilter | None = None) -> int:
    """
    Write entries into a file, the oldest first.

    Parameters
    ----------
    lab : Lab
        The lab.
    path : path
        A file that ends in .csv or in .jsonl (a JSON object a line).

    Returns
    -------
    int
        How many entries were written.

    Raises
    ------
    UsageError
        If the ending is another one.
    OutputError
        If the file cannot be written.
    """
    path = Path(path)
    entries = list(_all(lab, chosen or AuditFilter()))
    if path.suffix == ".jsonl":
        text = "".join(json.dumps(_plain(entry), ensure_ascii=False) + "\n" for entry in entries)
    elif path.suffix == ".csv":
        text = _as_csv(entries)
    else:
        raise UsageError(f"{path}: the audit is written as .csv or .jsonl")
    write_whole(path, text.encode())
    return len(entries)


def _all(lab: Lab, chosen: AuditFilter) -> Iterator[AuditEntry]:
    with lab.reading() as database:
        query = select(Audit).where(*_conditions(chosen)).order_by(Audit.id)
        yield from map(_entry, database.scalars(query.execution_options(yield_per=1000)))


def _conditions(chosen: AuditFilter) -> list[ColumnElement[bool]]:
    where: list[ColumnElement[bool]] = [
        getattr(Audit, name) == getattr(chosen, name)
        for name in ("who", "action", "subject", "subject_id")
        if getattr(chosen, name)
    ]
    for time in (chosen.since, chosen.until):
        if time is not None and time.tzinfo is None:
            raise UsageError(f"{time:%Y-%m-%d %H:%M} must state its offset from UTC")
    if chosen.since is not None:
        where.append(Audit.at >= chosen.since)
    if chosen.until is not None:
        where.append(Audit.at < chosen.until)
    return where


def _entry(row: Audit) -> AuditEntry:
    return AuditEntry(row.id, row.at, row.who, row.action, row.subject, row.subject_id, row.before, row.after)


def _plain(entry: AuditEntry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in entry.__slots__} | {"at": entry.at.isoformat()}


def _as_csv(entries: list[AuditEntry]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(AuditEntry.__slots__)
    for entry in entries:
        row = _plain(entry)
        for name in ("before", "after"):
            row[name] = "" if row[name] is None else json.dumps(row[name], ensure_ascii=False)
        writer.writerow(guard(v) if isinstance(v, str) else v for v in row.values())
    return out.getvalue()
