"""Tables as comma-separated text: RFC 4180, UTF-8, every float such that it reads back bit for bit."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from quintain.store.export.cells import guard
from quintain.store.export.fields import Field, Table

__all__ = ["cell", "write_csv"]


def write_csv(table: Table, path: Path, *, units: bool = True) -> None:
    """
    Write a table.

    Parameters
    ----------
    table : Table
        The table.
    path : path
        The file; what is there is replaced.
    units : bool
        Whether units stand in the header, in brackets after the name.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([field.header if units else field.name for field in table.fields])
        writer.writerows(_rows(table))


def _rows(table: Table) -> Iterator[list[str]]:
    columns = [(field, table.columns[field.name]) for field in table.fields]
    for i in range(table.n):
        yield [cell(field, column[i]) for field, column in columns]


def cell(field: Field, value: Any) -> str:
    """
    A value as it stands in a cell: the shortest decimals that read back as the same float, times in
    ISO 8601 UTC, text guarded against formulas.
    """
    if value is None:
        return ""
    if field.kind == "number":
        return repr(float(value) * field.factor if field.factor != 1.0 else float(value))
    if field.kind == "time":
        return iso(value)
    if field.kind == "yes/no":
        return "true" if value else "false"
    return guard(value) if isinstance(value, str) else str(value)


def iso(when: datetime) -> str:
    """An instant in UTC, to the microsecond."""
    return when.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
