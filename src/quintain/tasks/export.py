"""Tables that leave the lab: tidy, with a codebook, and without what identifies anybody."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

from quintain.errors import OutputError, UsageError
from quintain.store.export.delimited import write_csv
from quintain.store.export.fields import Table, codebook
from quintain.store.export.parquet_file import write_parquet
from quintain.store.export.tidy import (
    methods_table,
    people_table,
    recordings_table,
    rigs_table,
    sessions_table,
    strikes_table,
)
from quintain.store.export.workbook import write_workbook
from quintain.store.lab import Lab
from quintain.store.queries_filter import StrikeFilter
from quintain.tasks.progress import Progress, silent

__all__ = ["FORMATS", "Exported", "export_tables"]

FORMATS = ("csv", "xlsx", "parquet")
"""Forms that tables can take; a package is made by :mod:`quintain.tasks.package`."""


class Exported(NamedTuple):
    """Files that were written, and how many strikes they hold."""

    files: tuple[Path, ...]
    n_strikes: int


def export_tables(
    lab: Lab,
    folder: str | Path,
    *,
    format: str = "csv",
    chosen: StrikeFilter | None = None,
    shown: bool = False,
    notes: bool = False,
    progress: Progress = silent,
) -> Exported:
    """
    Write tidy tables and their codebook.

    Parameters
    ----------
    lab : Lab
        The lab.
    folder : path
        Where; it is made if it is not there. Files of the same names are replaced.
    format : str
        From :data:`FORMATS`.
    chosen : StrikeFilter, optional
        Which strikes; all that are not gone if left out. People, sessions, recordings, methods and rigs
        that these strikes do not need are left out.
    shown : bool
        Quantities in the units people read instead of SI.
    notes : bool
        With free notes, which may identify somebody.
    progress : Progress, optional
        Told of the tables written.

    Raises
    ------
    OutputError
        If a file cannot be written; none is left half written.
    UsageError
        If there is no such format, or the filter names what there is not.
    """
    if format not in FORMATS:
        raise UsageError(f"there is no format {format!r}; choose from {', '.join(FORMATS)}")
    folder = Path(folder)
    tables = _tables(lab, chosen, shown=shown, notes=notes)
    tables.append(codebook(tables))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if format == "xlsx":
            files = [_whole(folder / "quintain.xlsx", lambda path: write_workbook(tables, path))]
        else:
            write = write_csv if format == "csv" else write_parquet
            files = []
            for i, table in enumerate(tables):
                progress("tables", i, len(tables))
                files.append(_whole(folder / f"{table.name}.{format}", partial(write, table)))
    except OSError as problem:
        raise OutputError(f"{folder}: the tables cannot be written: {problem.strerror}") from None
    return Exported(tuple(files), tables[0].n)


def _tables(lab: Lab, chosen: StrikeFilter | None, *, shown: bool, notes: bool) -> list[Table]:
    strikes = strikes_table(lab, chosen, shown=shown, notes=notes)
    others = {
        "person": people_table(lab),
        "session": sessions_table(lab),
        "recording": recordings_table(lab),
        "method": methods_table(lab),
        "rig_version": rigs_table(lab),
    }
    if chosen is None:
        return [strikes, *others.values()]
    return [strikes, *(_needed(table, key, set(strikes.columns[key])) for key, table in others.items())]


def _needed(table: Table, key: str, wanted: set[str]) -> Table:
    keep = [i for i, word in enumerate(table.columns[key]) if word in wanted]
    columns = {name: [column[i] for i in keep] for name, column in table.columns.items()}
    return Table(table.name, table.title, table.fields, columns)


def _whole(path: Path, write: Callable[[Path], None]) -> Path:
    """Write beside the place and move there, so that no file is ever half."""
    handle, part = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    os.close(handle)
    try:
        write(Path(part))
        os.chmod(part, 0o644)
        os.replace(part, path)
    finally:
        Path(part).unlink(missing_ok=True)
    return path
