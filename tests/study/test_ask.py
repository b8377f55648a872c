"""A plan's questions are answered one by one; what cannot be answered stops nothing else."""

from __future__ import annotations

import re

import numpy as np
import pytest

from quintain.domain.study_plan import StudyPlan
from quintain.study.answers import (
    AgreementAnswer,
    AsymmetryAnswer,
    ComparisonAnswer,
    FatigueAnswer,
    MixedAnswer,
    ProgressAnswer,
    ReliabilityAnswer,
)
from quintain.study.ask import answer_plan, words_of_reliability
from quintain.study.methods_text import DoneStep, write_methods
from quintain.study.observations import Observations
from quintain.study.reliability import assess_reliability

N_PEOPLE, N_SESSIONS, N_TRIALS = 8, 3, 4


@pytest.fixture(scope="module")
def crosses() -> Observations:
    """Eight invented people, three sessions, four crosses a side."""
    rng = np.random.default_rng(3)
    person, session, side, trial = (
        g.ravel()
        for g in np.meshgrid(range(N_PEOPLE), range(N_SESSIONS), range(2), range(N_TRIALS), indexing="ij")
    )
    value = (
        30 + rng.normal(0, 4, N_PEOPLE)[person] + 2.0 * side - 0.2 * trial + rng.normal(0, 0.8, person.size)
    )
    return Observations(
        "impulse",
        np.array([f"P-{i + 1:02d}" for i in person]),
        value,
        np.full(value.size, 0.2),
        factors={
            "session": np.array([f"S-{i + 1}" for i in session]),
            "side": np.array(["left", "right"])[side],
            "type": np.full(value.size, "cross"),
            "trial": side * N_TRIALS + trial + 1,
        },
    )


def _plan(questions: str, quantities: str = '["impulse"]') -> StudyPlan:
    return StudyPlan.from_toml(f'code = "x"\ntitle = "x"\nquantities = {quantities}\n{questions}')


def test_every_kind_of_question_is_answered(crosses: Observations) -> None:
    plan = _plan(
        '[[reliability]]\n[[comparison]]\nfactor = "side"\nmixed = true\n'
        '[[agreement]]\nfactor = "session"\nlevels = ["S-1", "S-3"]\n'
        '[[trend]]\nkind = "fatigue"\n[[trend]]\nkind = "asymmetry"\n[[trend]]\nkind = "progress"\n'
    )
    found = answer_plan(plan, {"impulse": crosses})
    assert found.refused == ()
    kinds = [type(answer) for answer in found.answers]
    assert kinds == [
        ReliabilityAnswer,
        ComparisonAnswer,
        MixedAnswer,
        AgreementAnswer,
        FatigueAnswer,
        AsymmetryAnswer,
        *[ProgressAnswer] * N_PEOPLE,
    ]
    software = DoneStep("software", {"version": "0", "method": ""})
    text = write_methods([*found.steps, software])
    for word in ("ICC(2,1)", "paired t tests", "mixed model", "limits of agreement", "slope", "log", "real"):
        assert word in text, word


def test_the_table_of_sessions_is_that_of_the_peoples_means(crosses: Observations) -> None:
    answer = answer_plan(_plan("[[reliability]]\n"), {"impulse": crosses}).answers[0]
    assert isinstance(answer, ReliabilityAnswer)
    means = np.array(
        [
            [crosses.value[(crosses.person == p) & (crosses.column("session") == s)].mean() for s in
             crosses.levels("session")]
            for p in crosses.people
        ]
    )  # fmt: skip
    assert answer.icc.value == pytest.approx(assess_reliability(means).iccs[1].value, rel=1e-9)
    assert answer.note == "8 people, 3 sessions, each the mean of 8 strikes"


def test_types_are_never_pooled_unasked(crosses: Observations) -> None:
    two = Observations(
        "impulse", crosses.person, crosses.value, crosses.u,
        factors={**crosses.factors, "type": np.where(np.arange(crosses.value.size) % 2, "jab", "cross")},
    )  # fmt: skip
    pooled = answer_plan(_plan("[[reliability]]\n"), {"impulse": two})
    assert pooled.answers == ()
    assert "several types (cross, jab)" in pooled.refused[0].reason
    apart = answer_plan(_plan('[[reliability]]\nby = "type"\n'), {"impulse": two})
    assert [a.group for a in apart.answers if isinstance(a, ReliabilityAnswer)] == ["cross", "jab"]


@pytest.mark.parametrize(
    ("keep", "questions", "words"),
    [
        ("one person", "[[reliability]]\n", "two|2"),
        ("one session", "[[reliability]]\n", "2|two"),
        ("missing cell", "[[reliability]]\n", "no value"),
        ("one session", '[[agreement]]\nfactor = "session"\n', "only one session"),
        (
            "all",
            '[[comparison]]\nfactor = "side"\nlevels = ["left", "lefft"]\n',
            "no strike has side 'lefft'",
        ),
        ("all", '[[comparison]]\nfactor = "side"\npaired = false\n', "the people of .* are the same"),
    ],
)
def test_statistics_are_refused_rather_than_faked(
    crosses: Observations, keep: str, questions: str, words: str
) -> None:
    rows = {
        "all": np.ones(crosses.value.size, dtype=bool),
        "one person": crosses.person == "P-01",
        "one session": crosses.column("session") == "S-1",
        "missing cell": ~((crosses.person == "P-02") & (crosses.column("session") == "S-2")),
    }[keep]
    found = answer_plan(_plan(questions), {"impulse": crosses.rows(rows)})
    assert found.answers == ()
    assert any(re.search(words, refused.reason) for refused in found.refused), found.refused


def test_one_refusal_stops_no_other_question(crosses: Observations) -> None:
    plan = _plan('[[agreement]]\nfactor = "rig"\n[[reliability]]\n', '["peak_force", "impulse"]')
    found = answer_plan(plan, {"impulse": crosses})
    assert [(r.quantity, r.question) for r in found.refused] == [
        ("peak_force", "everything"),
        ("impulse", "agreement by rig"),
    ]
    assert len(found.answers) == 1


def test_words_follow_the_rules_of_the_plan() -> None:
    plan = _plan("[[reliability]]\n[rules]\ntells_people = 0.8\n")
    assert [words_of_reliability(x, plan) for x in (0.8, 0.79, 0.4)] == [
        "Tells people apart",
        "Tells groups apart",
        "Not yet",
    ]
