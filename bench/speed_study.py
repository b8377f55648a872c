"""Statistics over ten thousand strikes of fifty people."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np

from bench.row import Row
from quintain.study.asymmetry import measure_asymmetry
from quintain.study.compare import compare_levels
from quintain.study.describe import describe
from quintain.study.fatigue import find_fatigue
from quintain.study.mean_curves import Curve, average_curves
from quintain.study.mixed import fit_mixed
from quintain.study.observations import Observations, number_trials
from quintain.study.reliability import assess_reliability

N, PEOPLE = 10_000, 50


def _trials() -> Observations:
    rng = np.random.default_rng(1)
    person = rng.integers(0, PEOPLE, N)
    value = 30 * np.exp(rng.normal(0, 0.2, PEOPLE)[person] + rng.normal(0, 0.1, N))
    factors = {
        "type": rng.choice(["cross", "hook", "jab"], N),
        "side": rng.choice(["left", "right"], N),
        "session": rng.choice([1, 2, 3, 4], N),
    }
    return number_trials(Observations("impulse", person, value, factors=factors), "session")


def _fastest(work: Callable[[], object]) -> float:
    times = []
    for _ in range(3):
        begin = perf_counter()
        work()
        times.append(perf_counter() - begin)
    return min(times)


def run() -> list[Row]:
    """Fastest of three: the machine may be shared."""
    o, rng = _trials(), np.random.default_rng(1)
    time = np.linspace(0, 0.02, 200)
    curves = [
        Curve(str(i % 20), time, 2500 * np.sin(np.pi * np.clip(time / end, 0, 1)), end)
        for i, end in enumerate(rng.uniform(0.010, 0.014, 1000))
    ]
    works: dict[str, Callable[[], object]] = {
        "description by type": lambda: describe(o, "type"),
        "reliability over sessions": lambda: assess_reliability(o.means("session").table("session").values),
        "paired comparison of sides": lambda: compare_levels(o, "side", "left", "right", generator=rng),
        "asymmetry": lambda: measure_asymmetry(o, "left", "right"),
        "fatigue": lambda: find_fatigue(o, series="session"),
        "mixed model of type": lambda: fit_mixed(o, ["type"]),
        "mixed model of type, side and session": lambda: fit_mixed(o, ["type", "side", "session"]),
        "mean curve of 1000 strikes of 20 people": lambda: average_curves(curves, generator=rng),
    }
    return [Row(what, _fastest(work), "s", at_most=1.0) for what, work in works.items()]
