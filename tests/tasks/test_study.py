"""A study of a lab goes on with what there is, and says what there was not."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from invented_lab import invent_lab
from quintain.domain.method import Method as Settings
from quintain.domain.study_plan import StudyPlan
from quintain.store.schema import Method, Result, RigVersion
from quintain.tasks.study import run_study

PLAN = """\
code = "days"
title = "From day to day (invented)"
quantities = ["impulse"]
[select]
unreviewed = true
[[reliability]]
across = "session"
"""


@pytest.fixture
def lab(tmp_path):
    """Results without recordings: neither their curves nor the bytes to make them from."""
    with invent_lab(tmp_path / "lab", n_sessions=2, n_people=3) as lab:
        with lab.writing("tester") as writer:
            writer.database.execute(update(Result).values(contact_time=0.02))
            writer.database.execute(update(Method).values(settings=Settings().settings()))
            writer.database.execute(update(RigVersion).values(toml="name = 'rig (invented)'\n"))
        yield lab


def test_numbers_are_answered_where_curves_are_gone(lab):
    result = run_study(lab, StudyPlan.from_toml(PLAN))
    assert result.curves == ()
    assert result.answers.described
    n = result.n_strikes
    assert f"Mean curves are without {n} of {n} strikes" in result.methods
