"""Detection on an hour at 10 kHz with 600 simulated strikes, in memory and block by block."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np

from bench.row import Row
from quintain.numerics.onset import StrikeScanner, find_strikes

RATE = 10_000.0
FREQUENCY, DAMPING = 200.0, 0.03
N_STRIKES = 600


def _strike() -> np.ndarray:
    """Half-sine of 2 kN and 12 ms through a rig of one mode, followed for one second (closed steps)."""
    from scipy.signal import cont2discrete, lfilter

    w = 2 * np.pi * FREQUENCY
    b, a, _ = cont2discrete(([w * w], [1, 2 * DAMPING * w, w * w]), 1 / RATE, method="foh")
    force = np.zeros(int(RATE))
    n = int(0.012 * RATE)
    force[:n] = 2000 * np.sin(np.pi * np.arange(n) / n)
    return lfilter(b.ravel(), a, force)


def recording(seconds: float, n_strikes: int) -> np.ndarray:
    """Noise of 3 N, drift, and strikes spread evenly."""
    rng = np.random.default_rng(7)
    trace = rng.normal(0, 3, int(seconds * RATE)) + np.arange(int(seconds * RATE)) * (0.5 / RATE)
    strike = _strike()
    for k in range(n_strikes):
        at = int((k + 0.5) * seconds / n_strikes * RATE)
        trace[at : at + strike.size] += strike[: trace.size - at]
    return trace


def _peak_memory(trace: np.ndarray) -> float:
    """Most that the scanner holds while a recording goes through in blocks. [MB]"""
    scanner = StrikeScanner(RATE, natural_frequency=FREQUENCY, damping_ratio=DAMPING)
    tracemalloc.start()
    for first in range(0, trace.size, 50_000):
        scanner.push(trace[first : first + 50_000], first)
    scanner.finish()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return peak


def run() -> list[Row]:
    trace = recording(3600.0, N_STRIKES)
    settings = {"natural_frequency": FREQUENCY, "damping_ratio": DAMPING}
    find_strikes(trace[:100_000], RATE, **settings)  # compile
    best = np.inf  # processor time, so that other work on the machine does not count
    for _ in range(3):
        begin = time.process_time()
        events = find_strikes(trace, RATE, **settings)
        best = min(best, time.process_time() - begin)
    short, long = _peak_memory(trace[: trace.size // 12]), _peak_memory(trace)
    return [
        Row("one hour at 10 kHz, detection", trace.size / best / 1e6, "million samples/s", at_least=30),
        Row("strikes found of 600", len(events), "", at_least=N_STRIKES, at_most=N_STRIKES),
        Row("memory of the scanner, one hour in blocks", long, "MB", at_most=20),
        Row("memory, one hour over five minutes", long / short, "", at_most=1.2),
    ]
