"""Strikes and drops laid over each other: curves from contact on, and how far their numbers differ."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import select

from quintain.domain.drop import Drop, DropSettings
from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.strike import ForceCurve, LimbCurve
from quintain.errors import LabError, MissingError, QuintainError, UsageError
from quintain.store import schema
from quintain.store.lab import Lab
from quintain.store.queries import StrikeRow, strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.results import load_strikes
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.replay import curves_of_each

__all__ = [
    "MOST",
    "DropEvidence",
    "Overlaid",
    "differences",
    "drop_evidence",
    "overlay_drops",
    "overlay_strikes",
    "pick_drops",
    "pick_people",
    "pick_sessions",
]

MOST = 12
"""Curves in one overlay; more cannot be told apart."""

TYPICAL = 3
"""Strikes that stand for a day or a person: those nearest to the median impulse."""


@dataclass(frozen=True, slots=True)
class Overlaid:
    """
    One curve of an overlay; times count from the start of contact.

    ``drop`` is the number of a drop in its evidence, None for a strike; ``note`` says what a curve lacks.
    """

    id: int
    drop: int | None
    position: int
    curve: ForceCurve
    limb: LimbCurve | None
    quantities: Mapping[str, Measured]
    flags: tuple[Flag, ...]
    rig: str
    session: str = ""
    person: str = ""
    type: str = ""
    side: str = ""
    state: str = ""
    when: datetime | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class DropEvidence:
    """A drop test of the lab; ``mass`` [kg] and ``heights`` [m] are empty where its entry tells none."""

    id: int
    rig: str
    when: datetime
    verdict: str
    mass: float | None
    heights: tuple[float, ...]
    n_drops: int | None
    kept: bool
    """Whether its recording is in the lab."""


def overlay_strikes(lab: Lab, ids: Sequence[int]) -> tuple[tuple[Overlaid, ...], tuple[str, ...]]:
    """
    Strikes with their curves, in the order asked for.

    Parameters
    ----------
    lab : Lab
        The lab.
    ids : sequence of int
        Strikes by their id.

    Returns
    -------
    tuple of Overlaid
        Those that could be had.
    tuple of str
        What could not, in words.
    """
    page = strike_page(lab, StrikeFilter(states=(), ids=tuple(ids)), limit=max(len(ids), 1)) if ids else None
    rows = {} if page is None else {row.id: row for row in page.rows}
    known = load_strikes(lab, list(rows))
    curves = dict(curves_of_each(lab, list(known)))
    found, troubles = [], []
    for strike_id in dict.fromkeys(ids):
        row = rows.get(strike_id)
        if row is None:
            troubles.append(f"There is no strike {strike_id} in the lab.")
            continue
        if strike_id not in known:
            troubles.append(f"The strike {strike_id} has no result; analyse its recording again.")
            continue
        strike, drawn = known[strike_id], curves[strike_id]
        curve, limb, note = ForceCurve.nothing(), None, ""
        if isinstance(drawn, QuintainError):
            troubles.append(f"Strike {strike_id}: {drawn}")
        else:
            curve, limb, note = drawn.force, drawn.limb, drawn.note
        found.append(
            Overlaid(
                id=strike_id, drop=None, position=row.position, curve=curve, limb=limb,
                quantities=strike.quantities, flags=strike.flags, rig=row.rig, session=row.session,
                person=row.person, type=row.type, side=row.side, state=row.state, when=row.when, note=note,
            )
        )  # fmt: skip
    return tuple(found), tuple(troubles)


def drop_evidence(lab: Lab) -> tuple[DropEvidence, ...]:
    """Drop tests of the lab's rigs, the newest first."""
    with lab.reading() as database:
        rows = database.execute(
            select(schema.Evidence, schema.Rig.name)
            .join(schema.Rig, schema.Rig.id == schema.Evidence.rig_id)
            .where(schema.Evidence.kind == "drops")
            .order_by(schema.Evidence.when.desc(), schema.Evidence.id.desc())
        ).all()
    found = []
    for row, rig in rows:
        told = row.answer.get("method", {})
        drops = row.answer.get("results", {}).get("drops")
        kept = bool(row.inputs) and lab.originals.find(row.inputs[0]) is not None
        found.append(
            DropEvidence(
                row.id, rig, row.when, row.verdict, told.get("mass"), tuple(told.get("heights") or ()),
                None if drops is None else len(drops), kept,
            )
        )  # fmt: skip
    return tuple(found)


