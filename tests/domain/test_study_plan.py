"""A study's plan says what it asks, or says in words what is wrong with it."""

from __future__ import annotations

import pytest

from quintain.domain.study_plan import StudyPlan
from quintain.errors import StudyPlanError

GOOD = """\
code = "days"
title = "From day to day (invented)"
quantities = ["impulse", "peak_force"]
[select]
types = ["cross"]
[[reliability]]
across = "session"
[[comparison]]
factor = "side"
levels = ["left", "right"]
"""


def test_a_plan_is_read_and_its_hash_follows_what_it_states() -> None:
    plan = StudyPlan.from_toml(GOOD)
    assert plan.select.types == ("cross",)
    assert plan.comparison[0].paired
    assert StudyPlan.from_toml("# a remark changes nothing\n" + GOOD).sha256 == plan.sha256
    assert StudyPlan.from_toml(GOOD.replace('"cross"', '"jab"')).sha256 != plan.sha256


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('"peak_force"', '"peak_power_score"'), "not in the glossary: peak_power_score"),
        (('factor = "side"', 'factor = "mood"'), "line 9: .*choose one of"),
        (('across = "session"', 'acros = "session"'), "did you mean 'across'"),
        (('quantities = ["impulse", "peak_force"]', "quantities = []"), "^study, line 1: name at least one"),
        (('"days"', '"day/s"'), "a code is 1 to 40 letters"),
        (('"days"', '"=days"'), "a code is 1 to 40 letters"),
    ],
)
def test_what_is_wrong_is_said_in_words(change: tuple[str, str], words: str) -> None:
    with pytest.raises(StudyPlanError, match=words):
        StudyPlan.from_toml(GOOD.replace(*change))


def test_a_plan_that_asks_nothing_is_refused() -> None:
    with pytest.raises(StudyPlanError, match="ask something"):
        StudyPlan.from_toml(GOOD.split("[[reliability]]")[0])
