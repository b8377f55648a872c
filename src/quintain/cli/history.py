"""``quintain history``: a strike of the lab back to its bytes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.answer import AsJson, print_answer
from quintain.cli.failure import explained
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.tasks.replay import Replay, ResultHistory, StrikeHistory

__all__ = ["history"]


def history(
    lab: Annotated[Path, typer.Argument(help="Folder of the lab.", show_default=False)],
    strike: Annotated[int, typer.Argument(help="Number of the strike in the lab.", show_default=False)],
    replay: Annotated[
        bool,
        typer.Option("--replay", help="Make each result again from the original bytes and compare the bits."),
    ] = False,
    json: AsJson = False,
) -> None:
    """
    Follow a strike's numbers back to the bytes, with every method, rig, version and person on the way.

    With --replay the exit code is 1 if a result of this version cannot be made again bit for bit.

    Example: quintain history our-lab 17 --replay
    """
    from quintain.store.lab import Lab
    from quintain.tasks import replay as task

    differs = False
    with explained():
        with Lab.open(lab) as opened:
            found = task.history_of(opened, strike)
            replays = (
                {r.analysis_id: task.replay(opened, r.analysis_id) for r in found.results} if replay else {}
            )
        differs = any(
            not replays[result.analysis_id].same
            for result in found.results
            if replays and result.quintain == __version__
        )
        if json:
            print_answer("history", _as_json(found, replays), inputs=[(found.name, found.recording_sha256)])
        else:
            _print(found, replays)
    if differs:
        raise typer.Exit(1)


def _print(found: StrikeHistory, replays: dict[int, Replay]) -> None:
    print(f"Strike {found.strike_id}, {found.start:.4f} s after the start of {found.name}; {found.state}")
    print(f"  bytes     {found.recording_sha256} ({found.n_bytes} bytes)")
    print(f"  kept at   {found.kept_at or 'missing'}")
    for origin in found.origins:
        print(
            f"  came from {origin.path}, brought by {origin.who or 'somebody'} {origin.at:%Y-%m-%d %H:%M} UTC"
        )
    for result in found.results:
        _print_result(result, replays.get(result.analysis_id))
    for deed in found.deeds:
        change = " ".join(f"{key}: {value}" for key, value in (deed.after or {}).items())
        print(f"{deed.at:%Y-%m-%d %H:%M} {deed.who}: {deed.action} {change}".rstrip())


def _print_result(result: ResultHistory, replay: Replay | None) -> None:
    from quintain.domain.measured import Measured
    from quintain.report.rounding import shown
    from quintain.tasks.speed_table import speeds_in_words

    state = "in force" if result.in_force else "earlier"
    print(
        f"Result {result.result_id} ({state}), {result.at:%Y-%m-%d %H:%M} UTC by {result.who or 'somebody'}"
    )
    print(f"  method    {result.method_name!r}, version {result.method_version}, {result.method_sha256}")
    rig = f"{result.rig_name!r}, version {result.rig_version}" if result.rig_version else "none stated"
    print(f"  rig       {rig}")
    if result.motion_sha256:
        print(f"  motion    {result.motion_sha256}")
    for name, value in result.told.items():
        if value:
            words = speeds_in_words(value) if name == "speeds" else value
            print(f"  stated    {name.replace('_', ' ')}: {words}")
    libraries = ", ".join(f"{k} {v}" for k, v in result.libraries.items() if k != "quintain")
    print(f"  software  quintain {result.quintain}" + (f" with {libraries}" if libraries else ""))
    print(f"  output    {result.output}")
    if replay is not None:
        words = "the same, bit for bit" if replay.same else f"not the same: {'; '.join(replay.changed)}"
        print(f"  replayed  {words}")
    for name, (value, u) in result.quantities.items():
        measured = Measured(name, value, u)
        print(f"  {measured.entry.label}: {shown(measured).text}")
    if result.codes:
        print(f"  doubts    {', '.join(result.codes)}")


def _as_json(found: StrikeHistory, replays: dict[int, Replay]) -> dict[str, Any]:
    from quintain.quantities import GLOSSARY

    def result_as_json(result: ResultHistory) -> dict[str, Any]:
        replay = replays.get(result.analysis_id)
        return {
            "result": result.result_id,
            "analysis": result.analysis_id,
            "in_force": result.in_force,
            "at": result.at.isoformat(),
            "who": result.who,
            "method": {**result.settings, "sha256": result.method_sha256},
            "rig": {"name": result.rig_name, "version": result.rig_version} if result.rig_version else None,
            "motion_sha256": result.motion_sha256 or None,
            "told": result.told,
            "quintain": result.quintain,
            "libraries": result.libraries,
            "output": result.output,
            "quantities": {
                name: {"value": value, "u": u, "unit": GLOSSARY[name].unit}
                for name, (value, u) in result.quantities.items()
            },
            "codes": list(result.codes),
            "steps": list(result.steps),
            "replay": None
            if replay is None
            else {"same": replay.same, "output": replay.output_now, "changed": list(replay.changed)},
        }

    return {
        "strike": found.strike_id,
        "start_s": found.start,
        "state": found.state,
        "recording": {
            "sha256": found.recording_sha256,
            "name": found.name,
            "bytes": found.n_bytes,
            "kept_at": found.kept_at or None,
            "origins": [{"path": o.path, "who": o.who, "at": o.at.isoformat()} for o in found.origins],
        },
        "results": [result_as_json(result) for result in found.results],
        "audit": [
            {"at": d.at.isoformat(), "who": d.who, "action": d.action, "before": d.before, "after": d.after}
            for d in found.deeds
        ],
    }
