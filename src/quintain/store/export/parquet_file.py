"""Tables as Parquet: floats as they are, unit, label and definition with every column."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from quintain.store.export.fields import Field, Table
from quintain.version import __version__

__all__ = ["write_parquet"]


def write_parquet(table: Table, path: Path) -> None:
    """
    Write a table; text is not guarded, since no spreadsheet runs what stands in such a file.

    Parameters
    ----------
    table : Table
        The table.
    path : path
        The file; what is there is replaced.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {
        "number": pa.float64(),
        "integer": pa.int64(),
        "text": pa.string(),
        "time": pa.timestamp("us", tz="UTC"),
        "yes/no": pa.bool_(),
    }
    schema = pa.schema(
        [pa.field(f.name, kinds[f.kind], metadata=_told(f)) for f in table.fields],
        metadata={"quintain": __version__, "title": table.title},
    )
    arrays = [
        pa.array(_values(field, table.columns[field.name]), type=kinds[field.kind]) for field in table.fields
    ]
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), path, compression="zstd")


def _told(field: Field) -> dict[str, str]:
    told = {"unit": field.unit, "label": field.label, "definition": field.definition, "source": field.source}
    return {**told, "quintain": json.dumps({"kind": field.kind, "factor_from_si": field.factor})}


def _values(field: Field, values: Any) -> Any:
    if field.kind != "number" or field.factor == 1.0:
        return values
    return [None if value is None else value * field.factor for value in values]
