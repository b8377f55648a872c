"""Recordings of dropped masses with known truth, from the package's own simulator (invented rigs)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Motion, Plate, Target, simulate_drop
from quintain.numerics.pad_law import PadLaw

GRAVITY = 9.81
QUIET = 1.0
"""Quiet recorded before the release. [s]"""

FOAM = PadLaw(8e5, 1.5, bottoming=0.035, friction_loss=0.55, friction_speed=0.8)
LOSSY = PadLaw(8e5, 1.5, bottoming=0.035, friction_loss=0.9, friction_speed=0.7)
SOFT = PadLaw(1e5, 1.4, bottoming=0.1, friction_loss=0.6, friction_speed=0.8)
HARD = PadLaw(8e6, 1.5, bottoming=0.02, friction_loss=0.3, friction_speed=0.8)
BOUNCY = PadLaw(8e5, 1.5, bottoming=0.035, friction_loss=0.12, friction_speed=0.8)
SLOW = PadLaw(5e5, 1.5, friction_loss=0.6, friction_speed=0.8, branch_stiffness=6e4, branch_time=0.01)
DEAD = PadLaw(2e5, 1.5, friction_loss=0.95, friction_speed=0.05, dashpot=900.0)
PLATE = Plate(1.0, 6e4, 0.12)
SWINGING_PLATE = Plate(3.0, 8e4, 0.04)


@lru_cache(maxsize=64)
def drop(
    pad: PadLaw = FOAM,
    height: float = 0.5,
    *,
    plate: Plate | None = None,
    frequency: float = 200.0,
    damping: float = 0.02,
    mass: float = 5.0,
    friction: float = 0.0,
    duration: float = 2.2,
) -> Motion:
    """Simulate one drop."""
    target = Target(pad, plate=plate, cell=Cell(3.0, frequency, damping))
    return simulate_drop(
        mass, target, height=height, duration=duration, gravity=GRAVITY, friction=friction, rate=20e3
    )


def record(
    motion: Motion, rate: float = 1000.0, *, noise: float = 3.0, seed: int = 1, **chain: float
) -> tuple[NDArray[np.float64], float]:
    """Samples, and the time of the first of them on the simulator's clock, some QUIET below 0."""
    got = acquire(
        motion.cell_output,
        motion.rate,
        rate=rate,
        rng=np.random.default_rng(seed),
        quiet_before=QUIET,
        noise=noise,
        limit=1e4,
        bits=16 if noise else None,
        **chain,
    )
    return got.force, float(got.time[0])


def true_speed(motion: Motion) -> float:
    """Speed at first touch: free fall, so exact without friction."""
    i = int(np.searchsorted(motion.time, motion.touch_times[0])) - 1
    return float(motion.striker_speed[i] + GRAVITY * (motion.touch_times[0] - motion.time[i]))
