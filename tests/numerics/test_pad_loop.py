"""Pad loop from drops: compression, energies, stiffness, bottoming index, and what spoils them."""

from __future__ import annotations

import numpy as np
import pytest

from dropped_mass import FOAM, GRAVITY, LOSSY, SOFT, drop, record
from quintain.numerics.drop_numbers import analyse_drop
from quintain.numerics.pad_law import PadLaw
from quintain.numerics.pad_loop import fit_pad_law, measure_pad
from quintain.numerics.uncertainty.linear import Estimate

CELL = 3.0 * (2 * np.pi * 200.0) ** 2


def measured(motion, *, noise=3.0, seed=1, cell_stiffness=CELL):
    samples, _ = record(motion, 2000.0, noise=noise, seed=seed)
    numbers = analyse_drop(
        samples, 2000.0, mass=5.0, gravity=GRAVITY, natural_frequency=[200.0], damping_ratio=[0.02],
        u_mass=0.0025, u_gain=0.0025,
    )  # fmt: skip
    c = numbers.corrected
    at = c.time + numbers.corrected_from
    from scipy.interpolate import CubicSpline

    reading = CubicSpline(np.arange(samples.size) / 2000.0, samples - numbers.zero)(at)
    return measure_pad(
        c.force, at, reading, start=numbers.starts[0], u_start=numbers.u_starts[0],
        speed=numbers.approach_speed, mass=5.0, gravity=GRAVITY, u_mass=0.0025, u_gain=0.0025,
        cell_stiffness=cell_stiffness, u_cell_stiffness=0.02,
    )  # fmt: skip


def truth(motion):
    i, j = np.searchsorted(motion.time, [motion.touch_times[0], motion.leave_times[0]])
    x, f = motion.compression[i:j], motion.contact_force[i:j]
    k = int(np.argmax(x))
    return x[k], np.trapezoid(f[: k + 1], x[: k + 1]), np.trapezoid(f, x)


@pytest.mark.parametrize("pad", [FOAM, LOSSY, SOFT])
@pytest.mark.parametrize("height", [0.3, 0.9])
def test_compression_and_energies(pad, height):
    motion = drop(pad, height)
    loop = measured(motion)
    deepest, energy_in, lost = truth(motion)
    # the goals for 95 % of drops: 2 % of the largest compression, 1 % of the energy lost
    assert loop.maximum_compression.value == pytest.approx(deepest, rel=0.02)
    assert loop.energy_in.value == pytest.approx(energy_in, rel=0.01)
    assert loop.energy_lost.value == pytest.approx(lost, rel=0.012)
    assert abs(loop.energy_lost.value - lost) < 3 * loop.energy_lost.u


def test_the_cells_own_compression_must_come_off():
    motion = drop(FOAM, 0.9)
    with_cell, without = measured(motion), measured(motion, cell_stiffness=None)
    deepest = truth(motion)[0]
    assert without.maximum_compression.value > 1.02 * deepest
    assert abs(with_cell.maximum_compression.value / deepest - 1) < 0.02
    assert "cell-compliance-unknown" in without.flags


def test_bottoming_shows_and_plain_foam_does_not():
    thin = PadLaw(8e5, 1.5, bottoming=0.016, friction_loss=0.2, friction_speed=0.8)
    assert measured(drop(thin, 0.8)).bottoms
    assert not measured(drop(FOAM, 0.2)).bottoms


def test_law_of_a_lawful_pad():
    x = np.linspace(0, 0.03, 300)
    v = 3.0 * np.sqrt(1 - (x / 0.03) ** 2)
    f = 8e5 * x**1.5 * (1 + (x / 0.03) ** 8) * (1 + 0.05 * v)
    (stiffness, exponent, depth, loss), u = fit_pad_law(x, f, v)
    assert stiffness == pytest.approx(8e5 * 0.01**0.5, rel=0.02)
    assert exponent == pytest.approx(1.5, abs=0.02)
    assert depth == pytest.approx(0.03, rel=0.02)
    assert loss == pytest.approx(0.05, abs=0.02)
    assert all(value > 0 for value in u)


def test_refusals():
    ten = np.zeros(10)
    with pytest.raises(ValueError, match="length of 20"):
        measure_pad(ten, ten, ten, start=0, u_start=0, speed=Estimate(1.0, 0.0), mass=5, gravity=9.81)
    t = np.arange(100) / 1e4
    with pytest.raises(ValueError, match="loading"):
        measure_pad(0 * t, t, 0 * t, start=0.00995, u_start=0, speed=Estimate(1.0, 0.0), mass=5, gravity=9.81)
    with pytest.raises(ValueError, match="8 points"):
        fit_pad_law([0.0, 0.01], [0.0, 10.0], [1.0, 0.5])
