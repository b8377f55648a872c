"""How the motion of the limb belongs to the force, stated on the command line."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["ClockOffset", "Normal", "Sync", "Track"]

Normal = Annotated[
    str | None,
    typer.Option(help="Direction into the target in the axes of sensor or track, e.g. '1,0,0'."),
]
Track = Annotated[
    str | None,
    typer.Option(help="One or three channels of the striking point among several, e.g. 'hx,hy,hz'."),
]
ClockOffset = Annotated[
    str | None,
    typer.Option(help="Clock of the motion less that of the force, and how far off, in s: '28.9+-0.05'."),
]
Sync = Annotated[
    str | None,
    typer.Option(help="Channel of a pulse in both files, or force's and motion's: 'sync,trigger'."),
]
