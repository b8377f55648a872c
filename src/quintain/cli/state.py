"""``quintain state``: facts of a recording that is in a lab already."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.failure import say
from quintain.cli.lab_option import LabFolder, Who, open_lab
from quintain.cli.motion_option import ClockOffset, Normal, Sync, Track
from quintain.cli.reading import reading

if TYPE_CHECKING:
    from quintain.tasks.state_recording import Stated

__all__ = ["state"]


def state(
    recording: Annotated[
        str,
        typer.Argument(help="Its name, or six digits or more of its SHA-256.", show_default=False),
    ],
    motion: Annotated[
        str | None,
        typer.Option(help="Motion of the limb: a file, or a recording of the lab by name or SHA-256."),
    ] = None,
    motion_setting: Annotated[
        list[str] | None,
        typer.Option(help="What the motion's file does not say, as name=value.", show_default=False),
    ] = None,
    speed: Annotated[
        str | None,
        typer.Option(
            help="Approach speed in m/s with its 95 % uncertainty: '8.2+-0.2', one for each strike by ';', "
            "or a table of speeds or of two light gates, as for quintain analyse."
        ),
    ] = None,
    clock_offset: ClockOffset = None,
    sync: Sync = None,
    track: Track = None,
    normal: Normal = None,
    channel: Annotated[str | None, typer.Option(help="Channel of the force, if there are several.")] = None,
    rig: Annotated[str | None, typer.Option(help="Name of the rig; '' for the session's.")] = None,
    session: Annotated[str | None, typer.Option(help="Code of the session.")] = None,
    person: Annotated[str | None, typer.Option(help="Code of the person.")] = None,
    type: Annotated[str | None, typer.Option(help="Type of strike.")] = None,
    side: Annotated[str | None, typer.Option(help="left or right.")] = None,
    changes: Annotated[
        int | None, typer.Option(help="Its counter of changes as you saw it; refused if it is another one.")
    ] = None,
    lab: LabFolder = Path(),
    who: Who = "",
    json: AsJson = False,
) -> None:
    """
    State what was learned of a recording after its import; '' takes back what was stated.

    What was analysed keeps its result and counts as out of date: quintain analyse --lab makes it anew, and
    shows what changed and why. Strikes follow person, type, side and session, unless they were told
    otherwise by review or plan.

    Example: quintain state force.csv --motion wrist.csv --clock-offset 28.9+-0.05 --lab our-lab

    Example: quintain state force.csv --speed gates.csv --lab our-lab

    Example: quintain state force.csv --motion '' --lab our-lab
    """
    from quintain.errors import UsageError
    from quintain.tasks.add_motion import text_of_speeds
    from quintain.tasks.bring_motion import bring_motion
    from quintain.tasks.lab_views import recording_view
    from quintain.tasks.state_recording import state_recording

    with open_lab(lab, who) as (opened, me):
        given = {
            "speeds": None if speed is None else text_of_speeds(speed), "offset": clock_offset, "sync": sync,
            "track": track, "normal": normal, "channel": channel, "rig": rig, "session": session,
            "person": person, "type": type, "side": side,
        }  # fmt: skip
        facts = {name: text for name, text in given.items() if text is not None}
        if not facts and motion is None:
            raise UsageError("nothing is stated; see quintain state --help for what may be")
        if motion and Path(motion).is_file():
            told = reading(motion_setting)
            done = bring_motion(opened, recording, Path(motion), facts, reading=told, changes=changes, who=me)
        else:
            facts |= {} if motion is None else {"motion": motion}
            done = state_recording(opened, recording, facts, changes=changes, who=me)
        out_of_date = recording_view(opened, done.sha256, limit=1).out_of_date
        if json:
            print_answer("state", {"stated": done, "changed": done.changed, "out_of_date": out_of_date})
            return
        _print(done)
        for words in out_of_date:
            say(f"out of date: {words}; analyse it anew with: quintain analyse --lab {lab}")


def _print(done: Stated) -> None:
    from quintain.tasks.speed_table import speeds_in_words

    if not done.changed:
        print(f"{done.name}: nothing is new, all of it was stated before")
        return
    print(f"{done.name} (changes {done.changes})")
    for name in done.changed:
        was, now = (facts[name] for facts in (done.before, done.facts))
        if name == "speeds":
            was, now = speeds_in_words(was), speeds_in_words(now)
        elif name == "motion":
            was, now = was[:12], now[:12]
        print(f"  {name}: {was or 'not stated'} → {now or 'not stated'}")
    if done.n_strikes:
        print(f"  {done.n_strikes} strikes follow")
