"""
A lab: a folder with its database, the original bytes, and a cache that may be deleted at any time.

``lab.toml`` names the lab and, where several stations share one, the URL of its database;
``lab.db`` is SQLite in WAL mode; ``recordings/`` holds bytes under their SHA-256.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import tomlkit
from sqlalchemy import Engine
from sqlalchemy.orm import Session as Database

from quintain.errors import LabError
from quintain.store.engine import make_engine
from quintain.store.originals import Originals
from quintain.store.schema import Audit, Base, LabFacts, StrikeType
from quintain.store.strike_types import OF_THE_TRADE

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
    """

    def __init__(self, folder: Path, engine: Engine) -> None:
        self.folder = folder
        self.engine = engine
        self.originals = Originals(folder / "recordings")
        self.cache = folder / "cache"

    @classmethod
    def create(cls, folder: str | Path, *, name: str, invented: bool = False, url: str = "") -> Lab:
        """
        Make a new lab in an empty or new folder.

        Raises
        ------
        LabError
            If the folder holds something already or cannot be written to.
        """
        folder = Path(folder)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise LabError(f"{folder}: the folder is not empty; name a new one for the lab")
            (folder / "recordings").mkdir()
            document = tomlkit.document()
            document["name"] = name
            if url:
                document["database"] = url
            (folder / "lab.toml").write_text(tomlkit.dumps(document), encoding="utf-8")
        except OSError as problem:
            raise LabError(f"{folder}: cannot make a lab here: {problem.strerror}") from None
        lab = cls(folder, make_engine(folder, url))
        Base.metadata.create_all(lab.engine)
        with lab.writing("quintain") as writer:
            writer.database.add(LabFacts(id=1, uuid=str(uuid.uuid4()), name=name, invented=invented))
            writer.database.add_all(
                StrikeType(name=kind, family=family, own=False) for kind, family in OF_THE_TRADE.items()
            )
            writer.note("make lab", "lab", 1, after={"name": name})
        return lab

    @classmethod
    def open(cls, folder: str | Path) -> Lab:
        """
        Open a lab.

        Raises
        ------
        LabError
            If there is no lab, or it cannot be used.
        """
        folder = Path(folder)
        file = folder / "lab.toml"
        if not file.is_file():
            raise LabError(f"{folder}: no lab here; make one with: quintain new {folder}")
        settings = tomlkit.parse(file.read_text(encoding="utf-8"))
        return cls(folder, make_engine(folder, str(settings.get("database", ""))))

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
        """Look at the lab; nothing is written."""
        with Database(self.engine, expire_on_commit=False) as database:
            yield database

    @contextmanager
    def writing(self, who: str) -> Iterator[Writer]:
        """Change the lab in one transaction: all of it, or nothing."""
        with Database(self.engine, expire_on_commit=False) as database, database.begin():
            yield Writer(database, who)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Lab:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
