"""
Make ``quintain/numerics/kappa_table.py``: run ``python -m bench.make_kappa_table`` (about ten minutes).

A parametric bootstrap done once for all: pulses of random shape go through random rigs and recorders, are
corrected, and the errors are divided by what the smoother states without any factor. The factor of a node
is the 95th percentile of that ratio over the nearest cases, divided by 1.96. None of the five pulses of the
validation is among the shapes as such, and the random numbers are others.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

import quintain.numerics
from bench.validate.pulses import Curve, Rig, beta, record
from quintain.numerics.ringing import remove_ringing

Floats = NDArray[np.float64]

SEED = 20261
CASES = 14_000
NEAREST = 400
POINTS = 15
PERIODS = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0)
SAMPLES = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 35.0, 60.0, 100.0)
NOISE = (5e-5, 3e-4, 2e-3, 1e-2)
WIDTHS = np.array([0.35, 0.2, 1.4])
"""Distance in the logarithms of the three axes that counts as one."""


def random_curve(rng: np.random.Generator) -> tuple[Curve, float]:
    """A pulse of one or two humps, kinked or smooth at its ends, now and then with a push behind it."""

    def hump() -> Curve:
        if rng.random() < 0.5:
            return beta(rng.uniform(0.95, 2.5), rng.uniform(0.95, 3.0))
        power = rng.uniform(0.95, 2.0)
        return lambda u: np.sin(np.pi * np.clip(u, 0.0, 1.0)) ** power

    first, second = hump(), hump()
    kind = rng.random()
    if kind < 0.25:  # a second hump, overlapping
        size, at, width = rng.uniform(0.3, 1.0), rng.uniform(0.1, 0.6), rng.uniform(0.4, 0.9)
        return lambda u: first(u / 0.7) + size * second((u - at) / width), max(0.7, at + width)
    if kind < 0.45:  # a push that goes on
        size, width = rng.uniform(0.05, 0.3), rng.uniform(1.3, 3.0)
        return lambda u: first(u) + size * np.sin(np.pi * np.clip(u / width, 0.0, 1.0)) ** 2, width
    if kind < 0.6:  # two even humps with a dip
        size = rng.uniform(0.1, 0.5)
        return lambda u: np.maximum(
            np.sin(np.pi * np.clip(u, 0, 1)) + size * np.sin(3 * np.pi * np.clip(u, 0, 1)), 0.0
        ), 1.0
    return first, 1.0


def run_case(rng: np.random.Generator) -> tuple[Floats, float, Floats] | None:
    """Position on the three axes, ratio at the peak, ratios along the contact."""
    curve, reach = random_curve(rng)
    duration = 0.010
    samples = float(np.exp(rng.uniform(np.log(3.0), np.log(130.0))))
    periods = float(np.exp(rng.uniform(np.log(0.45), np.log(13.0))))
    if periods > 0.44 * samples:
        return None
    noise = float(np.exp(rng.uniform(np.log(3e-5), np.log(1.5e-2)))) * 5000.0
    zeta = float(np.exp(rng.uniform(np.log(0.005), np.log(0.08))))
    rate = samples / duration
    cutoff = rate * rng.uniform(0.25, 0.45) if rng.random() < 0.15 else None
    rig = Rig(periods / duration, zeta, rate, cutoff)
    case = record(curve, reach, duration, rig, rng, noise=noise)
    u_frequency, u_damping = 10 ** rng.uniform(-3.5, -2.0), 10 ** rng.uniform(-2.0, -0.7)
    found = remove_ringing(
        case.samples,
        rate,
        natural_frequency=[rig.natural_frequency * (1 + u_frequency * rng.normal())],
        damping_ratio=[zeta * np.exp(u_damping * rng.normal())],
        u_natural_frequency=[u_frequency * rig.natural_frequency],
        u_damping_ratio=[u_damping * zeta],
        noise=noise,
        anti_alias_cutoff=cutoff,
    )
    where = np.array([found.periods_in_pulse, found.samples_in_pulse, noise / found.peak_force])
    points = rng.choice(np.flatnonzero(case.contact), POINTS)
    ratio = np.abs(found.force - case.truth)[points] / found.u_force[points]
    return where, abs(found.peak_force - case.peak) / found.u_peak_force, ratio


def write(path: Path, trace: Floats, peak: Floats, cases: int) -> None:
    """Write the table as a module."""

    def rows(table: Floats) -> str:
        blocks = []
        for plane in table:
            lines = ",\n        ".join("(" + ", ".join(f"{x:.2f}" for x in row) + ")" for row in plane)
            blocks.append(f"    (\n        {lines},\n    ),")
        return "(\n" + "\n".join(blocks) + "\n)"

    path.write_text(
        '"""\nFactors by which the smoother\'s own uncertainty is multiplied.\n\n'
        f"Made by bench/make_kappa_table.py from {cases} simulated strikes. Axes: periods in\n"
        'the pulse, samples in the pulse, noise over peak.\n"""\n\n'
        '__all__ = ["NOISE", "PEAK", "PERIODS", "SAMPLES", "TRACE"]\n\n'
        f"PERIODS = {PERIODS}\nSAMPLES = {SAMPLES}\nNOISE = {NOISE}\n\n"
        f"TRACE = {rows(trace)}\n\nPEAK = {rows(peak)}\n"
    )


def main() -> None:
    """Simulate, gather, write."""
    where, peak, trace = [], [], []
    start = time.monotonic()
    with patch("quintain.numerics.ringing.coverage_factors", lambda *_: (1.0, 1.0)):
        for i in range(CASES):
            case = run_case(np.random.default_rng([SEED, i]))
            if case is not None and np.isfinite(case[1]):
                where.append(np.log(case[0]))
                peak.append(case[1])
                trace.append(case[2])
            if i % 1000 == 999:
                print(f"{i + 1} cases, {time.monotonic() - start:.0f} s", file=sys.stderr)
    at, of_peak, of_trace = np.array(where), np.array(peak), np.array(trace)
    tables = np.zeros((2, len(PERIODS), len(SAMPLES), len(NOISE)))
    for i, x in enumerate(PERIODS):
        for j, n in enumerate(SAMPLES):
            for k, v in enumerate(NOISE):
                distance = (((at - np.log([x, n, v])) / WIDTHS) ** 2).sum(axis=1)
                near = np.argpartition(distance, NEAREST)[:NEAREST]
                tables[0, i, j, k] = np.quantile(of_trace[near], 0.95) / 1.96
                tables[1, i, j, k] = np.quantile(of_peak[near], 0.95) / 1.96
    path = Path(quintain.numerics.__file__).with_name("kappa_table.py")
    write(path, tables[0], tables[1], len(where))
    print(path)


if __name__ == "__main__":
    main()
