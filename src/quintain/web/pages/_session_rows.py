"""Strikes of a session as a page shows them: filters with counts, rows, and the verdict in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from starlette.datastructures import QueryParams

from quintain.domain.flags import FLAGS, Flag
from quintain.domain.measured import Measured
from quintain.errors import UsageError
from quintain.report.parts import doubting
from quintain.report.verdict import UNSAFE, numbers
from quintain.store.lab import Lab
from quintain.store.queries import StrikeRow, strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.queries_groups import group_summary
from quintain.tasks.lab_views import SessionView
from quintain.tasks.last_strike import open_stop
from quintain.web.chosen import Chosen, chosen_of

__all__ = ["ANY", "COLUMNS", "Asked", "Facet", "Line", "asked_of", "facets", "lines_of", "session_verdict"]

ANY = "*"
"""Chosen in a filter that asks nothing; the empty word means strikes that state none."""

COLUMNS = (
    ("peak_force", "peak force"), ("impulse", "impulse"), ("contact_time", "contact"),
    ("approach_speed", "approach"), ("effective_mass", "eff. mass"), ("energy", "energy"),
)  # fmt: skip
"""Quantities of the dense table, with their short names."""

_FACETS = ("person", "type", "side", "state")
_STILL = ("mode-drift", "ringing-unexplained")
"""Doubts that say the rig moved or changed under the strikes."""


@dataclass(frozen=True, slots=True)
class Facet:
    """One filter: its name, what is chosen, and (value, words with a count)."""

    name: str
    chosen: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Line:
    """A row of the table; ``who`` where another person begins."""

    row: StrikeRow
    measured: dict[str, Measured | None]
    doubted: frozenset[str]
    who: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """
    What a session's page is asked for.

    ``clean`` is the query with nothing idle in it where the one that came held some; ``problem`` says
    what could not be understood, and then nothing is filtered.
    """

    chosen: Chosen
    pairs: tuple[tuple[str, str], ...]
    peak: str
    problem: str = ""
    clean: str | None = None

    @property
    def strike_filter(self) -> StrikeFilter:
        """Which strikes are meant; never more than the session."""
        assert self.chosen.filter is not None
        return self.chosen.filter

    @property
    def is_filtered(self) -> bool:
        """Whether anything but the session is asked for."""
        return any(name not in ("sort", "down") for name, _ in self.pairs)

    def query(self, **changes: object) -> str:
        """This page's query with some of it changed; None takes away."""
        kept = [(name, value) for name, value in self.pairs if name not in changes]
        kept += [(name, str(value)) for name, value in changes.items() if value is not None]
        return f"?{urlencode(kept)}" if kept else ""

    def sorted_by(self, key: str) -> str:
        """The query that sorts by a column; once more, the other way round."""
        turn = self.chosen.sort == key and not self.chosen.descending
        return self.query(sort=None if key == "order" and not turn else key, down=1 if turn else None)

    def aria_sort(self, key: str) -> str:
        """How the column stands sorted, if it does."""
        if self.chosen.sort != key:
            return ""
        return "descending" if self.chosen.descending else "ascending"


def asked_of(query: QueryParams, code: str) -> Asked:
    """Read the query of a session's page."""
    came = [(name, value) for name, value in query.multi_items() if name != "session"]
    peak = query.get("peak", "")
    kept = [(n, v) for n, v in came if n not in ("peak", "strike", "from", "shapes") and v != ANY]
    idle = any(value == ANY for _, value in came) or "peak" in query
    if "peak" in query:
        kept = [(n, v) for n, v in kept if not (n == "limit" and v.startswith("peak_force:"))]
    if peak.strip():
        kept.append(("limit", f"peak_force:{peak.strip().replace(',', '.')}:"))
    for name, value in kept:
        if name == "limit" and value.startswith("peak_force:"):
            peak = value.split(":")[1]
    try:
        chosen = chosen_of(QueryParams([("session", code), *kept]))
    except UsageError as problem:
        bare = chosen_of(QueryParams([("session", code)]))
        return Asked(bare, (), peak, problem=str(problem))
    both = kept + [(name, query[name]) for name in ("strike", "shapes") if name in query]
    clean = (f"?{urlencode(both)}" if both else "") if idle else None
    pairs = tuple(pair for pair in chosen.pairs() if pair[0] != "session")
    return Asked(chosen, pairs, peak, clean=clean)


