"""The demo: an invented lab at work, its reports, and its numbers held against the simulated truth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from sqlalchemy import select

from quintain.domain.analysis import Analysis
from quintain.domain.rig_state import RigState
from quintain.domain.study_plan import StudyPlan
from quintain.errors import OutputError
from quintain.store.lab import Lab
from quintain.store.results import load_analysis
from quintain.store.schema import Analysis as AnalysisRow
from quintain.store.schema import Recording, Source
from quintain.tasks.demo_files import FIRST
from quintain.tasks.demo_lab import STUDIES, make_demo_lab
from quintain.tasks.demo_recordings import POST, SCENARIO, WALL, Truth
from quintain.tasks.lab_views import rig_state_in_lab
from quintain.tasks.progress import Progress, silent
from quintain.tasks.report import write_reports, write_rig_reports, write_study_reports
from quintain.tasks.study import kept_plan, run_study

if TYPE_CHECKING:
    from quintain.study.answers import StudyResult

__all__ = ["LEFT_OUT", "SCENARIO", "Against", "Demo", "analyses_in_force", "run_demo"]

LEFT_OUT = {"loaded-before", "overlapping"}
"""Strikes with these doubts have no undisturbed zero and are not held against the truth."""


@dataclass(frozen=True, slots=True)
class Against:
    """How far the numbers are from the truth, each as a part of the true one."""

    n_strikes: int
    worst_impulse: float
    worst_peak: float
    worst_raw: float
    worst_speed: float
    worst_mass: float
    covered: tuple[int, int]
    """How many of how many stated values hold the truth within their 95 % interval."""


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demo left on disk, and how far its numbers are from the simulated truth."""

    lab: Path
    files: Path
    reports: tuple[Path, ...]
    first: Analysis
    """The first session, in which everything goes wrong that can."""
    rigs: tuple[RigState, ...]
    studies: tuple[StudyResult, ...]
    against: Against


def run_demo(folder: str | Path, *, executor: Executor | None = None, progress: Progress = silent) -> Demo:
    """
    Invent a lab, do the whole job in it, and write its reports.

    Parameters
    ----------
    folder : path
        A new or empty folder for recordings, lab and reports.
    executor : concurrent.futures.Executor, optional
        Where recordings are simulated and analysed; in this process if not given.
    progress : Progress, optional
        Told how far the work is.

    Returns
    -------
    Demo
        Results, paths and errors against the simulated truth.

    Raises
    ------
    OutputError
        If the folder cannot be written to, or holds something already.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(f"{folder}: there is something already; name a new folder for the demo")
    made = make_demo_lab(folder / "lab", files=folder / "files", executor=executor, progress=progress)
    with Lab.open(made.folder) as lab:
        analyses = analyses_in_force(lab)
        first = analyses[f"{FIRST.code}/first.csv"]
        plans = [kept_plan(lab, StudyPlan.from_toml(text).code).plan for text in STUDIES]
        studies = tuple(run_study(lab, plan, progress=progress) for plan in plans)
        states = {rig.name: rig_state_in_lab(lab, f"{rig.name} (invented)") for rig in (WALL, POST)}
    reports = [*write_reports(first, folder / "reports", invented=True)]
    for name, state in states.items():
        reports += write_rig_reports(state, folder / "reports", name=name.replace(" ", "-"), invented=True)
    for study in studies:
        reports += write_study_reports(study, folder / "reports", invented=True)
    against = _compare(analyses, made.truth)
    return Demo(
        made.folder, folder / "files", tuple(reports), first, tuple(states.values()), studies, against
    )


def analyses_in_force(lab: Lab) -> dict[str, Analysis]:
    """Every analysis in force, by session and name of the file it came from."""
    query = (
        select(AnalysisRow.id, Source.path)
        .join(Recording, AnalysisRow.recording_sha256 == Recording.sha256)
        .join(Source, Source.recording_sha256 == Recording.sha256)
        .where(AnalysisRow.current)
    )
    with lab.reading() as database:
        found = database.execute(query).all()
    return {"/".join(Path(path).parts[-2:]): load_analysis(lab, id) for id, path in found}


def _compare(analyses: Mapping[str, Analysis], truth: Mapping[str, Sequence[Truth]]) -> Against:
    worst = {"impulse": 0.0, "peak_force": 0.0, "approach_speed": 0.0, "effective_mass": 0.0, "raw": 0.0}
    n = covered = stated = 0
    for name, known in truth.items():
        for strike in analyses[name].strikes:
            if LEFT_OUT & {flag.code for flag in strike.flags}:
                continue
            n += 1
            true = known[int(np.argmin([abs(t.start - strike.start) for t in known]))]
            raw = strike.quantities.get("peak_force_raw")
            for quantity in ("impulse", "peak_force", "approach_speed", "effective_mass"):
                measured, value = strike.quantities.get(quantity), getattr(true, quantity)
                if measured is None or measured.expanded is None:
                    continue
                error = abs(measured.value - value)
                worst[quantity] = max(worst[quantity], error / value)
                stated += 1
                covered += error <= measured.expanded
                if quantity == "peak_force" and raw is not None:
                    worst["raw"] = max(worst["raw"], abs(raw.value - value) / value)
    return Against(
        n, worst["impulse"], worst["peak_force"], worst["raw"], worst["approach_speed"],
        worst["effective_mass"], (covered, stated),
    )  # fmt: skip
