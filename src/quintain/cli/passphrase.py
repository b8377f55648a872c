"""``quintain passphrase``: what a role signs in with."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained, say
from quintain.errors import UsageError

__all__ = ["passphrase"]


def passphrase(
    role: Annotated[str, typer.Argument(help="viewer, operator or engineer.")],
    file: Annotated[Path, typer.Option(help="Access file; made if it is not there.")] = Path("access.toml"),
) -> None:
    """
    Set the passphrase of a role, for quintain serve --access.

    It is asked for twice, or read as one line where no terminal is at hand. Only a hash is kept.
    Example: quintain passphrase operator --file access.toml
    """
    from quintain.web.security.passphrases import write_passphrase
    from quintain.web.security.roles import Role

    with explained():
        wanted = Role.of(role)
        if wanted is None:
            raise UsageError(f"there is no role {role!r}; there are: {', '.join(r.word for r in Role)}")
        if sys.stdin.isatty():
            said = typer.prompt(f"Passphrase of {role}", hide_input=True, confirmation_prompt=True, err=True)
        else:
            said = sys.stdin.readline().rstrip("\r\n")
        write_passphrase(file, wanted, said)
        say(f"{file}: {role} signs in with the new passphrase; restart a running server.")
