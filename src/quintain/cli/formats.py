"""``quintain formats``: which files can be read."""

from __future__ import annotations

from typing import Annotated

import typer

from quintain.cli.failure import explained
from quintain.version import __version__

__all__ = ["formats"]


def formats(
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")] = False,
) -> None:
    """
    List the kinds of files that can be read, and the settings each one takes.

    Example: quintain formats
    """
    from quintain.domain import as_json
    from quintain.readers.registry import list_readers

    with explained():
        readers = list_readers()
        if json:
            results = [
                {
                    "name": r.name,
                    "about": r.about,
                    "suffixes": list(r.suffixes),
                    "settings": list(r.settings),
                    "calibrations": r.calibrations,
                }
                for r in readers
            ]
            print(
                as_json.text(
                    as_json.answer(
                        "formats", version=__version__, inputs=[], method={}, results=results, flags=[]
                    )
                )
            )
            return
        from rich import box
        from rich.console import Console
        from rich.table import Table

        table = Table(box=box.SIMPLE)
        for heading in ("reader", "files", "usual endings", "settings", "calibrations in files"):
            table.add_column(heading, overflow="fold")
        for reader in readers:
            table.add_row(
                reader.name,
                reader.about,
                " ".join(reader.suffixes),
                ", ".join(reader.settings),
                reader.calibrations,
            )
        Console(highlight=False).print(table)
