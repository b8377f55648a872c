"""``quintain session``: sessions, their plan, their running sheet, and tags by the plan."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.lab_option import LabFolder, Who, open_lab, parse_time

__all__ = ["session"]

session = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Sessions: people strike a rig by a plan.",
)

Code = Annotated[str, typer.Argument(help="Code of the session.", show_default=False)]


@session.command()
def new(
    code: Code,
    title: Annotated[str, typer.Option(help="What it is about.")] = "",
    when: Annotated[str, typer.Option(help="Day or time, e.g. 2026-11-25T14:30.")] = "",
    rig: Annotated[str, typer.Option(help="Name of the rig in the lab.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Make a session.

    Example: quintain session new monday --when 2026-11-30T18:00 --rig "wall pad" --lab our-lab
    """
    from quintain.tasks.sessions import add_session

    with open_lab(lab, who) as (opened, me):
        made = add_session(
            opened, code, title=title, when=parse_time(when, "--when"), rig=rig, note=note, who=me
        )
        if json:
            print_answer("session new", made)
        else:
            print(f"made the session {made.code!r}; plan it with: quintain session plan {made.code} ...")


@session.command()
def plan(
    code: Code,
    file: Annotated[
        Path | None, typer.Argument(help="Protocol (TOML); or state it by options.", show_default=False)
    ] = None,
    person: Annotated[
        list[str] | None, typer.Option(help="Code of a person; may be repeated.", show_default=False)
    ] = None,
    strike: Annotated[
        list[str] | None,
        typer.Option(help="Type and side, e.g. 'jab:left'; may be repeated.", show_default=False),
    ] = None,
    repetitions: Annotated[int, typer.Option(help="Strikes of each kind a person.")] = 5,
    arrangement: Annotated[
        str, typer.Option(help="blocks: of one kind each; rounds: every kind once, then again.")
    ] = "blocks",
    order: Annotated[
        str, typer.Option(help="Of the kinds: balanced over people, random, or as written.")
    ] = "balanced",
    turns: Annotated[str, typer.Option(help="person: one after the other; block: in turn.")] = "person",
    rest: Annotated[float, typer.Option(help="Rest before each strike, in s.")] = 10.0,
    rest_between_blocks: Annotated[float, typer.Option(help="Rest before each block, in s.")] = 60.0,
    warm_ups: Annotated[int, typer.Option(help="Of each kind before a person's first block.")] = 0,
    seed: Annotated[int, typer.Option(help="Of the random order; the same seed, the same order.")] = 1,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Lay down who strikes what, how often and in which order.

    Example: quintain session plan monday --person P01 --person P02 --strike jab:left --strike cross:right
    --repetitions 10 --seed 7 --lab our-lab
    """
    from quintain.domain.protocol import Condition, Protocol
    from quintain.errors import UsageError
    from quintain.tasks.sessions import plan_session

    with open_lab(lab, who) as (opened, me):
        if file is not None:
            if person or strike:
                raise UsageError("state the plan by a file or by options, not both")
            try:
                text = file.read_text(encoding="utf-8")
            except (OSError, UnicodeDecodeError) as problem:
                reason = getattr(problem, "strerror", None) or "it is not UTF-8 text"
                raise UsageError(f"{file}: cannot read the protocol: {reason}") from None
            protocol = Protocol.from_toml(text, origin=str(file))
        else:
            kinds = [one.partition(":") for one in strike or []]
            try:
                conditions = tuple(Condition(type.strip(), side.strip()) for type, _, side in kinds)
                protocol = Protocol(
                    tuple(person or ()), conditions, repetitions, arrangement, order, turns, rest,
                    rest_between_blocks, warm_ups, seed,
                )  # fmt: skip
            except ValueError as problem:
                raise UsageError(str(problem)) from None
        planned = plan_session(opened, code, protocol, who=me)
        if json:
            print_answer(
                "session plan", {"protocol": protocol, "balance": protocol.balance, "planned": planned}
            )
        else:
            print(f"{code}: {len(planned)} strikes planned; {protocol.balance}")
            print(f"print the running sheet with: quintain session sheet {code}")


@session.command("list")
def list_(lab: LabFolder = Path(), json: AsJson = False) -> None:
    """List the sessions of a lab, the newest first. Example: quintain session list --lab our-lab."""
    from quintain.store.queries_lists import list_sessions

    with open_lab(lab) as (opened, _):
        found = list_sessions(opened)
        if json:
            print_answer("session list", found)
            return
        for row in found:
            when = f"{row.when:%Y-%m-%d %H:%M}" if row.when else "no time"
            print(
                f"{row.code:<16} {when}, {row.n_people} people, {row.strikes.total} strikes "
                f"({row.strikes.waiting} waiting), {row.n_planned} planned"
                + (f", {row.title}" if row.title else "")
            )


@session.command()
def show(code: Code, lab: LabFolder = Path(), json: AsJson = False) -> None:
    """Show a session and its plan. Example: quintain session show monday --lab our-lab."""
    from quintain.tasks.sessions import planned_strikes, show_session

    with open_lab(lab) as (opened, _):
        found, planned = show_session(opened, code), planned_strikes(opened, code)
        if json:
            print_answer("session show", {"session": found, "planned": planned})
            return
        print(f"{found.code}: {found.title}" if found.title else found.code)
        print(f"  when  {found.when:%Y-%m-%d %H:%M} UTC" if found.when else "  when  not stated")
        print(f"  rig   {found.rig or 'not stated'}")
        if found.note:
            print(f"  note  {found.note}")
        if found.protocol is None:
            print("  no plan")
        else:
            print(f"  plan  {len(planned)} strikes; {found.protocol.balance}")


@session.command()
def sheet(code: Code, lab: LabFolder = Path(), json: AsJson = False) -> None:
    """Print the running sheet of a session. Example: quintain session sheet monday --lab our-lab."""
    from quintain.tasks.sessions import running_sheet

    with open_lab(lab) as (opened, _):
        text = running_sheet(opened, code)
        if json:
            print_answer("session sheet", {"text": text})
        else:
            print(text, end="")


@session.command()
def tag(
    code: Code,
    missing: Annotated[int, typer.Option(help="At most so many planned strikes were not made.")] = 0,
    extra: Annotated[int, typer.Option(help="At most so many strikes are none of the plan.")] = 0,
    recording_is: Annotated[
        str, typer.Option(help="'block' or 'person': every recording holds one block, or one person.")
    ] = "",
    gap: Annotated[
        float | None, typer.Option(help="Blocks are apart by this time or more, strikes are not; in s.")
    ] = None,
    by_name: Annotated[
        bool, typer.Option("--by-name", help="Recordings without a time come in order of their names.")
    ] = False,
    no_warm_ups: Annotated[
        bool, typer.Option("--no-warm-ups", help="Warm-ups of the plan were not recorded.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be tagged, write nothing.")
    ] = False,
    strikes: Annotated[
        str, typer.Option(help="Tag by hand: places in the session, e.g. 31-41.", show_default=False)
    ] = "",
    person: Annotated[str | None, typer.Option(help="By hand: code of the person.")] = None,
    type: Annotated[str | None, typer.Option(help="By hand: type of strike.")] = None,
    side: Annotated[str | None, typer.Option(help="By hand: left or right.")] = None,
    series: Annotated[int | None, typer.Option(help="By hand: number of the series.")] = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Tag strikes from the plan where it is sure which is which, or a range of them by hand.

    What cannot be told is said and left as it is; then the exit code is 1.

    Example: quintain session tag monday --missing 1 --recording-is block --lab our-lab

    Example: quintain session tag monday --strikes 31-41 --person P01 --type jab --side left --lab our-lab
    """
    from quintain.errors import UsageError
    from quintain.tasks.review import retag_range
    from quintain.tasks.tag_by_plan import tag_by_plan

    unsure = False
    with open_lab(lab, who) as (opened, me):
        if strikes:
            first, last = _range(strikes)
            done = retag_range(
                opened, code, first, last, person=person, type=type, side=side, series=series, who=me
            )
            if json:
                print_answer("session tag", {"tagged": [one.id for one in done], "extra": [], "unsure": []})
            else:
                print(f"tagged {len(done)} strikes")
            return
        if any(value is not None for value in (person, type, side, series)):
            raise UsageError("tags by hand need the strikes they are for: add --strikes FIRST-LAST")
        report = tag_by_plan(
            opened, code, missing=missing, extra=extra, recording_is=recording_is, gap=gap, by_name=by_name,
            warm_ups_recorded=not no_warm_ups, dry_run=dry_run, who=me,
        )  # fmt: skip
        unsure = bool(report.unsure)
        if json:
            print_answer("session tag", report)
        else:
            print(
                f"{'would tag' if dry_run else 'tagged'} {len(report.tagged)} of {report.n_strikes} strikes"
            )
            for run in report.unsure:
                print(f"◇ strikes {run.first} to {run.last} cannot be told apart: {'; '.join(run.may_be)}")
            if report.extra:
                print(f"none of the plan: strikes {', '.join(map(str, report.extra))}")
    if unsure:
        raise typer.Exit(1)


def _range(text: str) -> tuple[int, int]:
    from quintain.errors import UsageError

    first, _, last = text.partition("-")
    try:
        return int(first), int(last or first)
    except ValueError:
        raise UsageError(f"--strikes: expected places as 31-41, got {text!r}") from None
