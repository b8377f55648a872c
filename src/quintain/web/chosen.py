"""Which strikes a page speaks of: a filter in the query string, the same words on every page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode

from fastapi import Depends, Request
from starlette.datastructures import QueryParams

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import UsageError
from quintain.store.queries import SORTS
from quintain.store.queries_filter import Limit, StrikeFilter

__all__ = ["Chosen", "CurrentChosen", "chosen_of"]

_NAMES = {
    "session": "sessions",
    "person": "people",
    "type": "types",
    "side": "sides",
    "state": "states",
    "flag": "flags",
    "rig": "rigs",
    "method": "methods",
    "recording": "recordings",
}
_KEYS = (*_NAMES, "series", "unflagged", "since", "until", "text", "limit", "sort", "down")


@dataclass(frozen=True, slots=True)
class Chosen:
    """
    What is being looked through, and in which order.

    ``filter`` is None where the query names nothing; ``query`` holds only what chooses, for links:
    empty, or ``?session=S-02&state=waiting``.
    """

    filter: StrikeFilter | None = None
    sort: str = "order"
    descending: bool = False
    query: str = ""

    def pairs(self) -> list[tuple[str, str]]:
        """Names and values of the query, for hidden fields."""
        return parse_qsl(self.query[1:], keep_blank_values=True)

    def with_query(self, **more: object) -> str:
        """The query with more in it, such as ``quantity='impulse'``."""
        words = [(name, str(value)) for name, value in more.items() if value not in (None, "")]
        both = self.pairs() + words
        return f"?{urlencode(both)}" if both else ""


def chosen_of(query: QueryParams) -> Chosen:
    """
    Read a filter from a query string.

    ``session``, ``person``, ``type``, ``side``, ``state``, ``flag``, ``rig``, ``method``, ``recording`` and
    ``series`` may stand several times; ``unflagged=1``; ``since`` and ``until`` are days, both counted in;
    ``text`` is part of note or reason; ``limit=peak_force:2000:3000`` in SI units with either end left
    out; ``sort`` and ``down=1``.

    Raises
    ------
    UsageError
        If a value cannot be understood, in words.

    Examples
    --------
    >>> chosen_of(QueryParams("session=S-02&state=waiting&quantity=impulse")).query
    '?session=S-02&state=waiting'
    """
    kept = [(key, value) for key, value in query.multi_items() if key in _KEYS]
    sort = query.get("sort") or "order"
    if sort not in SORTS:
        raise UsageError(f"strikes cannot be sorted by {sort!r}; choose from {', '.join(SORTS)}")
    told: dict[str, Any] = {name: tuple(query.getlist(key)) for key, name in _NAMES.items() if key in query}
    if told.get("states") == ("all",):
        told["states"] = ()
    chosen = StrikeFilter(
        **told,
        series=tuple(_whole("series", value) for value in query.getlist("series") if value),
        unflagged=query.get("unflagged", "") not in ("", "0"),
        since=_day(query.get("since", "")),
        until=_day(query.get("until", ""), after=True),
        text=query.get("text", ""),
        limits=tuple(_limit(value) for value in query.getlist("limit") if value),
    )  # fmt: skip
    asks = any(key not in ("sort", "down") for key, _ in kept)
    query_words = f"?{urlencode(kept)}" if kept else ""
    return Chosen(chosen if asks else None, sort, query.get("down", "") not in ("", "0"), query_words)


async def _chosen(request: Request) -> Chosen:
    return chosen_of(request.query_params)


CurrentChosen = Annotated[Chosen, Depends(_chosen)]
"""Annotate a page's argument with it to get what the query string chooses."""


def _whole(name: str, text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise UsageError(f"{name}: expected a whole number, got {text!r}") from None


def _day(text: str, *, after: bool = False) -> datetime | None:
    if not text:
        return None
    try:
        return datetime.combine(date.fromisoformat(text) + timedelta(days=after), time(), UTC)
    except (ValueError, OverflowError):
        raise UsageError(f"expected a day as 2026-11-25, got {text!r}") from None


def _limit(text: str) -> Limit:
    name, _, rest = text.partition(":")
    low, _, high = rest.partition(":")
    if name not in STRIKE_QUANTITIES:
        raise UsageError(f"a strike has no {name!r}; choose from {', '.join(STRIKE_QUANTITIES)}")
    try:
        return Limit(name, float(low) if low else None, float(high) if high else None)
    except ValueError:
        raise UsageError(f"limit: expected {name}:lowest:highest in numbers, got {text!r}") from None
