"""``quintain import``: bring recordings into a lab."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.answer import AsJson
from quintain.cli.failure import explained, say
from quintain.cli.progress_bar import progress_bar
from quintain.cli.reading import Columns, Setting, reading
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.tasks.import_recordings import ImportedFile

__all__ = ["import_recordings"]


def import_recordings(
    paths: Annotated[list[Path], typer.Argument(help="Recordings, and folders of them.", show_default=False)],
    lab: Annotated[Path, typer.Option(help="Folder of the lab.", show_default=False)],
    pattern: Annotated[
        list[str] | None,
        typer.Option(
            help="What file names say, e.g. '{person}_{type}_{side}_{trial}'; also {session}, {rig}, {kind}, "
            "{date}, {time}, {any}. May be repeated: the first that fits counts.",
            show_default=False,
        ),
    ] = None,
    sidecar: Annotated[
        Path | None,
        typer.Option(
            help="Table (CSV or TOML) with a row for each file: file, person, type, side, session, rig, "
            "kind, trial, when, motion, offset, sync, track, normal, speed, channel.",
            show_default=False,
        ),
    ] = None,
    session: Annotated[str | None, typer.Option(help="Session of all that do not say otherwise.")] = None,
    rig: Annotated[str | None, typer.Option(help="Rig of all that do not say otherwise.")] = None,
    kind: Annotated[
        str, typer.Option(help="What they are of: strikes, motion, taps, drops, zero or loads.")
    ] = "strikes",
    channel: Annotated[str | None, typer.Option(help="Channel of the force, if there are several.")] = None,
    columns: Columns = None,
    rate: Annotated[
        float | None, typer.Option(help="Sampling rate in Hz, if the files have no time.")
    ] = None,
    units: Annotated[str | None, typer.Option(help="Units the files do not state, e.g. 'N'.")] = None,
    setting: Setting = None,
    motion_setting: Annotated[
        list[str] | None,
        typer.Option(help="The same for recordings of the motion, as name=value.", show_default=False),
    ] = None,
    add_people: Annotated[
        bool, typer.Option("--add-people", help="Add people the lab does not know.")
    ] = False,
    add_types: Annotated[
        bool, typer.Option("--add-types", help="Add types of strikes it does not know.")
    ] = False,
    add_sessions: Annotated[
        bool, typer.Option("--add-sessions", help="Add sessions it does not know.")
    ] = False,
    restate: Annotated[
        bool,
        typer.Option("--restate", help="State what is said of recordings the lab has already as well."),
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Look at everything, say what would be done, write nothing.")
    ] = False,
    who: Annotated[str, typer.Option(help="In whose name; the user of this machine if left out.")] = "",
    json: AsJson = False,
) -> None:
    """
    Copy recordings into a lab, each once and whole; a line is printed when a file is safe.

    What cannot be read is refused with the reason while the others go on; then the exit code is 3.
    Repeat the same command after an interruption: it goes on where it was.

    Example: quintain import monday/ --lab our-lab --pattern '{person}_{type}_{trial}' --session monday

    Example: quintain import monday/ --lab our-lab --sidecar monday/table.csv --dry-run
    """
    from quintain.domain import as_json
    from quintain.store.lab import Lab
    from quintain.tasks import import_recordings as task

    failed = False
    with explained():
        told = reading(setting, columns=columns, rate=rate, units=units)
        with Lab.open(lab) as opened, progress_bar(shown=not json) as progress:
            report = task.import_recordings(
                opened, paths, session=session, rig=rig, kind=kind, pattern=pattern, sidecar=sidecar,
                channel=channel, reading=told, motion_reading=reading(motion_setting), add_people=add_people,
                add_types=add_types, add_sessions=add_sessions, restate=restate, dry_run=dry_run, who=who,
                progress=progress, done=None if json else _print,
            )  # fmt: skip
        failed = bool(report.of("refused")) or not report.files
        if json:
            print(
                as_json.text(
                    as_json.answer(
                        "import",
                        version=__version__,
                        inputs=[(str(f.path), f.sha256) for f in report.files if f.sha256],
                        method={"dry_run": dry_run, "reading": {k: str(v) for k, v in told.items()}},
                        results=[_as_json(file) for file in report.files],
                        flags=[],
                        errors=[
                            {"path": str(f.path), "code": "import", "message": f.reason}
                            for f in report.of("refused")
                        ],
                    )
                )
            )
        else:
            states = ("new", "known", *(("restated",) if restate else ()), "refused")
            counts = ", ".join(f"{len(report.of(state))} {state}" for state in states)
            say(f"{counts}{'; nothing was written (dry run)' if dry_run else ''}")
    if failed:
        raise typer.Exit(3)


def _print(file: ImportedFile) -> None:
    if file.state == "refused":
        reason = file.reason.removeprefix(f"{file.path}: ")
        say(_shown(f"refused {file.path}: {reason}"))
        return
    what = [file.person, file.type, file.side, "" if file.kind == "strikes" else file.kind]
    length = "" if file.duration is None else f"{file.duration:.6g} s at {file.rate:.6g} Hz"
    told = ", ".join(part for part in (" ".join(filter(None, what)), length, file.reason) if part)
    print(_shown(f"{file.state:<5} {file.sha256[:12]} {file.path}: {told}"), flush=True)


def _shown(line: str) -> str:
    """As it can be printed; some disks hold names that are no text."""
    return line.encode("utf-8", "backslashreplace").decode("utf-8")


def _as_json(file: ImportedFile) -> dict[str, Any]:
    return {
        "path": str(file.path),
        "state": file.state,
        "reason": file.reason,
        "sha256": file.sha256 or None,
        "bytes": file.n_bytes,
        "reader": file.format,
        "kind": file.kind,
        "person": file.person,
        "type": file.type,
        "side": file.side,
        "session": file.session,
        "rig": file.rig,
        "trial": file.trial,
        "when": None if file.when is None else file.when.isoformat(),
        "duration_s": file.duration,
        "rate_hz": file.rate,
        "channel": file.channel,
        "motion": file.motion or None,
        "speeds": file.speeds,
        "offset": file.offset,
        "sync": file.sync,
        "track": file.track,
        "normal": file.normal,
    }
