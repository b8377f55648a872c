"""A table that leaves the lab: its columns, and what each of them means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quintain.quantities import GLOSSARY

__all__ = ["Field", "Table", "codebook", "quantity_fields"]


@dataclass(frozen=True, slots=True)
class Field:
    """
    One column of a table.

    ``kind`` is 'number', 'integer', 'text', 'time' or 'yes/no'; ``factor`` is what values in SI are
    multiplied by to stand in ``unit``.
    """

    name: str
    kind: str
    label: str
    definition: str
    unit: str = ""
    source: str = "this lab"
    factor: float = 1.0

    @property
    def header(self) -> str:
        """Name with unit, for files that carry no other place for it."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True)
class Table:
    """
    Columns of equal length by the names of their fields; None where nothing is stated.

    Numbers stand in SI; writers multiply by the factor of the field.
    """

    name: str
    title: str
    fields: tuple[Field, ...]
    columns: Mapping[str, Sequence[Any]]

    @property
    def n(self) -> int:
        """How many rows there are."""
        return len(self.columns[self.fields[0].name])


def quantity_fields(name: str, *, shown: bool = False) -> tuple[Field, Field]:
    """
    The columns of a quantity of the glossary: its value and its standard uncertainty.

    Parameters
    ----------
    name : str
        Name in the glossary.
    shown : bool
        In the unit people read instead of SI.
    """
    entry = GLOSSARY[name]
    unit, factor = (entry.shown_unit, entry.shown_factor) if shown else (entry.unit, 1.0)
    value = Field(name, "number", entry.label, entry.definition, unit, entry.source, factor)
    u = Field(
        f"u_{name}",
        "number",
        f"{entry.label}, standard uncertainty",
        f"Standard measurement uncertainty of one value of {name}; part of it is shared by strikes (gain, "
        "sensor, method) and does not shrink in a mean. Empty where it cannot be known.",
        unit,
        "JCGM 100:2008",
        factor,
    )
    return value, u


def codebook(tables: Sequence[Table]) -> Table:
    """What every column of every table means, as a table of its own."""
    rows = [(table.name, field) for table in tables for field in table.fields]
    fields = (
        Field("table", "text", "Table", "Name of the table."),
        Field("name", "text", "Name", "Name of the column."),
        Field("label", "text", "Label", "What people call it."),
        Field("unit", "text", "Unit", "Unit of the numbers in the column; 1 for a plain ratio."),
        Field("kind", "text", "Kind", "'number', 'integer', 'text', 'time' (UTC) or 'yes/no'."),
        Field("definition", "text", "Definition", "What it is."),
        Field("source", "text", "Source", "Where the definition comes from."),
    )
    columns = {
        "table": [name for name, _ in rows],
        **{f.name: [getattr(field, f.name) for _, field in rows] for f in fields[1:]},
    }
    return Table("codebook", "What every column means", fields, columns)
