"""``quintain export``: tables and packages that leave the lab."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.failure import explained, say
from quintain.cli.progress_bar import progress_bar

__all__ = ["export"]

Several = list[str] | None


def export(
    lab: Annotated[Path, typer.Argument(help="Folder of the lab.", show_default=False)],
    to: Annotated[
        Path, typer.Option(help="Folder for the tables; for a package, a new folder or a file ending .zip.")
    ],
    format: Annotated[
        str,
        typer.Option(help="'csv', 'xlsx' or 'parquet' for tables; 'package' for all that a lab needs again."),
    ] = "csv",
    session: Annotated[Several, typer.Option(help="Code of a session; may be repeated.")] = None,
    person: Annotated[Several, typer.Option(help="Code of a person; may be repeated; tables only.")] = None,
    type: Annotated[Several, typer.Option(help="Type of strike; may be repeated; tables only.")] = None,
    state: Annotated[
        Several,
        typer.Option(help="'accepted', 'waiting', 'rejected' or 'gone'; may be repeated; tables only."),
    ] = None,
    units: Annotated[
        str, typer.Option(help="'si', or 'shown' for the units people read (ms, kN); tables only.")
    ] = "si",
    notes: Annotated[bool, typer.Option("--notes", help="With free notes, which may name somebody.")] = False,
    no_recordings: Annotated[
        bool, typer.Option("--no-recordings", help="Leave the original bytes out of a package.")
    ] = False,
    file_names: Annotated[
        bool, typer.Option("--file-names", help="Keep names of files in a package; they may name somebody.")
    ] = False,
    json: AsJson = False,
) -> None:
    """
    Write tidy tables with a codebook, or a package from which the same lab can be made elsewhere.

    What identifies a person never leaves the lab this way. In CSV and XLSX, text that a spreadsheet
    could take for a formula gets an apostrophe before it; numbers stay numbers.

    Example: quintain export our-lab --to tables --format xlsx --state accepted
    """
    from quintain.errors import UsageError
    from quintain.store.lab import Lab
    from quintain.store.queries_filter import StrikeFilter
    from quintain.tasks.export import FORMATS, export_tables
    from quintain.tasks.package import write_package

    with explained():
        if format not in (*FORMATS, "package"):
            raise UsageError(f"expected csv, xlsx, parquet or package for --format, got {format!r}")
        if units not in ("si", "shown"):
            raise UsageError(f"expected si or shown for --units, got {units!r}")
        with Lab.open(lab) as opened:
            if format == "package":
                if person or type or state:
                    raise UsageError("a package holds whole sessions: choose with --session alone")
                with progress_bar(shown=not json) as progress:
                    package = write_package(
                        opened, to, sessions=tuple(session or ()), recordings=not no_recordings, notes=notes,
                        file_names=file_names, progress=progress,
                    )  # fmt: skip
                files = [package.path]
                if package.n_missing:
                    say(f"◇ the bytes of {package.n_missing} recordings are not in the lab: quintain doctor")
                if package.n_recordings:
                    say("◇ recordings leave as they are; look whether a program wrote names into them")
            else:
                asked = {"sessions": session, "people": person, "types": type, "states": state}
                given = {name: tuple(told) for name, told in asked.items() if told}
                chosen = StrikeFilter(**given) if given else None  # type: ignore[arg-type]
                files = list(
                    export_tables(
                        opened, to, format=format, chosen=chosen, shown=units == "shown", notes=notes
                    ).files
                )
        if json:
            results = {"files": [str(file) for file in files]}
            print_answer("export", results)
        else:
            for file in files:
                print(file)
