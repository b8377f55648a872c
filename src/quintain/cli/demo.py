"""``quintain demo``: an invented lab, the whole job."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.answer import TableAsJson
from quintain.cli.failure import explained
from quintain.cli.progress_bar import progress_bar
from quintain.version import __version__

__all__ = ["demo"]


def demo(
    folder: Annotated[Path, typer.Argument(help="Where to put the invented lab: a new folder.")] = Path(
        "quintain-demo"
    ),
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Processes that simulate and analyse; one a core if left out.")
    ] = None,
    json: TableAsJson = False,
) -> None:
    """
    Invent a lab with two rigs and eight people, and do the whole job in it.

    Everything in it is simulated; nobody was measured. Example: quintain demo quintain-demo
    """
    from quintain.domain import as_json
    from quintain.tasks.demo import SCENARIO, run_demo
    from quintain.tasks.workers import worker_pool

    with explained():
        with progress_bar(shown=not json) as progress, worker_pool(jobs or os.cpu_count() or 1) as executor:
            made = run_demo(folder, executor=executor, progress=progress)
        if json:
            answer = as_json.analyses_as_json([made.first], version=__version__)
            files = [str(path) for path in (made.lab, made.files, *made.reports)]
            print(as_json.text(answer | {"command": "demo", "files": files}))
            return
        from rich.console import Console

        from quintain.cli.strike_table import print_strikes
        from quintain.report.rig_content import rig_verdict
        from quintain.report.study_content import judge_study

        console = Console(highlight=False)
        console.print(f"{SCENARIO}\n", markup=False)
        console.print("The first session, in which everything goes wrong that can:")
        print_strikes([made.first], console)
        against = made.against
        covered, stated = against.covered
        console.print(
            f"\nAll {against.n_strikes} strikes against the simulated truth (those without an undisturbed "
            f"zero left out): corrected peaks are off by at most {against.worst_peak:.1%}, raw ones by up to "
            f"{against.worst_raw:.0%}, impulses by at most {against.worst_impulse:.1%}, approach speeds by "
            f"at most {against.worst_speed:.1%}, effective masses by at most {against.worst_mass:.1%}; "
            f"{covered} of {stated} stated 95 % intervals hold the truth.\n"
        )
        for state in made.rigs:
            reasons = f" {'; '.join(state.reasons)} ({state.rig.note})." if state.reasons else ""
            console.print(f"Rig {state.rig.name}: {rig_verdict(state).sentence}{reasons}", markup=False)
        print()
        for study in made.studies:
            console.print(f"Study {study.plan.code}: {judge_study(study).sentence}", markup=False)
        console.print(
            "\nCare: bare or thin pads injure hands, falling masses injure feet. Local rules and licensed "
            "practice come before anything this program prints.\n"
        )
        console.print(f"recordings: {made.files}", soft_wrap=True)
        for path in made.reports:
            console.print(f"report: {path}", soft_wrap=True)
        console.print(f"\nLook at the lab in your browser with: quintain serve {made.lab}", soft_wrap=True)
