"""Identification of one tap."""

from __future__ import annotations

from time import perf_counter

import numpy as np

from bench.row import Row
from quintain.numerics.ring_down import identify_ring_down


def _tap(rate: float, n: int, modes: list[tuple[float, float, float]]) -> np.ndarray:
    time = np.arange(n) / rate
    trace = np.random.default_rng(1).normal(0, 1, n)
    for frequency, damping, level in modes:
        natural = 2 * np.pi * frequency
        trace += level * np.exp(-damping * natural * time) * np.cos(natural * np.sqrt(1 - damping**2) * time)
    return trace


def _best_of(trace: np.ndarray, rate: float, repeats: int = 15) -> float:
    identify_ring_down(trace, rate)
    times = []
    for _ in range(repeats):
        begin = perf_counter()
        identify_ring_down(trace, rate)
        times.append(perf_counter() - begin)
    return 1000 * min(times)


def run() -> list[Row]:
    """Fastest of fifteen, after one to warm up: the machine may be shared."""
    one = _tap(5000, 1500, [(240, 0.02, 200)])
    two = _tap(5000, 1500, [(240, 0.02, 200), (18, 0.06, 80)])
    return [
        Row("one tap, one mode, 0.3 s at 5 kHz", _best_of(one, 5000), "ms", at_most=20),
        Row("one tap, mode and plate swing, 0.3 s at 5 kHz", _best_of(two, 5000), "ms"),
    ]
