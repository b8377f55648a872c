"""``quintain type``: types of strikes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.lab_option import LabFolder, Who, open_lab

__all__ = ["strike_type"]

strike_type = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Types of strikes: those of the trade, and the lab's own.",
)


@strike_type.command()
def add(
    name: Annotated[str, typer.Argument(help="What it is called.", show_default=False)],
    family: Annotated[
        str,
        typer.Option(help="punch, palm, elbow, knee, kick, stick or other; decides about effective mass."),
    ] = "other",
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """Add a type of the lab's own. Example: quintain type add "flying knee" --family knee --lab our-lab."""
    from quintain.tasks.strike_types import add_type

    with open_lab(lab, who) as (opened, me):
        added = add_type(opened, name, family=family, who=me)
        if json:
            print_answer("type add", added)
        else:
            print(f"added the type {added.name!r} ({added.family})")


@strike_type.command("list")
def list_(lab: LabFolder = Path(), json: AsJson = False) -> None:
    """List the types of strikes a lab knows. Example: quintain type list --lab our-lab."""
    from quintain.tasks.strike_types import list_types

    with open_lab(lab) as (opened, _):
        found = list_types(opened)
        if json:
            print_answer("type list", found)
            return
        for row in found:
            own = ", the lab's own" if row.own else ""
            print(f"{row.name:<20} {row.family}{own}, {row.n_strikes} strikes")
