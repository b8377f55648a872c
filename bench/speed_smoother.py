"""How many strikes a second the ringing correction takes on one core."""

from __future__ import annotations

import time

import numpy as np

from bench.row import Row
from bench.validate.pulses import SHAPES, Rig, strike
from quintain.numerics.ringing import remove_ringing


def run() -> list[Row]:
    """Time whole corrections, with the search for densities and modes, on windows of 0.3 s at 2 kHz."""
    rng = np.random.default_rng(7)
    rig = Rig(natural_frequency=200.0, damping_ratio=0.02, rate=2000.0)

    strikes = [strike(shape, 0.012, rig, rng, noise=3.0, window=0.3).samples for shape in SHAPES]

    def correct() -> None:
        for samples in strikes:
            remove_ringing(samples, rig.rate, natural_frequency=[202.0], damping_ratio=[0.022], noise=3.0)

    correct()  # compile
    best = np.inf
    for _ in range(4):
        start = time.process_time()
        correct()
        best = min(best, time.process_time() - start)
    return [
        Row("ringing correction, 0.3 s at 2 kHz, one core", len(strikes) / best, "strikes/s", at_least=20.0)
    ]
