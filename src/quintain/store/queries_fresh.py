"""
Columns of strikes that are never stale: kept in memory and in the cache, checked at every question.

The database's own triggers write down which strikes changed. A question first asks for the last entry;
where it is not the one that the columns are of, what changed since is read anew. Each entry carries a
random token, so that a lab restored from a copy is not taken for its own future.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import threading
import weakref
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session as Database

from quintain.errors import LabError
from quintain.store.lab import Lab
from quintain.store.queries_columns import (
    COLUMNS,
    TEXTS,
    Changes,
    Column,
    Names,
    StrikeColumns,
    WordList,
    read_columns,
    read_names,
)
from quintain.store.schema import LabFacts, StrikeChange

__all__ = ["one_state", "strike_columns"]

WORTH_KEEPING = 20_000
"""Fewer strikes than this are read from the tables sooner than columns are kept for them."""


class _Mark(NamedTuple):
    """The last entry that columns are of."""

    id: int
    token: int


class _Known:
    """Columns of one open lab."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.mark = _Mark(-1, 0)
        self.columns: StrikeColumns | None = None
        self.words: dict[str, WordList] = {}
        self.n_base = 0


_of_lab: weakref.WeakKeyDictionary[Lab, _Known] = weakref.WeakKeyDictionary()
_making = threading.Lock()


@contextmanager
def one_state(lab: Lab) -> Iterator[None]:
    """
    Let all that this thread asks of a lab meanwhile see it in one state, as :meth:`Lab.one_state`.

    For what is gathered from many questions, such as a page: its parts fit each other, and what changed
    since the last page is found out once.
    """
    with lab.one_state():
        strike_columns(lab)  # the first question takes the state, which must not be older than the columns
        yield


def strike_columns(lab: Lab) -> StrikeColumns:
    """
    The strikes of a lab as they are now.

    Raises
    ------
    LabError
        If the lab cannot be read, or its cache was damaged (and has been thrown away).
    """
    with _making:
        known = _of_lab.setdefault(lab, _Known())
    # the lock first: a state is taken by its first question, so it is never older than the columns
    with known.lock, lab.reading() as database:
        seen: StrikeColumns | None = database.info.get("strike_columns")
        if seen is not None:  # of this very state
            return seen
        now = _last(database)
        if known.columns is None:
            _from_cache(lab, known, database)
        if known.columns is None or not _is_past(database, known.mark):
            _read_all(lab, known, database, now)
        elif known.mark != now:
            _catch_up(lab, known, database, now)
        assert known.columns is not None
        database.info["strike_columns"] = known.columns
        return known.columns


def _last(database: Database) -> _Mark:
    row = database.execute(
        select(StrikeChange.id, StrikeChange.token).order_by(StrikeChange.id.desc()).limit(1)
    ).first()
    return _Mark(0, 0) if row is None else _Mark(*row)


def _is_past(database: Database, mark: _Mark) -> bool:
    """Whether an entry is part of this lab's past."""
    if mark.id == 0:
        return True
    return database.scalar(select(StrikeChange.token).where(StrikeChange.id == mark.id)) == mark.token


def _read_all(lab: Lab, known: _Known, database: Database, now: _Mark) -> None:
    known.words = {name: WordList() for name in TEXTS}
    arrays = read_columns(database, known.words)
    _rebase(lab, known, arrays, read_names(database), now, database)


def _catch_up(lab: Lab, known: _Known, database: Database, now: _Mark) -> None:
    columns = known.columns
    assert columns is not None
    since = StrikeChange.id > known.mark.id
    n = database.scalar(
        select(func.count(StrikeChange.strike_id.distinct())).where(since, StrikeChange.id <= now.id)
    )
    if (n or 0) > columns.n // 2 + 1000:
        _read_all(lab, known, database, now)
        return
    among = select(StrikeChange.strike_id).where(since, StrikeChange.strike_id.is_not(None))
    arrays = read_columns(database, known.words, among)
    touched = np.array(database.scalars(among.distinct()).all(), dtype=np.int64)
    renamed = database.scalar(select(StrikeChange.id).where(since, StrikeChange.strike_id.is_(None)).limit(1))
    names = columns.names if renamed is None else read_names(database)
    later = Changes(arrays["id"], arrays, np.setdiff1d(touched, arrays["id"]))
    known.columns = columns.changed(later, _words(known), names)
    known.mark = now
    changed = known.columns.changes
    if changed.ids.size + changed.removed.size > WORTH_KEEPING + known.n_base // 10:
        everything = {name: known.columns[name] for name in COLUMNS}
        _rebase(lab, known, everything, names, now, database)


