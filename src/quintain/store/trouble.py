"""What a database says went wrong, in words for the person in front of it."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import exc

from quintain.errors import ConflictError, LabError

__all__ = ["DAMAGED", "READ_ONLY", "explained"]

DAMAGED = (
    "the lab's database is damaged ({why}); copy the whole folder before anything else, then run "
    "quintain doctor, and restore lab.db from a backup. The original recordings lie apart from it"
)
READ_ONLY = "the lab may be read but not written to; ask for rights on the folder, or copy it elsewhere"
FULL = "the disk is full; nothing of this step was written and nothing is lost. Make room and repeat it"
BUSY = "another process is writing to the lab and did not end in time; nothing was written. Try again"

_NEARLY_NOTHING = 1 << 16
"""A disk with less room is full, whatever SQLite calls it. [byte]"""


@contextmanager
def explained(folder: Path) -> Iterator[None]:
    """Turn errors of the lab's database into a LabError that says what to do."""
    try:
        yield
    except (exc.DBAPIError, exc.TimeoutError) as problem:
        raise _in_words(folder, problem) from problem


def _in_words(folder: Path, problem: exc.SQLAlchemyError) -> LabError:
    original = getattr(problem, "orig", None)
    if isinstance(problem, exc.TimeoutError):
        return LabError(f"{folder}: too many at once use the lab's database; try again")
    if isinstance(problem, exc.IntegrityError):
        return _refused(folder, str(original))
    if isinstance(original, sqlite3.Error):
        return LabError(f"{folder}: {_of_sqlite(folder, original)}")
    return LabError(f"{folder}: {_of_server(original)}")


def _refused(folder: Path, why: str) -> LabError:
    why = " ".join(why.split())
    if "unique" in why.lower():
        return ConflictError(f"{folder}: it is in the lab already, nothing was written ({why}); look again")
    return LabError(f"{folder}: the lab does not allow this, nothing was written ({why})")


def _of_sqlite(folder: Path, problem: sqlite3.Error) -> str:
    why = str(problem)
    code = getattr(problem, "sqlite_errorcode", 0) & 0xFF
    match code:
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return BUSY
        case sqlite3.SQLITE_READONLY:
            return READ_ONLY
        case sqlite3.SQLITE_FULL:
            return FULL
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB:
            return DAMAGED.format(why=why)
        case sqlite3.SQLITE_CANTOPEN:
            gone = not (folder / "lab.db").exists()
            return (
                "lab.db is gone; restore it from a backup. The original recordings lie apart from it"
                if gone
                else f"the lab's database cannot be opened ({why}); look at the rights on folder and files"
            )
        case sqlite3.SQLITE_IOERR:
            try:
                full = shutil.disk_usage(folder).free < _NEARLY_NOTHING
            except OSError:
                full = False
            return FULL if full else f"the disk fails ({why}); nothing was written. Copy the lab elsewhere"
    if "no such table" in why or "no such column" in why:
        return DAMAGED.format(why=why)
    return f"the lab's database refuses ({why})"


def _of_server(problem: BaseException | None) -> str:
    """Words by the SQLSTATE of a PostgreSQL server (its manual, appendix A)."""
    state = getattr(problem, "sqlstate", None) or ""
    # Messages may repeat what was connected with.
    why = re.sub(r"password=\S+|//\S*@", "", " ".join(str(problem).split()))
    if state in ("53100", "53200"):
        return FULL
    if state in ("55P03", "40001", "40P01"):
        return BUSY
    if state in ("25006", "42501"):
        return f"{READ_ONLY} ({why})"
    if state in ("42P01", "42703") or state.startswith("XX"):
        return DAMAGED.format(why=why)
    if not state or state[:2] in ("08", "28", "3D", "57"):
        return (
            f"the lab's database server cannot be used ({why}); see that it runs and that the address "
            "under 'database' in lab.toml is right"
        )
    return f"the lab's database refuses ({why})"
