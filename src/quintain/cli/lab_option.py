"""What all commands on a lab share: which lab, in whose name, and their JSON."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.failure import explained
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.store.lab import Lab

__all__ = ["AsJson", "LabFolder", "Who", "open_lab", "parse_time", "plain", "print_answer"]

LabFolder = Annotated[Path, typer.Option("--lab", help="Folder of the lab.", envvar="QUINTAIN_LAB")]
Who = Annotated[str, typer.Option(help="In whose name; your user name if left out.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of lines.")]


@contextmanager
def open_lab(folder: Path, who: str = "") -> Iterator[tuple[Lab, str]]:
    """Open a lab for a command; errors become one line and an exit code."""
    from quintain.store.lab import Lab
    from quintain.tasks.user_name import user_name

    with explained(), Lab.open(folder) as lab:
        yield lab, who or user_name()


def print_answer(command: str, results: Any) -> None:
    """Print the JSON object of a command."""
    from quintain.domain import as_json

    answer = as_json.answer(
        command, version=__version__, inputs=[], method={}, results=plain(results), flags=[]
    )
    print(as_json.text(answer))


def plain(value: Any) -> Any:
    """Values, rows and times as JSON holds them."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return plain(value._asdict())
    if isinstance(value, Mapping):
        return {name: plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Path) else value


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
