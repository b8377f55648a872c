"""An invented lab: prove the rig, record a session, do the whole job, and hold it against the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from quintain.domain.analysis import Analysis
from quintain.domain.drop import DropSettings, DropTest
from quintain.domain.rig import Rig
from quintain.domain.tap import TapTest
from quintain.errors import OutputError
from quintain.tasks import demo_recordings as invented
from quintain.tasks.analyse import analyse_file
from quintain.tasks.demo_recordings import SCENARIO, Truth
from quintain.tasks.drop_record import record_drops
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.progress import Progress, silent
from quintain.tasks.report import write_reports, write_rig_reports
from quintain.tasks.rig_health import rig_state
from quintain.tasks.tap import record_taps, tap_files
from quintain.tasks.zero import check_zero, record_zero

__all__ = ["SCENARIO", "Demo", "run_demo"]

RIG = f"""\
# {SCENARIO}
name = "wall pad at The Dry Dock (invented)"
note = "{SCENARIO}"

[cell]
capacity = 10000        # N
safe_overload = 15000   # N
direction = "positive"
range_limit = 8000      # N, set too low on purpose: one kick is clipped

[anti_alias]
cutoff = 800            # Hz
order = 4

[place]
latitude = {invented.LATITUDE}
altitude = {invented.ALTITUDE}
"""

LEFT_OUT = {"loaded-before", "overlapping"}
"""Strikes with these doubts have no undisturbed zero and are not held against the truth."""


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demo left on disk, and how far its numbers are from the simulated truth."""

    taps: TapTest
    drops: DropTest
    analysis: Analysis
    files: tuple[Path, ...]
    reports: tuple[Path, ...]
    worst_impulse: float
    """Largest error of a stated impulse, as part of the true one."""
    worst_peak: float
    """Largest error of a stated corrected peak, as part of the true one."""
    worst_raw: float
    """Largest error of a raw peak of the same strikes."""
    covered: tuple[int, int]
    """How many of how many stated values hold the truth within their 95 % interval."""


def run_demo(folder: str | Path, *, progress: Progress = silent) -> Demo:
    """
    Invent a lab, prove its rig, record a session, and do the whole job on its files.

    Parameters
    ----------
    folder : path
        Where to put recordings, rig file, truth and reports; made if it is not there.
    progress : Progress, optional
        Told how far the work is.

    Returns
    -------
    Demo
        Results, paths and errors against the simulated truth.

    Raises
    ------
    OutputError
        If the folder cannot be written to.
    """
    folder = Path(folder)
    invented_rig = invented.WALL
    series = invented.strike_series(
        invented.FIRST_STRIKES, invented_rig, np.random.default_rng(20261125), progress
    )
    truth = series.truth
    contents = {
        "rig.toml": RIG,
        "quiet.csv": invented.as_text(invented.quiet(invented_rig), invented_rig),
        "taps.csv": invented.as_text(invented.taps(invented_rig), invented_rig),
        "drops.csv": invented.as_text(invented.drops(invented_rig), invented_rig),
        "session.csv": invented.as_text(series.force, invented_rig),
        "truth.csv": invented.truth_as_text(truth),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        log = folder / "rig.log.jsonl"
        log.unlink(missing_ok=True)
        for name, text in contents.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as problem:
        raise OutputError(f"{folder}: cannot write the demo there: {problem.strerror}") from None
    taps, drops = _prove(folder, progress)
    rig = Rig.load(folder / "rig.toml")
    analysis = analyse_file(folder / "session.csv", rig=rig, progress=progress)
    state = rig_state(folder / "rig.toml")
    reports = [
        *write_reports(analysis, folder, invented=True),
        *write_rig_reports(state, folder, invented=True, taps=[taps], drops=[drops]),
    ]
    files = tuple(folder / name for name in contents)
    return Demo(taps, drops, analysis, files, tuple(reports), *_compare(analysis, truth))


def _prove(folder: Path, progress: Progress) -> tuple[TapTest, DropTest]:
    """Zero, taps and drops, each entered into the rig's file and log."""
    rig = folder / "rig.toml"
    record_zero(check_zero(folder / "quiet.csv"), rig)
    taps = tap_files([folder / "taps.csv"], rig=Rig.load(rig))
    record_taps(taps, rig)
    settings = DropSettings(mass=invented.DROP_MASS, heights=invented.DROP_HEIGHTS, u_mass=0.004)
    drops = analyse_drops_file(folder / "drops.csv", settings, rig=Rig.load(rig), progress=progress)
    record_drops(drops, rig, pad="soft foam (invented)")
    return taps, drops


def _compare(analysis: Analysis, truth: Sequence[Truth]) -> tuple[float, float, float, tuple[int, int]]:
    worst = {"impulse": 0.0, "peak_force": 0.0, "raw": 0.0}
    covered = stated = 0
    for strike in analysis.strikes:
        if LEFT_OUT & {flag.code for flag in strike.flags}:
            continue
        true = min(truth, key=lambda t: abs(t.start - strike.start))
        raw = strike.quantities.get("peak_force_raw")
        for name, value in (("impulse", true.impulse), ("peak_force", true.peak_force)):
            measured = strike.quantities.get(name)
            if measured is None or measured.expanded is None:
                continue
            error = abs(measured.value - value)
            worst[name] = max(worst[name], error / value)
            stated += 1
            covered += error <= measured.expanded
            if name == "peak_force" and raw is not None:
                worst["raw"] = max(worst["raw"], abs(raw.value - value) / value)
    return worst["impulse"], worst["peak_force"], worst["raw"], (covered, stated)
