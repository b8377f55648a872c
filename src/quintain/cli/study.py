"""``quintain study``: a plan fixed beforehand, and what the strikes of a lab answer to it."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.failure import explained
from quintain.cli.lab_option import LabFolder, Who
from quintain.cli.progress_bar import progress_bar
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.study.answers import StudyResult

__all__ = ["study"]

study = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Studies: a plan fixed before the numbers are looked at, its answers, its report.",
)


@study.command()
def plan(
    code: Annotated[str, typer.Argument(help="What the study is to be called.", show_default=False)],
) -> None:
    """
    Print a plan to begin from; save it, change it, then add it to the lab.

    Example: quintain study plan days > days.toml
    """
    from quintain.tasks.study import example_plan

    print(example_plan(code), end="")


@study.command()
def add(
    file: Annotated[Path, typer.Argument(help="The plan (study.toml).", show_default=False)],
    lab: LabFolder = Path(),
    who: Who = "",
) -> None:
    """
    Keep a plan in the lab; from then on it cannot be changed.

    Example: quintain study add days.toml --lab our-lab
    """
    from quintain.errors import StudyPlanError
    from quintain.store.lab import Lab
    from quintain.tasks.study import add_study
    from quintain.tasks.user_name import user_name

    with explained():
        try:
            text = file.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as problem:
            reason = getattr(problem, "strerror", None) or "it is not UTF-8 text"
            raise StudyPlanError(f"{file}: cannot read the study file: {reason}") from None
        with Lab.open(lab) as opened:
            kept = add_study(opened, text, who=who or user_name(), origin=str(file))
        print(f"the lab keeps the plan of study {kept.code!r}, {kept.sha256[:12]}; answer it with:")
        print(f"quintain study run {kept.code} --lab {lab}")


@study.command("list")
def list_(lab: LabFolder = Path()) -> None:
    """List the studies of the lab. Example: quintain study list --lab our-lab."""
    from quintain.store.lab import Lab
    from quintain.store.queries_lists import list_studies

    with explained(), Lab.open(lab) as opened:
        found = list_studies(opened)
        for row in found:
            print(f"{row.code}\t{row.title}\tadded {row.added:%Y-%m-%d}")
        if not found:
            print("no study yet; begin with: quintain study plan CODE > CODE.toml")


@study.command()
def run(
    code: Annotated[str, typer.Argument(help="Code of a study of the lab.", show_default=False)],
    lab: LabFolder = Path(),
    report: Annotated[Path | None, typer.Option(help="Folder in which to write the report.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")] = False,
) -> None:
    """
    Answer a study's plan from the accepted strikes of the lab.

    Exit code 1 where a question could not be answered. Example: quintain study run days --lab our-lab
    """
    from quintain.store.lab import Lab
    from quintain.tasks.report import write_study_reports
    from quintain.tasks.study import kept_plan, run_study

    with explained():
        with Lab.open(lab) as opened, progress_bar(shown=not json) as progress:
            invented = opened.facts.invented
            result = run_study(opened, kept_plan(opened, code).plan, progress=progress)
        written = write_study_reports(result, report, invented=invented) if report else []
        if json:
            from quintain.domain import as_json

            print(as_json.text(_answer(result)))
        else:
            _print(result)
        for path in written:
            print(f"report: {path}")
    if result.answers.refused:
        raise typer.Exit(1)


@study.command()
def size(
    difference: Annotated[float, typer.Option(help="Smallest difference that matters, in any unit.")],
    sd_of_responses: Annotated[
        float, typer.Option(help="SD, over people, of their own true difference, in the same unit.")
    ],
    sd_within: Annotated[float, typer.Option(help="SD of one person's trials, in the same unit.")],
    power: Annotated[float, typer.Option(help="Chance of finding that difference.")] = 0.8,
) -> None:
    """
    Say how many people a planned comparison within people needs, and how trials trade for people.

    Example: quintain study size --difference 2 --sd-of-responses 2.5 --sd-within 3
    """
    from rich.console import Console
    from rich.table import Table

    from quintain.study.sample_size import plan_trials

    with explained():
        plans = plan_trials(difference, sd_of_responses, sd_within, power=power)
    table = Table(box=None, pad_edge=False)
    for head in ("strikes each, of either kind", "effect, SD", "people", "strikes in all"):
        table.add_column(head, justify="right")
    for one in plans:
        table.add_row(str(one.n_trials), f"{one.effect:.2f}", str(one.n_people), str(one.n_strikes))
    Console(highlight=False).print(table)
    print(f"Two-sided paired t test of people's means at 5 %, power {power:g}.")


def _print(result: StudyResult) -> None:
    from rich.console import Console
    from rich.table import Table

    from quintain.report.study_content import judge_study, study_sections

    console = Console(highlight=False)
    verdict = judge_study(result)
    console.print(f"{result.plan.title}\n{verdict.word}. {verdict.sentence}", markup=False)
    if verdict.why:
        console.print(verdict.why, markup=False)
    for section in study_sections(result):
        console.print(f"\n{section.title}", markup=False)
        if section.note:
            console.print(section.note, markup=False)
        if section.says:
            console.print(section.says, markup=False)
        for reason in section.reasons:
            console.print(reason, markup=False)
        for part in section.tables:
            table = Table(box=None, pad_edge=False)
            for column in part.columns:
                head = f"{column.name}, {column.unit}" if column.unit else column.name
                table.add_column(head, justify="left" if column.kind == "words" else "right")
            for line in part.lines:
                table.add_row(*(f"{cell.value} {cell.spread}".strip() for cell in line))
            console.print(table)


def _answer(result: StudyResult) -> dict[str, Any]:
    from quintain.domain import as_json
    from quintain.domain.plain import plain

    return as_json.answer(
        "study",
        version=__version__,
        inputs=[],
        method={"plan": asdict(result.plan), "sha256": result.plan.sha256},
        results={
            "n_strikes": result.n_strikes,
            "people": list(result.people),
            "sessions": list(result.sessions),
            "rigs": list(result.rigs),
            "left_out": dict(result.left_out),
            "data_sha256": result.data_sha256,
            "described": plain(result.answers.described),
            "answers": [{"kind": type(a).__name__} | plain(a) for a in result.answers.answers],
            "refused": plain(result.answers.refused),
            "methods": result.methods,
        },
        flags=[],
    )
