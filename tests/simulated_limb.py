"""Simulated blows with force and speed as arrays, for the tests of the limb."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.bodies import Cell, Motion, Push, Striker, Target, simulate_strike
from quintain.numerics.effective_mass import LimbTrace, join_speed
from quintain.numerics.pad_law import INVENTED_PADS

CELL = Cell(3.0, 220.0, 0.02)


class Simulated(NamedTuple):
    """One blow: its trace from the touch, and what is true of it."""

    motion: Motion
    since: NDArray[np.float64]
    """Time from the touch. [s]"""
    trace: LimbTrace
    approach_speed: float
    acceleration: float
    stop: float
    energy: float
    """Work of the hand on the pad to its stop. [J]"""


def simulate_blow(
    mass: float = 3.0,
    speed: float = 7.0,
    *,
    push: Push | None = None,
    pad: str = "firm",
    mass_behind: float = 0.0,
    joint_frequency: float = 25.0,
    rate: float = 50e3,
) -> Simulated:
    """Throw a limb at an invented pad on a cell."""
    striker = Striker(mass, speed, 0.05, push, mass_behind, joint_frequency)
    motion = simulate_strike(striker, Target(INVENTED_PADS[pad], cell=CELL), duration=0.12, rate=rate)
    since = motion.time - motion.touch_times[0]
    end = float(motion.leave_times[0] - motion.touch_times[0])
    trace = join_speed(since, motion.force_on_cell, since, motion.striker_speed, end=end)
    before = (since < 0) & (since > -0.003)
    acceleration, at_touch = np.polyfit(since[before], motion.striker_speed[before], 1)
    i = int(np.argmax((since > 0) & (motion.striker_speed <= 0)))
    first = int(np.searchsorted(since, 0.0))
    v = motion.striker_speed
    stop = float(since[i] + v[i] / (v[i - 1] - v[i]) / rate)
    work = float(np.trapezoid((motion.contact_force * motion.striker_speed)[first:i], dx=1 / rate))
    return Simulated(motion, since, trace, float(at_touch), float(acceleration), stop, work)
