"""Methods and versions of the software that a lab was analysed by, and how two of them agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import tomlkit
from sqlalchemy import func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.domain.measured import Measured
from quintain.errors import UsageError
from quintain.numerics.agreement import Differences, limits_of_agreement
from quintain.store import schema
from quintain.store.lab import Lab
from quintain.tasks.compare_analyses import Comparison, compare_analyses

__all__ = [
    "By",
    "MethodRow",
    "MethodsCompared",
    "Moved",
    "SoftwareRow",
    "compare_methods",
    "method_as_toml",
    "methods_of_lab",
    "software_of_lab",
]

By = Literal["method", "software"]
"""What is compared: two methods, or two versions of the software."""

FEWEST = 3
"""Strikes that limits of agreement need."""


@dataclass(frozen=True, slots=True)
class MethodRow:
    """A method of the lab; ``n_in_force`` counts strikes whose result in force it gave."""

    sha256: str
    name: str
    version: int
    added: datetime
    settings: dict[str, Any]
    n_analyses: int
    n_results: int
    n_in_force: int


@dataclass(frozen=True, slots=True)
class SoftwareRow:
    """A version of the software that analysed recordings of the lab."""

    version: str
    newest: datetime
    n_analyses: int
    n_results: int
    n_in_force: int


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


def methods_of_lab(lab: Lab) -> tuple[MethodRow, ...]:
    """Methods of the lab, the newest first, with how much each has given."""
    with lab.reading() as database:
        analyses, results, in_force = _counts(database, schema.Analysis.method_sha256)
        return tuple(
            MethodRow(
                m.sha256, m.name, m.version, m.added, m.settings, analyses.get(m.sha256, 0),
                results.get(m.sha256, 0), in_force.get(m.sha256, 0),
            )
            for m in database.scalars(select(schema.Method).order_by(schema.Method.added.desc()))
        )  # fmt: skip


def software_of_lab(lab: Lab) -> tuple[SoftwareRow, ...]:
    """Versions of the software, the one used last first."""
    with lab.reading() as database:
        analyses, results, in_force = _counts(database, schema.Analysis.quintain)
        newest = database.execute(
            select(schema.Analysis.quintain, func.max(schema.Analysis.at))
            .group_by(schema.Analysis.quintain)
            .order_by(func.max(schema.Analysis.at).desc())
        ).all()
        return tuple(
            SoftwareRow(version, at, analyses[version], results.get(version, 0), in_force.get(version, 0))
            for version, at in newest
        )


def method_as_toml(lab: Lab, sha256: str) -> tuple[str, str]:
    """
    A method as a settings file, and a name for it.

    Raises
    ------
    UsageError
        If the lab has no such method, or several whose hash begins so.
    """
    row = _method(methods_of_lab(lab), sha256)
    return tomlkit.dumps(row.settings), f"{row.name}-{row.version}.toml"


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


def _counts(database: Database, column: Any) -> tuple[dict[str, int], dict[str, int], dict[str, int]]:
    """Analyses, results, and results in force by a column of the analysis."""
    results = select(column, func.count()).join(
        schema.Result, schema.Result.analysis_id == schema.Analysis.id
    )
    in_force = results.join(schema.Strike, schema.Strike.result_id == schema.Result.id)
    queries = (
        select(column, func.count()),
        results,
        in_force.where(schema.Strike.state != "gone"),
    )
    analyses, given, forced = (dict(database.execute(query.group_by(column)).all()) for query in queries)
    return analyses, given, forced


def _method(rows: Sequence[MethodRow], told: str) -> MethodRow:
    found = [row for row in rows if told and row.sha256.startswith(told)]
    if len(found) != 1:
        many = "more than one method" if found else "no method"
        raise UsageError(f"the lab has {many} {told!r}; give more of its hash")
    return found[0]


def _sides(lab: Lab, by: By, first: str, second: str) -> tuple[tuple[str, str], tuple[str, str]]:
    """Keys and names of both."""
    if by == "method":
        rows = methods_of_lab(lab)
        both = [_method(rows, told) for told in (first, second)]
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
    for at in range(0, len(analyses), 500):
        query = select(schema.Result.strike_id, value, u).where(
            schema.Result.analysis_id.in_(analyses[at : at + 500]), value.is_not(None)
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
