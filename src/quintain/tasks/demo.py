"""
An invented lab: a rig, two people, a session, all simulated, and the truth beside what was recorded.

Nothing here was measured on anybody. Masses, speeds and pads are chosen to be plausible and to show
what goes wrong in a real lab: ringing, drift, a clipped kick, a double blow, somebody who leans.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from quintain.domain.analysis import Analysis
from quintain.domain.rig import Rig
from quintain.errors import OutputError
from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Push, Striker, Target, simulate_strike
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.tasks.analyse import analyse_file
from quintain.tasks.progress import Progress, silent
from quintain.tasks.report import write_reports

__all__ = ["Demo", "run_demo"]

SCENARIO = "invented lab 'The Dry Dock': simulated strikes, nobody was measured"

RIG = f"""\
# {SCENARIO}
name = "wall pad at The Dry Dock (invented)"
note = "{SCENARIO}"

[cell]
capacity = 10000        # N
safe_overload = 15000   # N
direction = "positive"
range_limit = 5000      # N, set too low on purpose: one kick is clipped

[[modes]]
natural_frequency = 212.6   # Hz, as an invented tap test gave it; the simulated rig rings at 212.0 Hz
damping_ratio = 0.0197
u_natural_frequency = 0.6
u_damping_ratio = 0.0010

[anti_alias]
cutoff = 800            # Hz
order = 4

[calibration]
date = 2026-10-31
gain = 1.0
u_gain = 0.003
lowest = 50             # N
highest = 4500          # N

[place]
latitude = 52.5
altitude = 40
"""

LEFT_OUT = {"loaded-before", "overlapping"}
"""Strikes with these doubts have no undisturbed zero and are not held against the truth."""

RATE = 2000.0
FINE = 50_000.0
SPACING = 2.5
"""Seconds from one strike to the next."""


@dataclass(frozen=True, slots=True)
class _Blow:
    """One invented strike."""

    person: str
    kind: str
    mass: float
    speed: float
    push: float
    after: float = 0.0
    """A second blow follows so many seconds later. [s]"""
    lean: float = 0.0
    """Force with which the person leans on the pad before. [N]"""


SESSION = (
    _Blow("P-01", "jab", 1.6, 5.9, 90),
    _Blow("P-01", "jab", 1.7, 6.1, 80),
    _Blow("P-01", "cross", 2.3, 7.4, 180),
    _Blow("P-01", "cross", 2.4, 7.7, 200),
    _Blow("P-01", "jab-cross", 1.6, 5.8, 90, after=0.21),
    _Blow("P-02", "palm heel", 2.0, 5.3, 120),
    _Blow("P-02", "palm heel", 2.1, 5.1, 130, lean=35.0),
    _Blow("P-02", "elbow", 2.6, 5.0, 120),
    _Blow("P-02", "front kick", 3.6, 5.8, 260),
    _Blow("P-02", "turning kick", 4.4, 8.6, 220),
    _Blow("P-02", "jab", 1.4, 5.7, 70),
)


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demo left on disk, and how far its numbers are from the simulated truth."""

    analysis: Analysis
    recording: Path
    rig: Path
    truth: Path
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
    Invent a lab, record a session, and do the whole job on its files.

    Parameters
    ----------
    folder : path
        Where to put recording, rig file, truth and reports; made if it is not there.
    progress : Progress, optional
        Told how far the work is.

    Returns
    -------
    Demo
        Paths and errors against the simulated truth.

    Raises
    ------
    OutputError
        If the folder cannot be written to.
    """
    folder = Path(folder)
    times, force, truth = _simulate(progress)
    recording, rig, table = folder / "session.csv", folder / "rig.toml", folder / "truth.csv"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        rig.write_text(RIG, encoding="utf-8")
        recording.write_text(_as_text(times, force), encoding="utf-8")
        table.write_text(_as_table(truth), encoding="utf-8")
    except OSError as problem:
        raise OutputError(f"{folder}: cannot write the demo there: {problem.strerror}") from None
    analysis = analyse_file(recording, rig=Rig.load(rig), progress=progress)
    reports = write_reports(analysis, folder, invented=True)
    return Demo(analysis, recording, rig, table, tuple(reports), *_compare(analysis, truth))


@dataclass(frozen=True, slots=True)
class _Truth:
    """What the simulation knows of one strike."""

    start: float
    person: str
    kind: str
    impulse: float
    peak_force: float


def _simulate(progress: Progress) -> tuple[NDArray[np.float64], NDArray[np.float64], list[_Truth]]:
    rng = np.random.default_rng(20261125)
    target = Target(INVENTED_PADS["soft"], cell=Cell(2.6, 212.0, 0.019))
    n = round((SPACING * (len(SESSION) + 1)) * FINE)
    signal = np.zeros(n)
    truth = []
    for i, blow in enumerate(SESSION):
        progress("simulated strikes", i, len(SESSION))
        at = SPACING * (i + 0.6) + rng.uniform(0, 0.2)
        for second in range(2 if blow.after else 1):
            push = Push(blow.push, start=-0.03, duration=0.09, rise=0.02)
            speed = blow.speed * (1.25 if second else 1.0)
            striker = Striker(blow.mass, speed, gap=0.001, push=push)
            motion = simulate_strike(striker, target, duration=1.2, rate=FINE)
            first = round((at + second * blow.after) * FINE)
            signal[first : first + motion.cell_output.size] += motion.cell_output
            kind = blow.kind.split("-")[second] if blow.after else blow.kind
            truth.append(
                _Truth(
                    first / FINE + float(motion.touch_times[0]),
                    blow.person,
                    kind,
                    float(motion.cell_impulse[-1]),
                    float(motion.force_on_cell.max()),
                )
            )
        if blow.lean:
            ramp = np.clip((np.arange(n) / FINE - (at - 0.7)) / 0.1, 0, 1)
            release = np.clip((at + 0.25 - np.arange(n) / FINE) / 0.1, 0, 1)
            signal += blow.lean * ramp * release
    acquired = acquire(
        signal,
        FINE,
        rate=RATE,
        rng=rng,
        anti_alias_cutoff=800.0,
        zero=14.0,
        drift=0.3,
        noise=3.0,
        limit=5000.0,
        bits=16,
    )
    return acquired.time, acquired.force, truth


def _as_text(times: NDArray[np.float64], force: NDArray[np.float64]) -> str:
    lines = [f"# {SCENARIO}", f"# device: invented amplifier, range 5 kN, {RATE:g} Hz", "time_s;force_N"]
    lines += [f"{t:.6f};{f:.3f}" for t, f in zip(times, force, strict=True)]
    return "\n".join(lines) + "\n"


def _as_table(truth: list[_Truth]) -> str:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow([f"# {SCENARIO}"])
    rows.writerow(["start_s", "person", "strike", "impulse_N_s", "peak_force_on_cell_N"])
    rows.writerows(
        [f"{t.start:.5f}", t.person, t.kind, f"{t.impulse:.4f}", f"{t.peak_force:.2f}"] for t in truth
    )
    return text.getvalue()


def _compare(analysis: Analysis, truth: list[_Truth]) -> tuple[float, float, float, tuple[int, int]]:
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
