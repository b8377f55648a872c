"""Methods that a lab keeps, and versions of the software that analysed it, with how much each has given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import tomlkit
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session as Database

from quintain.domain.method import Method
from quintain.errors import ConflictError, UsageError
from quintain.store import schema
from quintain.store.lab import Lab

__all__ = [
    "MethodRow",
    "SoftwareRow",
    "add_method",
    "find_method",
    "method_as_toml",
    "methods_of_lab",
    "software_of_lab",
]


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
    row = find_method(methods_of_lab(lab), sha256)
    return tomlkit.dumps(row.settings), f"{row.name}-{row.version}.toml"


def add_method(lab: Lab, text: str, *, who: str) -> MethodRow:
    """
    Keep a method, so that recordings can be analysed by it.

    Parameters
    ----------
    lab : Lab
        The lab.
    text : str
        Its settings as TOML; what is left out is as in the standard method.
    who : str
        In whose name.

    Returns
    -------
    MethodRow
        The one of these settings; nothing is added if the lab has it already.

    Raises
    ------
    MethodFileError
        If a setting cannot be used.
    ConflictError
        If another method of the lab has this name and version: two results of one name must not differ.
    """
    method = Method.from_toml(text)
    with lab.writing(who) as writer:
        known = writer.database.scalars(select(schema.Method).where(schema.Method.name == method.name)).all()
        if not any(row.sha256 == method.sha256 for row in known):
            if any(row.version == method.version for row in known):
                newest = max(row.version for row in known)
                raise ConflictError(
                    f"the lab has another method {method.name!r}, version {method.version}; give this one "
                    f"version {newest + 1}, or a name of its own"
                )
            writer.database.add(
                schema.Method(
                    sha256=method.sha256, name=method.name, version=method.version, settings=method.settings()
                )
            )
            writer.database.flush()
            after = {"name": method.name, "version": method.version}
            writer.note("add method", "method", method.sha256, after=after)
    return find_method(methods_of_lab(lab), method.sha256)


def find_method(rows: Sequence[MethodRow], told: str) -> MethodRow:
    """
    The method whose hash begins so.

    Raises
    ------
    UsageError
        If there is none, or more than one.
    """
    found = [row for row in rows if told and row.sha256.startswith(told)]
    if len(found) != 1:
        many = "more than one method" if found else "no method"
        raise UsageError(f"the lab has {many} {told!r}; give more of its hash")
    return found[0]


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
    analyses, given, forced = (_tally(database, query.group_by(column)) for query in queries)
    return analyses, given, forced


def _tally(database: Database, query: Select[Any]) -> dict[str, int]:
    return {row[0]: row[1] for row in database.execute(query)}
