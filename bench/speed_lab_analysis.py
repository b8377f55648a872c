"""
Many recordings of a lab: two processes against one, on simulated recordings made here.

``QUINTAIN_BENCH_RECORDINGS`` sets how many (default 1000). They are taken in blocks, each by one process and
then by two, with methods of other names, so that nothing is up to date: a machine that others use too is
faster at one time than at another, and so both have their share of it.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np

from bench.row import Row
from quintain.domain.method import Method
from quintain.domain.rig import Rig as DomainRig
from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Striker, Target, simulate_strike
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.store.lab import Lab
from quintain.store.results import save_analysis
from quintain.store.schema import Recording, Rig, RigVersion, Session
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.cluster import Crew, local_crew
from quintain.tasks.lab_inputs import gather, measure_inputs, places_of

__all__ = ["run"]

RATE = 2000.0
FINE = 50_000.0
SECONDS = 10.0
BLOCK = 100
RIG = """name = "bench (invented)"
[[modes]]
natural_frequency = 230.0
damping_ratio = 0.03
u_natural_frequency = 0.5
u_damping_ratio = 0.001
"""


def run() -> list[Row]:
    """Measure."""
    n = int(os.environ.get("QUINTAIN_BENCH_RECORDINGS", "1000"))
    with (
        tempfile.TemporaryDirectory() as folder,
        Lab.create(Path(folder) / "lab", name="bench", invented=True) as lab,
        local_crew(2) as two,
    ):
        _fill(lab, Path(folder), n)
        recordings = [wanted.inputs.recording for wanted in gather(lab)]
        analyse_lab(lab, who="bench", recordings=recordings[:1])  # compiles
        seconds = np.zeros(2)
        differ = 0
        for first in range(0, n, BLOCK):
            block = recordings[first : first + BLOCK]
            runs = [_timed(lab, f"by {jobs}", block, crew) for jobs, crew in ((1, (None, 1)), (2, two))]
            seconds += [run.seconds for run in runs]
            differ += sum(a != b for a, b in zip(runs[0].outputs, runs[1].outputs, strict=True))
            print(
                f"    {first + len(block)}: {seconds[0]:.1f} s by one, {seconds[1]:.1f} s by two", flush=True
            )
        return [
            Row(f"{n} recordings of 5 strikes by one process", seconds[0], "s"),
            Row(f"{n} recordings of 5 strikes by two processes, with their start", seconds[1], "s"),
            Row("two processes against one", seconds[0] / seconds[1], "times", at_least=1.8),
            Row("outputs that differ in a bit", differ, "", at_most=0),
            Row("saving 600 strikes of one recording", _saving(lab), "s", at_most=1.0),
        ]


class _Run(NamedTuple):
    seconds: float
    outputs: tuple[str, ...]


def _fill(lab: Lab, folder: Path, n: int) -> None:
    """Ten seconds with five strikes each, from eight simulated blows, in text as most programs write."""
    rng = np.random.default_rng(1)
    rig = DomainRig.from_toml(RIG)
    blows = list(_blows())
    with lab.writing("bench") as writer:
        writer.database.add_all(
            [Rig(id=1, name=rig.name, current=rig.version), Session(id=1, code="S", rig_id=1)]
        )
        writer.database.flush()
        writer.database.add(RigVersion(version=rig.version, rig_id=1, toml=RIG))
    rows = []
    for i in range(n):
        signal = np.zeros(round(SECONDS * FINE))
        for k in range(5):
            blow = blows[rng.integers(len(blows))]
            first = round((0.9 + 1.75 * k + rng.uniform(0, 0.1)) * FINE)
            signal[first : first + blow.size] += blow
        got = acquire(signal, FINE, rate=RATE, rng=rng, phase=rng.random(), zero=5.0, noise=2.0)
        path = folder / f"{i:04d}.csv"
        np.savetxt(path, got.force, header="force [N]", comments="", fmt="%.2f")
        sha256, _ = lab.originals.put(path)
        rows.append(
            Recording(
                sha256=sha256, name=path.name, n_bytes=path.stat().st_size, reading={"rate": RATE},
                session_id=1, when=datetime(2026, 1, 5, tzinfo=UTC) + timedelta(minutes=i),
            )
        )  # fmt: skip
        path.unlink()
    with lab.writing("bench") as writer:
        writer.database.add_all(rows)


def _blows() -> Iterator[np.ndarray]:
    target = Target(INVENTED_PADS["soft"], cell=Cell(2.5, 230.0, 0.03))
    for mass in (1.5, 2.0, 2.5, 3.0):
        for speed in (5.0, 7.0):
            yield simulate_strike(Striker(mass, speed), target, duration=0.8, rate=FINE).cell_output


def _timed(lab: Lab, name: str, recordings: list[str], crew: Crew) -> _Run:
    executor, in_flight = crew
    began = time.perf_counter()
    done = analyse_lab(
        lab, who="bench", recordings=recordings, method=Method(name=name), executor=executor,
        in_flight=in_flight,
    )  # fmt: skip
    assert not done.failed
    return _Run(time.perf_counter() - began, tuple(one.output for one in done.analysed))


def _saving(lab: Lab) -> float:
    """Seconds to enter a recording of 600 strikes, of which all are found again."""
    inputs = gather(lab)[0].inputs
    analysis = measure_inputs(inputs, places_of(lab, inputs), curves=False).analysis
    strikes = tuple(replace(analysis.strikes[i % 5], number=i + 1, start=20.0 + i) for i in range(600))
    times = []
    for _ in range(3):
        began = time.perf_counter()
        with lab.writing("bench") as writer:
            save_analysis(writer, inputs.recording, replace(analysis, strikes=strikes))
        times.append(time.perf_counter() - began)
    return min(times[1:])
