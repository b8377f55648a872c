"""Force at the glove through a plate and its pad, against the simulator."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Plate, Striker, Target, simulate_strike
from quintain.numerics.contact_force import PlateOnPad, recover_contact_force
from quintain.numerics.pad_law import INVENTED_PADS

CELL = Cell(3.0, 220.0, 0.02)
STIFFNESS = 1.2e6


@pytest.mark.parametrize("mass", [0.3, 1.0, 3.0])
def test_the_glove_is_seen_through_the_plate(mass: float) -> None:
    rng = np.random.default_rng(4)
    target = Target(INVENTED_PADS["lively"], Plate(mass, STIFFNESS, 0.1), CELL)
    motion = simulate_strike(Striker(2.5, 6.0, gap=0.01), target, duration=0.3, rate=50e3)
    samples = acquire(motion.cell_output, 50e3, rate=2000.0, rng=rng, quiet_before=0.05, noise=3.0).force
    frequency = math.sqrt(STIFFNESS / mass) / 2 / math.pi
    found = recover_contact_force(
        samples, 2000.0, natural_frequency=220.0, damping_ratio=0.02,
        plate=PlateOnPad(mass, 3.0, frequency, 0.1), noise=3.0,
    )  # fmt: skip
    true = float(motion.contact_force.max())
    assert found.peak_force == pytest.approx(true, rel=0.03)  # goal: 2 % median
    assert abs(found.peak_force - true) < 1.96 * found.u_peak_force
    cell = float(motion.force_on_cell.max())
    assert abs(found.peak_force - true) < 0.5 * abs(cell - true)
    assert math.hypot(*found.contributions.values()) == pytest.approx(found.u_peak_force)
    # the impulse is the same on both sides of the plate
    settled = float(np.trapezoid(found.force, found.time))
    assert settled == pytest.approx(float(motion.contact_impulse[-1]), rel=0.01)


def test_it_is_refused_where_it_cannot_hold() -> None:
    plate = PlateOnPad(1.0, 3.0, 170.0, 0.1)
    kwargs = {"natural_frequency": 220.0, "damping_ratio": 0.02, "noise": 1.0}
    with pytest.raises(ValueError, match="sample faster"):
        recover_contact_force(np.zeros(100), 400.0, plate=plate, **kwargs)
    with pytest.raises(ValueError, match="16 finite samples"):
        recover_contact_force([1.0, math.nan] * 20, 2000.0, plate=plate, **kwargs)
    with pytest.raises(ValueError, match="above 0"):
        recover_contact_force(np.zeros(100), 2000.0, plate=plate._replace(mass=0.0), **kwargs)
