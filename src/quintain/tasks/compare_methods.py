"""How two methods, or two versions of the software, agree on the same strikes of a lab."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.domain.measured import Measured
from quintain.errors import UsageError
from quintain.numerics.agreement import Differences, limits_of_agreement
from quintain.store import schema
from quintain.store.batches import in_batches
from quintain.store.lab import Lab
from quintain.tasks.compare_analyses import Comparison, compare_analyses
from quintain.tasks.lab_methods import find_method, methods_of_lab, software_of_lab

__all__ = ["By", "MethodsCompared", "Moved", "compare_methods"]

By = Literal["method", "software"]
"""What is compared: two methods, or two versions of the software."""

FEWEST = 3
"""Strikes that limits of agreement need."""


@dataclass(frozen=True, slots=True)
class Moved:
    """
    One strike by both.

    ``change`` is the second less the first; ``in_u`` is its size in parts of the standard uncertainty that
    the first states, None where it states none.
    """

    strike_id: int
    session: str
    position: int
    first: Measured
    second: Measured
    change: float
    in_u: float | None


@dataclass(frozen=True, slots=True)
class MethodsCompared:
    """
    Two methods or versions on the same strikes.

    ``limits`` is None for fewer than three strikes; ``only_first`` and ``only_second`` count strikes for
    which only one states the quantity. ``whole`` says what changed in all quantities, and why.
    """

    by: By
    first: str
    second: str
    quantity: str
    strikes: tuple[Moved, ...]
    limits: Differences | None
    only_first: int
    only_second: int
    whole: Comparison

    @property
    def beyond(self) -> tuple[Moved, ...]:
        """Strikes that moved by more than the standard uncertainty stated before, the farthest first."""
        far = [one for one in self.strikes if one.in_u is not None and one.in_u > 1]
        return tuple(sorted(far, key=lambda one: -(one.in_u or 0.0)))


def compare_methods(lab: Lab, by: By, first: str, second: str, quantity: str) -> MethodsCompared:
    """
    Hold two methods, or two versions of the software, against each other on the same strikes.

    Parameters
    ----------
    lab : Lab
        The lab.
    by : str
        'method' or 'software'.
    first, second : str
        Hash of a method, or its beginning; or version of the software.
    quantity : str
        Glossary name of a quantity of strikes.

    Returns
    -------
    MethodsCompared
        Of each recording that both analysed, the newest analysis of either. Limits of agreement are those of
        Bland and Altman (1986), doi:10.1016/S0140-6736(86)90837-8, of the first less the second, one point a
        strike; strikes of one person are not independent, so the intervals are rather too narrow.

    Raises
    ------
    UsageError
        If a method, version or quantity is not known, both are the same, or they share no recording.
    """
    if quantity not in STRIKE_QUANTITIES:
        raise UsageError(f"a strike has no {quantity!r}; choose from {', '.join(STRIKE_QUANTITIES)}")
    keys, names = _sides(lab, by, first, second)
    column = schema.Analysis.method_sha256 if by == "method" else schema.Analysis.quintain
    with lab.reading() as database:
        pairs = _pairs(database, column, *keys)
        if not pairs:
            raise UsageError(
                f"{names[0]} and {names[1]} have analysed no recording both; analyse some by the one that is "
                "missing, earlier results stay"
            )
        before, after = (_values(database, [pair[i] for pair in pairs], quantity) for i in (0, 1))
        places = _places(database, before.keys() & after.keys())
    moved = [
        _moved(strike_id, places[strike_id], quantity, before[strike_id], after[strike_id])
        for strike_id in sorted(before.keys() & after.keys(), key=lambda id: places[id])
    ]
    values = [[one.first.value for one in moved], [one.second.value for one in moved]]
    return MethodsCompared(
        by=by,
        first=names[0],
        second=names[1],
        quantity=quantity,
        strikes=tuple(moved),
        limits=limits_of_agreement(*values) if len(moved) >= FEWEST else None,
        only_first=len(before.keys() - after.keys()),
        only_second=len(after.keys() - before.keys()),
        whole=compare_analyses(lab, [old for old, _ in pairs], [new for _, new in pairs]),
    )


# -- looking them up


def _sides(lab: Lab, by: By, first: str, second: str) -> tuple[tuple[str, str], tuple[str, str]]:
    """Keys and names of both."""
    if by == "method":
        rows = methods_of_lab(lab)
        both = [find_method(rows, told) for told in (first, second)]
        keys = (both[0].sha256, both[1].sha256)
        words = [f"{row.name} {row.version}" for row in both]
        if words[0] == words[1]:
            words = [f"{word} ({key[:8]})" for word, key in zip(words, keys, strict=True)]
        names = (words[0], words[1])
    else:
        known = [row.version for row in software_of_lab(lab)]
        for told in (first, second):
            if told not in known:
                raise UsageError(
                    f"quintain {told or '?'} made no result of this lab; choose from {', '.join(known)}"
                )
        keys, names = (first, second), (f"quintain {first}", f"quintain {second}")
    if keys[0] == keys[1]:
        raise UsageError(f"{names[0]} against itself says nothing; choose two different ones")
    return keys, names


def _pairs(database: Database, column: Any, first: str, second: str) -> list[tuple[int, int]]:
    """Newest analysis of each recording by the first and by the second, where there are both."""
    newest = []
    for key in (first, second):
        query = (
            select(schema.Analysis.recording_sha256, func.max(schema.Analysis.id))
            .where(column == key)
            .group_by(schema.Analysis.recording_sha256)
        )
        newest.append(dict(database.execute(query).all()))
    return [(newest[0][sha256], newest[1][sha256]) for sha256 in sorted(newest[0].keys() & newest[1].keys())]


def _values(database: Database, analyses: Sequence[int], quantity: str) -> dict[int, Measured]:
    """What analyses state, by strike."""
    value, u = getattr(schema.Result, quantity), getattr(schema.Result, f"u_{quantity}")
    found = {}
    for some in in_batches(analyses):
        query = select(schema.Result.strike_id, value, u).where(
            schema.Result.analysis_id.in_(some), value.is_not(None)
        )
        for strike_id, number, standard in database.execute(query):
            found[strike_id] = Measured(quantity, number, standard)
    return found


def _places(database: Database, strikes: Any) -> dict[int, tuple[str, int, int]]:
    """Session, place and id of strikes, by which they are put in order."""
    query = select(schema.Strike.id, schema.Session.code, schema.Strike.position).outerjoin(
        schema.Session, schema.Session.id == schema.Strike.session_id
    )
    return {id: (code or "", position, id) for id, code, position in database.execute(query) if id in strikes}


def _moved(
    strike_id: int, place: tuple[str, int, int], quantity: str, first: Measured, second: Measured
) -> Moved:
    change = second.value - first.value
    in_u = None if not first.u or not math.isfinite(first.u) else abs(change) / first.u
    return Moved(strike_id, place[0], place[1], first, second, change, in_u)
