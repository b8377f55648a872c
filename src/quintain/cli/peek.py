"""``quintain peek``: what is inside a recording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.answer import TableAsJson, print_answer
from quintain.cli.failure import explained
from quintain.cli.progress_bar import progress_bar
from quintain.cli.reading import Setting, reading

if TYPE_CHECKING:
    from quintain.domain.recording import Recording
    from quintain.tasks.peek import ChannelLook

__all__ = ["peek"]

_MOST_SHOWN = 16
"""Calibrations printed; all are in the JSON answer."""


def peek(
    file: Annotated[Path, typer.Argument(help="Recording to look into.", show_default=False)],
    setting: Setting = None,
    json: TableAsJson = False,
) -> None:
    """
    Show the channels of a recording: name, rate, length, unit and range. Nothing is analysed.

    Calibrations that the file holds are shown, and used only with --setting calibration=file.

    Example: quintain peek session.csv --setting units=N
    """
    from quintain.tasks import peek as task

    with explained():
        settings = reading(setting)
        with progress_bar(shown=not json) as progress:
            recording, looks = task.peek(file, progress=progress, **settings)
        if json:
            print_answer(
                "peek",
                _as_json(recording, looks),
                inputs=[
                    (recording.path, recording.sha256),
                    *((path, digest()) for path, digest in recording.parts),
                ],
                method=settings,
            )
        else:
            _print(recording, looks)


def _as_json(recording: Recording, looks: list[ChannelLook]) -> dict[str, Any]:
    channels = [
        {
            "name": look.trace.name,
            "quantity": look.trace.quantity,
            "unit": look.trace.unit,
            "unit_in_file": look.trace.unit_in_file,
            "rate_hz": look.trace.rate,
            "device": look.trace.device,
            "samples": look.n_samples,
            "duration_s": look.duration,
            "missing": look.n_missing,
            "lowest": look.lowest,
            "highest": look.highest,
            "breaks": look.breaks,
            "problem": look.problem,
        }
        for look in looks
    ]
    return {
        "reader": recording.reader,
        "bytes": recording.n_bytes,
        "started": recording.started.isoformat() if recording.started else None,
        "channels": channels,
        "notes": list(recording.notes),
        "calibrations": [
            {"channel": found.channel, "text": found.text, "applied": found.applied}
            for found in recording.calibrations
        ],
        "header": recording.header,
    }


def _print(recording: Recording, looks: list[ChannelLook]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    began = f", began {recording.started:%Y-%m-%d %H:%M:%S}" if recording.started else ""
    console.print(
        f"{recording.path}: {recording.n_bytes} bytes, read as {recording.reader!r}{began}", markup=False
    )
    table = Table(box=box.SIMPLE)
    for heading in ("channel", "what", "rate / Hz", "samples", "length / s", "range", "remarks"):
        left = heading in ("channel", "what", "remarks")
        table.add_column(heading, justify="left" if left else "right", no_wrap=heading != "remarks")
    for look in looks:
        trace = look.trace
        remarks = [f"{n} x {kind}" for kind, n in look.breaks.items()]
        remarks += [f"{look.n_missing} missing"] if look.n_missing else []
        remarks += ["unit not known"] if look.problem else []
        table.add_row(
            trace.name,
            f"{trace.quantity}, {trace.unit}",
            f"{trace.rate:.6g}",
            "" if look.n_samples is None else str(look.n_samples),
            "" if look.duration is None else f"{look.duration:.4g}",
            "" if look.lowest is None else f"{look.lowest:.4g} to {look.highest:.4g}",
            ", ".join(remarks),
        )
    console.print(table)
    for note in recording.notes:
        console.print(f"note: {note}", markup=False)
    for found in recording.calibrations[:_MOST_SHOWN]:
        used = "used" if found.applied else "not used"
        console.print(f"calibration of {found.channel!r}, {used}: {found.text}", markup=False)
    if len(recording.calibrations) > _MOST_SHOWN:
        more = len(recording.calibrations) - _MOST_SHOWN
        console.print(f"and {more} more calibrations, see --json", markup=False)
    for look in looks[:3]:
        if look.problem:
            console.print(look.problem, markup=False)
