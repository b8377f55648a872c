"""``quintain tap``: from taps to the rig's modes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.answer import ReportFolder, TableAsJson
from quintain.cli.failure import explained, say
from quintain.cli.progress_bar import progress_bar
from quintain.cli.reading import Channel, Columns, Rate, Setting, reading
from quintain.cli.rig_option import LabOfRig, TestWhen, rig_at, time_told
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.domain.tap import TapTest

__all__ = ["tap"]


def tap(
    files: Annotated[
        list[Path],
        typer.Argument(help="Recordings of taps; at two rates they also settle folding.", show_default=False),
    ],
    loaded: Annotated[
        Path | None, typer.Option(help="A further recording, with a known mass bolted on.")
    ] = None,
    added_mass: Annotated[float | None, typer.Option(help="That mass, in kg.")] = None,
    u_added_mass: Annotated[float, typer.Option(help="Its standard uncertainty, in kg.")] = 0.0,
    rig: Annotated[
        Path | None, typer.Option(help="Rig file (rig.toml); its filter is taken into account.")
    ] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the modes into the rig file and its log.")
    ] = False,
    lab: LabOfRig = None,
    when: TestWhen = "",
    modes: Annotated[int | None, typer.Option(help="Number of modes; chosen if not given.")] = None,
    report: ReportFolder = None,
    channel: Channel = None,
    columns: Columns = None,
    rate: Rate = None,
    setting: Setting = None,
    json: TableAsJson = False,
) -> None:
    """
    Find the taps in a recording and say how the rig rings, and which pulses it can be trusted with.

    Example: quintain tap taps.csv --rig rig.toml --write
    """
    from quintain.domain import as_json
    from quintain.domain.rig import Rig
    from quintain.errors import UsageError
    from quintain.tasks.tap import record_taps, tap_files

    with explained():
        if write and rig is None:
            raise UsageError("--write needs --rig: the rig file to write the modes into")
        at_time = time_told(when, write)
        told = reading(setting, columns=columns, rate=rate)
        with rig_at(rig, lab, "tap", [*files, loaded], reading=told, channel=channel) as at:
            with progress_bar(shown=not json) as progress:
                test = tap_files(
                    files, loaded=loaded, added_mass=added_mass, u_added_mass=u_added_mass,
                    rig=Rig.load(at.path) if at else None, channel=channel, n_modes=modes,
                    progress=progress, **told,
                )  # fmt: skip
            answer = as_json.taps_as_json(test, version=__version__)
            if write and at is not None:
                record_taps(test, at.path, when=at_time)
                at.answer = answer
        if write:
            say(f"rig: {rig}")
        if json:
            print(as_json.text(answer))
        else:
            _print(test)
        if report:
            from quintain.tasks.report import write_tap_reports

            for path in write_tap_reports(test, report):
                say(f"report: {path}")


def _print(test: TapTest) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from quintain.domain.tap import TAP_CAUTION
    from quintain.report.rounding import shown

    console = Console(highlight=False)
    console.print(f"taps found on {test.channel!r}: {len(test.taps)}", markup=False)
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, caption="± expanded uncertainty, 95 %")
    for heading in ("natural frequency", "damping ratio", "share", "spread, Hz", "taps", "could also be, Hz"):
        table.add_column(heading, justify="right")
    for mode in test.modes:
        table.add_row(
            shown(mode.natural_frequency).text,
            shown(mode.damping_ratio).text,
            f"{100 * mode.share:.0f} %",
            f"{mode.spread:.2g}",
            f"{mode.n_seen} of {len(test.taps)}",
            ", ".join(f"{f:.4g}" for f in mode.candidates[1:4]),
        )
    console.print(table)
    for pulse in test.shortest_pulses:
        console.print(
            f"raw peak right within {100 * pulse.tolerance:.0f} %: pulses of {1e3 * pulse.duration:.3g} ms "
            f"and longer ({pulse.shape} decides)",
            markup=False,
        )
    if test.shortest_corrected_pulse is None:
        console.print("with correction: none; the rig rings too fast for this sampling rate", markup=False)
    else:
        console.print(
            "corrected peak right within half a per cent: pulses of "
            f"{1e3 * test.shortest_corrected_pulse:.3g} ms and longer",
            markup=False,
        )
    if test.moving_mass is not None and test.moving_stiffness is not None:
        mass, stiffness = shown(test.moving_mass).text, shown(test.moving_stiffness).text
        console.print(f"moving mass {mass}, stiffness {stiffness}", markup=False)
    for doubt in [*test.flags, *(f for one in test.taps for f in one.flags)]:
        where = f" ({doubt.where})" if doubt.where else ""
        console.print(f"◇ {doubt.code}{where}: {doubt.message}", markup=False)
    console.print(TAP_CAUTION, markup=False)
