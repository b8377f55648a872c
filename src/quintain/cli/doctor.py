"""``quintain doctor``: is a lab whole."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.failure import explained, say
from quintain.cli.progress_bar import progress_bar

if TYPE_CHECKING:
    from quintain.tasks.doctor import DoctorReport

__all__ = ["doctor"]


def doctor(
    lab: Annotated[Path, typer.Argument(help="Folder of the lab.", show_default=False)],
    repair: Annotated[
        bool, typer.Option("--repair", help="Mend what can be; no original is ever deleted.")
    ] = False,
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Threads that read; one for each processor if left out.")
    ] = None,
    json: AsJson = False,
) -> None:
    """
    Check every byte and reference of a lab, and say what is not as it should be.

    The exit code is 0 if the lab is sound, 1 if a fault is left, 3 if there is no lab.

    Example: quintain doctor our-lab --repair
    """
    from quintain.tasks import doctor as task

    with explained():
        with progress_bar(shown=not json) as progress:
            report = task.doctor(lab, repair=repair, jobs=jobs, progress=progress)
        if json:
            print_answer("doctor", _as_json(report), method={"repair": repair})
        else:
            _print(report)
        if not report.sound:
            raise typer.Exit(1)


def _as_json(report: DoctorReport) -> dict[str, Any]:
    return {
        "folder": str(report.folder),
        "name": report.name,
        "sound": report.sound,
        "recordings": report.n_recordings,
        "gone": report.n_gone,
        "originals": report.n_originals,
        "bytes": report.n_bytes,
        "findings": [
            {
                "code": finding.code,
                "subject": finding.subject,
                "message": finding.message,
                "fault": finding.fault,
                "repaired": finding.repaired,
            }
            for finding in report.findings
        ],
    }


def _print(report: DoctorReport) -> None:
    for finding in report.findings:
        word = "repaired" if finding.repaired else "FAULT" if finding.fault else "note"
        print(f"{word:<8} {finding.subject[:20]}: {finding.message}")
    gone = f" ({report.n_gone} without their bytes)" if report.n_gone else ""
    print(
        f"{report.folder}: {report.n_recordings} recordings{gone}, {report.n_originals} originals of "
        f"{report.n_bytes / 1e6:.6g} MB checked"
    )
    if report.sound:
        print("The lab is sound.")
    else:
        say("The lab is not sound; copy the whole folder before anything else is done to it.")
