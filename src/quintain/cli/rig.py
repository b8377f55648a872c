"""``quintain rig``: how a rig stands, and what is due."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained, say
from quintain.version import __version__

__all__ = ["rig"]

_WORDS = {
    "sound": "● Sound. Its drop test passed, its history holds still and nothing is due.",
    "doubt": "◇ With doubt.",
    "undecided": "□ Undecided: nothing proves this rig yet.",
}


def rig(
    file: Annotated[Path, typer.Argument(help="Rig file; its log lies beside it.", show_default=False)],
    report: Annotated[
        Path | None, typer.Option(help="Folder in which to write the report (HTML and PDF).")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")] = False,
) -> None:
    """
    Say how a rig stands against its own history, and which checks are due.

    Exit code 1 when there is a doubt. Example: quintain rig rig.toml
    """
    from quintain.domain import as_json
    from quintain.tasks.rig_health import rig_state

    with explained():
        state = rig_state(file)
        if json:
            sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
            answer = as_json.rig_state_as_json(state, path=str(file), sha256=sha256, version=__version__)
            print(as_json.text(answer))
        else:
            from rich.console import Console

            from quintain.cli.rig_table import print_rig_state

            print_rig_state(state, _WORDS[state.verdict], Console(highlight=False))
        if report:
            from quintain.tasks.report import write_rig_reports

            for path in write_rig_reports(state, report, name=file.stem):
                say(f"report: {path}")
        if state.verdict != "sound":
            raise typer.Exit(1)
