"""The same strikes by several methods: earlier results are kept, so that methods can be compared."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from sqlalchemy import select

from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Method, Result

__all__ = ["ByMethod", "results_by_method"]


class ByMethod(NamedTuple):
    """What one method says of one strike; ``method`` is its name and version."""

    strike_id: int
    result_id: int
    method: str
    value: float
    u: float | None


def results_by_method(lab: Lab, quantity: str, strikes: Collection[int]) -> list[ByMethod]:
    """
    Newest value of a quantity by each method, for strikes that more than one method measured.

    Parameters
    ----------
    lab : Lab
        The lab.
    quantity : str
        Glossary name of a quantity of strikes.
    strikes : collection of int
        Ids of the strikes that are meant.

    Returns
    -------
    list of ByMethod
        By strike and method; what states no value is left out.
    """
    value, u = getattr(Result, quantity), getattr(Result, f"u_{quantity}")
    query = (
        select(Result.strike_id, Result.id, Method.name, Method.version, value, u)
        .join(Analysis, Result.analysis_id == Analysis.id)
        .join(Method, Analysis.method_sha256 == Method.sha256)
        .where(value.is_not(None))
        .order_by(Result.strike_id, Analysis.at, Analysis.id)
    )
    wanted = set(strikes)
    newest: dict[tuple[int, str], ByMethod] = {}
    with lab.reading() as database:
        for strike_id, result_id, name, version, number, standard in database.execute(query):
            if strike_id in wanted:
                method = f"{name} {version}"
                newest[strike_id, method] = ByMethod(strike_id, result_id, method, number, standard)
    return [newest[key] for key in sorted(newest)]