def overlay_drops(
    lab: Lab, asked: Sequence[tuple[int, int]], *, mass: float | None = None
) -> tuple[tuple[Overlaid, ...], tuple[str, ...]]:
    """
    Drops with their curves, analysed again from the original recording.

    Parameters
    ----------
    lab : Lab
        The lab.
    asked : sequence of (int, int)
        Evidence and number of the drop in it.
    mass : float, optional
        Falling mass where the evidence does not tell it. [kg]

    Returns
    -------
    tuple of Overlaid, tuple of str
        As :func:`overlay_strikes`.
    """
    found, troubles = [], []
    for evidence_id, number in dict.fromkeys(asked):
        try:
            evidence, drops = _drops_of(lab, evidence_id, mass)
        except QuintainError as problem:
            troubles.append(f"Drops {evidence_id}: {problem}")
            continue
        drop = next((one for one in drops if one.number == number), None)
        if drop is None:
            troubles.append(f"Drops {evidence_id}: there are {len(drops)}, and no drop {number}.")
            continue
        found.append(
            Overlaid(
                id=evidence_id, drop=number, position=number, curve=drop.curve or ForceCurve.nothing(),
                limb=None, quantities=drop.quantities, flags=drop.flags, rig=evidence.rig,
                type="drop", when=evidence.when, state=drop.verdict,
            )
        )  # fmt: skip
    return tuple(found), tuple(troubles)


def differences(
    reference: Overlaid, other: Overlaid, quantities: Sequence[str]
) -> dict[str, tuple[Measured, bool | None]]:
    """
    What another states less what the first states.

    Parameters
    ----------
    reference, other : Overlaid
        First and other.
    quantities : sequence of str
        Glossary names; those that either does not state are left out.

    Returns
    -------
    dict of str to (Measured, bool or None)
        The difference with the uncertainty of both together, and whether it is larger than that at 95 %; None
        where an uncertainty is not known.

    Notes
    -----
    Uncertainties are added as if independent (JCGM 100:2008, 5.1.2). On one rig gain and natural frequency
    are shared and cancel in part: the true uncertainty of the difference is then smaller, and a difference
    that is called beyond it is so all the more.
    """
    found = {}
    for name in quantities:
        first, second = reference.quantities.get(name), other.quantities.get(name)
        if first is None or second is None:
            continue
        u = None if first.u is None or second.u is None else math.hypot(first.u, second.u)
        change = Measured(name, second.value - first.value, u)
        expanded = change.expanded
        found[name] = (change, None if expanded is None else abs(change.value) > expanded)
    return found


def pick_sessions(lab: Lab, person: str, type: str) -> tuple[int, ...]:
    """
    Typical strikes of one person on their first and their last day.

    Raises
    ------
    UsageError
        If they struck so on fewer than two days.
    """
    rows = _rows(lab, person, type)
    days: dict[str, list[StrikeRow]] = {}
    for row in rows:
        days.setdefault(row.session, []).append(row)
    days.pop("", None)
    if len(days) < 2:
        raise UsageError(
            f"{person} has {type or 'any'} strikes of {len(days)} session; two days need two sessions"
        )
    order = list(days)
    return (*_typical(days[order[0]]), *_typical(days[order[-1]]))


