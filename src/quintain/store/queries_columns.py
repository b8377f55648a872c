"""
The strikes of a lab as columns in memory, for questions over many strikes.

A page in any order, or a mean over a million strikes, asks every row; columns answer in milliseconds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, case, func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Person, Recording, Result, Rig, RigVersion, Session, Strike

__all__ = ["NONE", "Names", "StrikeColumns", "strike_columns"]

NONE = -1
"""Stands in a column of keys where nothing is stated."""

_KEYS = ("id", "session_id", "person_id", "rig_id", "position", "series", "result_id", "number")
_TEXTS = ("recording", "type", "side", "state", "method", "codes", "reason", "note")
_NUMBERS = ("start", "session_when", "recording_when")


class Names(NamedTuple):
    """What keys stand for."""

    people: dict[int, str]
    sessions: dict[int, str]
    rigs: dict[int, str]


@dataclass(frozen=True, eq=False)
class StrikeColumns:
    """
    All strikes of a lab with their results in force, by their id.

    ``keys`` are whole numbers with :data:`NONE` for nothing; ``texts`` are places in ``words`` of the
    same name; ``numbers`` are SI values with nan for nothing, among them every quantity and its ``u_``.
    """

    keys: Mapping[str, NDArray[np.int64]]
    texts: Mapping[str, NDArray[np.int32]]
    words: Mapping[str, tuple[str, ...]]
    numbers: Mapping[str, NDArray[np.float64]]
    names: Names
    _made: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def n(self) -> int:
        """How many strikes there are."""
        return int(self.keys["id"].size)

    def rows(self, rows: NDArray[np.intp]) -> StrikeColumns:
        """Some of the strikes."""
        return StrikeColumns(
            {k: column[rows] for k, column in self.keys.items()},
            {k: column[rows] for k, column in self.texts.items()},
            self.words,
            {k: column[rows] for k, column in self.numbers.items()},
            self.names,
        )

    def when(self) -> NDArray[np.float64]:
        """Time of each strike: its recording's, else its session's. [s since 1970 UTC]"""
        if "when" not in self._made:
            recorded = self.numbers["recording_when"]
            self._made["when"] = np.where(
                np.isnan(recorded), self.numbers["session_when"], recorded + self.numbers["start"]
            )
        made: NDArray[np.float64] = self._made["when"]
        return made


def strike_columns(lab: Lab) -> StrikeColumns:
    """The columns of a lab as it is now."""
    with lab.reading() as database:
        names = _names(database)
        rows = database.execute(_everything()).all()
    return _columns(rows, names)


def _names(database: Database) -> Names:
    return Names(
        dict(database.execute(select(Person.id, Person.code)).all()),
        dict(database.execute(select(Session.id, Session.code)).all()),
        dict(database.execute(select(Rig.id, Rig.name)).all()),
    )


def _everything() -> Select[Any]:
    rig = case(
        (RigVersion.rig_id.is_not(None), RigVersion.rig_id),
        else_=func.coalesce(Recording.rig_id, Session.rig_id),
    )
    return (
        select(
            Strike.id,
            Strike.session_id,
            Strike.person_id,
            rig.label("rig_id"),
            Strike.position,
            Strike.series,
            Strike.result_id,
            Result.number,
            Strike.recording_sha256.label("recording"),
            Strike.type,
            Strike.side,
            Strike.state,
            Analysis.method_sha256.label("method"),
            Result.codes,
            Strike.reason,
            Strike.note,
            Strike.start,
            Session.when.label("session_when"),
            Recording.when.label("recording_when"),
            *(getattr(Result, column) for q in STRIKE_QUANTITIES for column in (q, f"u_{q}")),
        )
        .join(Recording, Recording.sha256 == Strike.recording_sha256)
        .outerjoin(Session, Session.id == Strike.session_id)
        .outerjoin(Result, Result.id == Strike.result_id)
        .outerjoin(Analysis, Analysis.id == Result.analysis_id)
        .outerjoin(RigVersion, RigVersion.version == Analysis.rig_version)
        .order_by(Strike.id)
    )


def _columns(rows: Sequence[Any], names: Names) -> StrikeColumns:
    quantities = tuple(column for q in STRIKE_QUANTITIES for column in (q, f"u_{q}"))
    order = (*_KEYS, *_TEXTS, *_NUMBERS, *quantities)
    table = dict(zip(order, zip(*rows, strict=True), strict=True)) if rows else dict.fromkeys(order, ())
    keys = {k: np.array([NONE if v is None else v for v in table[k]], dtype=np.int64) for k in _KEYS}
    texts, words = {}, {}
    for k in _TEXTS:
        texts[k], words[k] = _coded(table[k])
    numbers = {
        "start": np.array(table["start"], dtype=float),
        "session_when": _seconds(table["session_when"]),
        "recording_when": _seconds(table["recording_when"]),
    }
    numbers |= {q: np.array(table[q], dtype=float) for q in quantities}
    return StrikeColumns(keys, texts, words, numbers, names)


def _coded(values: Iterable[str | None]) -> tuple[NDArray[np.int32], tuple[str, ...]]:
    place: dict[str, int] = {}
    codes = [place.setdefault(value or "", len(place)) for value in values]
    return np.array(codes, dtype=np.int32), tuple(place)


def _seconds(values: Iterable[datetime | None]) -> NDArray[np.float64]:
    return np.array([np.nan if v is None else v.timestamp() for v in values], dtype=float)
