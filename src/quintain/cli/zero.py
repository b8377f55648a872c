"""``quintain zero``: what an untouched rig reads."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import TableAsJson
from quintain.cli.failure import explained, say
from quintain.cli.reading import Columns, Rate, Setting, reading
from quintain.cli.rig_option import LabOfRig, TestWhen, rig_at, time_told
from quintain.errors import UsageError
from quintain.version import __version__

__all__ = ["zero"]


def zero(
    file: Annotated[Path, typer.Argument(help="Recording of an untouched rig.", show_default=False)],
    rig: Annotated[Path | None, typer.Option(help="Rig file (rig.toml): calibration and log.")] = None,
    write: Annotated[bool, typer.Option("--write", help="Write the check into the rig's log.")] = False,
    lab: LabOfRig = None,
    when: TestWhen = "",
    channel: Annotated[str | None, typer.Option(help="Channel to look at, if there are several.")] = None,
    columns: Columns = None,
    rate: Rate = None,
    setting: Setting = None,
    json: TableAsJson = False,
) -> None:
    """
    Measure zero, drift and noise of a rig that nobody touches.

    Example: quintain zero quiet.csv --rig rig.toml --write
    """
    from quintain.domain import as_json
    from quintain.domain.rig import Rig
    from quintain.quantities import GLOSSARY
    from quintain.report.rounding import shown
    from quintain.tasks.zero import check_zero, record_zero

    with explained():
        if write and rig is None:
            raise UsageError("--write needs the rig file whose log to write into: add --rig rig.toml")
        at_time = time_told(when, write)
        told = reading(setting, columns=columns, rate=rate)
        with rig_at(rig, lab, "zero", [file], reading=told, channel=channel) as at:
            target = Rig.load(at.path) if at else None
            check = check_zero(file, rig=target, channel=channel, **told)
            answer = as_json.answer(
                "zero", version=__version__, inputs=[(check.path, check.sha256)], method={},
                results={name: as_json.measured_as_json(m) for name, m in check.quantities.items()},
                flags=check.flags,
            )  # fmt: skip
            if write and at is not None:
                record_zero(check, at.path, when=at_time)
                at.answer = answer
        if json:
            print(as_json.text(answer))
        else:
            print(f"{check.duration:.1f} s of rest on {check.channel!r}")
            for name, measured in check.quantities.items():
                print(f"{GLOSSARY[name].label}: {shown(measured).text}")
            for doubt in check.flags:
                print(f"◇ {doubt.code}: {doubt.message}")
        if write:
            say(f"written into the log of {rig}")
