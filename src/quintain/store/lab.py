"""
A lab: a folder with its database, the original bytes, and a cache that may be deleted at any time.

``lab.toml`` names the lab and, where several stations share one, the URL of its database;
``lab.db`` is SQLite in WAL mode; ``recordings/`` holds bytes under their SHA-256.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import tomlkit
from sqlalchemy import Engine
from sqlalchemy.orm import Session as Database
from tomlkit.exceptions import TOMLKitError

from quintain.errors import LabError
from quintain.store.engine import WRITES, make_engine, shown
from quintain.store.migration import known_revisions, migrate, revision_of
from quintain.store.originals import Originals, sync_folder
from quintain.store.schema import Audit, LabFacts, StrikeType
from quintain.store.strike_types import OF_THE_TRADE
from quintain.store.trouble import READ_ONLY, explained
from quintain.version import __version__

__all__ = ["Lab", "Writer"]


class Writer:
    """A transaction that changes the lab in somebody's name; what it notes is written with the change."""

    def __init__(self, database: Database, who: str) -> None:
        self.database = database
        self.who = who

    def note(
        self,
        action: str,
        subject: str = "",
        subject_id: str | int = "",
        *,
        before: dict[str, Any] | None = None,
        after: dict[str, Any] | None = None,
    ) -> None:
        """Enter into the audit who did what."""
        self.database.add(
            Audit(
                who=self.who,
                action=action,
                subject=subject,
                subject_id=str(subject_id),
                before=before,
                after=after,
            )
        )


