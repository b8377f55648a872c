"""Every table of a lab as text and back, whole and in the same bytes; what identifies stays behind."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import JSON, Boolean, Column, Float, Integer, Table, bindparam, insert, select, text, update
from sqlalchemy.orm import Session as Database

from quintain.errors import LabError
from quintain.store.export.cells import guard, unguard
from quintain.store.export.delimited import iso
from quintain.store.schema import Base, Utc

__all__ = ["TABLES", "Pointer", "Row", "dump", "fill", "point", "renew_counters", "table_of", "table_schema"]

TABLES = (
    "strike_type", "person", "rig", "rig_version", "method", "session", "planned", "recording", "evidence",
    "strike", "analysis", "result", "study", "audit",
)  # fmt: skip
"""
Tables of a package in the order in which they can be filled. Identities, paths of origin, and jobs are
not among them.
"""

_LATER = {"strike": "result_id", "recording": "motion_sha256"}
"""Columns that point at rows which do not stand yet when their own row is written."""

CHUNK = 5_000

Row = dict[str, Any]


class Pointer(NamedTuple):
    """A row, and the row entered later that it points at."""

    table: str
    key: Any
    at: Any


def table_of(name: str) -> Table:
    """A table of the lab by its name."""
    return Base.metadata.tables[name]


def dump(database: Database, name: str, keep: Callable[[Row], Row | None]) -> Iterator[bytes]:
    """
    A table as comma-separated text.

    Parameters
    ----------
    database : sqlalchemy.orm.Session
        The lab's.
    name : str
        From :data:`TABLES`.
    keep : callable
        Gets each row and gives it as it may leave the lab, or None.
    """
    table = table_of(name)
    statement = select(table).order_by(*table.primary_key.columns)
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(column.name for column in table.columns)
    result = database.connection().execute(statement.execution_options(yield_per=CHUNK))
    for rows in result.mappings().partitions():
        for row in rows:
            kept = keep(dict(row))
            if kept is not None:
                writer.writerow(_cell(column, kept[column.name]) for column in table.columns)
        yield buffer.getvalue().encode()
        buffer.seek(0)
        buffer.truncate()
    yield buffer.getvalue().encode()


def fill(database: Database, name: str, lines: Iterable[str], known: frozenset[Any]) -> list[Pointer]:
    """
    Enter the rows of a dumped table.

    Parameters
    ----------
    database : sqlalchemy.orm.Session
        Of a new lab, in a transaction.
    name : str
        From :data:`TABLES`, in that order.
    lines : iterable of str
        What :func:`dump` gave.
    known : frozenset
        Primary keys of rows that stand already and are passed over.

    Returns
    -------
    list of Pointer
        What :func:`point` must do once all tables are filled.

    Raises
    ------
    LabError
        If a column is unknown or a cell cannot be read.
    """
    table = table_of(name)
    key = next(iter(table.primary_key.columns)).name
    later = _LATER.get(name, "")
    pointers = []
    for rows in _chunks(_read(table, lines)):
        fresh = [row for row in rows if row[key] not in known]
        if later:
            pointers += [Pointer(name, row[key], row[later]) for row in fresh if row.get(later) is not None]
            fresh = [row | {later: None} for row in fresh]
        if fresh:
            database.connection().execute(insert(table), fresh)
    return pointers


def point(database: Database, pointers: Iterable[Pointer]) -> None:
    """Let rows point at rows that were entered after them."""
    by_table: dict[str, list[Pointer]] = {}
    for pointer in pointers:
        by_table.setdefault(pointer.table, []).append(pointer)
    for name, some in by_table.items():
        table = table_of(name)
        key = next(iter(table.primary_key.columns))
        statement = update(table).where(key == bindparam("of")).values({_LATER[name]: bindparam("at")})
        database.connection().execute(statement, [{"of": p.key, "at": p.at} for p in some])


def renew_counters(database: Database) -> None:
    """Let a server go on counting after the numbers that were entered; SQLite does so by itself."""
    if database.connection().dialect.name != "postgresql":
        return
    for name in TABLES:
        key = next(iter(table_of(name).primary_key.columns))
        if isinstance(key.type, Integer):
            database.execute(
                text(
                    f"select setval(pg_get_serial_sequence('{name}', '{key.name}'), "
                    f"(select coalesce(max({key.name}), 0) + 1 from {name}), false)"
                )
            )


def table_schema(name: str) -> Row:
    """A table as the Table Schema of a data package describes it."""
    table = table_of(name)
    fields = []
    for column in table.columns:
        field: Row = {"name": column.name, **_field_type(column)}
        if not column.nullable and not _may_be_empty(column):
            field["constraints"] = {"required": True}
        fields.append(field)
    schema: Row = {"fields": fields, "primaryKey": [column.name for column in table.primary_key.columns]}
    keys = [
        {"fields": [own.parent.name], "reference": {"resource": own.column.table.name.replace("_", "-"),
                                                    "fields": [own.column.name]}}
        for own in sorted(table.foreign_keys, key=lambda own: own.parent.name)
        if own.column.table.name in TABLES
    ]  # fmt: skip
    return {**schema, "foreignKeys": keys} if keys else schema


def _field_type(column: Column[Any]) -> Row:
    match column.type:
        case Boolean():
            return {"type": "boolean", "trueValues": ["true"], "falseValues": ["false"]}
        case Integer():
            return {"type": "integer"}
        case Float():
            return {"type": "number"}
        case Utc():
            return {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S.%fZ"}
        case JSON():
            listed = callable(getattr(column.default, "arg", None)) and "list" in repr(column.default)
            return {"type": "array" if listed else "object"}
    return {"type": "string"}


def _may_be_empty(column: Column[Any]) -> bool:
    return bool(_field_type(column)["type"] == "string")


def _cell(column: Column[Any], value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return iso(value)
    if isinstance(column.type, JSON):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, float):
        return repr(value)
    return guard(value) if isinstance(value, str) else str(value)


def _read(table: Table, lines: Iterable[str]) -> Iterator[Row]:
    # Settings and answers are long cells.
    csv.field_size_limit(max(csv.field_size_limit(), 1 << 27))
    reader = csv.reader(lines, strict=True)
    try:
        header = next(reader, [])
        unknown = [name for name in header if name not in table.columns]
        if unknown or not set(table.primary_key.columns.keys()) <= set(header):
            told = f"has a column {unknown[0]!r} of a newer version" if unknown else "lacks its key"
            raise LabError(f"the table {table.name} of the package {told}; use a newer Quintain")
        columns = [table.columns[name] for name in header]
        for number, cells in enumerate(reader, 2):
            if len(cells) != len(columns):
                raise LabError(
                    f"row {number} of the table {table.name} has {len(cells)} cells, expected {len(columns)}"
                )
            yield {column.name: _value(column, cell) for column, cell in zip(columns, cells, strict=True)}
    except (ValueError, csv.Error) as problem:
        raise LabError(f"the table {table.name} of the package cannot be read: {problem}") from None


def _value(column: Column[Any], cell: str) -> Any:
    if cell == "" and (column.nullable or not _may_be_empty(column)):
        return None
    match column.type:
        case Boolean():
            return cell == "true"
        case Integer():
            return int(cell)
        case Float():
            return float(cell)
        case Utc():
            return datetime.fromisoformat(cell)
        case JSON():
            return json.loads(cell)
    return unguard(cell)


def _chunks(rows: Iterator[Row]) -> Iterator[list[Row]]:
    some: list[Row] = []
    for row in rows:
        some.append(row)
        if len(some) == CHUNK:
            yield some
            some = []
    yield some
