"""
What analyses say, in the lab and back: nothing is overwritten, and a strike keeps what people said of it.

A new analysis finds the strikes of an earlier one again by their start. Earlier results stay; the
strike points to the one in force.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple, cast

import tomlkit
from sqlalchemy import Table, bindparam, insert, select, update
from sqlalchemy.orm import Session as Database

from quintain.domain import analysis as domain
from quintain.domain.as_json import STRIKE_QUANTITIES, clock_as_json, clock_from_json, flag_as_json
from quintain.domain.flags import Flag
from quintain.domain.history import Step
from quintain.domain.measured import Contribution, Measured
from quintain.domain.method import Method as DomainMethod
from quintain.domain.rig import Mode
from quintain.domain.rig import Rig as DomainRig
from quintain.domain.strike import Contact, ForceCurve
from quintain.domain.strike import Strike as DomainStrike
from quintain.errors import LabError, MissingError, RecordingError
from quintain.store.batches import in_batches
from quintain.store.lab import Lab, Writer
from quintain.store.schema import Analysis, Audit, Method, Recording, Result, RigVersion, Strike

__all__ = [
    "SAME_START",
    "Saved",
    "load_analysis",
    "load_method",
    "load_strike",
    "load_strikes",
    "match_starts",
    "renumber_strikes",
    "save_analysis",
]

SAME_START = 0.008
"""
Two analyses speak of the same strike if their starts differ by less. [s]

