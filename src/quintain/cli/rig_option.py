"""A rig for a command: a rig file, or a rig of a lab by its name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.errors import UsageError

if TYPE_CHECKING:
    from quintain.tasks.lab_rigs import RigOnPaper

__all__ = ["LabOfRig", "TestWhen", "rig_at", "time_told"]

LabOfRig = Annotated[
    Path | None,
    typer.Option(
        "--lab", help="Lab of the rig; --rig is its name then, not a file. --write enters the test there."
    ),
]


TestWhen = Annotated[
    str,
    typer.Option(
        "--when",
        help="Day or time of the test, for --write, as 2026-05-04 or 2026-05-04T14:30; if not given, as the "
        "recording says, or now. A test older than the newest in the log leaves the rig file as it is.",
    ),
]


def time_told(when: str, write: bool) -> datetime | None:
    """
    The time of a test as typed after ``--when``; None if nothing was.

    Raises
    ------
    UsageError
        If it is none, lies in the future or cannot be, or nothing is to be written.
    """
    from quintain.cli.lab_option import parse_time
    from quintain.tasks.evidence_time import evidence_time

    told = parse_time(when, "--when")
    if told is None:
        return None
    if not write:
        raise UsageError("--when dates what --write enters into the rig's log: add --write")
    return evidence_time(told)


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
