"""``quintain report``: what a lab holds as pages to hand on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained
from quintain.cli.lab_option import LabFolder

__all__ = ["report"]

report = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Reports of a lab as HTML and PDF: sessions, people, recordings, rigs; for studies: quintain study.",
)

Folder = Annotated[Path, typer.Option("--to", help="Folder in which to write the report.")]


@report.command()
def session(
    code: Annotated[str, typer.Argument(help="Code of the session.", show_default=False)],
    person: Annotated[str, typer.Option(help="Only this person, in large figures.")] = "",
    lab: LabFolder = Path(),
    to: Folder = Path(),
) -> None:
    """
    The coach's page of a session: everybody against their own earlier strikes.

    Example: quintain report session S-04 --person P-03 --lab our-lab --to reports
    """
    from quintain.store.lab import Lab
    from quintain.tasks.report import write_session_reports
    from quintain.tasks.session_summary import summarise_session

    with explained(), Lab.open(lab) as opened:
        summary = summarise_session(opened, code, person=person)
        _say(write_session_reports(summary, to, invented=opened.facts.invented))


@report.command()
def person(
    code: Annotated[str, typer.Argument(help="Code of the person.", show_default=False)],
    lab: LabFolder = Path(),
    to: Folder = Path(),
) -> None:
    """
    A person's course over sessions: own strikes, changes beyond error, left against right; codes only.

    Example: quintain report person P-03 --lab our-lab --to reports
    """
    from quintain.store.lab import Lab
    from quintain.tasks.person_summary import summarise_person
    from quintain.tasks.report import write_person_reports

    with explained(), Lab.open(lab) as opened:
        _say(write_person_reports(summarise_person(opened, code), to, invented=opened.facts.invented))


@report.command()
def recording(
    name: Annotated[str, typer.Argument(help="The recording's name, or how its SHA-256 begins.")],
    lab: LabFolder = Path(),
    to: Folder = Path(),
) -> None:
    """Every strike of a recording by its analysis in force. Example: quintain report recording P-03.csv."""
    from quintain.store.lab import Lab
    from quintain.tasks.current_analysis import current_analysis
    from quintain.tasks.report import write_reports

    with explained(), Lab.open(lab) as opened:
        _say(write_reports(current_analysis(opened, name), to, invented=opened.facts.invented))


@report.command()
def rig(
    name: Annotated[str, typer.Argument(help="Name of the rig.", show_default=False)],
    lab: LabFolder = Path(),
    to: Folder = Path(),
) -> None:
    """How a rig stands by its evidence. Example: quintain report rig "wall pad" --lab our-lab."""
    from quintain.store.lab import Lab
    from quintain.tasks.lab_views import rig_state_in_lab
    from quintain.tasks.report import write_rig_reports

    with explained(), Lab.open(lab) as opened:
        state = rig_state_in_lab(opened, name)
        stem = "".join(c if c.isalnum() else "-" for c in name).strip("-") or "rig"
        _say(write_rig_reports(state, to, name=stem, invented=opened.facts.invented))


def _say(written: list[Path]) -> None:
    for path in written:
        print(f"report: {path}")
