"""Budgets of some results: what their uncertainties are made of, and under what they were measured."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import select

from quintain.store.batches import in_batches
from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Result, Strike

__all__ = ["Budgets", "budgets_of_results", "results_in_force"]


class Budgets(NamedTuple):
    """Budgets of one result, and what its strike shares with others."""

    result_id: int
    recording: str
    session_id: int | None
    type: str
    method: str
    rig_version: str
    """Empty where no rig is stated."""
    parts: Mapping[str, Sequence[tuple[str, float | None]]]
    """By quantity: names and signed contributions; a quantity without a budget is not in it."""


def results_in_force(lab: Lab, strikes: Sequence[int]) -> list[int]:
    """The result in force of each strike, in their order; every one must have one."""
    found: dict[int, int | None] = {}
    with lab.reading() as database:
        for some in in_batches(strikes):
            found |= dict(
                database.execute(select(Strike.id, Strike.result_id).where(Strike.id.in_(some))).all()
            )
    return [id for strike in strikes if (id := found[strike]) is not None]


def budgets_of_results(lab: Lab, results: Sequence[int], quantities: Sequence[str]) -> Iterator[Budgets]:
    """
    Read the budgets of some quantities, result by result; no more of a result is taken from the database.

    Parameters
    ----------
    lab : Lab
        The lab.
    results : sequence of int
        Ids of results.
    quantities : sequence of str
        Glossary names.

    Yields
    ------
    Budgets
        In no order.
    """
    statement = (
        select(
            Result.id,
            Strike.recording_sha256,
            Strike.session_id,
            Strike.type,
            Analysis.method_sha256,
            Analysis.rig_version,
            *(Result.detail["budget"][name] for name in quantities),
        )
        .join(Strike, Strike.id == Result.strike_id)
        .join(Analysis, Analysis.id == Result.analysis_id)
    )
    with lab.reading() as database:
        for some in in_batches(results):
            # past the object mapper, which costs more than the reading itself
            for row in database.connection().execute(statement.where(Result.id.in_(some))):
                id, recording, session, type, method, rig, *told = row
                parts = {name: part for name, part in zip(quantities, told, strict=True) if part}
                yield Budgets(id, recording, session, type or "", method, rig or "", parts)
