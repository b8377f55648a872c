"""What a file does not say itself, stated on the command line: one way for all commands."""

from __future__ import annotations

from typing import Annotated

import typer

from quintain.tasks.reading_settings import reading

__all__ = ["Setting", "reading"]

Setting = Annotated[
    list[str] | None,
    typer.Option(
        help="What else the reader must be told, as name=value, e.g. 'units=N' or 'full_scale=5000 N'; may "
        "be repeated. Settings of each format: see quintain formats.",
        show_default=False,
    ),
]
