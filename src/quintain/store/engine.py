"""The lab's database: SQLite in WAL mode beside the recordings, or a PostgreSQL server by URL."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import NullPool, QueuePool

from quintain.errors import LabError

__all__ = ["WRITES", "make_engine", "shown"]

WAIT = 10.0
"""How long to wait for another process that is writing. [s]"""

WRITES = "quintain_writes"
"""Execution option of a connection whose transaction takes the lock for writing at once."""

_LOCK = 0x7175696E
"""Number of the lock that writers of a PostgreSQL lab take one after the other."""

_CACHE = 64 << 10
"""Pages of the database kept in memory. [KiB]"""


def make_engine(folder: Path, url: str = "", *, read_only: bool = False, new: bool = False) -> Engine:
    """
    Make ready to connect to the lab's database.

    Parameters
    ----------
    folder : path
        The lab's folder.
    url : str
        URL of a PostgreSQL database; empty for the SQLite file in the folder.
    read_only : bool
        The file may not be written.
    new : bool
        The file may be made; otherwise one that is gone is an error.

    Raises
    ------
    LabError
        If the URL cannot be used, or what speaks to the server is not installed.
    """
    if url:
        return _server(folder, url)
    connect = _connect(folder / "lab.db", read_only, new)
    # A reader without rights must not keep looking at a file as it was: it connects each time anew.
    # Others may open as many as they need: one that waited for another's could wait for ever.
    pool: dict[str, Any] = (
        {"poolclass": NullPool} if read_only else {"poolclass": QueuePool, "max_overflow": -1}
    )
    engine = create_engine("sqlite://", creator=connect, hide_parameters=True, **pool)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(WRITES)
        connection.exec_driver_sql("begin immediate" if writes else "begin")

    return engine


def shown(url: str) -> str:
    """An address as it may be shown: without user, password and options."""
    try:
        parts = make_url(url)
    except ArgumentError:
        return "the address under 'database'"
    return URL.create(
        parts.drivername.split("+")[0], host=parts.host, port=parts.port, database=parts.database
    ).render_as_string()


def _connect(file: Path, read_only: bool, new: bool) -> Callable[[], sqlite3.Connection]:
    def connect() -> sqlite3.Connection:
        mode = "mode=ro" if read_only else "mode=rwc" if new else "mode=rw"
        if read_only and not file.with_name("lab.db-wal").exists():
            # Nobody writes, and SQLite could not make the files by which it would notice.
            mode += "&immutable=1"
        connection = sqlite3.connect(
            f"{file.absolute().as_uri()}?{mode}",
            uri=True,
            timeout=WAIT,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            if not read_only:
                connection.execute("pragma journal_mode = wal")
                connection.execute("pragma synchronous = full")
            connection.execute("pragma foreign_keys = on")
            connection.execute(f"pragma cache_size = -{_CACHE}")
        except BaseException:
            connection.close()
            raise
        return connection

    return connect


def _server(folder: Path, url: str) -> Engine:
    try:
        parts = make_url(url)
    except ArgumentError:
        raise LabError(
            f"{folder}: the address of the lab's database cannot be understood; expected "
            "postgresql://USER@HOST/DATABASE"
        ) from None
    if parts.drivername.split("+")[0] not in ("postgresql", "postgres"):
        raise LabError(
            f"{folder}: a lab lies in SQLite or PostgreSQL, got {parts.drivername!r}; expected an address "
            "postgresql://USER@HOST/DATABASE"
        )
    try:
        engine = create_engine(
            parts.set(drivername="postgresql+psycopg"),
            pool_pre_ping=True,
            max_overflow=-1,
            connect_args={"connect_timeout": int(WAIT), "application_name": "quintain"},
            hide_parameters=True,
        )
    except ModuleNotFoundError:
        raise LabError(
            f"{folder}: the lab lies on a PostgreSQL server ({shown(url)}), which needs a part that is not "
            "installed; install it with: pip install 'quintain[postgres]'"
        ) from None

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get(WRITES):
            connection.execute(text(f"set local lock_timeout = '{WAIT:g}s'"))
            connection.execute(text(f"select pg_advisory_xact_lock({_LOCK})"))

    return engine
