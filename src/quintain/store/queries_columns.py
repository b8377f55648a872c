"""
The strikes of a lab as columns in memory, for questions over many strikes.

A page in any order, or a mean over a million strikes, asks every row; columns answer in milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.store.schema import Analysis, Person, Recording, Result, Rig, RigVersion, Session, Strike

__all__ = [
    "COLUMNS",
    "NONE",
    "Changes",
    "Names",
    "StrikeColumns",
    "WordList",
    "dense",
    "read_columns",
    "read_names",
]

Column = NDArray[Any]
T = TypeVar("T")

NONE = -1
"""Stands in a column of keys where nothing is stated."""

QUANTITY_COLUMNS = tuple(column for q in STRIKE_QUANTITIES for column in (q, f"u_{q}"))

TEXTS = ("recording", "type", "side", "state", "method", "codes", "reason", "note")

COLUMNS: dict[str, type] = {
    "id": np.int64,
    "session_id": np.int32,
    "person_id": np.int32,
    "rig_id": np.int32,
    "position": np.int32,
    "series": np.int32,
    **dict.fromkeys(TEXTS, np.int32),
    "start": np.float64,
    "recording_when": np.float64,
    **dict.fromkeys(QUANTITY_COLUMNS, np.float64),
}
"""
Columns in the order in which they are read: keys with :data:`NONE` for nothing, texts as places in
their list of words, times and quantities in SI with nan for nothing.
"""

_RECORDING = list(COLUMNS).index("recording")

CHUNK = 20_000
"""Rows taken from the database at a time."""


class Names(NamedTuple):
    """What keys stand for, and when sessions were. [s since 1970 UTC]"""

    people: dict[int, str]
    sessions: dict[int, str]
    rigs: dict[int, str]
    session_when: dict[int, float]


class WordList:
    """Texts that repeat, each stored once; it only grows."""

    def __init__(self, words: Iterable[str] = ()) -> None:
        self._place = {word: i for i, word in enumerate(words)}
        self.words = tuple(self._place)

    def codes(self, texts: Iterable[str | None]) -> NDArray[np.int32]:
        """Place of each text; nothing counts as the empty one."""
        place = self._place
        known = [text or "" for text in texts]
        for text in sorted(set(known) - place.keys()):
            place[text] = len(place)
        if len(place) > len(self.words):
            self.words = tuple(place)
        return np.fromiter(map(place.__getitem__, known), dtype=np.int32, count=len(known))


class Changes(NamedTuple):
    """Rows that replace or follow those of a base, by their ids, and ids that are no more."""

    ids: NDArray[np.int64]
    arrays: Mapping[str, Column]
    removed: NDArray[np.int64]

    @classmethod
    def none(cls) -> Changes:
        """Nothing has changed."""
        nothing = np.empty(0, dtype=np.int64)
        return cls(nothing, {name: np.empty(0, dtype=kind) for name, kind in COLUMNS.items()}, nothing)

    def then(self, later: Changes) -> Changes:
        """Both, the later above the earlier."""
        keep = ~np.isin(self.ids, np.concatenate([later.ids, later.removed]))
        ids = np.concatenate([self.ids[keep], later.ids])
        order = np.argsort(ids)
        arrays = {
            name: np.concatenate([self.arrays[name][keep], later.arrays[name]])[order] for name in COLUMNS
        }
        removed = np.union1d(self.removed, later.removed)
        return Changes(ids[order], arrays, removed[~np.isin(removed, ids)])


class StrikeColumns:
    """
    All strikes of a lab with their results in force, in the order of their ids.

    Parameters
    ----------
    load : callable
        Gives a column of the base by its name.
    changes : Changes
        What has changed since.
    words : mapping of str to tuple of str
        What the codes of text columns stand for.
    names : Names
        What keys stand for.
    """

    def __init__(
        self,
        load: Callable[[str], Column],
        changes: Changes,
        words: Mapping[str, tuple[str, ...]],
        names: Names,
    ) -> None:
        self.load = load
        self.changes = changes
        self.words = words
        self.names = names
        self._made: dict[str, tuple[Any, tuple[Column, ...], Names]] = {}
        self._arrays: dict[str, Column] = {}
        self._keep: NDArray[np.bool_] | None = None
        self._order: NDArray[np.intp] | None = None
        self._at: NDArray[np.intp] | None = None
        base = load("id")
        if not (changes.ids.size or changes.removed.size):
            self._arrays["id"] = base
            return
        at = np.searchsorted(base, changes.ids)
        there = np.zeros(at.size, dtype=bool)
        inside = at < base.size
        there[inside] = base[at[inside]] == changes.ids[inside]
        if there.all() and not (changes.removed.size and np.isin(changes.removed, base).any()):
            self._at = at
            self._arrays["id"] = base
            return
        self._keep = ~np.isin(base, np.concatenate([changes.ids, changes.removed]))
        ids = np.concatenate([base[self._keep], changes.ids])
        if ids.size > 1 and (ids[1:] < ids[:-1]).any():
            self._order = np.argsort(ids)
            ids = ids[self._order]
        self._arrays["id"] = ids

    def __getitem__(self, name: str) -> Column:
        array = self._arrays.get(name)
        if array is None:
            array = self._arrays[name] = self._build(name)
        return array

    def _build(self, name: str) -> Column:
        base = self.load(name)
        if self._at is not None:
            base = base.copy()
            base[self._at] = self.changes.arrays[name]
        elif self._keep is not None:
            base = np.concatenate([base[self._keep], self.changes.arrays[name]])
            if self._order is not None:
                base = base[self._order]
        return base

    @property
    def n(self) -> int:
        """How many strikes there are."""
        return int(self["id"].size)

    def changed(self, later: Changes, words: Mapping[str, tuple[str, ...]], names: Names) -> StrikeColumns:
        """The columns after a change; what stays the same is shared."""
        new = StrikeColumns(self.load, self.changes.then(later), words, names)
        at = np.searchsorted(self["id"], later.ids)
        if new.n != self.n or not np.array_equal(self["id"][np.minimum(at, self.n - 1)], later.ids):
            return new
        for name, array in self._arrays.items():
            fresh = later.arrays[name]
            if not np.array_equal(array[at], fresh, equal_nan=fresh.dtype.kind == "f"):
                array = array.copy()
                array[at] = fresh
            new._arrays[name] = array
        shared = {id(array) for array in new._arrays.values()}
        for made, (value, needed, known) in self._made.items():
            if known is names and all(id(column) in shared for column in needed):
                new._made[made] = value, needed, known
        return new

    def made(self, name: str, of: Sequence[str], build: Callable[[], T]) -> T:
        """What is computed of some columns, once as long as neither they nor names change."""
        found = self._made.get(name)
        if found is None:
            found = self._made[name] = build(), tuple(self[column] for column in of), self.names
        value: T = found[0]
        return value

    def when(self) -> NDArray[np.float64]:
        """Time of each strike: its recording's, else its session's. [s since 1970 UTC]"""

        def build() -> NDArray[np.float64]:
            recorded = self["recording_when"]
            session = by_key(self["session_id"], self.names.session_when, np.nan)
            return np.where(np.isnan(recorded), session, recorded + self["start"])

        return self.made("when", ("recording_when", "session_id", "start"), build)


def by_key(keys: NDArray[np.int32], values: Mapping[int, float], nothing: float) -> NDArray[np.float64]:
    """The value of each key."""
    table = np.full(max(values, default=0) + 2, nothing)
    if values:
        table[np.fromiter(values, dtype=np.int64)] = np.fromiter(values.values(), dtype=float)
    out: NDArray[np.float64] = table[np.where((keys < 0) | (keys >= table.size), table.size - 1, keys)]
    return out


def dense(codes: NDArray[Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """
    Different codes, rising, and the place of every code among them.

    Examples
    --------
    >>> dense(np.array([7, -1, 7, 3]))
    (array([-1,  3,  7]), array([2, 0, 2, 1]))
    """
    if not codes.size:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    low, high = int(codes.min()), int(codes.max())
    if high - low > 4 * codes.size + 1000:
        there, place = np.unique(codes, return_inverse=True)
        return there.astype(np.int64), place.astype(np.int64)
    seen = np.zeros(high - low + 1, dtype=bool)
    seen[codes - low] = True
    place = np.cumsum(seen) - 1
    return np.flatnonzero(seen) + low, place[codes - low]


# -- from the tables


def read_names(database: Database) -> Names:
    """Codes of people and sessions and names of rigs."""
    people = dict(database.execute(select(Person.id, Person.code)).all())
    rigs = dict(database.execute(select(Rig.id, Rig.name)).all())
    sessions = database.execute(select(Session.id, Session.code, Session.when)).all()
    return Names(
        people,
        {id: code for id, code, _ in sessions},
        rigs,
        {id: when.timestamp() for id, _, when in sessions if when is not None},
    )


def read_columns(
    database: Database, words: Mapping[str, WordList], among: Select[*tuple[Any, ...]] | None = None
) -> dict[str, Column]:
    """
    Columns of all strikes, or of those whose ids a question gives, in the order of their ids.

    Parameters
    ----------
    database : sqlalchemy.orm.Session
        The lab's.
    words : mapping of str to WordList
        By text column; they grow by what is new.
    among : select, optional
        Ids of strikes.
    """
    statement = _everything()
    recordings = select(Recording.sha256, Recording.when).where(Recording.when.is_not(None))
    if among is not None:
        statement = statement.where(Strike.id.in_(among))
        of = select(Strike.recording_sha256).where(Strike.id.in_(among))
        recordings = recordings.where(Recording.sha256.in_(of))
    when = {sha256: at.timestamp() for sha256, at in database.execute(recordings) if at is not None}
    # past the object mapper, which costs more than the reading itself
    result = database.connection().execute(statement.execution_options(yield_per=CHUNK))
    parts: dict[str, list[Column]] = {name: [np.empty(0, dtype=kind)] for name, kind in COLUMNS.items()}
    for rows in result.partitions():
        for name, values in _parts(rows, words):
            parts[name].append(values)
        sha256 = [row[_RECORDING] for row in rows]
        parts["recording_when"].append(np.array([when.get(key, np.nan) for key in sha256], dtype=float))
    return {name: np.concatenate(arrays) for name, arrays in parts.items()}


def _parts(rows: Sequence[Any], words: Mapping[str, WordList]) -> Iterator[tuple[str, Column]]:
    read = ((name, kind) for name, kind in COLUMNS.items() if name != "recording_when")
    for (name, kind), values in zip(read, zip(*rows, strict=True), strict=True):
        if name in words:
            yield name, words[name].codes(values)
        elif kind is np.float64:
            yield name, np.array(values, dtype=float)
        else:
            yield name, np.array([NONE if v is None else v for v in values], dtype=kind)


@cache
def _everything() -> Select[*tuple[Any, ...]]:
    statement: Select[*tuple[Any, ...]] = (
        select(
            Strike.id,
            Strike.session_id,
            Strike.person_id,
            func.coalesce(RigVersion.rig_id, Recording.rig_id, Session.rig_id),
            Strike.position,
            Strike.series,
            Strike.recording_sha256,
            Strike.type,
            Strike.side,
            Strike.state,
            Analysis.method_sha256,
            Result.codes,
            Strike.reason,
            Strike.note,
            Strike.start,
            *(getattr(Result, column) for column in QUANTITY_COLUMNS),
        )
        .join(Recording, Recording.sha256 == Strike.recording_sha256)
        .outerjoin(Session, Session.id == Strike.session_id)
        .outerjoin(Result, Result.id == Strike.result_id)
        .outerjoin(Analysis, Analysis.id == Result.analysis_id)
        .outerjoin(RigVersion, RigVersion.version == Analysis.rig_version)
        .order_by(Strike.id)
    )
    return statement
