"""``quintain rig``: how a rig stands, and what is due."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.answer import ReportFolder, TableAsJson
from quintain.cli.failure import explained, say
from quintain.errors import UsageError
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.domain.rig_state import RigState

__all__ = ["rig"]

_WORDS = {
    "sound": "● Sound. Its drop test passed, its history holds still and nothing is due.",
    "doubt": "◇ With doubt.",
    "undecided": "□ Undecided: nothing proves this rig yet.",
}


def rig(
    file: Annotated[
        Path,
        typer.Argument(
            help="Rig file; its log lies beside it. With --lab: a rig's name.", show_default=False
        ),
    ],
    lab: Annotated[Path | None, typer.Option("--lab", help="Lab of the rig; FILE is its name then.")] = None,
    add: Annotated[
        bool, typer.Option("--add", help="Take the rig file with its earlier versions and log into the lab.")
    ] = False,
    report: ReportFolder = None,
    json: TableAsJson = False,
) -> None:
    """
    Say how a rig stands against its own history, and which checks are due.

    Exit code 1 when there is a doubt. Example: quintain rig rig.toml

    Example: quintain rig rig.toml --add --lab our-lab, and then: quintain rig "wall pad" --lab our-lab
    """
    from quintain.domain import as_json

    with explained():
        if add and lab is None:
            raise UsageError("--add needs the lab to take the rig into: add --lab LAB")
        state, text, invented = _of_file(file) if lab is None else _of_lab(file, lab, add)
        if json:
            sha256 = hashlib.sha256(text).hexdigest()
            answer = as_json.rig_state_as_json(state, path=str(file), sha256=sha256, version=__version__)
            print(as_json.text(answer))
        else:
            from rich.console import Console

            from quintain.cli.rig_table import print_rig_state

            print_rig_state(state, _WORDS[state.verdict], Console(highlight=False))
        if report:
            from quintain.tasks.report import write_rig_reports

            for path in write_rig_reports(state, report, name=file.stem, invented=invented):
                say(f"report: {path}")
        if state.verdict != "sound":
            raise typer.Exit(1)


def _of_file(file: Path) -> tuple[RigState, bytes, bool]:
    from quintain.tasks.rig_health import rig_state

    return rig_state(file), file.read_bytes(), False


def _of_lab(file: Path, folder: Path, add: bool) -> tuple[RigState, bytes, bool]:
    from quintain.store.lab import Lab
    from quintain.tasks.lab_rigs import add_rig, rig_text
    from quintain.tasks.lab_views import rig_state_in_lab
    from quintain.tasks.user_name import user_name

    with Lab.open(folder) as lab:
        name = str(file)
        if add:
            added = add_rig(lab, file, who=user_name())
            name = added.name
            say(
                f"the lab took {len(added.new_versions)} versions of the rig {name!r} and "
                f"{added.new_evidence} pieces of evidence; in use is version {added.version}"
            )
        return rig_state_in_lab(lab, name), rig_text(lab, name).encode(), lab.facts.invented
