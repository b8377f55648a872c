"""Studies of a lab: a plan fixed beforehand, the strikes it is about, and its answers."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select

from quintain.domain.rig import Rig
from quintain.domain.study_plan import StudyPlan
from quintain.errors import ConflictError, MissingError, QuintainError, StudyError, UsageError
from quintain.quantities import GLOSSARY
from quintain.store.batches import in_batches
from quintain.store.lab import Lab
from quintain.store.queries import Observed, observations
from quintain.store.queries_filter import StrikeFilter
from quintain.store.queries_methods import results_by_method
from quintain.store.results import load_method
from quintain.store.schema import (
    Analysis,
    Person,
    Recording,
    Result,
    RigVersion,
    Session,
    Strike,
    StrikeType,
    Study,
)
from quintain.tasks.progress import Progress, silent
from quintain.tasks.shared_errors import shared_errors
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.study.answers import StudyResult
    from quintain.study.mean_curves import MeanCurve
    from quintain.study.methods_text import DoneStep
    from quintain.study.observations import Observations

__all__ = ["KeptPlan", "add_study", "example_plan", "kept_plan", "run_study"]

FEWEST_FOR_CURVE = 3
"""People that a mean force curve needs at least."""

RESULT = "result"
"""Column that holds the id of the result a value stands in."""


def example_plan(code: str) -> str:
    """A plan to begin from, with every line explained; what it asks must be fixed before looking."""
    return f"""\
# A study's plan. Fix it before you look at the numbers; its hash stands in the report.
code = "{code}"
title = "Does it repeat from day to day?"
question = "Do impulse and peak force of a cross repeat from session to session?"
quantities = ["impulse", "peak_force"]   # names as in JSON; see the glossary

[select]                # which strikes; an empty list leaves nothing out
types = ["cross"]
sides = []
sessions = []
people = []
without_flags = ["loaded-before", "overlapping"]
unreviewed = false      # true also takes strikes that wait for their review

[[reliability]]         # does a number repeat?
across = "session"      # or "trial"
model = "2,1"           # 1,1  2,1  3,1  1,k  2,k  3,k

#[[comparison]]         # do levels differ, within people?
#factor = "side"        # type, side, session, rig, method
#levels = ["left", "right"]
#mixed = true           # a mixed model over all strikes too

#[[agreement]]          # do two rigs, methods or sessions give the same?
#factor = "rig"

#[[trend]]
#kind = "fatigue"       # or "progress", "asymmetry"

