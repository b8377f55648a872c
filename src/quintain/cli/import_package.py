"""``quintain import-package``: a lab from a package."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained
from quintain.version import __version__

__all__ = ["import_package"]


def import_package(
    package: Annotated[Path, typer.Argument(help="Folder or zip file of the package.", show_default=False)],
    folder: Annotated[Path, typer.Argument(help="New or empty folder for the lab.", show_default=False)],
    database: Annotated[
        str,
        typer.Option(help="Address of an empty PostgreSQL database; a file in the folder if left out."),
    ] = "",
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of lines.")] = False,
) -> None:
    """
    Make a lab of a package: the same recordings, strikes, tags, reviews, results and methods.

    Sizes and hashes are checked before anything is written; what is damaged is refused.

    Example: quintain import-package our-lab.zip their-lab
    """
    from quintain.domain import as_json
    from quintain.store.queries import count_strikes
    from quintain.tasks.package import lab_from_package

    with explained():
        with lab_from_package(package, folder, url=database) as lab:
            name, n = lab.facts.name, count_strikes(lab)
        if json:
            results = {"folder": str(folder), "name": name, "strikes": n}
            print(
                as_json.text(
                    as_json.answer(
                        "import-package", version=__version__, inputs=[], method={}, results=results, flags=[]
                    )
                )
            )
        else:
            print(f"{folder}: made the lab {name!r} of the package, with {n} strikes")
