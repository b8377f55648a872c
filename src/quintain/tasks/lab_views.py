"""What pages and commands show of a lab: the overview, a session, a person, a recording, a strike."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Concatenate, ParamSpec, TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session as Database
from sqlalchemy.orm import defer

from quintain.domain.as_json import clock_from_json
from quintain.domain.clock import ClockMatch
from quintain.domain.flags import Flag
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig as DomainRig
from quintain.domain.rig_log import KINDS, LogEntry
from quintain.domain.rig_state import RigState
from quintain.domain.strike import Strike as DomainStrike
from quintain.errors import MethodFileError, MissingError, QuintainError
from quintain.store.lab import Lab
from quintain.store.queries import Neighbours, StrikeRow, neighbours, strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.queries_fresh import one_state
from quintain.store.queries_groups import GroupRow, group_summary
from quintain.store.queries_lists import (
    Counts,
    PersonRow,
    RecordingRow,
    RigRow,
    SessionRow,
    StudyRow,
    list_people,
    list_recordings,
    list_rigs,
    list_sessions,
    list_studies,
)
from quintain.store.results import load_strike
from quintain.store.schema import (
    Analysis,
    Evidence,
    Person,
    Planned,
    Recording,
    Result,
    Rig,
    RigVersion,
    Session,
    Source,
    Strike,
)
from quintain.tasks.lab_inputs import TOLD, gather, knew_clocks
from quintain.tasks.lab_rows import recording_row, strike_row
from quintain.tasks.rig_health import judge_rig

__all__ = [
    "AnalysisRow",
    "Overview",
    "PersonView",
    "PlannedRow",
    "RecordingView",
    "RigOverview",
    "SessionView",
    "StrikeView",
    "lab_overview",
    "log_of_rig",
    "person_view",
    "recording_view",
    "rig_state_in_lab",
    "session_view",
    "strike_view",
]

P = ParamSpec("P")
T = TypeVar("T")

REVIEWED = StrikeFilter(states=("waiting", "accepted"))
"""Strikes that numbers of a person or session are of: all but those that were rejected."""


def _in_one_state(view: Callable[Concatenate[Lab, P], T]) -> Callable[Concatenate[Lab, P], T]:
    """Have a view's parts fit each other, and what changed in the lab found out once."""

    @functools.wraps(view)
    def seen(lab: Lab, /, *args: P.args, **kwargs: P.kwargs) -> T:
        with one_state(lab):
            return view(lab, *args, **kwargs)

    return seen


@dataclass(frozen=True, slots=True)
class RigOverview:
    """A rig and how it stands; ``state`` is None where its file cannot be read, and ``trouble`` says why."""

    row: RigRow
    state: RigState | None
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Overview:
    """The lab at a glance; ``waiting`` holds the sessions with strikes that wait for review."""

    name: str
    invented: bool
    rigs: tuple[RigOverview, ...]
    sessions: tuple[SessionRow, ...]
    n_sessions: int
    waiting: tuple[SessionRow, ...]
    n_people: int
    n_recordings: int
    n_unanalysed: int
    n_gone: int
    strikes: Counts
    studies: tuple[StudyRow, ...]


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """One strike that a plan asks for, and the strike that was tagged from it, if any."""

    position: int
    block: int
    person: str
    type: str
    side: str
    rest: float | None
    strike_id: int | None


@dataclass(frozen=True, slots=True)
class SessionView:
    """
    A session.

    ``groups`` are by person, type and side, without rejected strikes.
    """

    row: SessionRow
    note: str
    seed: int | None
    changes: int
    recordings: tuple[RecordingRow, ...]
    groups: tuple[GroupRow, ...]
    planned: tuple[PlannedRow, ...]
    strikes: tuple[StrikeRow, ...]
    total: int


@dataclass(frozen=True, slots=True)
class PersonView:
    """
    A person by code.

    ``groups`` are by type and side over all sessions, ``sessions`` by session, type and side in the
    order of time; both without rejected strikes.
    """

    row: PersonRow
    note: str
    changes: int
    groups: tuple[GroupRow, ...]
    sessions: tuple[GroupRow, ...]
    when: dict[str, datetime | None]
    strikes: tuple[StrikeRow, ...]
    total: int


