"""Speed of a recording with 30 drops at 5 kHz, from samples to verdict, on one core."""

from __future__ import annotations

import time

import numpy as np

from bench.row import Row
from quintain.domain.drop import DropSettings
from quintain.domain.rig import Calibration, Mode, Rig
from quintain.domain.trace import ArraySamples, Trace
from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Target, simulate_drop
from quintain.numerics.pad_law import PadLaw
from quintain.tasks.drops import analyse_drops

RATE = 5000.0
N_DROPS = 30


def recording() -> np.ndarray:
    """Invented: ten heights from 0.2 m on, three times over, on a foam of e = 0.6."""
    pad = PadLaw(8e5, 1.5, bottoming=0.035, friction_loss=0.55, friction_speed=0.8)
    target = Target(pad, cell=Cell(3.0, 200.0, 0.02))
    rng = np.random.default_rng(1)
    parts = []
    for height in np.linspace(0.2, 1.1, 10):
        motion = simulate_drop(5.0, target, height=float(height), duration=2.6, gravity=9.81, rate=40e3)
        parts.append(
            acquire(
                motion.cell_output,
                motion.rate,
                rate=RATE,
                rng=rng,
                quiet_before=1.0,
                noise=3.0,
                limit=1e4,
                bits=16,
            ).force
        )
    return np.concatenate(parts * (N_DROPS // 10))


def run() -> list[Row]:
    samples = recording()
    trace = Trace("Fz", "force", "N", RATE, ArraySamples(samples, RATE))
    rig = Rig("invented", modes=(Mode(200.0, 0.02),), calibration=Calibration(u_gain=0.0025))
    settings = DropSettings(5.0, gravity=9.81, cell_stiffness=4.74e6)
    analyse_drops(
        Trace("Fz", "force", "N", RATE, ArraySamples(samples[: int(3.6 * RATE)], RATE)), settings, rig=rig
    )
    began = time.process_time()
    test = analyse_drops(trace, settings, rig=rig)
    took = time.process_time() - began
    return [
        Row(f"{N_DROPS} drops at 5 kHz, {samples.size} samples", took, "s of one core", at_most=10.0),
        Row("drops found", len(test.drops), "drops", at_least=N_DROPS, at_most=N_DROPS),
    ]
