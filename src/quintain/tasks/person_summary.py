"""Sum up a person of a lab for a report: strikes by session, progress, sides, and what it all rests on."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from sqlalchemy import select

from quintain.domain.session_summary import Usual
from quintain.errors import MissingError
from quintain.store.lab import Lab
from quintain.store.queries import observations
from quintain.store.queries_filter import StrikeFilter
from quintain.store.queries_groups import group_summary
from quintain.store.queries_lists import PersonRow, list_people, list_sessions
from quintain.store.results import load_method
from quintain.store.schema import Analysis, Result, Strike
from quintain.study.person_course import PersonProgress, PersonSummary, SessionMean, SessionStrikes
from quintain.tasks.person_progress import PROGRESS_QUANTITIES, person_progress
from quintain.tasks.session_summary import usual_range
from quintain.version import __version__

__all__ = ["summarise_person"]


def summarise_person(lab: Lab, code: str) -> PersonSummary:
    """
    Sum up a person over all sessions.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The person.

    Returns
    -------
    PersonSummary
        Of accepted strikes; of a kind of which none is accepted yet, those that wait. The person is held
        against their own earlier strikes; others serve only to tell the error of measurement.

    Raises
    ------
    LabError
        If there is no such person.
    """
    row = next((person for person in list_people(lab) if person.code == code), None)
    if row is None:
        raise MissingError(f"there is no person {code!r} in the lab; see quintain show")
    first = person_progress(lab, code)
    others = [kind for kind in first.kinds if kind != first.kind]
    courses = [first] if first.kind else []
    courses += [person_progress(lab, code, type=k.type, side=k.side, rig=k.rig) for k in others]
    usual = {}
    digest = hashlib.sha256()
    for course in courses:
        assert course.kind is not None
        for name in PROGRESS_QUANTITIES:
            seen = observations(lab, _own(code, course), name, ("session",)).columns
            digest.update(f"{name} {course.kind.type} {course.kind.side} {course.kind.rig}\n".encode())
            digest.update(np.ascontiguousarray(seen["id"]).tobytes())
            digest.update(np.ascontiguousarray(seen["value"]).tobytes())
            found = _usual(course, name, seen["session"], seen["value"])
            if found is not None:
                usual[course.kind, name] = found
    sessions = tuple(one for course in courses for one in _sessions(lab, code, course))
    methods, method_sha256, rig_versions = _rests_on(lab, row, courses, sum(one.n for one in sessions))
    return PersonSummary(
        code=code,
        erased=row.erased is not None,
        accepted=row.strikes.accepted,
        waiting=row.strikes.waiting,
        rejected=row.strikes.rejected,
        sessions=sessions,
        courses=tuple(courses),
        usual=usual,
        methods=methods,
        method_sha256=method_sha256,
        rig_versions=rig_versions,
        data_sha256=digest.hexdigest(),
        software=__version__,
        made=datetime.now(UTC).isoformat(timespec="seconds"),
    )


def _own(code: str, course: PersonProgress) -> StrikeFilter:
    kind = course.kind
    assert kind is not None
    states = ("accepted", "waiting") if course.unreviewed else ("accepted",)
    return StrikeFilter(
        people=(code,), types=(kind.type,), sides=(kind.side,), rigs=(kind.rig,), states=states
    )


def _sessions(lab: Lab, code: str, course: PersonProgress) -> list[SessionStrikes]:
    when = {row.code: row.when for row in list_sessions(lab)}
    groups = group_summary(lab, _own(code, course), by=("session",), quantities=PROGRESS_QUANTITIES)
    found = []
    for group in groups:
        told = {
            name: SessionMean(q.mean, q.sd, q.n) for name, q in group.quantities.items() if q.mean is not None
        }
        assert course.kind is not None
        session = group.levels[0]
        if session:
            found.append(SessionStrikes(course.kind, session, when.get(session), group.n_strikes, told))
    return sorted(found, key=lambda one: (one.when is None, str(one.when), one.session))


def _usual(course: PersonProgress, name: str, session: np.ndarray, value: np.ndarray) -> Usual | None:
    """Of accepted strikes before the latest session that states the quantity."""
    line = next(line for line in course.lines if line.quantity == name)
    if len(line.sessions) < 2 or course.unreviewed:
        return None
    return usual_range(value[session != line.sessions[-1]].tolist())


def _rests_on(
    lab: Lab, person: PersonRow, courses: Sequence[PersonProgress], n_kept: int
) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    """The methods in words, and the hashes of methods and rig files behind the person's strikes."""
    from quintain.study.methods_text import DoneStep, steps_of_method, write_methods

    query = (
        select(Analysis.method_sha256, Analysis.rig_version)
        .join(Result, Result.analysis_id == Analysis.id)
        .join(Strike, Strike.result_id == Result.id)
        .where(Strike.person_id == person.id, Strike.state != "rejected")
        .distinct()
    )
    with lab.reading() as database:
        found = database.execute(query).all()
        used = sorted({row[0] for row in found})
        methods = [load_method(database, sha256) for sha256 in used]
    if not methods:
        return "", (), ()
    steps = [step for method in methods for step in steps_of_method(method)]
    n_all, n_rejected = person.strikes.total, person.strikes.rejected
    n_other = n_all - n_kept - n_rejected
    if n_all > n_kept:
        reasons = [f"{n_rejected} rejected in review"] if n_rejected else []
        reasons += [f"{n_other} not accepted yet, or without type or session"] if n_other else []
        steps.append(DoneStep("left out", {"n_left_out": n_all - n_kept, "n_all": n_all, "reasons": reasons}))
    else:
        steps.append(DoneStep("nothing left out", {"n_kept": n_kept}))
    if any(line.progress for course in courses for line in course.lines):
        origin = "everybody who struck the same in the same sessions on the same rig"
        steps.append(DoneStep("progress", {"n_baseline": 1, "sem_from": origin}))
    if any(side.asymmetry for course in courses for side in course.sides):
        steps.append(DoneStep("asymmetry", {"first": "left", "second": "right"}))
    return write_methods(steps), tuple(used), tuple(sorted({row[1] for row in found if row[1]}))
