"""The lab's database: SQLite in WAL mode beside the recordings, or a PostgreSQL server by URL."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event

__all__ = ["make_engine"]

WAIT = 10.0
"""How long to wait for another process that is writing. [s]"""


def make_engine(folder: Path, url: str = "") -> Engine:
    """
    Connect to the lab's database.

    Parameters
    ----------
    folder : path
        The lab's folder.
    url : str
        URL of a database server; empty for the SQLite file in the folder.
    """
    if url:
        return create_engine(url, pool_pre_ping=True)
    engine = create_engine(f"sqlite:///{folder / 'lab.db'}", connect_args={"timeout": WAIT})

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: Any) -> None:
        cursor = connection.cursor()
        cursor.execute("pragma journal_mode = wal")
        cursor.execute("pragma synchronous = full")
        cursor.execute("pragma foreign_keys = on")
        cursor.close()

    return engine
