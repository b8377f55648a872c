"""What a file does not say itself, stated on the command line: one way for all commands."""

from __future__ import annotations

from typing import Annotated

import typer

from quintain.tasks.reading_settings import reading

__all__ = ["Channel", "Columns", "Rate", "Setting", "reading"]

Channel = Annotated[str | None, typer.Option(help="Channel to analyse, if there are several.")]
Columns = Annotated[str | None, typer.Option(help="What the columns hold, e.g. 'time=1[s],force=2[kN]'.")]
Rate = Annotated[float | None, typer.Option(help="Sampling rate in Hz, if the file has no time.")]
Setting = Annotated[
    list[str] | None,
    typer.Option(
        help="What else the reader must be told, as name=value, e.g. 'units=N' or 'full_scale=5000 N'; may "
        "be repeated. Settings of each format: see quintain formats.",
        show_default=False,
    ),
]
