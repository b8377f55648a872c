"""What all commands on a lab share: which lab, in whose name, and how a time is typed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.failure import explained

if TYPE_CHECKING:
    from quintain.store.lab import Lab

__all__ = ["LabFolder", "Who", "open_lab", "parse_time"]

LabFolder = Annotated[Path, typer.Option("--lab", help="Folder of the lab.", envvar="QUINTAIN_LAB")]
Who = Annotated[str, typer.Option(help="In whose name; your user name if left out.")]


@contextmanager
def open_lab(folder: Path, who: str = "") -> Iterator[tuple[Lab, str]]:
    """Open a lab for a command; errors become one line and an exit code."""
    from quintain.store.lab import Lab
    from quintain.tasks.user_name import user_name

    with explained(), Lab.open(folder) as lab:
        yield lab, who or user_name()


def parse_time(text: str, what: str) -> datetime | None:
    """
    A day or time as typed; without an offset it is that of this machine. None for an empty text.

    Raises
    ------
    UsageError
        If it is none.
    """
    from quintain.errors import UsageError

    if not text:
        return None
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError:
        raise UsageError(f"{what}: expected a time as 2026-11-25 or 2026-11-25T14:30, got {text!r}") from None
