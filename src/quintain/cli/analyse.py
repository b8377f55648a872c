"""``quintain analyse``: from recordings to strikes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.answer import ReportFolder, TableAsJson
from quintain.cli.failure import explained, say
from quintain.cli.motion_option import ClockOffset, Normal, Sync, Track
from quintain.cli.progress_bar import progress_bar
from quintain.cli.reading import Channel, Columns, Rate, Setting, reading
from quintain.errors import QuintainError, UsageError
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.domain.analysis import Analysis

__all__ = ["analyse"]


def analyse(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Recordings of the load cell.", show_default=False)
    ] = None,
    lab: Annotated[
        Path | None, typer.Option(help="Analyse the recordings of this lab instead of files.")
    ] = None,
    session: Annotated[str | None, typer.Option(help="With --lab: those of one session.")] = None,
    again: Annotated[
        bool,
        typer.Option("--again", help="With --lab: also what a newer rig, method or version makes stale."),
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="With --lab: say what would be analysed and why.")
    ] = False,
    dask: Annotated[
        str | None, typer.Option(help="With --lab: a Dask cluster, e.g. tcp://station:8786.")
    ] = None,
    who: Annotated[str, typer.Option(help="With --lab: in whose name; the user if left out.")] = "",
    rig: Annotated[
        Path | None,
        typer.Option(
            help="Rig file (rig.toml): ringing, calibration, limits. With --lab the name of one of its rigs."
        ),
    ] = None,
    method: Annotated[Path | None, typer.Option(help="Method file (method.toml): all settings.")] = None,
    channel: Channel = None,
    columns: Columns = None,
    rate: Rate = None,
    setting: Setting = None,
    units: Annotated[
        str | None, typer.Option(help="Units a file does not state, e.g. 'N' or 'Fz=kN,acc=g'.")
    ] = None,
    motion: Annotated[
        Path | None, typer.Option(help="Recording of the limb's motion: inertial sensor or tracked position.")
    ] = None,
    motion_setting: Annotated[
        list[str] | None,
        typer.Option(
            help="As --setting, for the file of --motion: 'units=Acc=g', 'rate=1000'; may be repeated.",
            show_default=False,
        ),
    ] = None,
    normal: Normal = None,
    lever_arm: Annotated[
        str | None,
        typer.Option(help="From the sensor to the striking point in its axes, in m, e.g. '0.08,0,0.02'."),
    ] = None,
    straight: Annotated[
        bool, typer.Option("--straight", help="Strikes are straight: lets an accelerometer do without gyro.")
    ] = False,
    track: Track = None,
    clock_offset: ClockOffset = None,
    sync: Sync = None,
    speed: Annotated[
        str | None,
        typer.Option(
            help="Approach speed instead of --motion, in m/s with its 95 % uncertainty: '8.2+-0.2', one for "
            "each strike by ';', or a table: strike, speed [m/s], ± [m/s], or of two light gates: "
            "first [s], second [s], spacing [m], to pad [m]."
        ),
    ] = None,
    kind: Annotated[
        str, typer.Option(help="punch, kick or any: published ranges to hold the numbers against.")
    ] = "any",
    jobs: Annotated[int, typer.Option(min=1, help="Processes that measure strikes.")] = 1,
    report: ReportFolder = None,
    json: TableAsJson = False,
) -> None:
    """
    Find every strike in a recording and say what it was.

    Example: quintain analyse session.csv --rig rig.toml --report reports

    Example: quintain analyse session.csv --rig rig.toml --motion wrist.csv --normal 1,0,0

    Example: quintain analyse session.csv --rig rig.toml --speed gates.csv

    Example: quintain analyse --lab our-lab --session monday --jobs 4
    """
    from quintain.domain import as_json
    from quintain.domain.method import Method
    from quintain.domain.rig import Rig
    from quintain.tasks.add_motion import (
        add_motion,
        clock_offset_of_pulses,
        motion_setup,
        parse_clock_offset,
    )
    from quintain.tasks.analyse import analyse_file
    from quintain.tasks.workers import worker_pool

    with explained():
        if lab is not None:
            given = {"channel": channel, "columns": columns, "rate": rate, "setting": setting, "units": units,
                     "motion": motion, "motion-setting": motion_setting, "normal": normal,
                     "lever-arm": lever_arm, "track": track, "clock-offset": clock_offset, "sync": sync,
                     "speed": speed, "report": report}  # fmt: skip
            stray = [f"--{name}" for name, value in given.items() if value is not None]
            if files or stray:
                raise UsageError(
                    f"with --lab, {stray[0] if stray else 'a file'} has no place: what belongs to a "
                    "recording is stated when it is imported, or later by quintain state"
                )
            from quintain.cli.analyse_lab import analyse_in_lab

            code = analyse_in_lab(
                lab, session=session, rig=None if rig is None else str(rig), method=method, again=again,
                dry_run=dry_run, jobs=jobs, dask=dask, who=who, json=json,
            )  # fmt: skip
            raise typer.Exit(code)
        if not files:
            raise UsageError("name recordings to analyse, or a lab with --lab")
        if session is not None or again or dry_run or dask is not None:
            raise UsageError("--session, --again, --dry-run and --dask belong to --lab")
        if motion is not None and len(files) > 1:
            raise UsageError(f"one recording of the motion belongs to one of the force, got {len(files)}")
        if kind not in ("any", "punch", "kick"):
            raise UsageError(f"expected any, punch or kick for --kind, got {kind!r}")
        settings = Method.load(method) if method else Method()
        target = Rig.load(rig) if rig else None
        if motion is None and speed is None:
            idle = {"--motion-setting": motion_setting, "--normal": normal, "--lever-arm": lever_arm,
                    "--track": track, "--clock-offset": clock_offset, "--sync": sync}  # fmt: skip
            for name in (name for name, value in idle.items() if value is not None):
                raise UsageError(f"{name} says something of a recording of the motion: add --motion")
        if clock_offset is not None and sync is not None:
            raise UsageError("--clock-offset and --sync both tell the offset between the clocks; give one")
        offset = None if clock_offset is None else parse_clock_offset(clock_offset)
        setup = motion_setup(target, normal=normal, lever_arm=lever_arm, straight=straight, track=track)
        force_reading = reading(setting, columns=columns, rate=rate, units=units)
        motion_reading = reading(motion_setting)
        curves = bool(report) or motion is not None or speed is not None
        analyses, errors, worst = [], [], 0
        with progress_bar(shown=not json) as progress, worker_pool(jobs) as executor:
            for path in files:
                try:
                    found = analyse_file(
                        path, rig=target, method=settings, channel=channel,
                        curves=curves, executor=executor, progress=progress,
                        **force_reading,
                    )  # fmt: skip
                    if sync is not None and motion is not None:
                        offset = clock_offset_of_pulses(
                            path, motion, sync, reading=force_reading, motion_reading=motion_reading
                        )
                    if motion is not None or speed is not None:
                        found = add_motion(
                            found, motion=motion, speeds=speed, setup=setup, reading=motion_reading,
                            clock_offset=offset, kind=kind, executor=executor,
                        )  # fmt: skip
                    analyses.append(found)
                except QuintainError as problem:
                    say(f"quintain: {problem}")
                    errors.append({"path": str(path), "code": problem.code, "message": str(problem)})
                    worst = max(worst, problem.exit_code)
        if json:
            print(as_json.text(as_json.analyses_as_json(analyses, version=__version__, errors=errors)))
        elif analyses:
            from rich.console import Console

            from quintain.cli.strike_table import print_strikes

            print_strikes(analyses, Console())
        if report:
            from quintain.tasks.report import write_reports

            for path in (p for a in analyses for p in write_reports(a, report)):
                say(f"report: {path}")
        if not worst and not any(a.strikes for a in analyses):
            say("quintain: no strike was found; see detection in the method file if there should be one")
            worst = 1
        elif not worst and (motion is not None or speed is not None) and not _any_speed(analyses):
            say("quintain: no strike has a speed, so nothing of the limb is stated; the doubts say why")
            worst = 1
        if worst:
            raise typer.Exit(worst)


def _any_speed(analyses: list[Analysis]) -> bool:
    return any("approach_speed" in strike.quantities for a in analyses for strike in a.strikes)
