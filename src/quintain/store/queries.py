"""Pages of strikes in any order, their neighbours, counts, and columns for statistics."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import MissingError, UsageError
from quintain.store.batches import in_batches
from quintain.store.lab import Lab
from quintain.store.queries_columns import NONE, QUANTITY_COLUMNS, TEXTS, StrikeColumns, by_key, dense
from quintain.store.queries_filter import StrikeFilter, matching
from quintain.store.queries_fresh import strike_columns
from quintain.store.schema import Recording, Result, Strike

__all__ = [
    "FACTORS",
    "HEADLINE",
    "SORTS",
    "Neighbours",
    "Observed",
    "StrikePage",
    "StrikeRow",
    "Value",
    "count_strikes",
    "factor_levels",
    "matching_strikes",
    "neighbours",
    "observations",
    "strike_page",
]

HEADLINE = ("peak_force", "impulse", "contact_time", "effective_mass", "approach_speed")
"""Quantities that a page shows unless asked for others."""

FACTORS = ("type", "side", "session", "series", "rig", "state", "recording", "person")
"""What strikes can be grouped by."""

SORTS = (
    "order", "id", "when", "start", "session", "person", "type", "side", "state", "rig", "series", "flags",
    *STRIKE_QUANTITIES, *(f"u_{name}" for name in STRIKE_QUANTITIES),
)  # fmt: skip
"""
What a page can be sorted by. 'order' is the order of the lab: by session, then by place in it. What is
not stated comes last either way.
"""


class Value(NamedTuple):
    """A value and its standard uncertainty, in the SI unit of the glossary; None where not stated."""

    value: float | None
    u: float | None


@dataclass(frozen=True, slots=True)
class StrikeRow:
    """
    A strike as a list shows it.

    ``person``, ``session`` and ``rig`` are codes or names, empty where none is stated; ``when`` is the
    time of contact where the recording tells it, else that of the session.
    """

    id: int
    recording_sha256: str
    recording: str
    session: str
    position: int
    start: float
    when: datetime | None
    person: str
    type: str
    side: str
    series: int | None
    state: str
    reason: str
    note: str
    changes: int
    rig: str
    result_id: int | None
    number: int | None
    codes: tuple[str, ...]
    quantities: Mapping[str, Value]


class StrikePage(NamedTuple):
    """Some rows of all that a filter means; ``offset`` is how many come before."""

    rows: tuple[StrikeRow, ...]
    total: int
    offset: int


class Neighbours(NamedTuple):
    """Where a strike stands among others: ``place`` from 1; ``before`` and ``after`` are ids."""

    before: int | None
    after: int | None
    place: int
    total: int


class Observed(NamedTuple):
    """
    Columns for statistics, one entry a strike, in the order of the lab.

    ``columns`` holds ``id``, ``quantity``, ``person``, ``value``, ``u`` and the factors asked for;
    ``left_out`` counts, by reason, the strikes that could not serve.
    """

    columns: Mapping[str, NDArray[Any]]
    left_out: Mapping[str, int]


_OWN = (
    "id", "recording_sha256", "session_id", "position", "start", "person_id", "type", "side", "series",
    "state", "reason", "note", "changes", "result_id",
)  # fmt: skip
_OF_OTHERS = (Recording.name, Result.number, Result.codes)


def strike_page(
    lab: Lab,
    chosen: StrikeFilter | None = None,
    *,
    sort: str = "order",
    descending: bool = False,
    offset: int = 0,
    limit: int = 100,
    quantities: Sequence[str] = HEADLINE,
) -> StrikePage:
    """
    Some of the strikes that a filter means.

    Parameters
    ----------
    lab : Lab
        The lab.
    chosen : StrikeFilter, optional
        Which strikes; all that are not gone if left out.
    sort : str
        From :data:`SORTS`; equal strikes stand by their id.
    descending : bool
        Largest first.
    offset, limit : int
        How many to pass over, and how many to give at most.
    quantities : sequence of str
        Which quantities the rows carry.

    Raises
    ------
    UsageError
        If the filter, the sort or a quantity names something that there is not.
    """
    unknown = [name for name in quantities if name not in STRIKE_QUANTITIES]
    if unknown:
        raise UsageError(f"a strike has no {unknown[0]!r}; choose from {', '.join(STRIKE_QUANTITIES)}")
    if offset < 0 or limit < 1:
        raise UsageError(f"a page starts at 0 or later and holds 1 or more, got {offset} and {limit}")
    columns = strike_columns(lab)
    rows = np.flatnonzero(matching(columns, chosen or StrikeFilter()))
    picked = _slice(_sort_key(columns, sort)[rows], rows, offset, limit, descending)
    return StrikePage(_rows(lab, columns, columns["id"][picked], quantities), int(rows.size), offset)


def count_strikes(lab: Lab, chosen: StrikeFilter | None = None) -> int:
    """How many strikes a filter means."""
    return int(np.count_nonzero(matching(strike_columns(lab), chosen or StrikeFilter())))


def matching_strikes(
    lab: Lab, chosen: StrikeFilter | None = None, *, sort: str = "order", descending: bool = False
) -> tuple[int, ...]:
    """Ids of all strikes that a filter means, in order."""
    columns = strike_columns(lab)
    rows = np.flatnonzero(matching(columns, chosen or StrikeFilter()))
    picked = _slice(_sort_key(columns, sort)[rows], rows, 0, max(rows.size, 1), descending)
    return tuple(columns["id"][picked].tolist())


def neighbours(
    lab: Lab,
    strike_id: int,
    chosen: StrikeFilter | None = None,
    *,
    sort: str = "order",
    descending: bool = False,
) -> Neighbours:
    """
    The strikes before and after one, among those that a filter means.

    Raises
    ------
    LabError
        If there is no such strike.

    Notes
    -----
    A strike that the filter does not mean (any more) is counted in, so that review goes on from where
    it was when the strike has just been accepted.
    """
    columns = strike_columns(lab)
    at = int(np.searchsorted(columns["id"], strike_id))
    if at == columns.n or columns["id"][at] != strike_id:
        raise MissingError(f"there is no strike {strike_id} in the lab")
    keep = matching(columns, chosen or StrikeFilter())
    keep[at] = True
    rows = np.flatnonzero(keep)
    key = _sort_key(columns, sort)[rows]
    here = int(np.searchsorted(rows, at))
    first = _ahead(key, here, descending)
    order = _slice(key, rows, max(first - 1, 0), 3 if first else 2, descending)
    ids = columns["id"][order].tolist()
    place = ids.index(strike_id)
    before = ids[place - 1] if place else None
    after = ids[place + 1] if place + 1 < len(ids) else None
    return Neighbours(before, after, first + 1, int(rows.size))


def observations(
    lab: Lab,
    chosen: StrikeFilter | None = None,
    quantity: str = "peak_force",
    factors: Sequence[str] = ("type", "side", "session"),
) -> Observed:
    """
    Values of one quantity with who and what, for statistics.

    Strikes that do not state the quantity, the person or one of the factors are left out and counted.

    Raises
    ------
    UsageError
        If the quantity or a factor is not known.
    """
    if quantity not in STRIKE_QUANTITIES:
        raise UsageError(f"a strike has no {quantity!r}; choose from {', '.join(STRIKE_QUANTITIES)}")
    columns = strike_columns(lab)
    keep = matching(columns, chosen or StrikeFilter())
    left_out = {}
    value = columns[quantity]
    missing = {f"no {quantity}": np.isnan(value)}
    levels = {}
    for name in dict.fromkeys(("person", *factors)):
        codes, words = factor_levels(columns, name)
        levels[name] = (codes, words)
        missing[f"no {name}"] = np.array([word == "" for word in words], dtype=bool)[codes]
    for reason, absent in missing.items():
        left_out[reason] = int(np.count_nonzero(keep & absent))
        keep &= ~absent
    rows = np.flatnonzero(keep)
    rows = _slice(_sort_key(columns, "order")[rows], rows, 0, max(rows.size, 1), False)
    out: dict[str, NDArray[Any]] = {
        "id": columns["id"][rows],
        "quantity": np.full(rows.size, quantity),
        "value": value[rows],
        "u": columns[f"u_{quantity}"][rows],
    }
    out |= {name: np.array(words or ("",))[codes[rows]] for name, (codes, words) in levels.items()}
    if "series" in out:
        out["series"] = columns["series"][rows]
    return Observed(out, {reason: n for reason, n in left_out.items() if n})


def factor_levels(columns: StrikeColumns, name: str) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """
    Codes of a factor for every strike, and what they stand for; codes rise with the names' order.

    Raises
    ------
    UsageError
        If there is no such factor.
    """
    if name not in FACTORS:
        raise UsageError(f"strikes cannot be grouped by {name!r}; choose from {', '.join(FACTORS)}")
    column = name if name in (*TEXTS, "series") else f"{name}_id"
    return columns.made(f"levels of {name}", (column,), lambda: _levels(columns, name, column))


def _levels(columns: StrikeColumns, name: str, column: str) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    if name in TEXTS:
        codes, words = columns[column].astype(np.int64), columns.words[column]
    else:
        ids, codes = dense(columns[column])
        known = {"person": columns.names.people, "session": columns.names.sessions, "rig": columns.names.rigs}
        names = known.get(name, {})
        words = tuple("" if id == NONE else names.get(id, str(id)) for id in ids.tolist())
    order = sorted(range(len(words)), key=lambda i: (words[i] == "", words[i]))
    rank = np.empty(len(words), dtype=np.int64)
    rank[order] = np.arange(len(words))
    return (rank[codes] if words else codes), tuple(words[i] for i in order)


def _sort_key(columns: StrikeColumns, sort: str) -> NDArray[np.float64]:
    """A number a strike to sort by; nan, which comes last, where nothing is stated."""
    if sort not in SORTS:
        raise UsageError(f"strikes cannot be sorted by {sort!r}; choose from {', '.join(SORTS)}")
    if sort == "start" or sort in QUANTITY_COLUMNS:
        key: NDArray[np.float64] = columns[sort]
        return key
    if sort == "when":
        return columns.when()
    if sort == "id":
        return columns["id"].astype(float)
    if sort == "flags":
        count = np.array([len(word.split()) for word in columns.words["codes"]] or [0], dtype=float)
        return count[columns["codes"]]
    if sort == "order":
        needed = ("session_id", "recording", "position")
        return columns.made("order", needed, lambda: _lab_order(columns))
    codes, words = factor_levels(columns, sort)
    stated = np.array([np.nan if word == "" else i for i, word in enumerate(words)] or [0.0])
    return stated[codes]


def _lab_order(columns: StrikeColumns) -> NDArray[np.float64]:
    """Sessions by their time, strikes by their place; strikes of no session last, by recording."""
    names = columns.names
    order = sorted(names.sessions, key=lambda id: (names.session_when.get(id, np.inf), id))
    rank = by_key(columns["session_id"], {id: float(i) for i, id in enumerate(order)}, np.nan)
    rank = np.where(np.isnan(rank), len(order) + columns["recording"], rank)
    key: NDArray[np.float64] = rank * 2.0**31 + columns["position"]
    return key


def _slice(
    key: NDArray[np.float64], rows: NDArray[np.intp], offset: int, limit: int, descending: bool
) -> NDArray[np.intp]:
    """
    Rows from ``offset`` in the order of their keys, equal ones and those without a key by their place.

    Only what lies between the first and the last key of the slice is sorted; equal ones, of which there may
    be a million, stand in their order already.
    """
    end = min(offset + limit, rows.size)
    if end <= offset:
        return rows[:0]
    key = -key if descending else key
    low, high = np.partition(key, [offset, end - 1])[[offset, end - 1]]
    if np.isnan(high):  # comes last, but is equal to nothing
        key = np.where(np.isnan(key), np.inf, key)
        low, high = (np.inf if np.isnan(end_key) else end_key for end_key in (low, high))
    least = np.flatnonzero(key == low)
    between = np.flatnonzero((key > low) & (key < high))
    most = np.flatnonzero(key == high) if high > low else least[:0]
    passed = offset - int(np.count_nonzero(key < low))
    order = [least[passed:], between[np.argsort(key[between], kind="stable")], most]
    picked: NDArray[np.intp] = rows[np.concatenate(order)[: end - offset]]
    return picked


def _ahead(key: NDArray[np.float64], here: int, descending: bool) -> int:
    """How many come before one in the order of :func:`_slice`."""
    key = np.where(np.isnan(key), np.inf, -key if descending else key)
    return int(np.count_nonzero(key < key[here]) + np.count_nonzero(key[:here] == key[here]))


def _rows(
    lab: Lab, columns: StrikeColumns, ids: NDArray[np.int64], quantities: Sequence[str]
) -> tuple[StrikeRow, ...]:
    stated = [getattr(Result, column) for q in quantities for column in (q, f"u_{q}")]
    statement = (
        select(*(getattr(Strike, name) for name in _OWN), *_OF_OTHERS, *stated)
        .join(Recording, Recording.sha256 == Strike.recording_sha256)
        .outerjoin(Result, Result.id == Strike.result_id)
    )
    at = np.searchsorted(columns["id"], ids)
    known = zip(ids.tolist(), columns["rig_id"][at].tolist(), columns.when()[at].tolist(), strict=True)
    place = {id: (rig, when) for id, rig, when in known}
    people, sessions, rigs, _ = columns.names
    n, found = len(_OWN) + len(_OF_OTHERS), {}
    with lab.reading() as database:
        for some in in_batches(ids.tolist()):
            # past the object mapper, which costs more than the reading itself
            for row in database.connection().execute(statement.where(Strike.id.in_(some))):
                own, told = dict(zip(_OWN, row, strict=False)), row[n:]
                person, session, type = own.pop("person_id"), own.pop("session_id"), own.pop("type")
                name, number, codes = row[len(_OWN) : n]
                rig, when = place[own["id"]]
                found[own["id"]] = StrikeRow(
                    **own,
                    recording=name,
                    session=sessions.get(session, ""),
                    when=None if when != when else datetime.fromtimestamp(when, UTC),
                    person=people.get(person, ""),
                    type=type or "",
                    rig=rigs.get(rig, ""),
                    number=number,
                    codes=tuple((codes or "").split()),
                    quantities={q: Value(*told[2 * k : 2 * k + 2]) for k, q in enumerate(quantities)},
                )
    return tuple(found[id] for id in place if id in found)
