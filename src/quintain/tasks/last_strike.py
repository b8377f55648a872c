"""The newest strike of a session among its striker's own, and whether the rig asks to stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from sqlalchemy import select

from quintain.domain.flags import Flag
from quintain.domain.session_summary import Usual
from quintain.report.parts import doubting
from quintain.report.verdict import UNSAFE
from quintain.store.lab import Lab
from quintain.store.queries import StrikeRow, strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Audit
from quintain.tasks.lab_rows import session_row
from quintain.tasks.session_summary import usual_range

__all__ = [
    "DRIFTING",
    "HEADLINE_SETS",
    "USUAL_DAYS",
    "Headline",
    "LastStrike",
    "Stop",
    "answer_stop",
    "last_strike",
    "open_stop",
]

USUAL_DAYS = 90
"""Own strikes of so many days make the usual range."""

HEADLINE_SETS = (
    ("impulse", "approach_speed", "effective_mass", "energy"),
    ("impulse", "peak_force", "contact_time"),
)
"""What is shown where the limb's motion is known, and where it is not."""

DRIFTING = 3
"""Strikes in a row whose natural frequency disagrees with the rig's: then the rig has changed."""

_ANSWER = "answer stop"
_TEN = 10


@dataclass(frozen=True, slots=True)
class Headline:
    """
    One number; [SI unit of the quantity].

    ``recent`` are the same number of the last strikes of the kind, the oldest first, this one last;
    None where a strike does not state it. ``usual`` is None where own strikes are too few.
    """

    quantity: str
    value: float | None
    u: float | None
    doubts: tuple[str, ...]
    recent: tuple[float | None, ...]
    usual: Usual | None


@dataclass(frozen=True, slots=True)
class Stop:
    """Why nobody may strike on: 'overload' or 'rig-changed', on which strikes. They stand by id and place."""

    why: str
    strikes: tuple[int, ...]
    places: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LastStrike:
    """
    What large mode shows.

    ``strike`` is the newest strike that was not rejected; under a stop, the newest before what the stop
    is about. None while there is none. ``n_own`` counts the strikes that make the usual range.
    """

    strike: StrikeRow | None
    headlines: tuple[Headline, ...]
    n_own: int
    stop: Stop | None


def last_strike(lab: Lab, code: str) -> LastStrike:
    """
    Look at the newest strike of a session.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The session.

    Returns
    -------
    LastStrike
        Held against the striker's own strikes of the same type and side on the same rig, never against
        others.

    Raises
    ------
    LabError
        If there is no such session.
    """
    stop = open_stop(lab, code)
    chosen = StrikeFilter(sessions=(code,), states=("waiting", "accepted"))
    newest = strike_page(lab, chosen, sort="order", descending=True, limit=50, quantities=()).rows
    held = set(stop.strikes) if stop else set()
    row = next((r for r in newest if r.id not in held and not UNSAFE & set(r.codes)), None)
    if row is None:
        return LastStrike(None, (), 0, stop)
    names = tuple(dict.fromkeys(name for names in HEADLINE_SETS for name in names))
    own = _own(row, code)
    recent = strike_page(lab, own, sort=_by(row), descending=True, limit=_TEN, quantities=names).rows[::-1]
    before = _earlier(lab, row, own, names) if row.person and row.type else []
    moved = any(r.quantities["approach_speed"].value is not None for r in recent)
    shown = HEADLINE_SETS[0] if moved else HEADLINE_SETS[1]
    headlines = tuple(_headline(name, row, recent, before) for name in shown)
    return LastStrike(row, headlines, len(before), stop)


def answer_stop(lab: Lab, code: str, strikes: Sequence[int], *, who: str) -> None:
    """
    Say that the rig was looked at; the audit keeps who said so, and for which strikes.

    Raises
    ------
    LabError
        If there is no such session.
    """
    with lab.writing(who) as writer:
        row = session_row(writer.database, code)
        writer.note(_ANSWER, "session", row.id, after={"strikes": sorted(strikes)})


def open_stop(lab: Lab, code: str) -> Stop | None:
    """
    What asks to stop and nobody has answered yet: an overload first, then a rig that rings otherwise.

    Raises
    ------
    LabError
        If there is no such session.
    """
    with lab.reading() as database:
        session = session_row(database, code)
        entries = database.scalars(
            select(Audit).where(
                Audit.action == _ANSWER, Audit.subject == "session", Audit.subject_id == str(session.id)
            )
        )
        answered = {strike for entry in entries for strike in (entry.after or {}).get("strikes", ())}
    unsafe = StrikeFilter(sessions=(code,), flags=tuple(sorted(UNSAFE)))
    rows = strike_page(lab, unsafe, limit=500, quantities=()).rows
    left = [row for row in rows if row.id not in answered]
    if left:
        return Stop("overload", tuple(row.id for row in left), tuple(row.position for row in left))
    chosen = StrikeFilter(sessions=(code,), states=("waiting", "accepted"))
    last = strike_page(lab, chosen, sort="order", descending=True, limit=DRIFTING, quantities=()).rows[::-1]
    drifts = len(last) == DRIFTING and all("mode-drift" in row.codes for row in last)
    if drifts and last[-1].id not in answered:
        return Stop("rig-changed", tuple(row.id for row in last), tuple(row.position for row in last))
    return None


def _own(row: StrikeRow, code: str) -> StrikeFilter:
    """Strikes of the same person, type, side and rig up to this one; else those of the session."""
    states = ("waiting", "accepted")
    if not (row.person and row.type):
        return StrikeFilter(sessions=(code,), states=states)
    own = StrikeFilter(
        people=(row.person,), types=(row.type,), sides=(row.side,), rigs=(row.rig,), states=states
    )
    if row.when is None:
        return replace(own, sessions=(code,))
    since, until = row.when - timedelta(days=USUAL_DAYS), row.when + timedelta(microseconds=1)
    return replace(own, since=since, until=until)


def _by(row: StrikeRow) -> str:
    return "when" if row.person and row.type and row.when is not None else "order"


def _earlier(lab: Lab, row: StrikeRow, own: StrikeFilter, names: tuple[str, ...]) -> list[StrikeRow]:
    """Own strikes but this one: a strike is not usual by itself."""
    rows = strike_page(lab, own, sort=_by(row), descending=True, limit=1000, quantities=names).rows
    return [r for r in rows if r.id != row.id]


def _headline(
    name: str, row: StrikeRow, recent: Sequence[StrikeRow], before: Sequence[StrikeRow]
) -> Headline:
    here = next((r for r in recent if r.id == row.id), None)
    told = here.quantities[name] if here else None
    known = [v for r in before if (v := r.quantities[name].value) is not None]
    return Headline(
        name, told.value if told else None, told.u if told else None,
        doubting(name, [Flag(c, "") for c in row.codes]), tuple(r.quantities[name].value for r in recent),
        usual_range(known),
    )  # fmt: skip
