"""``quintain analyse --lab``: the recordings of a lab."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

from quintain.cli.failure import say
from quintain.cli.progress_bar import progress_bar
from quintain.errors import UsageError
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.store.lab import Lab
    from quintain.tasks.analyse_lab import LabRun
    from quintain.tasks.compare_analyses import Comparison
    from quintain.tasks.lab_inputs import Wanted

__all__ = ["analyse_in_lab"]


def analyse_in_lab(
    folder: Path,
    *,
    session: str | None,
    rig: str | None,
    method: Path | None,
    again: bool,
    dry_run: bool,
    jobs: int,
    dask: str | None,
    who: str,
    json: bool,
) -> int:
    """
    Analyse the recordings of a lab and say what became of them.

    Returns
    -------
    int
        The exit code: that of the worst recording.
    """
    from quintain.domain.method import Method
    from quintain.store.lab import Lab
    from quintain.tasks.analyse_lab import analyse_lab, choose
    from quintain.tasks.cluster import Crew, dask_crew, local_crew
    from quintain.tasks.user_name import user_name

    if dask is not None and jobs > 1:
        raise UsageError("give either --jobs, for processes of this machine, or --dask, for a cluster")
    settings = Method.load(method) if method else None
    with Lab.open(folder) as lab:
        if dry_run:
            todo, up_to_date = choose(lab, session=session, method=settings, rig=rig, again=again)
            _print_plan(todo, up_to_date)
            return 0
        crew: AbstractContextManager[Crew] = dask_crew(dask) if dask else local_crew(jobs)
        with progress_bar(shown=not json) as progress, crew as (executor, in_flight):
            run = analyse_lab(
                lab, who=who or user_name(), session=session, method=settings, rig=rig, again=again,
                executor=executor, in_flight=in_flight, progress=progress,
            )  # fmt: skip
        if json:
            _print_json(lab, run)
        else:
            _print_run(lab, run)
    for failed in run.failed:
        say(f"quintain: {failed.message}")
    return max((failed.exit_code for failed in run.failed), default=0)


def _print_plan(todo: list[Wanted], up_to_date: int) -> None:
    for wanted in todo:
        print(f"{wanted.inputs.recording[:12]} {wanted.inputs.name}: {'; '.join(wanted.because.values())}")
    say(f"{len(todo)} to analyse, {up_to_date} up to date; nothing was done (dry run)")


def _print_json(lab: Lab, run: LabRun) -> None:
    from quintain.domain import as_json
    from quintain.store.results import load_analysis

    analyses = [load_analysis(lab, one.saved.analysis_id) for one in run.analysed]
    errors = [{"path": failed.name, "code": failed.code, "message": failed.message} for failed in run.failed]
    print(as_json.text(as_json.analyses_as_json(analyses, version=__version__, errors=errors)))


def _print_run(lab: Lab, run: LabRun) -> None:
    from quintain.tasks.compare_analyses import compare_analyses

    for one in run.analysed:
        found, new, gone = one.saved.found_again, one.saved.new, one.saved.gone
        parts = [f"{new} new" if new else "", f"{found} found again" if found else "",
                 f"{gone} not found any more" if gone else ""]  # fmt: skip
        counts = ", ".join(filter(None, parts)) or "no strike was found"
        print(f"{one.recording[:12]} {one.name}: {counts}")
    say(
        f"{len(run.analysed)} analysed with {run.n_strikes} strikes, {len(run.failed)} failed, "
        f"{run.up_to_date} up to date"
    )
    pairs = [(one.earlier, one.saved.analysis_id) for one in run.analysed if one.earlier is not None]
    pairs = [pair for pair in pairs if pair[0] != pair[1]]
    if pairs:
        _print_comparison(compare_analyses(lab, [old for old, _ in pairs], [new for _, new in pairs]))


def _print_comparison(found: Comparison) -> None:
    from quintain.quantities import GLOSSARY

    print(f"Analysed again: {found.n_recordings} recordings, {found.n_same} of them the same bit for bit.")
    for line in found.why:
        print(f"  because {line}")
    for change in found.quantities:
        entry = GLOSSARY[change.quantity]
        words = f"{change.n_changed} of {change.n} changed"
        if change.n_changed:
            words += f", at most by {change.largest_change * entry.shown_factor:.3g} {entry.shown_unit}"
        if change.largest_in_u is not None:
            words += f" ({change.largest_in_u:.2g} u), {change.n_beyond_u} by more than u"
        if change.n_stated_now:
            words += f"; {change.n_stated_now} newly stated"
        if change.n_withheld_now:
            words += f"; {change.n_withheld_now} not stated any more"
        print(f"  {entry.label}: {words}")
    for sign, lone in [*(("+", one) for one in found.gained), *(("-", one) for one in found.lost)]:
        print(f"  {sign} strike {lone.strike_id} at {lone.start:.3f} s of {lone.recording}")
    for word, codes in (("newly raised", found.codes_raised), ("no longer raised", found.codes_cleared)):
        for code, n in codes.items():
            print(f"  ◇ {code}: {word} on {n} strikes")
