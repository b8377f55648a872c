"""Tables as one XLSX workbook: a sheet a table, names above units above rows, the codebook last."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC
from pathlib import Path
from typing import Any

from quintain.errors import OutputError
from quintain.store.export.cells import guard
from quintain.store.export.fields import Field, Table

__all__ = ["ROWS", "write_workbook"]

ROWS = 1_048_576
"""Rows that a sheet holds at most (ECMA-376)."""

LONGEST = 32_767
"""Characters that a cell holds at most (ECMA-376)."""

_NOT_XML = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\ufffe\\uffff\\ud800-\\udfff]")


def write_workbook(tables: Sequence[Table], path: Path) -> None:
    """
    Write tables; of floats 16 digits are kept, so that the last bit may differ.

    Parameters
    ----------
    tables : sequence of Table
        One sheet each.
    path : path
        The file; what is there is replaced.

    Raises
    ------
    OutputError
        If a table has more rows than a sheet, or a text more characters than a cell.
    """
    from openpyxl import Workbook

    for table in tables:
        if table.n + 2 > ROWS:
            raise OutputError(
                f"{path}: a sheet holds {ROWS} rows, the table of {table.name} has {table.n}; export as "
                "CSV or Parquet, or choose fewer strikes"
            )
        for field in table.fields:
            longest = max((len(v) for v in table.columns[field.name] if isinstance(v, str)), default=0)
            if longest >= LONGEST:
                raise OutputError(
                    f"{path}: a cell holds {LONGEST} characters, {field.name!r} of {table.name} has "
                    f"{longest}; export as CSV or Parquet"
                )
    book = Workbook(write_only=True)
    for table in tables:
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "A3"
        sheet.append([field.name for field in table.fields])
        sheet.append([field.unit for field in table.fields])
        columns = [(field, table.columns[field.name]) for field in table.fields]
        for i in range(table.n):
            sheet.append([_cell(sheet, field, column[i]) for field, column in columns])
    book.save(path)


def _cell(sheet: Any, field: Field, value: Any) -> Any:
    if value is None:
        return None
    if field.kind == "number":
        return float(value) * field.factor
    if field.kind == "time":
        # A workbook knows no offset from UTC and keeps milliseconds.
        return value.astimezone(UTC).replace(tzinfo=None)
    if isinstance(value, str):
        return _text(sheet, value)
    return value


def _text(sheet: Any, value: str) -> Any:
    from openpyxl.cell import WriteOnlyCell

    made = WriteOnlyCell(sheet, value=guard(_NOT_XML.sub("\ufffd", value)))
    made.data_type = "s"
    return made
