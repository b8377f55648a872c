"""``quintain drops``: dropped masses prove or disprove the measuring chain."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import ReportFolder, TableAsJson
from quintain.cli.failure import explained, say
from quintain.cli.progress_bar import progress_bar
from quintain.cli.reading import Channel, Columns, Rate, Setting, reading
from quintain.cli.rig_option import LabOfRig, TestWhen, rig_at, time_told
from quintain.errors import UsageError
from quintain.version import __version__

__all__ = ["drops"]


def drops(
    file: Annotated[Path, typer.Argument(help="Recording of one or many drops.", show_default=False)],
    mass: Annotated[float, typer.Option(help="Falling mass in kg.", show_default=False)],
    height: Annotated[
        list[float] | None,
        typer.Option(
            help="Height of fall in m, face to face with the pad at rest; one for all drops or one each.",
            show_default=False,
        ),
    ] = None,
    u_mass: Annotated[float | None, typer.Option(help="Standard uncertainty of the mass in kg.")] = None,
    u_height: Annotated[float, typer.Option(help="Standard uncertainty of a height in m.")] = 0.001,
    latitude: Annotated[float | None, typer.Option(help="Latitude of the lab in degrees.")] = None,
    altitude: Annotated[float | None, typer.Option(help="Altitude of the lab in m.")] = None,
    gravity: Annotated[float | None, typer.Option(help="Local gravity in m/s², if measured.")] = None,
    u_gravity: Annotated[float | None, typer.Option(help="Its standard uncertainty in m/s².")] = None,
    cell_stiffness: Annotated[
        float | None, typer.Option(help="Stiffness of the cell in N/m, for the pad's compression.")
    ] = None,
    rig: Annotated[
        Path | None, typer.Option(help="Rig file (rig.toml): ringing, calibration, place.")
    ] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the test into the rig's log and, if passed, its file.")
    ] = False,
    lab: LabOfRig = None,
    when: TestWhen = "",
    pad: Annotated[str, typer.Option(help="Name of the pad that was dropped on, for --write.")] = "",
    report: ReportFolder = None,
    channel: Channel = None,
    columns: Columns = None,
    rate: Rate = None,
    setting: Setting = None,
    json: TableAsJson = False,
) -> None:
    """
    Say from drops of a known mass whether the measuring chain tells the truth.

    Exit code 0 is a pass; 1 is a fail or undecided, with the reason.

    Falling masses injure: guide the mass, catch it, keep feet and hands clear. Local rules and licensed
    practice come first.

    Example: quintain drops drops.csv --mass 5.012 --height 0.5 --rig rig.toml --write
    """
    from quintain.domain import as_json
    from quintain.domain.drop import DropSettings
    from quintain.domain.rig import Rig
    from quintain.tasks.drop_record import record_drops
    from quintain.tasks.drops import analyse_drops_file

    with explained():
        if write and rig is None:
            raise UsageError("--write needs the rig file to write into: add --rig rig.toml")
        at_time = time_told(when, write)
        settings = DropSettings(
            mass=mass,
            heights=tuple(height or ()),
            u_mass=u_mass,
            u_height=u_height,
            latitude=latitude,
            altitude=altitude,
            gravity=gravity,
            u_gravity=u_gravity,
            cell_stiffness=cell_stiffness,
        )
        told = reading(setting, columns=columns, rate=rate)
        with rig_at(rig, lab, "drops", [file], reading=told, channel=channel) as at:
            target = Rig.load(at.path) if at else None
            with progress_bar(shown=not json) as progress:
                test = analyse_drops_file(
                    file, settings, rig=target, channel=channel, progress=progress, **told
                )
            answer = as_json.drops_as_json(test, version=__version__)
            if write and at is not None:
                after = record_drops(test, at.path, pad=pad, when=at_time)
                at.answer = answer
        if json:
            print(as_json.text(answer))
        else:
            from rich.console import Console

            from quintain.cli.drop_table import print_drops

            print_drops(test, Console())
        if report:
            from quintain.tasks.report import write_drop_reports

            for path in write_drop_reports(test, report):
                say(f"report: {path}")
        if write:
            kept = target is not None and after.version == target.version
            what = "the rig is as it was" if kept else f"the rig is now version {after.version}"
            say(f"written into the log of {rig}; {what}")
        say(f"caution: {test.caution}")
        if test.verdict != "pass":
            raise typer.Exit(1)