Onset by another method moves by a few milliseconds at most; contacts that the standard method keeps
apart are 27 ms and more from each other (common practice, no source).
"""


class Saved(NamedTuple):
    """What became of an analysis: its row, its strikes in order of time, and what changed among them."""

    analysis_id: int
    strike_ids: tuple[int, ...]
    found_again: int
    new: int
    gone: int


class _Known(NamedTuple):
    id: int
    start: float
    state: str


def save_analysis(
    writer: Writer, recording_sha256: str, analysis: domain.Analysis, *, motion_sha256: str | None = None
) -> Saved:
    """
    Enter an analysis of a recording of the lab.

    Parameters
    ----------
    writer : Writer
        The transaction; nothing is visible before it ends.
    recording_sha256 : str
        The recording.
    analysis : Analysis
        What was found in it.
    motion_sha256 : str, optional
        The recording of the limb's motion that went in.

    Returns
    -------
    Saved
        Where a strike was found again, its state, tags and notes are untouched; one that is not found
        any more is 'gone', and comes back in its old state when a later analysis finds it.

    Raises
    ------
    LabError
        If the recording or the version of the rig is not in the lab, or the bytes are others.
    RecordingError
        If its bytes were erased in the meantime: nothing of it may come back.
    """
    database = writer.database
    recording = _present(database, recording_sha256)
    if analysis.sha256 != recording_sha256:
        raise LabError(
            f"{recording.name}: the analysis is of other bytes (expected {recording_sha256[:12]}…, got "
            f"{analysis.sha256[:12] or 'none'}…); analyse the lab's own copy"
        )
    row = _add_analysis(database, analysis, motion_sha256)
    known = [
        _Known(*row)
        for row in database.execute(
            select(Strike.id, Strike.start, Strike.state)
            .where(Strike.recording_sha256 == recording_sha256)
            .order_by(Strike.start)
        )
    ]
    again = match_starts([s.start for s in analysis.strikes], [k.start for k in known])
    added = _add_strikes(database, recording, [s for s, k in zip(analysis.strikes, again, strict=True)
                                               if k is None])  # fmt: skip
    fresh = iter(added)
    ids = [next(fresh) if k is None else known[k].id for k in again]
    _add_results(database, row.id, ids, analysis.strikes)
    matched = {k for k in again if k is not None}
    back = [known[k] for k in matched if known[k].state == "gone"]
    lost = [entry for k, entry in enumerate(known) if k not in matched and entry.state != "gone"]
    _change_state(writer, lost, dict.fromkeys((entry.id for entry in lost), "gone"), "strike gone")
    _change_state(writer, back, _earlier_states(database, back), "strike found again")
    renumber_strikes(database, recording.session_id, recording.sha256)
    if recording.rate is None:
        recording.rate = analysis.rate
    if recording.duration is None:
        recording.duration = analysis.duration
    counts = {"found_again": len(matched), "new": len(added), "gone": len(lost)}
    writer.note(
        "analyse", "recording", recording_sha256,
        after={"analysis": row.id, "method": row.method_sha256, "rig_version": row.rig_version,
               "motion": motion_sha256, "quintain": row.quintain, "output": row.output, **counts},
    )  # fmt: skip
    return Saved(row.id, tuple(ids), **counts)


def match_starts(
    new: Sequence[float], known: Sequence[float], within: float = SAME_START
) -> list[int | None]:
    """
    Find strikes again by their start, each at most once.

    Parameters
    ----------
    new, known : sequence of float
        Starts of the new and of the earlier strikes. [s]
    within : float
        Largest difference. [s]

    Returns
    -------
    list of int or None
        For each of ``new`` the place in ``known``, the nearest pairs first.

    Examples
    --------
    >>> match_starts([1.001, 2.5, 4.0], [1.0, 3.999])
    [0, None, 1]
    """
    order = sorted(range(len(known)), key=lambda k: known[k])
    pairs, low = [], 0
    for i in sorted(range(len(new)), key=lambda i: new[i]):
        while low < len(order) and known[order[low]] < new[i] - within:
            low += 1
        at = low
        while at < len(order) and known[order[at]] <= new[i] + within:
            pairs.append((abs(known[order[at]] - new[i]), i, order[at]))
            at += 1
    found: list[int | None] = [None] * len(new)
    taken: set[int] = set()
    for _, i, k in sorted(pairs):
        if found[i] is None and k not in taken:
            found[i] = k
            taken.add(k)
    return found


def load_strike(lab: Lab, strike_id: int, *, result_id: int | None = None) -> DomainStrike:
    """
    Build a strike again from its row; its curves are empty.

    Parameters
    ----------
    lab : Lab
        The lab.
    strike_id : int
        The strike.
    result_id : int, optional
        One of its results; the one in force if left out.

    Raises
    ------
    LabError
        If there is no such strike or result.
    """
    with lab.reading() as database:
        strike = database.get(Strike, strike_id)
        if strike is None:
            raise MissingError(f"there is no strike {strike_id} in the lab")
        wanted = strike.result_id if result_id is None else result_id
        result = None if wanted is None else database.get(Result, wanted)
        if result is None or result.strike_id != strike_id:
            raise MissingError(
                f"the strike {strike_id} has no result {wanted or ''}; analyse its recording again"
            )
        return _strike(result)


def load_strikes(lab: Lab, strike_ids: Sequence[int]) -> dict[int, DomainStrike]:
    """Build many strikes again, by id, with the result in force; who has none is not among them."""
    query = select(Result).join(Strike, Strike.result_id == Result.id)
    with lab.reading() as database:
        return {
            result.strike_id: _strike(result)
            for some in in_batches(strike_ids)
            for result in database.scalars(query.where(Strike.id.in_(some)))
        }


def load_analysis(lab: Lab, analysis_id: int) -> domain.Analysis:
    """
    Build an analysis again from its rows; the curves of its strikes are empty.

    Raises
    ------
    LabError
        If there is no such analysis.
    """
    with lab.reading() as database:
        row = database.get(Analysis, analysis_id)
        if row is None:
            raise MissingError(f"there is no analysis {analysis_id} in the lab")
        recording = row.recording
        method = load_method(database, row.method_sha256)
        version = None if row.rig_version is None else database.get(RigVersion, row.rig_version)
        results = database.scalars(
            select(Result).where(Result.analysis_id == analysis_id).order_by(Result.number)
        )
        strikes = tuple(map(_strike, results))
    first, *steps = row.history
    seen = first["settings"]
    return domain.Analysis(
        path=recording.name,
        sha256=recording.sha256,
        n_bytes=recording.n_bytes,
        channel=seen["channel"],
        unit_in_file=seen["unit_in_file"],
        rate=seen["rate"],
        duration=seen["duration"],
        rig=None if version is None else DomainRig.from_toml(version.toml),
        method=method,
        strikes=strikes,
        flags=tuple(Flag(**entry) for entry in row.flags),
        history=tuple(Step(**{**step, "inputs": tuple(step["inputs"])}) for step in steps),
        quintain=row.quintain,
        clock=clock_from_json(row.clock),
    )


def load_method(database: Database, sha256: str) -> DomainMethod:
    """
    Build a method again from its settings.

    Raises
    ------
    LabError
        If it is not in the lab.
    MethodFileError
        If this version of the software does not know one of its settings.
    """
    row = database.get(Method, sha256)
    if row is None:
        raise LabError(f"the method {sha256[:12]}… is not in the lab; run quintain doctor")
    return DomainMethod.from_toml(tomlkit.dumps(row.settings), origin=f"method {sha256[:12]}…")


# -- into the tables


def _present(database: Database, sha256: str) -> Recording:
    recording = database.get(Recording, sha256)
    if recording is None:
        raise LabError(f"the recording {sha256[:12]}… is not in the lab; import it first")
    if recording.gone is not None:
        raise RecordingError(f"{recording.name}: it was taken out of the lab while it was analysed")
    return recording


def _add_analysis(database: Database, analysis: domain.Analysis, motion_sha256: str | None) -> Analysis:
    method, rig = analysis.method, analysis.rig
    if rig is not None and database.get(RigVersion, rig.version) is None:
        raise LabError(f"the rig {rig.name!r} as version {rig.version} is not in the lab; add it first")
    if database.get(Method, method.sha256) is None:
        database.add(
            Method(sha256=method.sha256, name=method.name, version=method.version, settings=method.settings())
        )
        database.flush()
    read = Step(
        "quintain.read",
        analysis.quintain,
        {
            "channel": analysis.channel,
            "unit_in_file": analysis.unit_in_file,
            "rate": analysis.rate,
            "duration": analysis.duration,
        },
        (analysis.sha256,),
        analysis.sha256,
        analysis.history[0].utc,
    )
    row = Analysis(
        recording_sha256=analysis.sha256,
        method_sha256=method.sha256,
        rig_version=None if rig is None else rig.version,
        motion_sha256=motion_sha256,
        quintain=analysis.quintain,
        output=analysis.history[-1].output,
        n_strikes=len(analysis.strikes),
        flags=[flag_as_json(flag) for flag in analysis.flags],
        history=[dataclasses.asdict(step) for step in (read, *analysis.history)],
        clock=clock_as_json(analysis.clock),
    )
    database.add(row)
    database.flush()
    database.execute(
        update(Analysis)
        .where(Analysis.recording_sha256 == analysis.sha256, Analysis.id != row.id, Analysis.current)
        .values(current=False)
    )
    return row


def _add_strikes(database: Database, recording: Recording, new: Iterable[DomainStrike]) -> list[int]:
    rows = [
        {
            "recording_sha256": recording.sha256,
            "session_id": recording.session_id,
            "position": 0,
            "start": strike.start,
            "person_id": recording.person_id,
            "type": recording.type,
            "side": recording.side,
        }
        for strike in new
    ]
    if not rows:
        return []
    return list(database.scalars(insert(Strike).returning(Strike.id, sort_by_parameter_order=True), rows))


def _add_results(
    database: Database, analysis_id: int, strike_ids: Sequence[int], strikes: Sequence[DomainStrike]
) -> None:
    if not strikes:
        return
    rows = [_row(strike) | {"strike_id": id, "analysis_id": analysis_id}
            for id, strike in zip(strike_ids, strikes, strict=True)]  # fmt: skip
    results = database.scalars(insert(Result).returning(Result.id, sort_by_parameter_order=True), rows)
    table = cast(Table, Strike.__table__)
    in_force = (
        update(table)
        .where(table.c.id == bindparam("of"))
        .values(result_id=bindparam("result"), start=bindparam("begins"), changes=table.c.changes + 1)
    )
    database.connection().execute(
        in_force,
        [
            {"of": id, "result": result, "begins": strike.start}
            for id, result, strike in zip(strike_ids, results, strikes, strict=True)
        ],
    )


def _change_state(writer: Writer, strikes: Iterable[_Known], states: Mapping[int, str], action: str) -> None:
    for entry in strikes:
        state = states[entry.id]
        writer.database.execute(update(Strike).where(Strike.id == entry.id).values(state=state))
        writer.note(action, "strike", entry.id, before={"state": entry.state}, after={"state": state})


def _earlier_states(database: Database, strikes: Iterable[_Known]) -> dict[int, str]:
    """Their states before they were gone, from the audit."""
    states = {}
    for entry in strikes:
        before = database.scalar(
            select(Audit.before)
            .where(Audit.subject == "strike", Audit.subject_id == str(entry.id))
            .where(Audit.action == "strike gone")
            .order_by(Audit.id.desc())
            .limit(1)
        )
        states[entry.id] = (before or {}).get("state", "waiting")
    return states


def renumber_strikes(database: Database, session_id: int | None, recording_sha256: str) -> None:
    """Count the places of strikes in a session anew, by time; in the recording where there is no session."""
    if session_id is None:
        among = Strike.recording_sha256 == recording_sha256
    else:
        among = Strike.session_id == session_id
    rows = database.execute(
        select(Strike.id, Strike.position)
        .join(Recording, Recording.sha256 == Strike.recording_sha256)
        .where(among)
        .order_by(Recording.when.is_(None), Recording.when, Recording.name, Recording.sha256, Strike.start)
    )
    moved = [{"id": row.id, "position": place} for place, row in enumerate(rows, 1) if row.position != place]
    if moved:
        database.execute(update(Strike), moved)


def _row(strike: DomainStrike) -> dict[str, Any]:
    row: dict[str, Any] = {
        "number": strike.number,
        "codes": " ".join(dict.fromkeys(f.code for f in strike.flags)),
    }
    for name in STRIKE_QUANTITIES:
        measured = strike.quantities.get(name)
        row[name] = None if measured is None else _finite(measured.value)
        row[f"u_{name}"] = None if measured is None else _finite(measured.u)
    row["detail"] = {
        "start": strike.start,
        "contacts": [[contact.start, contact.end] for contact in strike.contacts],
        "force_kind": strike.force_kind,
        "modes": [dataclasses.asdict(mode) for mode in strike.modes],
        "periods_in_pulse": _finite(strike.periods_in_pulse),
        "samples_in_pulse": _finite(strike.samples_in_pulse),
        "order": list(strike.quantities),
        "others": {
            name: [_finite(measured.value), _finite(measured.u)]
            for name, measured in strike.quantities.items()
            if name not in STRIKE_QUANTITIES
        },
        "budget": {
            name: [[part.name, _finite(part.u)] for part in measured.budget]
            for name, measured in strike.quantities.items()
            if measured.budget
        },
        "flags": [flag_as_json(flag) for flag in strike.flags],
    }
    return row


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


# -- and back


def _strike(result: Result) -> DomainStrike:
    detail = result.detail
    quantities = {}
    for name in detail["order"]:
        value, u = detail["others"].get(name) or (getattr(result, name), getattr(result, f"u_{name}"))
        budget = tuple(
            Contribution(part, math.nan if u_part is None else u_part)
            for part, u_part in detail["budget"].get(name, ())
        )
        quantities[name] = Measured(name, math.nan if value is None else value, u, budget)
    return DomainStrike(
        number=result.number,
        start=detail["start"],
        contacts=tuple(Contact(*contact) for contact in detail["contacts"]),
        quantities=quantities,
        flags=tuple(Flag(**entry) for entry in detail["flags"]),
        curve=ForceCurve.nothing(),
        force_kind=detail["force_kind"],
        modes=tuple(Mode(**mode) for mode in detail["modes"]),
        periods_in_pulse=detail["periods_in_pulse"],
        samples_in_pulse=detail["samples_in_pulse"],
    )