def facets(lab: Lab, asked: Asked) -> tuple[Facet, ...]:
    """The filters of a session; each counts under what the others ask."""
    whole = asked.strike_filter
    told = dict(asked.pairs)
    field = {"person": "people", "type": "types", "side": "sides", "state": "states"}
    found = []
    for name in _FACETS:
        free: dict[str, Any] = {field[name]: StrikeFilter().states if name == "state" else ()}
        others = replace(whole, **free)
        groups = group_summary(lab, others, by=(name,), quantities=())
        options = [
            (group.levels[0], f"{group.levels[0] or 'not stated'} ({group.n_strikes})") for group in groups
        ]
        words = "both" if name == "side" else "any" if name == "state" else f"all {len(options)}"
        found.append(Facet(name, told.get(name, ANY), ((ANY, words), *options)))
    rows = strike_page(lab, replace(whole, flags=(), unflagged=False), limit=2000, quantities=()).rows
    count = Counter(code for row in rows for code in row.codes)
    flags = tuple((code, f"{code} ({n})") for code, n in count.most_common())
    return (*found, Facet("flag", told.get("flag", ANY), ((ANY, "any"), *flags)))


def lines_of(rows: Sequence[StrikeRow], *, by_person: bool) -> tuple[Line, ...]:
    """Rows of the table; ``by_person`` draws a darker rule where the person changes."""
    lines, before = [], None
    for row in rows:
        flags = [Flag(code, "") for code in row.codes]
        measured = {
            name: None if told.value is None else Measured(name, told.value, told.u)
            for name, told in row.quantities.items()
        }
        doubted = frozenset(name for name in measured if doubting(name, flags))
        lines.append(Line(row, measured, doubted, by_person and before not in (None, row.person)))
        before = row.person
    return tuple(lines)


def session_verdict(lab: Lab, seen: SessionView) -> tuple[str, str, str]:
    """Shape, sentence and what stands below it: how far review is, and whether the rig held still."""
    code, counts = seen.row.code, seen.row.strikes
    if not counts.total:
        n = len(seen.recordings)
        if not n:
            return "open", "No recording yet.", "Import the recordings of this session, then analyse them."
        some = "recording is" if n == 1 else "recordings are"
        return "open", f"{n} {some} there, and no strike is known yet.", "Analyse them: quintain analyse-lab."
    told = strike_page(
        lab, StrikeFilter(sessions=(code,), flags=(*UNSAFE, *_STILL)), limit=500, quantities=()
    )
    unsafe = [row.position for row in told.rows if UNSAFE & set(row.codes)]
    moved = [row.position for row in told.rows if set(_STILL) & set(row.codes)]
    parts = [f"{counts.accepted} of {counts.total} strikes accepted"]
    if counts.waiting:
        parts.append(f"{counts.waiting} {'waits' if counts.waiting == 1 else 'wait'} for you")
    if counts.rejected:
        parts.append(f"{counts.rejected} rejected")
    sentence = ", ".join(parts) + "."
    if unsafe:
        which = f"strike{'s' if len(unsafe) > 1 else ''} {numbers(unsafe)}"
        stop = open_stop(lab, code)
        if stop is not None and stop.why == "overload":
            return "stop", f"Stop. The cell was overloaded on {which}. {sentence}", FLAGS["overload"].remedy
        return "doubt", f"{sentence} The cell was overloaded on {which}; the rig was checked since.", ""
    if moved:
        which = f"strike{'s' if len(moved) > 1 else ''} {numbers(moved)}"
        return (
            "doubt",
            f"{sentence} The rig did not ring as it should on {which}.",
            FLAGS["mode-drift"].remedy,
        )
    if not any(
        group.levels[0]
        for group in group_summary(lab, StrikeFilter(sessions=(code,)), by=("rig",), quantities=())
    ):
        return (
            "open",
            f"{sentence} No rig is stated.",
            "Without a rig the force is not corrected for ringing.",
        )
    shape = "sound" if counts.accepted or not counts.waiting else "open"
    return shape, f"{sentence} The rig held still throughout.", ""
