"""``quintain person``: people of a lab, by code."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.lab_option import LabFolder, Who, open_lab

if TYPE_CHECKING:
    from quintain.tasks.people import PersonRecord

__all__ = ["person"]

person = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="People by code; what identifies them lies apart, is theirs to have, and can be erased.",
)

Code = Annotated[str, typer.Argument(help="The person's code.", show_default=False)]
BodyMass = Annotated[float | None, typer.Option(help="Body mass, in kg.")]
Height = Annotated[float | None, typer.Option(help="Height, in m.")]
Side = Annotated[str | None, typer.Option(help="The stronger side: left or right.")]
Experience = Annotated[float | None, typer.Option(help="Years of training.")]
Note = Annotated[str | None, typer.Option(help="Anything else that does not identify.")]
Name = Annotated[str | None, typer.Option(help="Name; kept apart from all data.")]
Contact = Annotated[str | None, typer.Option(help="How to reach the person; kept apart.")]
Born = Annotated[str | None, typer.Option(help="Year, month or day of birth, e.g. 1990; kept apart.")]


@person.command()
def add(
    code: Code,
    body_mass: BodyMass = None,
    height: Height = None,
    side: Side = None,
    experience: Experience = None,
    note: Note = None,
    name: Name = None,
    contact: Contact = None,
    born: Born = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Add a person.

    Example: quintain person add P07 --body-mass 72.5 --height 1.78 --side right --lab our-lab
    """
    from quintain.tasks import people

    facts = _given(body_mass=body_mass, height=height, side=side, experience=experience, note=note)
    with open_lab(lab, who) as (opened, me):
        identity = _given(name=name, contact=contact, born=born)
        _print("person add", people.add_person(opened, code, identity=identity, who=me, **facts), json)


@person.command()
def edit(
    code: Code,
    new_code: Annotated[str | None, typer.Option(help="Another code for the same person.")] = None,
    body_mass: BodyMass = None,
    height: Height = None,
    side: Side = None,
    experience: Experience = None,
    note: Note = None,
    name: Name = None,
    contact: Contact = None,
    born: Born = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Change what is stated of a person; what is left out stays, an empty text takes an entry away.

    Example: quintain person edit P07 --body-mass 71 --lab our-lab
    """
    from quintain.errors import UsageError
    from quintain.tasks import people

    facts = _given(body_mass=body_mass, height=height, side=side, experience=experience, note=note)
    identity = _given(name=name, contact=contact, born=born)
    with open_lab(lab, who) as (opened, me):
        if not facts and not identity and new_code is None:
            raise UsageError("nothing is to change; name an entry, see quintain person edit --help")
        found = None
        if identity:
            found = people.identify_person(opened, code, who=me, **identity)
        if facts or new_code is not None:
            found = people.edit_person(opened, code, new_code=new_code, who=me, **facts)
        if found is not None:
            _print("person edit", found, json)


@person.command("list")
def list_(lab: LabFolder = Path(), json: AsJson = False) -> None:
    """List the people of a lab, by code. Example: quintain person list --lab our-lab."""
    from quintain.store.queries_lists import list_people

    with open_lab(lab) as (opened, _):
        found = list_people(opened)
        if json:
            print_answer("person list", found)
            return
        for row in found:
            told = [
                "" if row.body_mass is None else f"{row.body_mass:g} kg",
                "" if row.height is None else f"{row.height:g} m",
                row.side,
                "" if row.experience is None else f"{row.experience:g} years",
                f"{row.strikes.total} strikes in {row.n_sessions} sessions",
                "" if row.erased is None else f"erased {row.erased:%Y-%m-%d}",
            ]
            print(f"{row.code:<12} {', '.join(filter(None, told))}")


@person.command()
def show(
    code: Code,
    identity: Annotated[bool, typer.Option("--identity", help="Also show what identifies.")] = False,
    lab: LabFolder = Path(),
    json: AsJson = False,
) -> None:
    """Show what is stated of a person. Example: quintain person show P07 --lab our-lab."""
    from quintain.tasks.people import show_person

    with open_lab(lab) as (opened, _):
        _print("person show", show_person(opened, code, identity=identity), json)


@person.command()
def export(
    code: Code,
    folder: Annotated[Path, typer.Argument(help="New or empty folder to write to.", show_default=False)],
    recordings: Annotated[
        bool, typer.Option("--recordings", help="Also copy recordings that hold nobody else's strikes.")
    ] = False,
    lab: LabFolder = Path(),
    json: AsJson = False,
) -> None:
    """
    Write everything the lab holds on a person, for that person.

    Example: quintain person export P07 for-p07 --recordings --lab our-lab
    """
    from quintain.tasks.export_person import export_person

    with open_lab(lab) as (opened, _):
        done = export_person(opened, code, folder, recordings=recordings)
        if json:
            print_answer("person export", done)
            return
        print(f"{done.folder}: {done.n_strikes} strikes, {done.n_recordings} recordings")
        if done.shared:
            print(f"not copied, since others struck in them too: {', '.join(done.shared)}")


@person.command()
def erase(
    code: Code,
    data: Annotated[
        bool, typer.Option("--data", help="Also erase recordings, strikes and results of this person.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    Erase what identifies a person, and with --data everything measured; it cannot be brought back.

    Example: quintain person erase P07 --data --lab our-lab
    """
    from quintain.errors import UsageError
    from quintain.tasks.erase_person import erase_person
    from quintain.tasks.people import show_person

    with open_lab(lab, who) as (opened, me):
        show_person(opened, code)
        what = "what identifies and everything measured" if data else "what identifies"
        if not yes and not typer.confirm(f"Erase {what} of {code!r} for good?", err=True):
            raise UsageError("nothing was erased")
        done = erase_person(opened, code, data=data, who=me)
        if json:
            print_answer("person erase", done)
            return
        for word, lines in (("erased", done.removed or ("nothing: there was nothing left",)),
                            ("remains", done.remains)):  # fmt: skip
            for line in lines:
                print(f"{word}: {line}")


def _given(**entries: Any) -> dict[str, Any]:
    return {name: value for name, value in entries.items() if value is not None}


def _print(command: str, found: PersonRecord, json: bool) -> None:
    if json:
        print_answer(command, found)
        return
    facts = found.facts
    print(f"{found.code}" + (f", erased {found.erased:%Y-%m-%d}" if found.erased else ""))
    for label, value, unit in (
        ("body mass", facts.body_mass, "kg"), ("height", facts.height, "m"), ("side", facts.side or None, ""),
        ("experience", facts.experience, "years"), ("note", facts.note or None, ""),
    ):  # fmt: skip
        if value is not None:
            text = f"{value:g}" if isinstance(value, float) else value
            print(f"  {label:<11} {text} {unit}".rstrip())
    if found.identity is not None:
        for name in ("name", "contact", "born", "note"):
            if told := getattr(found.identity, name):
                print(f"  {name:<11} {told}")
    elif found.identified:
        print("  what identifies is kept apart; show it with --identity")