@dataclass(frozen=True, slots=True)
class AnalysisRow:
    """One analysis of a recording."""

    id: int
    at: datetime
    method_sha256: str
    rig_version: str
    quintain: str
    output: str
    n_strikes: int
    flags: tuple[Flag, ...]
    current: bool
    clock: ClockMatch | None
    clock_kept: bool
    """Whether the lab kept how clocks were tied when it was made; earlier versions did not."""


@dataclass(frozen=True, slots=True)
class RecordingView:
    """
    A recording, where it came from, what was made of it.

    ``out_of_date`` says what is stated otherwise than the analysis in force took it; ``changes`` counts
    changes of what is stated.
    """

    row: RecordingRow
    channel: str
    sources: tuple[str, ...]
    motion_sha256: str | None
    speeds: str
    alignment: Mapping[str, str]
    changes: int
    out_of_date: tuple[str, ...]
    analyses: tuple[AnalysisRow, ...]
    strikes: tuple[StrikeRow, ...]
    total: int


@dataclass(frozen=True, slots=True)
class StrikeView:
    """
    A strike whole.

    ``result`` is what the analysis in force says, None where there is none; earlier results count in
    ``n_results``.
    """

    row: StrikeRow
    result: DomainStrike | None
    analysis: AnalysisRow | None
    neighbours: Neighbours
    n_results: int

    @property
    def quantities(self) -> tuple[Measured, ...]:
        """What is stated, in the order in which it is shown."""
        return () if self.result is None else tuple(self.result.quantities.values())


@_in_one_state
def lab_overview(lab: Lab, *, now: datetime | None = None, n_sessions: int = 8) -> Overview:
    """
    The lab at a glance.

    Parameters
    ----------
    lab : Lab
        The lab.
    now : datetime.datetime, optional
        The instant for which rigs are judged; this one if not given.
    n_sessions : int
        How many of the newest sessions to give.
    """
    facts = lab.facts
    sessions = list_sessions(lab)
    people = list_people(lab)
    rigs = tuple(_rig_overview(lab, row, now) for row in list_rigs(lab))
    with lab.reading() as database:
        analysed = select(Analysis.recording_sha256)
        strikes = Recording.kind == "strikes"
        n_recordings = _count(database, Recording)
        n_unanalysed = _count(database, Recording, strikes, Recording.sha256.not_in(analysed))
        n_gone = _count(database, Recording, Recording.gone.is_not(None))
    total = group_summary(lab, StrikeFilter(states=()), by=("state",), quantities=())
    states = {group.levels[0]: group.n_strikes for group in total}
    flagged = sum(session.strikes.flagged for session in sessions)
    return Overview(
        name=facts.name,
        invented=facts.invented,
        rigs=rigs,
        sessions=sessions[:n_sessions],
        n_sessions=len(sessions),
        waiting=tuple(session for session in sessions if session.strikes.waiting),
        n_people=sum(person.erased is None for person in people),
        n_recordings=n_recordings,
        n_unanalysed=n_unanalysed,
        n_gone=n_gone,
        strikes=Counts(**states, flagged=flagged),
        studies=list_studies(lab),
    )


