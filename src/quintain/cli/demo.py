"""``quintain demo``: an invented lab, the whole job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained
from quintain.cli.progress_bar import progress_bar
from quintain.version import __version__

__all__ = ["demo"]


def demo(
    folder: Annotated[Path, typer.Argument(help="Where to put the invented lab.")] = Path("quintain-demo"),
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")] = False,
) -> None:
    """
    Invent a lab, prove its rig, record a session, and do the whole job on its files.

    Everything in it is simulated; nobody was measured. Example: quintain demo quintain-demo
    """
    from quintain.domain import as_json
    from quintain.tasks.demo import SCENARIO, run_demo

    with explained():
        with progress_bar(shown=not json) as progress:
            made = run_demo(folder, progress=progress)
        if json:
            answer = as_json.analyses_as_json([made.analysis], version=__version__)
            files = [str(path) for path in (*made.files, *made.reports)]
            print(as_json.text(answer | {"command": "demo", "files": files}))
            return
        from rich.console import Console

        from quintain.cli.strike_table import print_strikes
        from quintain.report.rounding import shown

        console = Console(highlight=False)
        console.print(f"{SCENARIO}\n", markup=False)
        mode = made.taps.main_mode
        console.print(
            f"Taps: the rig rings at {shown(mode.natural_frequency).text}, "
            f"damping {shown(mode.damping_ratio).text}."
        )
        console.print(
            f"Drops of a known mass: {made.drops.verdict}; gain of the chain "
            f"{shown(made.drops.quantities['gain']).text}.\n"
        )
        print_strikes([made.analysis], console)
        covered, stated = made.covered
        console.print(
            "\nAgainst the simulated truth (strikes without an undisturbed zero left out): corrected peaks "
            f"are off by at most {made.worst_peak:.1%}, raw ones by up to {made.worst_raw:.0%}, impulses by "
            f"at most {made.worst_impulse:.1%}; {covered} of {stated} stated 95 % intervals hold the truth.\n"
        )
        console.print(
            "Care: bare or thin pads injure hands, falling masses injure feet. Local rules and licensed "
            "practice come before anything this program prints.\n"
        )
        for path in made.files:
            console.print(f"{path}", soft_wrap=True)
        for path in made.reports:
            console.print(f"report: {path}", soft_wrap=True)