class Lab:
    """
    An open lab.

    Parameters
    ----------
    folder : path
        The lab's folder.
    engine : sqlalchemy.Engine
        Its database.
    read_only : bool
        Folder or database may not be written.
    """

    def __init__(self, folder: Path, engine: Engine, *, read_only: bool = False) -> None:
        self.folder = folder
        self.engine = engine
        self.read_only = read_only
        self.originals = Originals(folder / "recordings")
        self.cache = folder / "cache"
        self._here = threading.local()

    @classmethod
    def create(cls, folder: str | Path, *, name: str, invented: bool = False, url: str = "") -> Lab:
        """
        Make a new lab in an empty or new folder.

        Parameters
        ----------
        folder : path
            Where.
        name : str
            Name of the lab, for reports.
        invented : bool
            Everything in it is made up, and reports say so.
        url : str
            PostgreSQL database that holds its tables; a file in the folder if left out.

        Raises
        ------
        LabError
            If the folder holds something already, folder or database cannot be written to, or the
            database holds a lab already. What was begun is taken away again.
        """
        folder = Path(folder)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise LabError(f"{folder}: the folder is not empty; name a new one for the lab")
        except OSError as problem:
            raise LabError(f"{folder}: cannot make a lab here: {problem.strerror}") from None
        lab = cls(folder, make_engine(folder, url, new=True))
        try:
            lab._fill(name=name, invented=invented, url=url)
        except (LabError, OSError) as problem:
            lab.close()
            for left in (*folder.glob("lab.*"), folder / "recordings"):
                left.rmdir() if left.is_dir() else left.unlink(missing_ok=True)
            if isinstance(problem, LabError):
                raise
            raise LabError(f"{folder}: cannot make a lab here: {problem.strerror}") from None
        return lab

    def _fill(self, *, name: str, invented: bool, url: str) -> None:
        """Tables first, lab.toml last: a folder without it is no lab."""
        (self.folder / "recordings").mkdir()
        with self.writing("quintain") as writer:
            connection = writer.database.connection()
            if revision_of(connection) is not None:
                raise LabError(
                    f"{self.folder}: the database {shown(url)} holds a lab already; open that lab's folder, "
                    "which stations can share, or name an empty database"
                )
            migrate(connection)
            writer.database.add(LabFacts(id=1, uuid=str(uuid.uuid4()), name=name, invented=invented))
            writer.database.add_all(
                StrikeType(name=kind, family=family, own=False) for kind, family in OF_THE_TRADE.items()
            )
            writer.note("make lab", "lab", 1, after={"name": name, "quintain": __version__})
        write_settings(self.folder, name, url)

    @classmethod
    def open(cls, folder: str | Path) -> Lab:
        """
        Open a lab; one of an older version is brought to this one, after a copy of its lab.db was kept.

        Raises
        ------
        LabError
            If there is no lab, or it cannot be used: damaged, of a newer version, out of reach.
        """
        folder = Path(folder)
        url = _read_settings(folder)
        read_only = False
        if not url:
            file = folder / "lab.db"
            if not file.is_file():
                raise LabError(
                    f"{folder}: lab.db is gone; restore it from a backup. The original recordings lie apart "
                    "from it"
                )
            read_only = not (os.access(folder, os.W_OK) and os.access(file, os.W_OK))
        lab = cls(folder, make_engine(folder, url, read_only=read_only), read_only=read_only)
        try:
            lab._bring_up_to_date()
        except BaseException:
            lab.close()
            raise
        return lab

    def _bring_up_to_date(self) -> None:
        known = known_revisions()
        with self.reading() as database:
            found = revision_of(database.connection())
        if found is None:
            raise LabError(f"{self.folder}: the lab's database is empty; restore it from a backup")
        if found not in known:
            raise LabError(
                f"{self.folder}: the lab was used by a newer Quintain (its tables are of version {found}, "
                f"this one knows up to {known[-1]}); install that version: pip install --upgrade quintain"
            )
        if found == known[-1]:
            return
        if self.read_only:
            raise LabError(
                f"{self.folder}: the lab is of an older version ({found}, now {known[-1]}) and may not be "
                "written to; open it once with rights to write"
            )
        if self.engine.dialect.name == "sqlite":
            _keep_copy(self.folder / "lab.db", f"lab.db.before-{known[-1]}")
        with self.writing("quintain") as writer:
            steps = migrate(writer.database.connection())
            if steps:
                writer.note("migrate lab", "lab", 1, before={"tables": found}, after={"tables": steps[-1]})

    @property
    def facts(self) -> LabFacts:
        """Name and kind of the lab."""
        with self.reading() as database:
            facts = database.get(LabFacts, 1)
            if facts is None:
                raise LabError(f"{self.folder}: the lab's database is empty; restore it from a copy")
            return facts

    @contextmanager
    def reading(self) -> Iterator[Database]:
        """Look at the lab in one state, whatever others write meanwhile; nothing is written."""
        held: Database | None = getattr(self._here, "state", None)
        if held is not None:
            yield held
            return
        engine = self.engine
        if engine.dialect.name == "postgresql":  # as SQLite does by itself
            engine = engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
        with explained(self.folder), Database(engine, expire_on_commit=False) as database:
            yield database

    @contextmanager
    def one_state(self) -> Iterator[None]:
        """
        Let everything that this thread reads meanwhile see the lab in one state.

        Nothing may be written by this thread meanwhile; it would not be seen.
        """
        with self.reading() as database:
            before = getattr(self._here, "state", None)
            self._here.state = database
            try:
                yield
            finally:
                self._here.state = before

    @contextmanager
    def writing(self, who: str) -> Iterator[Writer]:
        """
        Change the lab in one transaction: all of it, or nothing.

        Writers take turns: the lock is taken at once, so what was looked at cannot change before it
        is written.

        Raises
        ------
        LabError
            If the lab may not be written to, or somebody else does not let go of it in time.
        """
        if getattr(self._here, "state", None) is not None:
            raise RuntimeError("nothing can be written while this thread holds the lab in one state")
        if self.read_only:
            raise LabError(f"{self.folder}: {READ_ONLY}")
        engine = self.engine.execution_options(**{WRITES: True})
        with explained(self.folder), Database(engine, expire_on_commit=False) as database, database.begin():
            database.connection()  # begins, and takes the lock
            yield Writer(database, who)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Lab:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def write_settings(folder: Path, name: str, url: str) -> None:
    """Write lab.toml, whole or not at all."""
    document = tomlkit.document()
    document["name"] = name
    if url:
        document["database"] = url
    part = folder / "lab.toml.part"
    with open(part, "w", encoding="utf-8") as file:
        file.write(tomlkit.dumps(document))
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, folder / "lab.toml")
    sync_folder(folder)


def _read_settings(folder: Path) -> str:
    """URL of the database that lab.toml names; empty where there is none."""
    file = folder / "lab.toml"
    try:
        settings = tomlkit.parse(file.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        if (folder / "lab.db").is_file():
            raise LabError(
                f"{folder}: lab.toml is missing beside lab.db; write it again with: quintain doctor {folder} "
                "--repair"
            ) from None
        raise LabError(f"{folder}: no lab here; make one with: quintain new {folder}") from None
    except OSError as problem:
        raise LabError(f"{file}: cannot be read: {problem.strerror}") from None
    except (UnicodeDecodeError, TOMLKitError) as problem:
        raise LabError(f"{file}: not valid TOML ({problem}); mend that line") from None
    url = settings.get("database", "")
    if not isinstance(url, str):
        raise LabError(f"{file}: database: expected an address in quotes, got {url!r}")
    return str(url)


def _keep_copy(file: Path, name: str) -> None:
    """Copy a database that others may be writing to, whole or not at all."""
    part = file.with_name(f"{name}.part")
    try:
        with closing(sqlite3.connect(file)) as origin, closing(sqlite3.connect(part)) as copy:
            origin.backup(copy)
        os.replace(part, file.with_name(name))
    except (OSError, sqlite3.Error) as problem:
        part.unlink(missing_ok=True)
        raise LabError(
            f"{file}: the lab is of an older version, and no copy of it can be kept beside it ({problem}); "
            "make room, then open it again"
        ) from None
