"""Put the questions of a plan to the trials, each on its own: one that cannot be answered stops no other."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

import numpy as np

from quintain.domain.study_plan import Agreement, Comparison, Reliability, StudyPlan, Trend
from quintain.errors import StudyError
from quintain.numerics.agreement import limits_of_agreement
from quintain.quantities import GLOSSARY
from quintain.study.answers import (
    AgreementAnswer,
    Answer,
    Answers,
    AsymmetryAnswer,
    ComparisonAnswer,
    Described,
    FatigueAnswer,
    MixedAnswer,
    ProgressAnswer,
    Refused,
    ReliabilityAnswer,
)
from quintain.study.asymmetry import measure_asymmetry
from quintain.study.common_part import common_of_difference, with_common
from quintain.study.compare import adjust_holm, compare_levels, judge_equivalence
from quintain.study.describe import MeasurementShare, describe, weigh_measurement
from quintain.study.fatigue import find_fatigue
from quintain.study.methods_text import DoneStep
from quintain.study.mixed import fit_mixed, sd_intervals
from quintain.study.observations import Observations, number_trials
from quintain.study.progress import ProgressRule, judge_progress
from quintain.study.reliability import assess_reliability
from quintain.study.typical_error import TypicalError, assess_typical_error

__all__ = ["answer_plan", "words_of_reliability"]


def answer_plan(plan: StudyPlan, observations: Mapping[str, Observations]) -> Answers:
    """
    Answer every question of a plan.

    Parameters
    ----------
    plan : StudyPlan
        Questions and rules.
    observations : mapping of str to Observations
        Trials of each quantity of the plan, in the order in which they were made; with the factors
        ``type``, ``side``, ``session``, ``rig``, ``method`` as far as the plan asks for them, and ``trial``
        that counts a person's strikes in a session. A quantity that is missing here is refused.

    Returns
    -------
    Answers
        In the order of the plan, quantity by quantity; what the data cannot answer is among ``refused``.

    Examples
    --------
    >>> plan = StudyPlan.from_toml('''
    ... code = "days"
    ... title = "From day to day (invented)"
    ... quantities = ["impulse"]
    ... [[reliability]]
    ... ''')
    >>> trials = Observations("impulse", ["a", "a", "b", "b", "c", "c"], [20.0, 21.0, 30.0, 31.0, 40.0, 42.0],
    ...                       factors={"session": ["s1", "s2"] * 3})
    >>> answers = answer_plan(plan, {"impulse": trials})
    >>> answers.answers[0].icc.name, round(answers.answers[0].icc.value, 2)
    ('ICC(2,1)', 0.99)
    """
    described: list[Described] = []
    found: list[Answer] = []
    refused: list[Refused] = []
    steps: dict[str, DoneStep] = {}
    for quantity in plan.quantities:
        obs = observations.get(quantity)
        if obs is None:
            refused.append(Refused(quantity, "everything", "no selected strike states it"))
            continue
        by = "type" if "type" in obs.factors and len(obs.levels("type")) > 1 else ""
        try:
            rows = describe(obs, by or None, probability=plan.rules.probability)
            described.append(Described(quantity, by, rows, _measurement(obs, by)))
            steps |= _numbered(_common_steps(obs))
        except StudyError as problem:
            refused.append(Refused(quantity, "description", str(problem)))
        for question, ask in _questions(plan, obs):
            try:
                for answer, done in ask():
                    found.append(answer)
                    steps |= _numbered(done)
            except StudyError as problem:
                refused.append(Refused(quantity, question, str(problem)))
    percent = 100 * plan.rules.probability
    told = (DoneStep("description", {"percent": percent}), *steps.values())
    return Answers(tuple(described), tuple(found), tuple(refused), told)


def words_of_reliability(lower: float, plan: StudyPlan) -> str:
    """What the lower end of an interval says by the rules of the plan."""
    if lower >= plan.rules.tells_people:
        return "Tells people apart"
    if lower >= plan.rules.tells_groups:
        return "Tells groups apart"
    return "Not yet"


Found = Iterator[tuple[Answer, list[DoneStep]]]
"""Each answer with the steps that led to it."""


def _questions(plan: StudyPlan, obs: Observations) -> Iterator[tuple[str, Callable[[], Found]]]:
    for reliability in plan.reliability:
        yield f"reliability across {reliability.across}s", partial(_reliability, plan, reliability, obs)
    for comparison in plan.comparison:
        yield f"comparison by {comparison.factor}", partial(_comparison, plan, comparison, obs)
        if comparison.mixed:
            yield f"mixed model by {comparison.factor}", partial(_mixed, plan, comparison, obs)
    for agreement in plan.agreement:
        yield f"agreement by {agreement.factor}", partial(_agreement, plan, agreement, obs)
    for trend in plan.trend:
        yield trend.kind, partial(_trend, plan, trend, obs)


def _numbered(steps: list[DoneStep]) -> dict[str, DoneStep]:
    """Each step once, whoever did it."""
    return {f"{step.kind} {sorted(step.facts.items())}": step for step in steps}


def _measurement(obs: Observations, by: str) -> tuple[MeasurementShare | None, ...]:
    """How much of the spread of each group is measurement."""
    groups = [obs.select(**{by: level}) for level in obs.levels(by)] if by else [obs]
    return tuple(_share(group) for group in groups)


def _share(obs: Observations) -> MeasurementShare | None:
    try:
        return weigh_measurement(obs)
    except StudyError:
        return None


def _common_steps(obs: Observations) -> list[DoneStep]:
    """That the common part was kept apart, and from what; or that it could not be."""
    if not np.isfinite(obs.u).any():
        return []
    if not np.isfinite(obs.u_common[np.isfinite(obs.u)]).all():
        return [DoneStep("common part unknown", {"quantity": GLOSSARY[obs.quantity].label.lower()})]
    return [DoneStep("common part", {})]


def _one_kind(obs: Observations, but: str = "") -> Observations:
    """Trials of one type; a mean over several types is the mean of nothing anybody did."""
    if but != "type" and "type" in obs.factors and len(obs.levels("type")) > 1:
        names = ", ".join(map(str, obs.levels("type")))
        raise StudyError(
            f"the trials are of several types ({names}): name one in the plan's [select], or ask by = 'type'"
        )
    return obs


# -- does it repeat?


def _reliability(plan: StudyPlan, asked: Reliability, obs: Observations) -> Found:
    groups = obs.levels(asked.by) if asked.by else ("",)
    percent = 100 * plan.rules.probability
    for group in groups:
        part = _one_kind(obs.select(**{asked.by: group}) if asked.by else obs)
        table, note = _table(asked, part)
        found = assess_reliability(table, probability=plan.rules.probability)
        error = assess_typical_error(table, probability=plan.rules.probability)
        icc = next(icc for icc in found.iccs if icc.name == f"ICC({asked.model})")
        words = words_of_reliability(icc.lower, plan)
        mean = float(np.mean(table))
        yield (
            ReliabilityAnswer(obs.quantity, asked.across, str(group), note, mean, icc, found, error, words),
            [DoneStep("reliability", {"across": f"{asked.across}s", "forms": icc.name, "percent": percent})],
        )


def _table(asked: Reliability, obs: Observations) -> tuple[Any, str]:
    if asked.across == "session":
        table = obs.means("session").table("session")
        cells = [f"{p}\t{s}" for p, s in zip(obs.person, obs.column("session"), strict=True)]
        counts = np.unique(cells, return_counts=True)[1]
        trials = f"{counts.min()}" if counts.min() == counts.max() else f"{counts.min()} to {counts.max()}"
        return table.values, (
            f"{len(table.people)} people, {len(table.levels)} sessions, each the mean of {trials} strikes"
        )
    numbered = number_trials(obs)
    per_person = np.unique(obs.person, return_counts=True)[1]
    k = int(per_person.min())
    if k < 2:
        raise StudyError("somebody has one strike only: reliability across trials needs two of each person")
    table = numbered.rows(numbered.column("trial") <= k).table("trial")
    cut = "" if per_person.max() == k else f"; the first {k} of each person, as all must have equally many"
    return table.values, f"{len(table.people)} people, {k} strikes each{cut}"


# -- do they differ?


def _pairs(levels: tuple[str, ...], factor: str, obs: Observations) -> list[tuple[Any, Any]]:
    there = obs.levels(factor)
    chosen = levels or tuple(str(level) for level in there)
    if len(chosen) < 2:
        raise StudyError(
            f"only one {factor} is among the strikes ({', '.join(map(str, there))}); two are needed"
        )
    by_name = {str(level): level for level in there}
    missing = [level for level in chosen if level not in by_name]
    if missing:
        raise StudyError(f"no strike has {factor} {missing[0]!r}; there are {', '.join(by_name)}")
    return list(itertools.combinations([by_name[level] for level in chosen], 2))


def _comparison(plan: StudyPlan, asked: Comparison, obs: Observations) -> Found:
    obs = _one_kind(obs, asked.factor)
    generator = np.random.default_rng(plan.rules.seed)
    pairs = _pairs(asked.levels, asked.factor, obs)
    made = [
        compare_levels(obs, asked.factor, a, b, generator=generator, probability=plan.rules.probability)
        for a, b in pairs
    ]
    wanted = "paired" if asked.paired else "unpaired"
    for comparison in made:
        if comparison.design != wanted:
            raise StudyError(
                f"the plan asks for a {wanted} comparison, but the people of {comparison.first} and "
                f"{comparison.second} are {'the same' if comparison.design == 'paired' else 'others'}"
            )
    adjusted = adjust_holm([comparison.p for comparison in made])
    margin = plan.rules.worthwhile * _spread(obs)
    holm = DoneStep("holm", {"n_comparisons": len(pairs)})
    for (a, b), comparison, p in zip(pairs, made, adjusted, strict=True):
        equivalence = judge_equivalence(comparison, margin)
        people = _both(obs, asked.factor, a, b) if asked.paired else ()
        ends = tuple(
            describe(obs.select(**{asked.factor: level}), probability=plan.rules.probability)[0].interval
            for level in (a, b)
        )
        step = DoneStep(f"{wanted} comparison", {"what": [comparison.first, comparison.second]})
        yield (
            ComparisonAnswer(
                obs.quantity, asked.factor, comparison, p, equivalence, (ends[0], ends[1]), people
            ),
            [step, holm] if len(pairs) > 1 else [step],
        )


def _both(obs: Observations, factor: str, a: Any, b: Any) -> tuple[tuple[str, float, float], ...]:
    first, second = obs.select(**{factor: a}).means(), obs.select(**{factor: b}).means()
    at = dict(zip(second.person.tolist(), second.value.tolist(), strict=True))
    return tuple(
        (code, value, at[code])
        for code, value in zip(first.person.tolist(), first.value.tolist(), strict=True)
        if code in at
    )


def _spread(obs: Observations) -> float:
    means = obs.means().value
    if means.size < 2:
        raise StudyError("one person has no spread between people; measure at least two")
    return float(means.std(ddof=1))


def _mixed(plan: StudyPlan, asked: Comparison, obs: Observations) -> Found:
    several = "type" in obs.factors and asked.factor != "type" and len(obs.levels("type")) > 1
    fixed = ["type", asked.factor] if several else [asked.factor]
    model = fit_mixed(obs, fixed, probability=plan.rules.probability)
    step = DoneStep("mixed model", {"fixed": list(model.fixed), "random": list(model.random)})
    zero = [component.name for component in model.components if component.variance == 0]
    at_zero = [DoneStep("boundary fit", {"at_zero": zero})] if zero else []
    ends = sd_intervals(obs, model, probability=plan.rules.probability)
    yield MixedAnswer(obs.quantity, asked.factor, model, ends), [step, *at_zero]


# -- do they agree?


def _agreement(plan: StudyPlan, asked: Agreement, obs: Observations) -> Found:
    obs = _one_kind(obs)
    for a, b in _pairs(asked.levels, asked.factor, obs):
        both = _both(obs, asked.factor, a, b)
        if len(both) < 3:
            raise StudyError(
                f"{len(both)} people have strikes at {asked.factor} {a} and {b}; limits of agreement need 3"
            )
        first, second = np.array([x for _, x, _ in both]), np.array([y for _, _, y in both])
        limits = limits_of_agreement(first, second)
        people = tuple(code for code, _, _ in both)
        sides = (obs.select(**{asked.factor: level}, person=list(people)) for level in (a, b))
        common = common_of_difference(*sides)
        whole = with_common(
            limits.bias, limits.u_bias, len(people) - 1, common, probability=plan.rules.probability
        )
        answer = AgreementAnswer(
            obs.quantity, asked.factor, str(a), str(b), people, (first + second) / 2, first - second, limits,
            common, whole,
        )  # fmt: skip
        names = {"first": f"{asked.factor} {a}", "second": f"{asked.factor} {b}"}
        yield answer, [DoneStep("agreement", {**names, "multiple": 1.96})]


# -- where do they go?


def _trend(plan: StudyPlan, asked: Trend, obs: Observations) -> Found:
    if asked.kind == "fatigue":
        fatigue = find_fatigue(
            _one_kind(obs), order="trial", series="session", probability=plan.rules.probability
        )
        yield FatigueAnswer(obs.quantity, fatigue), [DoneStep("fatigue", {"order": "number of the strike"})]
    elif asked.kind == "asymmetry":
        asymmetry = measure_asymmetry(_one_kind(obs), "left", "right", probability=plan.rules.probability)
        step = DoneStep("asymmetry", {"first": "left", "second": "right"})
        yield AsymmetryAnswer(obs.quantity, asymmetry), [step]
    else:
        yield from _progress(plan, _one_kind(obs))


def _progress(plan: StudyPlan, obs: Observations) -> Found:
    means = obs.means("session")
    table = means.table("session")
    error: TypicalError = assess_typical_error(table.values, probability=plan.rules.probability)
    swc = plan.rules.worthwhile * error.sd_observed
    rule = ProgressRule(error.sem, error.sem_df, swc, probability=plan.rules.probability)
    sessions = tuple(str(level) for level in table.levels)
    step = DoneStep("progress", {"n_baseline": 1, "sem_from": "the same people's sessions"})
    for code, values in zip(table.people, table.values, strict=True):
        progress = judge_progress(sessions, values, rule, common=means.select(person=code).common)
        yield ProgressAnswer(obs.quantity, code, sessions, tuple(values.tolist()), progress), [step]
