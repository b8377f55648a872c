"""``quintain formats``: which files can be read."""

from __future__ import annotations

from quintain.cli.answer import TableAsJson, print_answer
from quintain.cli.failure import explained

__all__ = ["formats"]


def formats(
    json: TableAsJson = False,
) -> None:
    """
    List the kinds of files that can be read, and the settings each one takes.

    Example: quintain formats
    """
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
            print_answer("formats", results)
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