[rules]                 # from numbers to words
tells_people = 0.75     # least lower end of the interval of the ICC
tells_groups = 0.5
worthwhile = 0.2        # smallest worthwhile change, in SD between people
"""


def add_study(lab: Lab, text: str, *, who: str, origin: str = "study") -> StudyPlan:
    """
    Keep a plan in the lab.

    A plan that is kept is not changed: the same text again does nothing, another one under the same
    code is refused, so that nobody moves the goal after the shot.

    Raises
    ------
    StudyPlanError
        If the text is no plan.
    ConflictError
        If another plan has this code.
    """
    plan = StudyPlan.from_toml(text, origin=origin)
    with lab.writing(who) as writer:
        known = writer.database.scalar(select(Study).where(Study.code == plan.code))
        if known is not None:
            if StudyPlan.from_toml(known.plan).sha256 == plan.sha256:
                return plan
            raise ConflictError(
                f"{origin}: the lab holds another plan for the study {plan.code!r}, added "
                f"{known.added:%Y-%m-%d}; a plan is fixed before the numbers: give this one its own code"
            )
        writer.database.add(Study(code=plan.code, title=plan.title, plan=text))
        writer.note("add study", "study", plan.code, after={"plan": plan.sha256})
    return plan


class KeptPlan(NamedTuple):
    """A plan, its text as it was given, and when it was fixed."""

    plan: StudyPlan
    text: str
    added: datetime


def kept_plan(lab: Lab, code: str) -> KeptPlan:
    """
    A plan that the lab keeps.

    Raises
    ------
    LabError
        If there is none of this code.
    """
    with lab.reading() as database:
        row = database.scalar(select(Study).where(Study.code == code))
        if row is None:
            codes = ", ".join(database.scalars(select(Study.code).order_by(Study.code))) or "none"
            raise MissingError(f"there is no study {code!r} in the lab; there are: {codes}")
        return KeptPlan(StudyPlan.from_toml(row.plan, origin=f"study {code}"), row.plan, row.added)


def run_study(lab: Lab, plan: StudyPlan, *, progress: Progress = silent) -> StudyResult:
    """
    Answer a plan from the strikes of a lab.

    Parameters
    ----------
    lab : Lab
        The lab.
    plan : StudyPlan
        Questions, selection and rules.
    progress : Progress, optional
        Told of the curves read.

    Returns
    -------
    StudyResult
        Everything the report says; questions that the strikes cannot answer are refused in words.

    Raises
    ------
    StudyError
        If no strike is left by the selection.
    UsageError
        If the selection names what the lab does not have.
    """
    from quintain.study.answers import StudyResult
    from quintain.study.ask import answer_plan
    from quintain.study.methods_text import write_methods

    chosen = _chosen(lab, plan)
    by_quantity, left_out, ids = _values(lab, plan, chosen)
    if not by_quantity:
        raise StudyError(
            f"study {plan.code}: no accepted strike of the selection states any of its quantities; "
            "review the strikes, or change the selection"
        )
    answers = answer_plan(plan, by_quantity)
    facts = _facts(lab, ids)
    people = sorted({code for obs in by_quantity.values() for code in obs.people})
    curves, curve_steps = _curves(lab, plan, ids, progress)
    steps = [*_steps(plan, facts, len(ids), left_out, people), *answers.steps, *curve_steps]
    return StudyResult(
        plan=plan,
        answers=answers,
        curves=curves,
        methods=write_methods(steps),
        n_strikes=len(ids),
        people=tuple(people),
        sessions=tuple(facts["sessions"]),
        rigs=tuple(facts["rigs"]),
        left_out=tuple(left_out.items()),
        data_sha256=_hash(by_quantity),
        software=__version__,
        date=datetime.now(UTC).isoformat(timespec="seconds"),
    )


# -- which strikes


def _chosen(lab: Lab, plan: StudyPlan) -> StrikeFilter:
    wanted = plan.select
    with lab.reading() as database:
        types = set(database.scalars(select(StrikeType.name)))
    unknown = [name for name in wanted.types if name not in types]
    if unknown:
        close = difflib.get_close_matches(unknown[0], sorted(types), n=1)
        hint = f"did you mean {close[0]!r}?" if close else "see quintain type list"
        raise UsageError(f"study {plan.code}: the lab has no type of strike {unknown[0]!r}; {hint}")
    return StrikeFilter(
        sessions=wanted.sessions,
        people=wanted.people,
        types=wanted.types,
        sides=wanted.sides,
        rigs=wanted.rigs,
        states=("accepted", "waiting", "rejected"),
    )


def _values(
    lab: Lab, plan: StudyPlan, chosen: StrikeFilter
) -> tuple[dict[str, Observations], dict[str, int], list[int]]:
    """Observations of each quantity, why strikes were left out, and the strikes that went in."""
    wanted = {"accepted", "waiting"} if plan.select.unreviewed else {"accepted"}
    known = _reviewed(lab)
    factors = _factors(plan)
    left_out: dict[str, int] = {}
    tables: dict[str, dict[str, NDArray[Any]]] = {}
    went_in: set[int] = set()
    for i, quantity in enumerate(plan.quantities):
        observed: Observed = observations(lab, chosen, quantity, sorted(factors - {"method"}))
        ids = observed.columns["id"].tolist()
        reasons = {id: _reason(known[id], wanted, plan.select.without_flags) for id in ids}
        keep = np.array([not reasons[id] for id in ids], dtype=bool)
        if i == 0:
            for reason in filter(None, reasons.values()):
                left_out[reason] = left_out.get(reason, 0) + 1
        for reason, n in observed.left_out.items():
            words = reason if i == 0 or reason.endswith(quantity) else ""
            if words:
                left_out[words] = left_out.get(words, 0) + n
        if not keep.any():
            continue
        kept = [id for id, k in zip(ids, keep.tolist(), strict=True) if k]
        went_in |= set(kept)
        table = {name: column[keep] for name, column in observed.columns.items() if name != "id"}
        table["trial"] = np.array([known[id].trial for id in kept])
        table[RESULT] = np.array([known[id].result for id in kept])
        if "method" in factors:
            table = _spread_over_methods(lab, quantity, kept, table)
            if not table["value"].size:
                continue
        tables[quantity] = table
    return _observations(lab, tables), left_out, sorted(went_in)


def _observations(lab: Lab, tables: Mapping[str, dict[str, NDArray[Any]]]) -> dict[str, Observations]:
    """The tables with what strikes share of their uncertainty, read from all results at once."""
    from quintain.study.observations import Observations

    if not tables:
        return {}
    results = np.unique(np.concatenate([table[RESULT] for table in tables.values()]))
    shared = shared_errors(lab, list(tables), results.tolist())
    found = {}
    for quantity, table in tables.items():
        at = np.searchsorted(results, table.pop(RESULT))
        common = {source: column[at] for source, column in shared[quantity].items()}
        found[quantity] = Observations.of_columns(table, {s: c for s, c in common.items() if np.any(c)})
    return found


def _factors(plan: StudyPlan) -> set[str]:
    """What must be known of a strike to answer the plan; one that does not state it is left out."""
    asked = {"type"} | {q.factor for q in plan.comparison} | {q.factor for q in plan.agreement}
    for reliability in plan.reliability:
        asked |= {reliability.across, reliability.by} & {"session", "type", "side"}
    for trend in plan.trend:
        asked |= {"side"} if trend.kind == "asymmetry" else {"session"}
    return asked


class _Reviewed(NamedTuple):
    result: int
    state: str
    codes: str
    trial: int
    """Number of the strike among those of its person in its session, whatever its type."""


def _reviewed(lab: Lab) -> dict[int, _Reviewed]:
    query = (
        select(Strike.id, Strike.person_id, Strike.session_id, Result.id, Strike.state, Result.codes)
        .join(Result, Strike.result_id == Result.id)
        .join(Recording, Strike.recording_sha256 == Recording.sha256)
        .order_by(Strike.session_id, Recording.when, Strike.position, Strike.start, Strike.id)
    )
    count: dict[tuple[int | None, int | None], int] = {}
    found = {}
    with lab.reading() as database:
        for id, person, session, result, state, codes in database.execute(query):
            count[person, session] = count.get((person, session), 0) + 1
            found[id] = _Reviewed(result, state, codes, count[person, session])
    return found


def _reason(strike: _Reviewed, wanted: set[str], without: tuple[str, ...]) -> str:
    if strike.state not in wanted:
        return {"waiting": "not reviewed", "rejected": "rejected in review"}.get(strike.state, strike.state)
    doubts = [code for code in strike.codes.split() if code in without]
    return f"flag {doubts[0]}" if doubts else ""


def _spread_over_methods(
    lab: Lab, quantity: str, ids: list[int], table: Mapping[str, NDArray[Any]]
) -> dict[str, NDArray[Any]]:
    """One row a strike and method, instead of one a strike."""
    results = results_by_method(lab, quantity, ids)
    place = {id: row for row, id in enumerate(ids)}
    rows = np.array([place[result.strike_id] for result in results], dtype=int)
    spread = {name: column[rows] for name, column in table.items()}
    spread["value"] = np.array([result.value for result in results])
    spread["u"] = np.array([np.nan if result.u is None else result.u for result in results])
    spread["method"] = np.array([result.method for result in results])
    spread[RESULT] = np.array([result.result_id for result in results], dtype=int)
    return spread


# -- what was done


def _facts(lab: Lab, ids: list[int]) -> dict[str, Any]:
    """Sessions, rigs, rates and methods behind the strikes that went in."""
    query = (
        select(Strike.session_id, Recording.rate, Analysis.method_sha256, Analysis.rig_version)
        .join(Result, Strike.result_id == Result.id)
        .join(Analysis, Result.analysis_id == Analysis.id)
        .join(Recording, Strike.recording_sha256 == Recording.sha256)
        .distinct()
    )
    with lab.reading() as database:
        found = {
            row for some in in_batches(ids) for row in database.execute(query.where(Strike.id.in_(some)))
        }
        sessions = [database.get_one(Session, id) for id in sorted({row[0] for row in found if row[0]})]
        rigs = {}
        for version in sorted({row[3] for row in found if row[3]}):
            rigs[version] = Rig.from_toml(database.get_one(RigVersion, version).toml).name
        return {
            "sessions": sorted(session.code for session in sessions),
            "seeds": {session.code: session.seed for session in sessions},
            "rates": sorted({row[1] for row in found if row[1]}),
            "methods": [load_method(database, sha256) for sha256 in sorted({row[2] for row in found})],
            "rig_versions": rigs,
            "rigs": sorted(set(rigs.values())),
        }


def _steps(
    plan: StudyPlan, facts: Mapping[str, Any], n_strikes: int, left_out: Mapping[str, int], people: list[str]
) -> list[DoneStep]:
    from quintain.study.methods_text import DoneStep, steps_of_method

    counts = {"n_people": len(people), "n_strikes": n_strikes, "n_sessions": len(facts["sessions"])}
    steps = [DoneStep("people", counts)]
    seeds = sorted({seed for seed in facts["seeds"].values() if seed is not None})
    if seeds and all(seed is not None for seed in facts["seeds"].values()):
        steps.append(DoneStep("randomised order", {"seed": ", ".join(map(str, seeds))}))
    for version, name in facts["rig_versions"].items():
        for rate in facts["rates"]:
            steps.append(DoneStep("recording", {"rate": rate, "rig": name, "rig_version": version[:12]}))
    if left_out:
        total = n_strikes + sum(left_out.values())
        reasons = [f"{n} {why}" for why, n in left_out.items()]
        steps.append(
            DoneStep("left out", {"n_left_out": total - n_strikes, "n_all": total, "reasons": reasons})
        )
    else:
        steps.append(DoneStep("nothing left out", {"n_kept": n_strikes}))
    for method in facts["methods"]:
        steps += steps_of_method(method)
    if plan.comparison:
        quantity = GLOSSARY[plan.quantities[0]]
        share = f"{plan.rules.worthwhile:g} of the SD between people"
        steps.append(
            DoneStep("margin from data", {"value": share, "unit": "", "origin": f"of {quantity.label}"})
        )
        steps.append(DoneStep("permutation", {}))
        steps.append(DoneStep("equivalence", {}))
        steps.append(DoneStep("seed", {"seed": plan.rules.seed}))
    return steps


def _curves(
    lab: Lab, plan: StudyPlan, ids: list[int], progress: Progress
) -> tuple[tuple[tuple[str, MeanCurve], ...], list[DoneStep]]:
    """Mean force curve of each type that three people or more have, and what was done for them."""
    from quintain.study.mean_curves import Curve, average_curves
    from quintain.study.methods_text import DoneStep
    from quintain.tasks.replay import curves_of_each

    contact_time = Result.__table__.c.contact_time
    query = (
        select(Strike.id, Strike.type, Person.code, contact_time)
        .join(Result, Strike.result_id == Result.id)
        .join(Person, Strike.person_id == Person.id)
        .where(Strike.type.is_not(None), contact_time.is_not(None))
    )
    with lab.reading() as database:
        rows = [row for some in in_batches(ids) for row in database.execute(query.where(Strike.id.in_(some)))]
    by_type: dict[str, list[Curve]] = {}
    n_gone = 0
    each = curves_of_each(lab, [row.id for row in rows])
    for i, ((_, kind, code, contact_time), (_, found)) in enumerate(zip(rows, each, strict=True)):
        progress("curves", i, len(rows))
        if isinstance(found, QuintainError):
            n_gone += 1
            continue
        force = found.force
        if force.corrected.size and force.time[-1] >= contact_time:
            by_type.setdefault(kind, []).append(Curve(code, force.time, force.corrected, contact_time))
    generator = np.random.default_rng(plan.rules.seed)
    drawn = tuple(
        (kind, average_curves(curves, generator=generator, probability=plan.rules.probability))
        for kind, curves in sorted(by_type.items())
        if len({curve.person for curve in curves}) >= FEWEST_FOR_CURVE
    )
    steps = []
    if drawn:
        n_people = max(len(curve.people) for _, curve in drawn)
        facts = {"n_people": n_people, "percent": 100 * plan.rules.probability}
        steps.append(DoneStep("mean curves", facts))
    if n_gone:
        steps.append(DoneStep("curves gone", {"n_gone": n_gone, "n_all": len(rows)}))
    return drawn, steps


def _hash(by_quantity: Mapping[str, Observations]) -> str:
    digest = hashlib.sha256()
    for quantity, obs in by_quantity.items():
        digest.update(quantity.encode())
        digest.update("\n".join(obs.person.tolist()).encode())
        digest.update(np.ascontiguousarray(obs.value).tobytes())
    return digest.hexdigest()
