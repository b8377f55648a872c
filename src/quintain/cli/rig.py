"""``quintain rig``: how a rig stands, and what is due."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained
from quintain.version import __version__

__all__ = ["rig"]

_WORDS = {
    "sound": "● Sound. Its drop test passed, its history holds still and nothing is due.",
    "doubt": "◇ With doubt.",
    "undecided": "□ Undecided: nothing proves this rig yet.",
}


def rig(
    file: Annotated[Path, typer.Argument(help="Rig file; its log lies beside it.", show_default=False)],
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
            print(as_json.text(as_json.rig_state_as_json(state, path=str(file), version=__version__)))
        else:
            from rich.console import Console

            from quintain.cli.rig_table import print_rig_state

            print_rig_state(state, _WORDS[state.verdict], Console(highlight=False))
        if state.verdict != "sound":
            raise typer.Exit(1)
