"""A rig for a command: a rig file, or a rig of a lab by its name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.errors import UsageError

if TYPE_CHECKING:
    from quintain.tasks.lab_rigs import RigOnPaper

__all__ = ["LabOfRig", "rig_at"]

LabOfRig = Annotated[
    Path | None,
    typer.Option(
        "--lab", help="Lab of the rig; --rig is its name then, not a file. --write enters the test there."
    ),
]


@contextmanager
def rig_at(
    rig: Path | None,
    lab: Path | None,
    kind: str,
    recordings: Sequence[Path | None],
    *,
    reading: Mapping[str, Any] | None = None,
    channel: str | None = None,
) -> Iterator[RigOnPaper | None]:
    """
    Where the rig's file is for the time of a command; None without a rig.

    Of a lab it is a copy, and what is written into it goes into the lab at the end, with the recordings.
    """
    from quintain.tasks.lab_rigs import RigOnPaper, rig_on_paper

    if lab is None:
        yield RigOnPaper(rig) if rig is not None else None
        return
    if rig is None:
        raise UsageError("--lab needs --rig: the name of a rig of that lab")
    from quintain.store.lab import Lab
    from quintain.tasks.user_name import user_name

    with Lab.open(lab) as opened, rig_on_paper(
        opened, str(rig), kind=kind, recordings=[one for one in recordings if one is not None],
        reading=reading, channel=channel, who=user_name(),
    ) as paper:  # fmt: skip
        yield paper
