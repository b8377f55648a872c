"""``quintain new``: make a lab."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import print_answer
from quintain.cli.failure import explained

__all__ = ["new"]


def new(
    folder: Annotated[Path, typer.Argument(help="New or empty folder for the lab.", show_default=False)],
    name: Annotated[str, typer.Option(help="Name of the lab, for reports; the folder's if left out.")] = "",
    database: Annotated[
        str,
        typer.Option(
            help="Address of an empty PostgreSQL database, 'postgresql://USER@HOST/DATABASE', where several "
            "stations share the lab; a file in the folder if left out. Passwords belong into ~/.pgpass.",
            show_default=False,
        ),
    ] = "",
    invented: Annotated[
        bool, typer.Option("--invented", help="Everything in it is made up, and reports are to say so.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a line.")] = False,
) -> None:
    """
    Make a lab: a folder that keeps recordings, people, sessions and results.

    Example: quintain new our-lab --name "Our lab"
    """
    from quintain.store.engine import shown
    from quintain.store.lab import Lab

    with explained():
        called = name.strip() or folder.resolve().name
        with Lab.create(folder, name=called, invented=invented, url=database) as lab:
            facts = lab.facts
        where = shown(database) if database else str(folder / "lab.db")
        if json:
            results = {
                "folder": str(folder),
                "name": facts.name,
                "uuid": facts.uuid,
                "database": where,
                "invented": facts.invented,
            }
            print_answer("new", results)
        else:
            print(f"{folder}: made the lab {facts.name!r}; bring in recordings with:")
            print(f"quintain import RECORDINGS --lab {folder}")
