"""One person from session to session, and left against right, by the lab's own error of measurement."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from quintain.domain.shared_error import Source
from quintain.errors import StudyError
from quintain.store.lab import Lab
from quintain.store.queries import Observed, observations
from quintain.store.queries_budgets import results_in_force
from quintain.store.queries_filter import StrikeFilter
from quintain.store.queries_groups import group_summary
from quintain.store.queries_lists import list_sessions
from quintain.study.person_course import Kind, PersonProgress, ProgressLine, SideLine
from quintain.tasks.shared_errors import shared_errors

if TYPE_CHECKING:
    from quintain.study.observations import Observations
    from quintain.study.progress import Progress

__all__ = ["PROGRESS_QUANTITIES", "Kind", "PersonProgress", "ProgressLine", "SideLine", "person_progress"]

Floats = NDArray[np.float64]

PROGRESS_QUANTITIES = ("impulse", "peak_force", "approach_speed", "effective_mass")
"""Quantities whose course is shown."""

_WORTHWHILE = 0.2
"""Smallest worthwhile change as a share of the spread between people (Hopkins 2000; from memory)."""


def person_progress(
    lab: Lab,
    code: str,
    *,
    type: str = "",
    side: str = "",
    rig: str = "",
    quantities: Sequence[str] = PROGRESS_QUANTITIES,
) -> PersonProgress:
    """
    Judge a person's sessions against the first one, and their left against their right.

    Parameters
    ----------
    lab : Lab
        The lab.
    code : str
        The person.
    type, side, rig : str, optional
        Which strikes; the person's commonest kind if the type is left out or was never struck.
    quantities : sequence of str
        Glossary names.

    Returns
    -------
    PersonProgress
        What cannot be judged is refused in words.

    Raises
    ------
    UsageError
        If there is no such person, or a quantity is not known.

    Notes
    -----
    The error of measurement comes from everybody who struck the same in the same sessions on the same rig:
    a group that changed unevenly meanwhile makes it too large, and progress is then called unclear too often.
    What the person's own strikes share of the measurement comes from their budgets.
    """
    kinds = _kinds(lab, code)
    wanted = [k for k in kinds if (k.type, k.side, k.rig) == (type, side, rig)]
    kind = wanted[0] if wanted else kinds[0] if kinds else None
    if kind is None:
        return PersonProgress(code, (), None, False, (), ())
    own = StrikeFilter(people=(code,), types=(kind.type,), rigs=(kind.rig,), states=("accepted",))
    unreviewed = not group_summary(lab, own, by=(), quantities=())
    states = ("accepted", "waiting") if unreviewed else ("accepted",)
    chosen = StrikeFilter(types=(kind.type,), sides=(kind.side,), rigs=(kind.rig,), states=states)
    struck = {(k.type, k.rig, k.side) for k in kinds}
    both = [(t, r) for t, r, s in sorted(struck) if s == "left" and (t, r, "right") in struck]
    when = {row.code: row.when for row in list_sessions(lab)}
    return PersonProgress(
        person=code,
        kinds=kinds,
        kind=kind,
        unreviewed=unreviewed,
        lines=tuple(_line(lab, code, chosen, name, when) for name in quantities),
        sides=tuple(_side(lab, code, t, r, states, name) for t, r in both for name in quantities),
    )


def _kinds(lab: Lab, code: str) -> tuple[Kind, ...]:
    chosen = StrikeFilter(people=(code,), states=("accepted", "waiting"))
    groups = group_summary(lab, chosen, by=("type", "side", "rig", "session"), quantities=())
    strikes: Counter[tuple[str, str, str]] = Counter()
    sessions: Counter[tuple[str, str, str]] = Counter()
    for group in groups:
        kind, side, rig, session = group.levels
        if kind and session:
            strikes[kind, side, rig] += group.n_strikes
            sessions[kind, side, rig] += 1
    ordered = sorted(strikes, key=lambda k: (-sessions[k], -strikes[k], k))
    return tuple(Kind(*k, n_strikes=strikes[k], n_sessions=sessions[k]) for k in ordered)


def _line(
    lab: Lab, code: str, chosen: StrikeFilter, quantity: str, when: dict[str, datetime | None]
) -> ProgressLine:
    observed = observations(lab, chosen, quantity, ("session",))
    own = observed.columns["person"] == code
    if not own.any():
        return ProgressLine(quantity, (), (), (), (), (), None, "no strike states it", 0)
    trials = _tidy(observed)
    results = results_in_force(lab, observed.columns["id"][own].tolist())
    mine = _tidy(observed, own, shared_errors(lab, [quantity], results)[quantity])
    told = sorted((str(s) for s in mine.levels("session")), key=lambda s: (when[s] is None, str(when[s]), s))
    means = mine.means("session")
    place = {str(s): i for i, s in enumerate(means.column("session").tolist())}
    means = means.rows([place[s] for s in told])
    count = Counter(str(s) for s in mine.column("session").tolist())
    progress, refused, n_people = _judge(trials, told, means)
    return ProgressLine(
        quantity, tuple(told), tuple(when[s] for s in told), tuple(count[s] for s in told),
        tuple(means.value.tolist()), tuple(means.u.tolist()), progress, refused, n_people,
    )  # fmt: skip


def _judge(trials: Observations, sessions: list[str], own: Observations) -> tuple[Progress | None, str, int]:
    """A person's means of the sessions, in order of time, against the error that everybody's tell."""
    from quintain.study.progress import ProgressRule, judge_progress
    from quintain.study.typical_error import assess_typical_error

    if len(sessions) < 2:
        return None, "one session so far; progress needs a second one", 0
    try:
        means = trials.select(session=sessions).means("session")
        full = [p for p in means.people if np.count_nonzero(means.person == p) == len(sessions)]
        table = means.select(person=full).table("session")
        error = assess_typical_error(table.values)
        rule = ProgressRule(error.sem, error.sem_df, _WORTHWHILE * error.sd_observed)
        return judge_progress(sessions, own.value, rule, common=own.common), "", len(full)
    except StudyError as problem:
        return None, str(problem), 0


def _side(lab: Lab, code: str, type: str, rig: str, states: tuple[str, ...], quantity: str) -> SideLine:
    from quintain.study.asymmetry import measure_asymmetry

    chosen = StrikeFilter(types=(type,), sides=("left", "right"), rigs=(rig,), states=states)
    try:
        trials = _tidy(observations(lab, chosen, quantity, ("side",)))
        both = [p for p in trials.people if len(set(trials.column("side")[trials.person == p].tolist())) == 2]
        if code not in both:
            return SideLine(type, rig, quantity, None, "one side states it only")
        found = measure_asymmetry(trials.select(person=both), "left", "right")
    except StudyError as problem:
        return SideLine(type, rig, quantity, None, str(problem))
    return SideLine(type, rig, quantity, next(p for p in found.people if p.person == code), "")


def _tidy(
    observed: Observed, keep: NDArray[np.bool_] | None = None, common: Mapping[Source, Floats] | None = None
) -> Observations:
    """As a study takes it; StudyError where no strike states the quantity."""
    from quintain.study.observations import Observations

    chosen = slice(None) if keep is None else keep
    return Observations.of_columns({n: c[chosen] for n, c in observed.columns.items() if n != "id"}, common)
