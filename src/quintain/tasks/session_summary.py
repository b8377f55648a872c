"""Sum up a session of a lab for the coach's page."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
from sqlalchemy import select

from quintain.domain.session_summary import SessionLine, SessionSummary, SessionValue, Usual
from quintain.errors import LabError, MissingError, QuintainError
from quintain.report.verdict import UNSAFE
from quintain.store.lab import Lab
from quintain.store.queries import StrikeRow, strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Session
from quintain.tasks.lab_views import rig_state_in_lab
from quintain.version import __version__

__all__ = ["COACH_QUANTITIES", "FEWEST_FOR_USUAL", "summarise_session", "usual_range"]

COACH_QUANTITIES = ("peak_force", "impulse", "approach_speed", "effective_mass", "energy")

FEWEST_FOR_USUAL = 5
"""Own earlier strikes that a usual range needs; fewer say nothing about what is usual."""


def summarise_session(lab: Lab, code: str, *, person: str = "") -> SessionSummary:
    """
    Sum up a session.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The session.
    person : str, optional
        Only this person's strikes, in large figures.

    Returns
    -------
    SessionSummary
        Every person is held against their own earlier strikes, never against others.

    Raises
    ------
    LabError
        If there is no such session, or the person made no strike in it.
    """
    with lab.reading() as database:
        session = database.scalar(select(Session).where(Session.code == code))
        if session is None:
            raise MissingError(f"there is no session {code!r} in the lab")
        rig = session.rig.name if session.rig else ""
    chosen = StrikeFilter(sessions=(code,), people=(person,) if person else ())
    rows = _all(lab, chosen)
    if person and not rows:
        raise LabError(f"{person!r} made no strike in session {code!r}")
    rig = rig or next((row.rig for row in rows if row.rig), "")
    groups: dict[tuple[str, str, str], list[StrikeRow]] = {}
    for row in rows:
        if row.state != "rejected":
            groups.setdefault((row.person, row.type, row.side), []).append(row)
    lines = tuple(_line(lab, key, strikes, session.when) for key, strikes in sorted(groups.items()))
    return SessionSummary(
        code=code,
        title=session.title,
        when="" if session.when is None else session.when.isoformat(timespec="minutes"),
        rig=rig,
        rig_verdict=_rig_words(lab, rig),
        unsafe=tuple(sorted({c for row in rows for c in row.codes} & UNSAFE)),
        accepted=sum(row.state == "accepted" for row in rows),
        waiting=sum(row.state == "waiting" for row in rows),
        rejected=sum(row.state == "rejected" for row in rows),
        lines=lines,
        software=__version__,
        made=datetime.now(UTC).isoformat(timespec="seconds"),
        person=person,
    )


def usual_range(values: list[float]) -> Usual | None:
    """
    Middle 80 % of values, or None where there are too few.

    Examples
    --------
    >>> usual_range([float(v) for v in range(11)])
    Usual(low=1.0, high=9.0, n=11)
    >>> usual_range([1.0, 2.0]) is None
    True
    """
    if len(values) < FEWEST_FOR_USUAL:
        return None
    low, high = np.quantile(values, [0.1, 0.9])
    return Usual(float(low), float(high), len(values))


def _all(lab: Lab, chosen: StrikeFilter) -> list[StrikeRow]:
    rows: list[StrikeRow] = []
    while True:
        page = strike_page(lab, chosen, offset=len(rows), limit=1000, quantities=COACH_QUANTITIES)
        rows += page.rows
        if not page.rows or len(rows) >= page.total:
            return rows


def _line(
    lab: Lab, key: tuple[str, str, str], strikes: list[StrikeRow], before: datetime | None
) -> SessionLine:
    person, kind, side = key
    earlier: list[StrikeRow] = []
    if person and kind and before is not None:
        own = StrikeFilter(people=(person,), types=(kind,), sides=(side,), states=("accepted",), until=before)
        earlier = _all(lab, own)
    values = {}
    for name in COACH_QUANTITIES:
        now = [v for row in strikes if (v := row.quantities[name].value) is not None]
        if now:
            own_values = [v for row in earlier if (v := row.quantities[name].value) is not None]
            mean = float(np.mean(now))
            values[name] = SessionValue(mean, min(now), max(now), len(now), usual_range(own_values))
    return SessionLine(person, kind, side, len(strikes), sum(bool(r.codes) for r in strikes), values)


def _rig_words(lab: Lab, rig: str) -> str:
    if not rig:
        return ""
    try:
        state = rig_state_in_lab(lab, rig)
    except QuintainError as problem:
        return str(problem)
    return state.verdict + (f": {'; '.join(state.reasons)}" if state.reasons else "")
