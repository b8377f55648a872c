"""Simulate the grid of strikes, correct them, and gather errors a cell."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.validate.methods import METHODS, finer, fir_deconvolution
from bench.validate.peer import fir_taps
from bench.validate.pulses import SHAPES, UNSEEN, Recorded, Rig, strike
from quintain.numerics.ringing import remove_ringing

__all__ = ["CONDITIONS", "PERIODS", "SAMPLES", "SMOOTHER", "Cell", "Condition", "run_study"]

Floats = NDArray[np.float64]

PERIODS = (0.75, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0)
SAMPLES = (4, 6, 8, 12, 20, 50, 100)
DURATION = 0.010
PEAK = 5000.0
DAMPING = 0.02
SEED = 41_117
SMOOTHER = "smoother"


@dataclass(frozen=True)
class Condition:
    """One set of circumstances under which the whole grid is run."""

    name: str
    says: str
    repeats: int
    """Strikes a shape and cell; half as many from 50 samples in the pulse on."""
    noise: float = 3.0
    wrong: bool = False
    """Whether the rig's modes are given 2 % and 30 % wrong, with no uncertainty stated."""
    cutoff: float | None = None
    """Anti-alias filter, as part of the sampling rate."""
    told: bool = True
    """Whether the correction knows of the filter."""
    unseen: bool = False
    """Whether the shapes are those on which nothing was chosen."""
    others: bool = False
    """Whether the other methods are run too."""


CONDITIONS = (
    Condition("base", "noise 3 N, modes known as from taps (0.05 %, 2 %)", 40, others=True),
    Condition("low noise", "noise 0.5 N", 6, noise=0.5),
    Condition("high noise", "noise 50 N (1 % of the peak)", 6, noise=50.0),
    Condition("wrong modes", "natural frequency 2 % and damping 30 % off, either way", 6, wrong=True),
    Condition(
        "filter known", "anti-alias filter of fourth order at 0.3 of the rate, in the model", 6, cutoff=0.3
    ),
    Condition(
        "unseen shapes", "haversine, parabola, late peak, triangle: shapes not tuned on", 12, unseen=True
    ),
    Condition("filter unknown", "the same filter, not told", 3, cutoff=0.3, told=False),
)


@dataclass
class Cell:
    """Errors of one method in one cell; each list holds one entry a strike."""

    condition: str
    method: str
    periods: float
    samples: int
    shape: list[str] = field(default_factory=list)
    peak: list[float] = field(default_factory=list)
    """Error of the peak. [%]"""
    rms: list[float] = field(default_factory=list)
    """Root mean square error during contact, of the peak. [%]"""
    inside_peak: list[bool] = field(default_factory=list)
    """Whether the stated 95 % interval of the peak holds the truth."""
    inside_trace: list[float] = field(default_factory=list)
    """Part of the contact over which the stated 95 % interval holds the truth."""
    u_peak: list[float] = field(default_factory=list)
    """Stated standard uncertainty of the peak. [%]"""
    frequency: list[float] = field(default_factory=list)
    """Error of the natural frequency. [%]"""
    damping: list[float] = field(default_factory=list)
    """Error of the damping ratio. [%]"""
    withheld: list[bool] = field(default_factory=list)
    """Whether a flag withholds the peak."""

    def add(self, shape: str, case: Recorded, force: Floats, peak: float) -> None:
        """Note the errors that every method has."""
        error = force - case.truth
        self.shape.append(shape)
        self.peak.append(100 * (peak / case.peak - 1))
        self.rms.append(100 * float(np.sqrt(np.mean(error[case.contact] ** 2))) / case.peak)


def cells() -> Iterator[tuple[float, int]]:
    """Cells of the grid in which the rig rings below 0.45 of the rate."""
    for periods in PERIODS:
        for samples in SAMPLES:
            if periods <= 0.45 * samples:
                yield periods, samples


