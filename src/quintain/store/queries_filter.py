"""Which strikes are meant: one filter for pages, counts, summaries, studies and export."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.domain.flags import FLAGS
from quintain.errors import UsageError
from quintain.store.queries_columns import NONE, StrikeColumns

__all__ = ["STATES", "Limit", "StrikeFilter", "matching"]

STATES = ("waiting", "accepted", "rejected", "gone")
"""What review says of a strike; 'gone' where the newest analysis no longer finds it."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Strikes whose quantity is stated and lies from ``low`` to ``high``. [SI unit of the glossary]"""

    quantity: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class StrikeFilter:
    """
    Strikes that meet every condition; an empty tuple asks nothing.

    Within a tuple one match is enough. The empty string among sessions, people, types, sides or rigs
    means strikes that state none.

    Parameters
    ----------
    sessions, people : tuple of str
        Codes.
    types, sides, rigs : tuple of str
        Names.
    states : tuple of str
        From :data:`STATES`; strikes that are gone are left out unless asked for.
    flags : tuple of str
        Codes of flags; a strike with any of them is meant.
    unflagged : bool
        Only strikes without any flag.
    limits : tuple of Limit
        All of them must hold.
    methods, recordings : tuple of str
        SHA-256.
    since, until : datetime, optional
        From the first instant to before the second; strikes of unknown time are left out then.
    series : tuple of int
        Numbers of series.
    ids : tuple of int
        Strikes by their id.
    text : str
        Part of the note or of the reason, whatever its case.
    """

    sessions: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    types: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    states: tuple[str, ...] = ("waiting", "accepted", "rejected")
    flags: tuple[str, ...] = ()
    unflagged: bool = False
    limits: tuple[Limit, ...] = ()
    rigs: tuple[str, ...] = ()
    methods: tuple[str, ...] = ()
    recordings: tuple[str, ...] = ()
    since: datetime | None = None
    until: datetime | None = None
    series: tuple[int, ...] = ()
    ids: tuple[int, ...] = ()
    text: str = ""


def matching(columns: StrikeColumns, chosen: StrikeFilter) -> NDArray[np.bool_]:
    """
    Mark the strikes that a filter means.

    Raises
    ------
    UsageError
        If the filter names a session, person, rig, quantity, flag or state that there is not.
    """
    keep = np.ones(columns.n, dtype=bool)
    for key, names, wanted, word in (
        ("session_id", columns.names.sessions, chosen.sessions, "session"),
        ("person_id", columns.names.people, chosen.people, "person"),
        ("rig_id", columns.names.rigs, chosen.rigs, "rig"),
    ):
        if wanted:
            keep &= np.isin(columns[key], _ids(names, wanted, word))
    if chosen.ids:
        keep &= np.isin(columns["id"], chosen.ids)
    if chosen.series:
        keep &= np.isin(columns["series"], chosen.series)
    for name, wanted in (
        ("type", chosen.types),
        ("side", chosen.sides),
        ("state", _known(chosen.states, STATES, "state")),
        ("method", chosen.methods),
        ("recording", chosen.recordings),
    ):
        if wanted:
            keep &= _where(columns, name, {word for word in columns.words[name] if word in wanted})
    if chosen.flags:
        flags = set(_known(chosen.flags, FLAGS, "flag"))
        keep &= _where(columns, "codes", {w for w in columns.words["codes"] if flags & set(w.split())})
    if chosen.unflagged:
        keep &= _where(columns, "codes", {""})
    for limit in chosen.limits:
        keep &= _within(columns, limit)
    if chosen.since is not None:
        keep &= columns.when() >= chosen.since.timestamp()
    if chosen.until is not None:
        keep &= columns.when() < chosen.until.timestamp()
    if chosen.text:
        part = chosen.text.casefold()
        found = np.zeros(columns.n, dtype=bool)
        for name in ("note", "reason"):
            found |= _where(columns, name, {w for w in columns.words[name] if part in w.casefold()})
        keep &= found
    return keep


def _ids(names: dict[int, str], wanted: Iterable[str], word: str) -> list[int]:
    place = {name: id for id, name in names.items()} | {"": NONE}
    for name in wanted:
        if name not in place:
            raise UsageError(f"there is no {word} {name!r} in the lab{_told(names.values())}")
    return [place[name] for name in wanted]


def _known(wanted: tuple[str, ...], there: Iterable[str], word: str) -> tuple[str, ...]:
    for name in wanted:
        if name not in there:
            raise UsageError(f"there is no {word} {name!r}{_told(there)}")
    return wanted


def _told(names: Iterable[str]) -> str:
    few = sorted(names)
    return f"; choose from {', '.join(few)}" if 0 < len(few) <= 12 else ""


def _where(columns: StrikeColumns, name: str, words: set[str]) -> NDArray[np.bool_]:
    hit = np.array([word in words for word in columns.words[name]], dtype=bool)
    return hit[columns[name]] if hit.size else np.zeros(columns.n, dtype=bool)


def _within(columns: StrikeColumns, limit: Limit) -> NDArray[np.bool_]:
    _known((limit.quantity,), STRIKE_QUANTITIES, "quantity")
    values = columns[limit.quantity]
    keep = ~np.isnan(values)
    if limit.low is not None:
        keep &= values >= limit.low
    if limit.high is not None:
        keep &= values <= limit.high
    return keep
