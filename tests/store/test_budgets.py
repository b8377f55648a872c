"""Budgets come out of both kinds of database as they went in, and no more than was asked for."""

from __future__ import annotations

from sqlalchemy import select

from invented_lab import invent_lab
from quintain.store.queries_budgets import Budgets, budgets_of_results, results_in_force
from quintain.store.schema import Analysis, Result, Strike


def test_budgets_are_read_as_they_were_kept(url, tmp_path):
    with invent_lab(tmp_path / "lab", n_sessions=2, per_recording=60, url=url) as lab:
        with lab.writing("inventor") as writer:
            for result in writer.database.scalars(select(Result)):
                # some without a budget, some with a contribution that is not known, names with blanks
                parts = [["noise and roughness", 0.1 * result.id], ["gain", None if result.id % 5 else -0.2]]
                budget = {"impulse": parts, "peak_force": [["gain", 1.0]]} if result.id % 3 else {}
                result.detail = {**result.detail, "budget": budget}
        with lab.reading() as database:
            rows = database.execute(
                select(Result, Strike, Analysis)
                .join(Strike, Strike.result_id == Result.id)
                .join(Analysis, Analysis.id == Result.analysis_id)
            ).all()
            expected = {}
            for result, strike, analysis in rows:
                told = {q: p for q, p in result.detail["budget"].items() if q == "impulse"}
                expected[result.id] = Budgets(
                    result.id, strike.recording_sha256, strike.session_id, strike.type,
                    analysis.method_sha256, analysis.rig_version, told,
                )  # fmt: skip
            strikes = {strike.id: result.id for result, strike, _ in rows}
        assert len(expected) == 600, "more than go into one statement"
        found = list(budgets_of_results(lab, list(expected), ["impulse", "contact_time"]))
        assert {budgets.result_id: budgets for budgets in found} == expected
        backwards = sorted(strikes, reverse=True)
        assert results_in_force(lab, backwards) == [strikes[id] for id in backwards]