def _rebase(
    lab: Lab, known: _Known, arrays: dict[str, Column], names: Names, now: _Mark, database: Database
) -> None:
    known.n_base = arrays["id"].size
    known.columns = StrikeColumns(arrays.__getitem__, Changes.none(), _words(known), names)
    known.mark = now
    if known.n_base >= WORTH_KEEPING:
        _keep(lab.cache / "strikes", arrays, known, database.scalar(select(LabFacts.uuid)) or "")


def _words(known: _Known) -> dict[str, tuple[str, ...]]:
    return {name: words.words for name, words in known.words.items()}


# -- the cache


def _keep(folder: Path, arrays: dict[str, Column], known: _Known, uuid: str) -> None:
    """All columns in a folder of their own, or nothing: a cache is no reason to stop."""
    part = ""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part = tempfile.mkdtemp(prefix="incoming.", dir=folder)
        told: dict[str, Any] = {
            "lab": uuid,
            "mark": known.mark,
            "columns": {name: zlib.crc32(_bytes(arrays[name])) for name in COLUMNS},
            "words": _words(known),
        }
        for name in COLUMNS:
            with _lasting(Path(part) / f"{name}.npy") as file:
                np.save(file, arrays[name])
        with _lasting(Path(part) / "columns.json") as file:
            file.write(json.dumps(told).encode())
        place = folder / f"{known.mark.id:012d}-{known.mark.token}"
        os.chmod(part, 0o755)
        os.replace(part, place)
        for other in folder.iterdir():
            if other.name < place.name:
                shutil.rmtree(other, ignore_errors=True)
    except OSError:
        if part:
            shutil.rmtree(part, ignore_errors=True)


@contextmanager
def _lasting(path: Path) -> Iterator[BinaryIO]:
    """Open a file to write that is on the disk once it is closed."""
    with path.open("wb") as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def _from_cache(lab: Lab, known: _Known, database: Database) -> None:
    """Take the newest columns of this lab's past, if there are any; only what is asked for is read."""
    uuid = database.scalar(select(LabFacts.uuid))
    folder = lab.cache / "strikes"
    for place in sorted(folder.glob("[0-9]*"), reverse=True) if folder.is_dir() else ():
        try:
            told = json.loads((place / "columns.json").read_bytes())
            mark, sums = _Mark(*told["mark"]), told["columns"]
            words = {name: WordList(told["words"][name]) for name in TEXTS}
        except (OSError, ValueError, KeyError, TypeError):
            continue
        if told["lab"] == uuid and list(sums) == list(COLUMNS) and _is_past(database, mark):
            load = _Kept(place, sums)
            known.words, known.mark = words, mark
            known.columns = StrikeColumns(load, Changes.none(), _words(known), read_names(database))
            known.n_base = known.columns.n
            return


class _Kept:
    """Columns of a folder, each checked when it is first asked for."""

    def __init__(self, place: Path, sums: dict[str, int]) -> None:
        self.place = place
        self.sums = sums
        self.loaded: dict[str, Column] = {}

    def __call__(self, name: str) -> Column:
        if name not in self.loaded:
            try:
                array = np.load(self.place / f"{name}.npy", allow_pickle=False)
                whole = array.dtype == COLUMNS[name] and zlib.crc32(_bytes(array)) == self.sums[name]
            except (OSError, ValueError):
                whole = False
            if not whole:
                shutil.rmtree(self.place, ignore_errors=True)
                raise LabError(
                    f"{self.place}: the cache of the lab's strikes was damaged and has been thrown away; "
                    "nothing of the lab is lost; ask again"
                )
            self.loaded[name] = array
        return self.loaded[name]


def _bytes(array: Column) -> memoryview:
    return np.ascontiguousarray(array).view(np.uint8).data
