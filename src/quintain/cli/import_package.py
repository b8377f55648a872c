"""``quintain import-package``: a lab from a package."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.failure import explained
from quintain.cli.progress_bar import progress_bar

__all__ = ["import_package"]


def import_package(
    package: Annotated[Path, typer.Argument(help="Folder or zip file of the package.", show_default=False)],
    folder: Annotated[Path, typer.Argument(help="New or empty folder for the lab.", show_default=False)],
    database: Annotated[
        str,
        typer.Option(help="Address of an empty PostgreSQL database; a file in the folder if left out."),
    ] = "",
    json: AsJson = False,
) -> None:
    """
    Make a lab of a package: the same recordings, strikes, tags, reviews, results and methods.

    Sizes and hashes are checked before anything is written; what is damaged is refused.

    Example: quintain import-package our-lab.zip their-lab
    """
    from quintain.store.queries import count_strikes
    from quintain.tasks.package import lab_from_package

    with explained():
        with progress_bar(shown=not json) as progress:
            made = lab_from_package(package, folder, url=database, progress=progress)
        with made as lab:
            name, n = lab.facts.name, count_strikes(lab)
        if json:
            results = {"folder": str(folder), "name": name, "strikes": n}
            print_answer("import-package", results)
        else:
            print(f"{folder}: made the lab {name!r} of the package, with {n} strikes")