def pick_people(lab: Lab, first: str, second: str, type: str) -> tuple[int, ...]:
    """
    Typical strikes of two people.

    Raises
    ------
    UsageError
        If it is the same person twice, or one of them has none.
    """
    if first == second:
        raise UsageError("two strikers are two people; choose another second one")
    both = [_rows(lab, person, type) for person in (first, second)]
    for person, rows in zip((first, second), both, strict=True):
        if not rows:
            raise UsageError(f"{person} has no {type or 'such'} strikes that were not rejected")
    return (*_typical(both[0]), *_typical(both[1]))


def pick_drops(
    lab: Lab, first: int, second: int, *, mass: float | None = None
) -> tuple[tuple[int, int], ...]:
    """
    Two drops of two drop tests that are the most alike: those whose approach speeds lie nearest.

    Raises
    ------
    UsageError, LabError
        If a test cannot be analysed again, or holds no drop with a speed.
    """
    tests = [_drops_of(lab, id, mass)[1] for id in (first, second)]
    speeds = [
        [(drop.number, drop.quantities["approach_speed"].value) for drop in drops
         if "approach_speed" in drop.quantities]
        for drops in tests
    ]  # fmt: skip
    if not all(speeds):
        raise UsageError("one of the drop tests holds no drop with an approach speed")
    a, b = min(
        ((a, b) for a in speeds[0] for b in speeds[1]), key=lambda pair: (abs(pair[0][1] - pair[1][1]), pair)
    )
    return ((first, a[0]), (second, b[0]))


# -- strikes


def _rows(lab: Lab, person: str, type: str) -> tuple[StrikeRow, ...]:
    chosen = StrikeFilter(people=(person,), types=(type,) if type else (), states=("waiting", "accepted"))
    return strike_page(lab, chosen, sort="when", limit=100_000, quantities=("impulse",)).rows


def _typical(rows: Sequence[StrikeRow]) -> tuple[int, ...]:
    """The strikes nearest to the median impulse, in order of time."""
    known = [(row, row.quantities["impulse"].value) for row in rows]
    stated = [(row, value) for row, value in known if value is not None]
    if not stated:
        return tuple(row.id for row in rows[:TYPICAL])
    middle = statistics.median(value for _, value in stated)
    nearest = {row.id for row, value in sorted(stated, key=lambda one: abs(one[1] - middle))[:TYPICAL]}
    return tuple(row.id for row in rows if row.id in nearest)


# -- drops


def _drops_of(lab: Lab, evidence_id: int, mass: float | None) -> tuple[DropEvidence, tuple[Drop, ...]]:
    evidence = next((one for one in drop_evidence(lab) if one.id == evidence_id), None)
    if evidence is None:
        raise MissingError(f"there is no drop test {evidence_id} in the lab")
    if not evidence.kept:
        raise LabError("its recording is not in the lab, so its curves cannot be drawn")
    if evidence.mass is not None:
        mass = evidence.mass
    if mass is None:
        raise UsageError("its entry does not tell the falling mass; state it in kg")
    with lab.reading() as database:
        row = database.get_one(schema.Evidence, evidence_id)
        version = database.get(schema.RigVersion, row.rig_version)
        recording = database.get_one(schema.Recording, row.inputs[0])
        text = "" if version is None else version.toml
        reading, channel = dict(recording.reading), recording.channel
    path = str(lab.originals.path(recording.sha256))
    settings = lab.originals.settings(reading)
    drops = _analysed(path, text, mass, evidence.heights, channel, tuple(sorted(settings.items())))
    return replace(evidence, n_drops=len(drops)), drops


@lru_cache(maxsize=16)
def _analysed(
    path: str, rig: str, mass: float, heights: tuple[float, ...], channel: str, reading: tuple[Any, ...]
) -> tuple[Drop, ...]:
    """The drops of a recording, whose bytes never change; kept, since it takes seconds."""
    test = analyse_drops_file(
        Path(path), DropSettings(mass=mass, heights=heights), rig=Rig.from_toml(rig) if rig else None,
        channel=channel or None, **dict(reading),
    )  # fmt: skip
    return test.drops
