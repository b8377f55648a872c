"""``quintain review``: look at strikes that wait, accept or reject them, and take it back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.lab_option import LabFolder, Who, open_lab

if TYPE_CHECKING:
    from quintain.tasks.review import Reviewed

__all__ = ["review"]

review = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Review: accept or reject strikes; every act is in the audit and can be taken back.",
)

Strike = Annotated[int, typer.Argument(help="Number of the strike in the lab.", show_default=False)]
Changes = Annotated[
    int | None, typer.Option(help="Its counter of changes as you saw it; refused if it is another one.")
]
InSession = Annotated[str | None, typer.Option(help="Only strikes of this session.")]


@review.command("list")
def list_(
    session: InSession = None,
    limit: Annotated[int, typer.Option(help="How many at most.")] = 50,
    lab: LabFolder = Path(),
    json: AsJson = False,
) -> None:
    """List the strikes that wait for review. Example: quintain review list --session monday --lab our-lab."""
    from quintain.store.queries import strike_page
    from quintain.store.queries_filter import StrikeFilter

    with open_lab(lab) as (opened, _):
        chosen = StrikeFilter(states=("waiting",), sessions=(session,) if session else ())
        page = strike_page(opened, chosen, limit=limit)
        if json:
            print_answer("review list", {"total": page.total, "strikes": page.rows})
            return
        from quintain.domain.measured import Measured
        from quintain.report.rounding import shown

        for row in page.rows:
            peak = row.quantities["peak_force"]
            force = (
                "no peak stated"
                if peak.value is None
                else shown(Measured("peak_force", peak.value, peak.u)).text
            )
            who = " ".join(filter(None, (row.person, row.type, row.side))) or "untagged"
            doubts = f", ◇ {', '.join(row.codes)}" if row.codes else ""
            print(f"{row.id:>7} {row.session} {row.position}: {who}, {force}{doubts} (changes {row.changes})")
        print(f"{page.total} strikes wait")


@review.command()
def accept(
    strike: Annotated[
        int | None, typer.Argument(help="Number of the strike in the lab.", show_default=False)
    ] = None,
    unflagged: Annotated[
        bool, typer.Option("--unflagged", help="All that wait and have no flag, in one act.")
    ] = False,
    session: InSession = None,
    changes: Changes = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Accept a strike, or all without a flag.

    Example: quintain review accept 17 --lab our-lab

    Example: quintain review accept --unflagged --session monday --lab our-lab
    """
    from quintain.errors import UsageError
    from quintain.tasks import review as task

    with open_lab(lab, who) as (opened, me):
        if unflagged == (strike is not None):
            raise UsageError("name the strike to accept, or --unflagged for all without a flag")
        if strike is not None:
            _print("review accept", (task.accept(opened, strike, changes=changes, who=me),), json)
            return
        done = task.accept_unflagged(opened, session, who=me)
        if json:
            print_answer("review accept", {"accepted": done})
        else:
            print(f"accepted {len(done)} strikes")


@review.command()
def reject(
    strike: Strike,
    reason: Annotated[str, typer.Option(help="Why.", show_default=False)],
    changes: Changes = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """Reject a strike; it stays in the lab. Example: quintain review reject 17 --reason "slipped off"."""
    from quintain.tasks import review as task

    with open_lab(lab, who) as (opened, me):
        _print("review reject", (task.reject(opened, strike, reason, changes=changes, who=me),), json)


@review.command()
def retag(
    strike: Strike,
    person: Annotated[str | None, typer.Option(help="Code of the person; '' if not known.")] = None,
    type: Annotated[str | None, typer.Option(help="Type of strike; '' if not known.")] = None,
    side: Annotated[str | None, typer.Option(help="left or right; '' if not known.")] = None,
    series: Annotated[int | None, typer.Option(help="Number of the series; 0 for none.")] = None,
    changes: Changes = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """Say who struck, what and with which side. Example: quintain review retag 17 --side left."""
    from quintain.tasks import review as task

    with open_lab(lab, who) as (opened, me):
        done = task.retag(
            opened, strike, person=person, type=type, side=side, series=series, changes=changes, who=me
        )
        _print("review retag", (done,), json)


@review.command()
def note(
    strike: Strike,
    text: Annotated[str, typer.Argument(help="The note; '' takes it away.", show_default=False)],
    changes: Changes = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """Write the note of a strike. Example: quintain review note 17 "glove was loose" --lab our-lab."""
    from quintain.tasks import review as task

    with open_lab(lab, who) as (opened, me):
        _print("review note", (task.note(opened, strike, text, changes=changes, who=me),), json)


@review.command()
def undo(session: InSession = None, lab: LabFolder = Path(), who: Who = "", json: AsJson = False) -> None:
    """Take back your own last act of review. Example: quintain review undo --lab our-lab."""
    from quintain.tasks import review as task

    with open_lab(lab, who) as (opened, me):
        done = task.undo(opened, session=session, who=me)
        if not json:
            print(f"took back '{done.action}' on {len(done.strikes)} strikes")
        _print("review undo", done.strikes, json)


def _print(command: str, strikes: tuple[Reviewed, ...], json: bool) -> None:
    if json:
        print_answer(command, {"strikes": strikes})
        return
    for one in strikes[:20]:
        who = " ".join(filter(None, (one.person, one.type, one.side))) or "untagged"
        why = f" ({one.reason})" if one.reason else ""
        told = f", note: {one.note}" if one.note else ""
        print(f"strike {one.id}: {who}, {one.state}{why}{told}")
    if len(strikes) > 20:
        print(f"and {len(strikes) - 20} more")