@_in_one_state
def session_view(lab: Lab, code: str, *, offset: int = 0, limit: int = 100) -> SessionView:
    """
    A session with a page of its strikes.

    Raises
    ------
    LabError
        If there is no such session.
    """
    with lab.reading() as database:
        session = database.scalar(select(Session).where(Session.code == code))
        if session is None:
            raise MissingError(f"there is no session {code!r} in the lab; see quintain show")
        planned = tuple(
            PlannedRow(p.position, p.block, person, p.type, p.side, p.rest, strike)
            for p, person, strike in database.execute(
                select(Planned, Person.code, func.min(Strike.id))
                .join(Person, Person.id == Planned.person_id)
                .outerjoin(Strike, (Strike.planned_id == Planned.id) & (Strike.state != "gone"))
                .where(Planned.session_id == session.id)
                .group_by(Planned.id, Person.code)
                .order_by(Planned.position)
            )
        )
    row = next(s for s in list_sessions(lab) if s.id == session.id)
    recordings, _ = list_recordings(lab, session=code, limit=10_000)
    chosen = StrikeFilter(sessions=(code,))
    groups = group_summary(
        lab, StrikeFilter(sessions=(code,), states=REVIEWED.states), by=("person", "type", "side")
    )
    page = strike_page(lab, chosen, offset=offset, limit=limit)
    return SessionView(
        row, session.note, session.seed, session.changes, recordings[::-1], groups, planned, page.rows,
        page.total,
    )  # fmt: skip


@_in_one_state
def person_view(lab: Lab, code: str, *, offset: int = 0, limit: int = 100) -> PersonView:
    """
    A person by code, with a page of their strikes, the newest first.

    Raises
    ------
    LabError
        If there is no such person.
    """
    with lab.reading() as database:
        person = database.scalar(select(Person).where(Person.code == code))
    if person is None:
        raise MissingError(f"there is no person {code!r} in the lab; see quintain show")
    row = next(p for p in list_people(lab) if p.id == person.id)
    chosen = StrikeFilter(people=(code,), states=REVIEWED.states)
    when = {s.code: s.when for s in list_sessions(lab)}
    sessions = group_summary(lab, chosen, by=("session", "type", "side"))
    page = strike_page(
        lab, StrikeFilter(people=(code,)), sort="when", descending=True, offset=offset, limit=limit
    )
    return PersonView(
        row,
        person.note,
        person.changes,
        group_summary(lab, chosen, by=("type", "side")),
        tuple(sorted(sessions, key=lambda group: _by_time(when.get(group.levels[0]), group.levels))),
        {group.levels[0]: when.get(group.levels[0]) for group in sessions},
        page.rows,
        page.total,
    )


@_in_one_state
def recording_view(lab: Lab, sha256: str, *, offset: int = 0, limit: int = 100) -> RecordingView:
    """
    A recording with a page of its strikes.

    Parameters
    ----------
    lab : Lab
        The lab.
    sha256 : str
        Its hash, or the first six digits of it or more, or its name.
    offset, limit : int
        Which page.

    Raises
    ------
    LabError
        If there is no such recording, or several.
    """
    with lab.reading() as database:
        recording = recording_row(database, sha256)
        sources = tuple(
            database.scalars(
                select(Source.path).where(Source.recording_sha256 == recording.sha256).order_by(Source.id)
            )
        )
        analyses = tuple(
            map(
                _analysis,
                database.scalars(
                    select(Analysis)
                    .where(Analysis.recording_sha256 == recording.sha256)
                    .order_by(Analysis.id.desc())
                ),
            )
        )
    rows, _ = list_recordings(lab, sha256=recording.sha256)
    chosen = StrikeFilter(recordings=(recording.sha256,))
    page = strike_page(lab, chosen, sort="start", offset=offset, limit=limit)
    return RecordingView(
        rows[0], recording.channel, sources, recording.motion_sha256, recording.speeds, recording.alignment,
        recording.changes, _out_of_date(lab, recording), analyses, page.rows, page.total,
    )  # fmt: skip


