"""Follow a number of the lab back to the bytes, and make it again from them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session as Database

from quintain.domain import analysis as domain
from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.domain.rig import Rig
from quintain.domain.strike import ForceCurve, LimbCurve
from quintain.errors import LabError, MissingError, QuintainError
from quintain.store.batches import in_batches
from quintain.store.curves import decode_curves, keep_curves, read_curves
from quintain.store.lab import Lab
from quintain.store.originals import BUNDLE
from quintain.store.results import load_strike, match_starts
from quintain.store.schema import (
    Analysis,
    Audit,
    Method,
    Recording,
    Result,
    RigVersion,
    Source,
    Strike,
)
from quintain.tasks.lab_inputs import LAB_STEP, Inputs, Made, inputs_of, libraries, measure_inputs, places_of
from quintain.tasks.lab_rows import strike_row

__all__ = [
    "Deed",
    "Origin",
    "Replay",
    "ResultHistory",
    "StrikeCurves",
    "StrikeHistory",
    "curves_of",
    "curves_of_each",
    "history_of",
    "replay",
]


@dataclass(frozen=True, slots=True)
class Origin:
    """Where bytes came from, who brought them, and when."""

    path: str
    who: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Deed:
    """Somebody did something to a strike; an entry of the audit."""

    at: datetime
    who: str
    action: str
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class ResultHistory:
    """
    One result of a strike and everything it rests on.

    ``quantities`` are by glossary name, value and standard uncertainty in SI; ``told`` is what the files
    did not say themselves, ``libraries`` the versions of what computed, both empty where the lab did not
    make the analysis itself; ``steps`` is its whole history.
    """

    result_id: int
    analysis_id: int
    in_force: bool
    at: datetime
    who: str
    number: int
    quantities: Mapping[str, tuple[float, float | None]]
    codes: tuple[str, ...]
    method_name: str
    method_version: int
    method_sha256: str
    settings: Mapping[str, Any]
    rig_name: str
    rig_version: str
    motion_sha256: str
    quintain: str
    output: str
    told: Mapping[str, Any]
    libraries: Mapping[str, str]
    steps: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class StrikeHistory:
    """A strike back to its bytes: the recording, where it came from, every result, and who did what."""

    strike_id: int
    start: float
    state: str
    recording_sha256: str
    name: str
    n_bytes: int
    kept_at: str
    """Where the lab keeps the bytes; empty if they are gone."""
    origins: tuple[Origin, ...]
    results: tuple[ResultHistory, ...]
    deeds: tuple[Deed, ...]


@dataclass(frozen=True, slots=True)
class Replay:
    """
    An analysis made again from the original bytes.

    ``same`` says whether every bit of every number is the same; if not, ``changed`` says what may be
    why. ``output_now`` is empty where it could not be made again.
    """

    analysis_id: int
    same: bool
    output_then: str
    output_now: str
    changed: tuple[str, ...]
    analysis: domain.Analysis | None


@dataclass(frozen=True, slots=True)
class StrikeCurves:
    """
    Curves of a strike; ``rate`` is that of its recording, None where that is not known. [Hz]

    ``remade`` says that they were not in the cache, or damaged, and were made again from the original;
    ``note`` says so in words, and if the numbers they belong to have changed.
    """

    force: ForceCurve
    limb: LimbCurve | None
    rate: float | None
    remade: bool = False
    note: str = ""


def history_of(lab: Lab, strike_id: int) -> StrikeHistory:
    """
    Follow a strike back to its bytes.

    Parameters
    ----------
    lab : Lab
        The lab.
    strike_id : int
        The strike.

    Returns
    -------
    StrikeHistory
        Results in the order in which they were made.

    Raises
    ------
    LabError
        If there is no such strike.
    """
    with lab.reading() as database:
        strike = strike_row(database, strike_id)
        recording = strike.recording
        sources = database.scalars(
            select(Source).where(Source.recording_sha256 == recording.sha256).order_by(Source.id)
        )
        origins = tuple(Origin(source.path, source.who, source.at) for source in sources)
        makers = _makers(database, recording.sha256)
        rows = database.scalars(select(Result).where(Result.strike_id == strike_id).order_by(Result.id)).all()
        results = tuple(_result(database, row, strike.result_id, makers) for row in rows)
        entries = database.scalars(
            select(Audit)
            .where(Audit.subject == "strike", Audit.subject_id == str(strike_id))
            .order_by(Audit.id)
        )
        deeds = tuple(Deed(e.at, e.who, e.action, e.before, e.after) for e in entries)
    kept = lab.originals.find(recording.sha256)
    return StrikeHistory(
        strike_id, strike.start, strike.state, recording.sha256, recording.name, recording.n_bytes,
        "" if kept is None else str(kept), origins, results, deeds,
    )  # fmt: skip


def replay(lab: Lab, analysis_id: int) -> Replay:
    """
    Make an analysis again from the original bytes and compare every bit.

    Parameters
    ----------
    lab : Lab
        The lab; nothing is written to it.
    analysis_id : int
        The analysis.

    Returns
    -------
    Replay
        On the same machine with the same versions the bits are the same; if not, what differs.

    Raises
    ------
    LabError
        If there is no such analysis.
    """
    again, _ = _again(lab, analysis_id)
    return again


def curves_of(lab: Lab, strike_id: int, *, result_id: int | None = None) -> StrikeCurves:
    """
    Curves of a strike from the cache, or made again from the original.

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
        If there is no such strike or result, or the curves cannot be made again.
    """
    with lab.reading() as database:
        strike = strike_row(database, strike_id)
        result = database.get(Result, strike.result_id if result_id is None else result_id)
        if result is None or result.strike_id != strike_id:
            raise MissingError(f"the strike {strike_id} has no such result; analyse its recording again")
        wanted, number = result.id, result.number
        analysis_id, output, rate = result.analysis_id, result.analysis.output, strike.recording.rate
    found = read_curves(lab.cache, output, number)
    if found is not None:
        return StrikeCurves(found.force, found.limb, rate)
    again, made = _again(lab, analysis_id)
    if made is None:
        raise LabError(
            f"the curves are not in the cache and cannot be made again: {'; '.join(again.changed)}"
        )
    keep_curves(lab.cache, again.output_now, made.curves)
    note = "made again from the original"
    if not again.same:
        note += f"; the numbers beside it were made otherwise: {'; '.join(again.changed)}"
        start = load_strike(lab, strike_id, result_id=wanted).start
        (place,) = match_starts([start], [s.start for s in made.analysis.strikes])
        number = 0 if place is None else place + 1
    remade = decode_curves(made.curves, number)
    if remade is None:
        raise LabError(f"the strike {strike_id} is not found any more: {'; '.join(again.changed)}")
    return StrikeCurves(remade.force, remade.limb, rate, True, note)


def curves_of_each(lab: Lab, strike_ids: Sequence[int]) -> Iterator[tuple[int, StrikeCurves | QuintainError]]:
    """
    Curves of many strikes by the results in force, without a question to the database for each.

    Parameters
    ----------
    lab : Lab
        The lab.
    strike_ids : sequence of int
        The strikes.

    Yields
    ------
    strike_id : int
        In the order asked for.
    curves : StrikeCurves or QuintainError
        As of :func:`curves_of`; what it would raise stands in the place of what cannot be had.
    """
    query = (
        select(Strike.id, Analysis.output, Result.number, Recording.rate)
        .join(Result, Strike.result_id == Result.id)
        .join(Analysis, Result.analysis_id == Analysis.id)
        .join(Recording, Strike.recording_sha256 == Recording.sha256)
    )
    with lab.reading() as database:
        kept = {
            id: (output, number, rate)
            for some in in_batches(strike_ids)
            for id, output, number, rate in database.execute(query.where(Strike.id.in_(some)))
        }
    for strike_id in strike_ids:
        output, number, rate = kept.get(strike_id, ("", 0, None))
        found = read_curves(lab.cache, output, number) if output else None
        if found is not None:
            yield strike_id, StrikeCurves(found.force, found.limb, rate)
            continue
        try:
            yield strike_id, curves_of(lab, strike_id)
        except QuintainError as problem:
            yield strike_id, problem


# -- looking back


def _makers(database: Database, recording_sha256: str) -> dict[int, str]:
    """Who made each analysis of a recording."""
    entries = database.execute(
        select(Audit.who, Audit.after).where(
            Audit.subject == "recording", Audit.subject_id == recording_sha256, Audit.action == "analyse"
        )
    )
    return {after["analysis"]: who for who, after in entries if after}


def _result(
    database: Database, result: Result, in_force: int | None, makers: Mapping[int, str]
) -> ResultHistory:
    analysis = result.analysis
    method = database.get_one(Method, analysis.method_sha256)
    version = None if analysis.rig_version is None else database.get(RigVersion, analysis.rig_version)
    lab_step = next((step for step in analysis.history if step["function"] == LAB_STEP), None)
    settings = lab_step["settings"] if lab_step else {}
    stated = {name: (getattr(result, name), getattr(result, f"u_{name}")) for name in STRIKE_QUANTITIES}
    return ResultHistory(
        result_id=result.id,
        analysis_id=analysis.id,
        in_force=result.id == in_force,
        at=analysis.at,
        who=makers.get(analysis.id, ""),
        number=result.number,
        quantities={name: both for name, both in stated.items() if both[0] is not None},
        codes=tuple(result.codes.split()),
        method_name=method.name,
        method_version=method.version,
        method_sha256=method.sha256,
        settings=method.settings,
        rig_name="" if version is None else version.rig.name,
        rig_version=analysis.rig_version or "",
        motion_sha256=analysis.motion_sha256 or "",
        quintain=analysis.quintain,
        output=analysis.output,
        told=settings.get("told", {}),
        libraries=settings.get("with", {}),
        steps=tuple(analysis.history),
    )


# -- doing it again


def _again(lab: Lab, analysis_id: int) -> tuple[Replay, Made | None]:
    inputs = inputs_of(lab, analysis_id)
    with lab.reading() as database:
        row = database.get_one(Analysis, analysis_id)
        changed = _changed(inputs, row)
        output = row.output
    changed += _broken(lab, inputs)
    try:
        made = measure_inputs(inputs, places_of(lab, inputs))
    except QuintainError as problem:
        return Replay(analysis_id, False, output, "", (*changed, str(problem)), None), None
    now = made.analysis.history[-1].output
    if now == output:
        return Replay(analysis_id, True, output, now, (), made.analysis), made
    return Replay(analysis_id, False, output, now, tuple(changed) or (_NOTHING,), made.analysis), made


_NOTHING = (
    "nothing of its inputs, the software or its libraries changed; a processor that computes otherwise, or a "
    "row of the lab that was altered, remains"
)


def _broken(lab: Lab, inputs: Inputs) -> list[str]:
    """Recordings of several files whose further files are not what they were; the first is hashed anyway."""
    broken = []
    for sha256 in filter(None, (inputs.recording, inputs.motion)):
        place = lab.originals.find(sha256)
        if place is not None and place.parent.suffix == BUNDLE:
            why = lab.originals.broken(sha256, place.parent)
            broken += [f"{inputs.name}: {why}"] if why else []
    return broken


def _changed(inputs: Inputs, row: Analysis) -> list[str]:
    """What is no longer as it was, in words."""
    changed = []
    if inputs.rig and Rig.from_toml(inputs.rig).version != inputs.rig_version:
        changed.append(f"the text of the rig's version {inputs.rig_version} is another")
    if inputs.method.sha256 != row.method_sha256:
        changed.append(f"the settings of the method {row.method_sha256[:12]}… are others")
    now = libraries()
    if row.quintain != now["quintain"]:
        changed.append(f"it was made by quintain {row.quintain}, this is {now['quintain']}")
    for step in row.history:
        if step["function"] == LAB_STEP:
            then = step["settings"]["with"]
            changed += [
                f"{what} was {then.get(what)}, it is {value}"
                for what, value in now.items()
                if what != "quintain" and then.get(what) != value
            ]
    return changed
