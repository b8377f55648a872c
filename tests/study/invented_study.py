"""A study of invented people with every kind of question in it."""

from __future__ import annotations

import numpy as np

from quintain.domain.method import Method
from quintain.domain.shared_error import Source
from quintain.domain.study_plan import StudyPlan
from quintain.study.answers import StudyResult
from quintain.study.ask import answer_plan
from quintain.study.mean_curves import Curve, average_curves
from quintain.study.methods_text import DoneStep, steps_of_method, write_methods
from quintain.study.observations import Observations

PLAN = """\
code = "days"
title = "From day to day (invented)"
question = "Do impulse and effective mass repeat?"
quantities = ["impulse", "effective_mass", "energy"]
[[reliability]]
[[comparison]]
factor = "side"
mixed = true
[[agreement]]
factor = "session"
levels = ["S-1", "S-3"]
[[trend]]
kind = "fatigue"
[[trend]]
kind = "asymmetry"
[[trend]]
kind = "progress"
"""


def invented_study() -> StudyResult:
    """Eight people, three sessions, four crosses a side; no strike states its energy."""
    rng = np.random.default_rng(3)
    people, sessions, trials = 8, 3, 4
    axes = np.meshgrid(range(people), range(sessions), range(2), range(trials), indexing="ij")
    person, session, side, trial = (axis.ravel() for axis in axes)
    observations = {}
    for quantity, mean, between, within in (("impulse", 30.0, 4.0, 0.9), ("effective_mass", 2.6, 0.3, 0.4)):
        value = mean + rng.normal(0, between, people)[person] + 0.05 * mean * side - 0.004 * mean * trial
        value += rng.normal(0, within, person.size)
        observations[quantity] = Observations(
            quantity,
            np.array([f"P-{i + 1:02d}" for i in person]),
            value,
            np.full(value.size, 0.01 * value.max()),
            {Source("gain", "gain", "wall pad (invented)"): 0.005 * value},
            factors={
                "session": np.array([f"S-{i + 1}" for i in session]),
                "side": np.array(["left", "right"])[side],
                "type": np.full(value.size, "cross"),
                "trial": side * trials + trial + 1,
            },
        )
    plan = StudyPlan.from_toml(PLAN)
    answers = answer_plan(plan, observations)
    time = np.linspace(0, 0.02, 200)
    bump = np.clip(np.sin(np.pi * time / 0.015), 0, None)
    curves = [Curve(code, time, peak * bump, 0.015) for code, peak in (("a", 2e3), ("b", 3e3), ("c", 2.5e3))]
    done = [
        DoneStep("people", {"n_people": people, "n_strikes": person.size, "n_sessions": sessions}),
        *answers.steps,
        *steps_of_method(Method()),
    ]
    return StudyResult(
        plan,
        answers,
        (("cross", average_curves(curves, generator=rng)),),
        write_methods(done),
        person.size,
        observations["impulse"].people,
        ("S-1", "S-2", "S-3"),
        ("wall pad (invented)",),
        (("clipped", 2),),
        "ab" * 32,
        "0.0",
        "2026-11-25T15:00:00+00:00",
    )