@_in_one_state
def strike_view(
    lab: Lab,
    strike_id: int,
    chosen: StrikeFilter | None = None,
    *,
    sort: str = "order",
    descending: bool = False,
) -> StrikeView:
    """
    A strike whole, and its neighbours among those that a filter means.

    Parameters
    ----------
    lab : Lab
        The lab.
    strike_id : int
        The strike.
    chosen : StrikeFilter, optional
        What is being looked through; the strike's own session (or recording) if left out.
    sort, descending
        In which order, as :func:`quintain.store.queries.strike_page`.

    Raises
    ------
    LabError
        If there is no such strike.
    """
    with lab.reading() as database:
        strike = strike_row(database, strike_id)
        result = None if strike.result_id is None else database.get(Result, strike.result_id)
        analysis = None if result is None else _analysis(result.analysis)
        n_results = _count(database, Result, Result.strike_id == strike_id)
        session = None if strike.session_id is None else database.get(Session, strike.session_id)
    if chosen is None:
        chosen = (
            StrikeFilter(recordings=(strike.recording_sha256,))
            if session is None
            else StrikeFilter(sessions=(session.code,))
        )
    only = strike_page(lab, StrikeFilter(states=(), ids=(strike_id,)), limit=1)
    return StrikeView(
        row=only.rows[0],
        result=None if result is None else load_strike(lab, strike_id),
        analysis=analysis,
        neighbours=neighbours(lab, strike_id, chosen, sort=sort, descending=descending),
        n_results=n_results,
    )


def rig_state_in_lab(lab: Lab, name: str, *, now: datetime | None = None) -> RigState:
    """
    How a rig of the lab stands by its evidence.

    Raises
    ------
    LabError
        If there is no such rig, or no version of it.
    RigFileError
        If the version in use cannot be read.
    """
    with lab.reading() as database:
        rig = database.scalar(select(Rig).where(Rig.name == name))
        if rig is None:
            raise MissingError(f"there is no rig {name!r} in the lab")
        versions = database.scalars(
            select(RigVersion).where(RigVersion.rig_id == rig.id).order_by(RigVersion.added)
        ).all()
        if not versions:
            raise MissingError(f"the rig {name!r} has no version in the lab; add its rig file")
        current = next((v for v in versions if v.version == rig.current), versions[-1])
        log = log_of_rig(database, rig.id)
    return judge_rig(DomainRig.from_toml(current.toml), log, len(versions) - 1, now=now)


def log_of_rig(database: Database, rig_id: int) -> list[LogEntry]:
    """Evidence of a rig as its log would hold it, oldest first."""
    rows = database.scalars(
        select(Evidence)
        .options(defer(Evidence.answer))  # whole answers of tests are long, and a log has none
        .where(Evidence.rig_id == rig_id)
        .order_by(Evidence.when, Evidence.id)
    )
    return [_entry(row) for row in rows if row.kind in KINDS]


def _rig_overview(lab: Lab, row: RigRow, now: datetime | None) -> RigOverview:
    try:
        return RigOverview(row, rig_state_in_lab(lab, row.name, now=now))
    except QuintainError as problem:
        return RigOverview(row, None, str(problem))


def _entry(row: Evidence) -> LogEntry:
    values = {
        name: Measured(name, told["value"], told.get("u"))
        for name, told in row.values.items()
        if told and told.get("value") is not None
    }
    return LogEntry(row.when, row.kind, row.rig_version, tuple(row.inputs), values, row.verdict, row.quintain)


def _analysis(row: Analysis) -> AnalysisRow:
    return AnalysisRow(
        row.id, row.at, row.method_sha256, row.rig_version or "", row.quintain, row.output, row.n_strikes,
        tuple(Flag(**entry) for entry in row.flags), row.current, clock_from_json(row.clock),
        row.clock is not None or knew_clocks(row),
    )  # fmt: skip


def _out_of_date(lab: Lab, recording: Recording) -> tuple[str, ...]:
    """
    How what is stated differs from what the analysis in force rests on; nothing where there is none.

    A newer rig, method or version makes no result wrong: that one is analysed again when asked.
    """
    if recording.kind != "strikes" or recording.gone is not None:
        return ()
    try:
        (wanted,) = gather(lab, recordings=[recording.sha256])
    except MethodFileError:
        return ()  # of a newer version, which alone can tell
    stated = wanted.because.get(TOLD)
    return () if wanted.analysis_id is None or stated is None else (stated,)


def _count(database: Database, table: Any, *where: Any) -> int:
    return database.scalar(select(func.count()).select_from(table).where(*where)) or 0


def _by_time(when: datetime | None, levels: tuple[str, ...]) -> tuple[Any, ...]:
    return (when is None, when or datetime.min.replace(tzinfo=UTC), levels)
