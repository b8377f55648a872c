"""How a command answers: one JSON object instead of words, and a report beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from quintain.version import __version__

__all__ = ["AsJson", "ReportFolder", "TableAsJson", "print_answer"]

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of lines.")]
TableAsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")]
ReportFolder = Annotated[
    Path | None, typer.Option("--report", help="Folder in which to write the report (HTML and PDF).")
]


def print_answer(
    command: str,
    results: Any,
    *,
    inputs: Iterable[tuple[str, str]] = (),
    method: Mapping[str, Any] | None = None,
) -> None:
    """
    Print the JSON object of a command; one that raises flags makes its own.

    Parameters
    ----------
    command : str
        Its name.
    results : object
        Values, rows and times; see :func:`~quintain.domain.plain.plain`.
    inputs : iterable of (str, str)
        Path and SHA-256 of each file that went in.
    method : mapping, optional
        Settings that were given.
    """
    from quintain.domain import as_json
    from quintain.domain.plain import plain

    answer = as_json.answer(
        command, version=__version__, inputs=inputs, method=method or {}, results=plain(results), flags=[]
    )
    print(as_json.text(answer))