def _largest(force: Floats, case: Recorded) -> float:
    """Largest force no further than a pulse from the contact: the ends of a record spoil some methods."""
    near = np.flatnonzero(case.contact)
    around = (case.time > case.time[near[0]] - DURATION) & (case.time < case.time[near[-1]] + DURATION)
    return float(force[around].max())


def _correct(
    cell: Cell, shape: str, case: Recorded, rig: Rig, how: Condition, rng: np.random.Generator
) -> None:
    off, damping_off = 5e-4 * rng.normal(), 0.02 * rng.normal()
    stated = {"u_natural_frequency": [5e-4 * rig.natural_frequency], "u_damping_ratio": [0.02 * DAMPING]}
    if how.wrong:
        off, damping_off, stated = rng.choice([-0.02, 0.02]), rng.choice([-0.3, 0.3]), {}
    found = remove_ringing(
        case.samples,
        rig.rate,
        natural_frequency=[rig.natural_frequency * (1 + off)],
        damping_ratio=[DAMPING * (1 + damping_off)],
        noise=how.noise,
        anti_alias_cutoff=rig.anti_alias_cutoff if how.told else None,
        **stated,
    )
    cell.add(shape, case, found.force, found.peak_force)
    cell.inside_peak.append(abs(found.peak_force - case.peak) <= 1.96 * found.u_peak_force)
    error = np.abs(found.force - case.truth)[case.contact]
    cell.inside_trace.append(float(np.mean(error <= 1.96 * found.u_force[case.contact])))
    cell.u_peak.append(100 * found.u_peak_force / case.peak)
    cell.frequency.append(100 * (found.natural_frequency[0] / rig.natural_frequency - 1))
    cell.damping.append(100 * (found.damping_ratio[0] / DAMPING - 1))
    cell.withheld.append(bool({"too-few-samples", "pulse-short-for-rig"} & set(found.flags)))


def run_study(scale: float, peer_folder: Path) -> tuple[list[Cell], str]:
    """
    Run every condition over the grid.

    Parameters
    ----------
    scale : float
        Part of the full number of strikes.
    peer_folder : Path
        Where the peer library's environment is, or is made.

    Returns
    -------
    cells : list of Cell
        Errors by condition, method and cell.
    peer : str
        What became of the peer library: its version, or why it is absent.
    """
    grid = list(cells())
    taps = fir_taps([(samples / periods, DAMPING) for periods, samples in grid], peer_folder)
    peer = "PyDynamic 2.5.1" if not isinstance(taps, str) else taps
    out: list[Cell] = []
    start = time.monotonic()
    for number, how in enumerate(CONDITIONS):
        for i, (periods, samples) in enumerate(grid):
            rate = samples / DURATION
            rig = Rig(periods / DURATION, DAMPING, rate, None if how.cutoff is None else how.cutoff * rate)
            found = {SMOOTHER: Cell(how.name, SMOOTHER, periods, samples)}
            for kind, shape in enumerate(UNSEEN if how.unseen else SHAPES):
                repeats = how.repeats if samples < 50 else how.repeats / 2
                for repeat in range(max(1, round(scale * repeats))):
                    rng = np.random.default_rng([SEED, number, i, kind, repeat])
                    case = strike(shape, DURATION, rig, rng, noise=how.noise)
                    _correct(found[SMOOTHER], shape, case, rig, how, rng)
                    if not how.others:
                        continue
                    for name, method in METHODS.items():
                        coarse = method(case.samples, rig)
                        if coarse is not None:
                            force = finer(coarse)
                            cell = found.setdefault(name, Cell(how.name, name, periods, samples))
                            cell.add(shape, case, force, _largest(force, case))
                    if not isinstance(taps, str):
                        name = "FIR deconvolution"
                        force = finer(fir_deconvolution(case.samples, rig, taps[i]))
                        cell = found.setdefault(name, Cell(how.name, name, periods, samples))
                        cell.add(shape, case, force, _largest(force, case))
            out += found.values()
        print(f"{how.name}: {time.monotonic() - start:.0f} s", file=sys.stderr, flush=True)
    return out, peer
