"""``quintain show``: look into a lab."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.answer import print_answer
from quintain.cli.failure import explained

if TYPE_CHECKING:
    from quintain.store.lab import Lab

__all__ = ["show"]

show = typer.Typer(
    name="show", help="Look into a lab: all of it, a session, a person, a recording or a strike.",
    no_args_is_help=True, rich_markup_mode=None,
)  # fmt: skip

Folder = Annotated[Path, typer.Argument(help="Folder of the lab.", show_default=False)]
Code = Annotated[str, typer.Argument(help="Its code.", show_default=False)]
First = Annotated[int, typer.Option("--from", min=1, help="Which strike of the list to begin with.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of tables.")]

PAGE = 100


def _show(folder: Path, what: str, look: Callable[[Lab], object], json: bool) -> None:
    from quintain.cli.show_json import view_as_json
    from quintain.store.lab import Lab

    with explained(), Lab.open(folder) as lab:
        view = look(lab)
        if json:
            print_answer("show", {"of": what, **view_as_json(view)})
        else:
            from rich.console import Console

            from quintain.cli.show_table import print_view

            print_view(view, Console(highlight=False, markup=False))


@show.command("lab")
def lab(folder: Folder, json: Json = False) -> None:
    """
    Rigs and how they stand, the last sessions, and what waits.

    Example: quintain show lab our-lab
    """
    from quintain.tasks.lab_views import lab_overview

    _show(folder, "lab", lab_overview, json)


@show.command("session")
def session(folder: Folder, code: Code, first: First = 1, json: Json = False) -> None:
    """
    A session: its plan, recordings, people by type and side, and strikes.

    Example: quintain show session our-lab S1
    """
    from quintain.tasks.lab_views import session_view

    _show(folder, "session", lambda lab: session_view(lab, code, offset=first - 1, limit=PAGE), json)


@show.command("person")
def person(folder: Folder, code: Code, first: First = 1, json: Json = False) -> None:
    """
    A person by code: strikes by type and side, over all sessions and by session.

    Example: quintain show person our-lab P03
    """
    from quintain.tasks.lab_views import person_view

    _show(folder, "person", lambda lab: person_view(lab, code, offset=first - 1, limit=PAGE), json)


@show.command("recording")
def recording(
    folder: Folder,
    name: Annotated[str, typer.Argument(help="Its name, or six digits or more of its SHA-256.")],
    first: First = 1,
    json: Json = False,
) -> None:
    """
    A recording: where it came from, how it was analysed, and its strikes.

    Example: quintain show recording our-lab trial_012.csv
    """
    from quintain.tasks.lab_views import recording_view

    _show(folder, "recording", lambda lab: recording_view(lab, name, offset=first - 1, limit=PAGE), json)


@show.command("strike")
def strike(
    folder: Folder, number: Annotated[int, typer.Argument(help="Its number in the lab.")], json: Json = False
) -> None:
    """
    A strike: every quantity with its uncertainty, its doubts, its tags, and its neighbours.

    Example: quintain show strike our-lab 17
    """
    from quintain.tasks.lab_views import strike_view

    _show(folder, "strike", lambda lab: strike_view(lab, number), json)
