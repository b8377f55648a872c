"""What strikes of a lab share: from budgets and rig files to studies and a person's progress."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sqlalchemy import select, update

from invented_lab import invent_lab
from quintain.domain.method import Method as Settings
from quintain.domain.shared_error import UNKNOWN
from quintain.domain.study_plan import StudyPlan
from quintain.store.queries import observations
from quintain.store.queries_budgets import results_in_force
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Analysis, Method, Recording, Result, RigVersion
from quintain.tasks.person_progress import person_progress
from quintain.tasks.shared_errors import shared_errors
from quintain.tasks.study import run_study

GAIN = 0.006
"""Relative, of 0.02 in all: of every value the invented lab states u = 2 %."""

RIG = "name = 'rig {rig}'\n[calibration]\nu_gain = {gain}\n"


def give_budgets(lab):
    """Budgets of impulse to all results, gain and noise; rigs that state their gain."""
    with lab.writing("inventor") as writer:
        database = writer.database
        for result in database.scalars(select(Result)):
            if result.impulse is not None:
                gain, noise = GAIN * result.impulse, math.sqrt(0.02**2 - GAIN**2) * result.impulse
                budget = {"impulse": [["noise", noise], ["gain", gain]]}
                result.detail = {**result.detail, "budget": budget}
        for rig in (1, 2):
            text = RIG.format(rig=rig, gain=GAIN)
            database.execute(update(RigVersion).where(RigVersion.rig_id == rig).values(toml=text))
            database.add(RigVersion(version=f"{rig}a" * 32, rig_id=rig, toml=text + "gain = 1.01\n"))
        settings = Settings().settings()
        database.execute(update(Method).values(settings=settings))
        database.execute(update(Result).values(contact_time=None))  # there are no curves


def calibrate_anew(lab, session):
    """Let strikes of a session have been analysed by another version of their rig, with another gain."""
    with lab.writing("inventor") as writer:
        of = select(Recording.sha256).where(Recording.session_id == session)
        version = f"{1 + (session - 1) % 2}a" * 32
        writer.database.execute(
            update(Analysis).where(Analysis.recording_sha256.in_(of)).values(rig_version=version)
        )


@pytest.fixture
def lab(tmp_path):
    with invent_lab(tmp_path / "lab", n_sessions=4, per_recording=24) as lab:
        yield lab


def in_force(lab, quantity="impulse", **chosen):
    observed = observations(lab, StrikeFilter(**chosen), quantity, ("rig", "session")).columns
    return observed, results_in_force(lab, observed["id"].tolist())


def test_strikes_of_one_calibration_share_its_gain(lab):
    give_budgets(lab)
    calibrate_anew(lab, 3)
    observed, ids = in_force(lab)
    shared = shared_errors(lab, ["impulse"], ids)["impulse"]
    assert {(s.part, s.of) for s in shared} == {("gain", "rig 1"), ("gain", "rig 2")}
    assert len(shared) == 3, "rig 1 was calibrated anew for S3"
    for source, column in shared.items():
        among = np.isin(observed["session"], ["S1"] if source.of == "rig 1" else ["S2", "S4"])
        if source.of == "rig 1" and not column[among].any():
            among = observed["session"] == "S3"
        assert column == pytest.approx(np.where(among, GAIN * observed["value"], 0.0), rel=1e-12)


def test_a_gain_that_no_rig_states_leaves_all_unknown(lab):
    _, ids = in_force(lab)
    shared = shared_errors(lab, ["impulse", "time_to_peak"], ids)
    assert set(shared["impulse"]) == {UNKNOWN}
    assert np.isnan(shared["impulse"][UNKNOWN]).all(), "rigs that state none"
    give_budgets(lab)
    shared = shared_errors(lab, ["impulse", "time_to_peak"], ids)
    assert UNKNOWN not in shared["impulse"]
    assert np.isnan(shared["time_to_peak"][UNKNOWN]).all(), "it has no budget"


PLAN = """\
code = "rigs"
title = "Two rigs (invented)"
quantities = ["impulse", "peak_force"]
[select]
types = ["cross"]
unreviewed = true
[[comparison]]
factor = "rig"
[[agreement]]
factor = "rig"
"""


def test_a_study_holds_the_calibrations_of_both_rigs(lab):
    give_budgets(lab)
    result = run_study(lab, StudyPlan.from_toml(PLAN))
    described = {d.quantity: d for d in result.answers.described}
    row, share = described["impulse"].rows[0], described["impulse"].measurement[0]
    assert share.told_apart
    assert [part for part, _ in row.common.parts] == ["gain"]
    assert row.whole.u == pytest.approx(math.hypot(row.se_mean, row.common.u), rel=1e-12)
    # two rigs, each with about half of the strikes: between 1 / sqrt 2 and 1 of the gain
    assert 0.7 < row.common.u / (GAIN * row.mean) < 1.0
    assert (described["peak_force"].rows[0].common, described["peak_force"].measurement[0].told_apart) == (
        None,
        False,
    )
    answers = [a for a in result.answers.answers if a.quantity == "impulse"]
    comparison = next(a.comparison for a in answers if hasattr(a, "comparison"))
    agreement = next(a for a in answers if hasattr(a, "limits"))
    expected = GAIN * math.hypot(comparison.mean_first, comparison.mean_second)
    assert comparison.common.u == pytest.approx(expected, rel=1e-9)
    assert agreement.common.u == pytest.approx(expected, rel=1e-9)
    assert agreement.whole.interval == pytest.approx(comparison.whole.interval, rel=1e-9)
    assert "what strikes share (gain of the cell" in result.methods
    assert (
        "What strikes share of the measurement uncertainty of peak force on the cell was not known"
        in result.methods
    )


def test_progress_on_one_calibration_and_across_two(lab):
    give_budgets(lab)
    kept = person_progress(lab, "P02", type="jab", side="left", rig="rig 1", quantities=("impulse",)).lines[0]
    assert all(math.isfinite(u) for u in kept.u)
    change = kept.progress.changes[-1]
    assert change.common.u == pytest.approx(GAIN * abs(change.change), rel=1e-9)
    assert not kept.progress.widened(change)
    calibrate_anew(lab, 3)
    anew = person_progress(lab, "P02", type="jab", side="left", rig="rig 1", quantities=("impulse",)).lines[0]
    change = anew.progress.changes[-1]
    assert anew.means == kept.means
    assert change.common.u == pytest.approx(GAIN * math.hypot(anew.means[0], anew.means[-1]), rel=1e-9)
    assert change.half > kept.progress.changes[-1].half
