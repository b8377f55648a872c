"""Drops against closed forms: a mass on a linear pad, bounces without contact time, E_n."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.bodies import Cell, Target, simulate_drop
from quintain.numerics.closure import (
    ClosureSetup,
    ForceMoments,
    approach_speed,
    arrival_speed,
    gain_without_height,
    restitution,
)
from quintain.numerics.drop_numbers import analyse_drop
from quintain.numerics.first_moment import force_moments
from quintain.numerics.pad_law import PadLaw
from quintain.numerics.pad_loop import measure_pad
from quintain.numerics.uncertainty.linear import Estimate
from quintain.numerics.verdict import en_number

G = 9.80665
NONE = np.array([])


@pytest.fixture(scope="module")
def linear_pad():
    """5 kg from 1.00 m on a lossless pad of 50 kN/m, on a cell too stiff to matter."""
    stiff = Cell(0.05, 20e3, 0.5)
    return simulate_drop(
        5.0, Target(PadLaw(50e3), cell=stiff), height=1.0, duration=1.6, gravity=G, rate=100e3
    )


def first_interval(motion):
    i = np.searchsorted(motion.time, motion.touch_times[0])
    j = np.searchsorted(motion.time, motion.touch_times[1]) + 1
    span = slice(i - 10, j)
    return force_moments(
        motion.contact_force[span],
        motion.time[span],
        *motion.touch_times[:2],
        noise=0.0,
        frequency=NONE,
        damping=NONE,
        n_ring=0,
    )


def test_speed_after_one_metre(linear_pad):
    # v = sqrt(2 g h) = 4.428691 m/s, elementary
    v = approach_speed(first_interval(linear_pad), ClosureSetup(5.0, G))
    assert v.value == pytest.approx(4.428691, abs=2e-4)


def test_impulse_holds_the_weight_times_contact_time(linear_pad):
    # J = 2 m v + m g T = 44.28691 + 1.56214 = 45.84905 N s; derived here, contact force, cell zeroed before
    m = first_interval(linear_pad)
    assert m.impulse == pytest.approx(45.84904, abs=3e-3)


def test_lossless_pad_gives_the_speed_back(linear_pad):
    m = first_interval(linear_pad)
    assert restitution(m, ClosureSetup(5.0, G)).value == pytest.approx(1.0, abs=1e-4)
    assert arrival_speed(m, ClosureSetup(5.0, G)).value == pytest.approx(4.428691, abs=3e-4)


def test_contact_time_and_peak_with_gravity(linear_pad):
    # T = [pi + 2 atan(g/(w v))]/w = 31.8587 ms; F = m g [1 + sqrt(1 + 2 k h/(m g))] = 2263.921 N (standard
    # formula of a dropped weight)
    contact = linear_pad.leave_times[0] - linear_pad.touch_times[0]
    assert 1e3 * contact == pytest.approx(31.8587, abs=2e-3)
    assert linear_pad.contact_force.max() == pytest.approx(2263.921, abs=0.2)


def test_pad_loop_of_a_linear_pad(linear_pad):
    # x_max = F/k = 2263.921 / 50e3 = 45.278 mm with gravity; nothing lost; derived here
    i, j = np.searchsorted(linear_pad.time, [linear_pad.touch_times[0], linear_pad.leave_times[0]])
    span = slice(i - 5, j + 5, 10)
    force = linear_pad.contact_force[span]
    pad = measure_pad(
        force,
        linear_pad.time[span],
        force,
        start=float(linear_pad.touch_times[0]),
        u_start=1e-6,
        speed=Estimate(4.428691, 1e-5),
        mass=5.0,
        gravity=G,
        cell_stiffness=0.05 * (2 * np.pi * 20e3) ** 2,
    )
    assert 1e3 * pad.maximum_compression.value == pytest.approx(45.278, abs=0.02)
    assert pad.energy_lost.value == pytest.approx(0.0, abs=0.003 * pad.energy_in.value)
    assert pad.secant_stiffness.value == pytest.approx(50e3, rel=2e-3)
    assert pad.exponent.value == pytest.approx(1.0, abs=0.02)
    assert not pad.bottoms


def test_bounces_without_contact_time():
    # 1 m, e = 0.6: flights 0.541921 s and 0.6 times that, rise 0.36 m (Bernstein 1977, Am. J. Phys. 45:41,
    # from memory; elementary)
    v = np.sqrt(2 * G * 1.0)
    speeds = v * 0.6 ** np.arange(4)
    flights = 2 * speeds[1:] / G
    assert flights[0] == pytest.approx(0.541921, abs=1e-6)
    zero = (np.zeros((2, 2)), np.zeros(2), np.zeros(2), 1e-5, 1e-5)
    train = [
        ForceMoments(float(t), 5.0 * (a + b), 0.0, *zero)
        for t, a, b in zip(flights, speeds, speeds[1:], strict=False)
    ]
    setup = ClosureSetup(5.0, G)
    e = restitution(train[0], setup)
    assert e.value == pytest.approx(0.6, abs=1e-12)
    assert e.value**2 == pytest.approx(0.36, abs=1e-12)
    assert approach_speed(train[0], setup).value == pytest.approx(v, rel=1e-12)
    assert gain_without_height(train, setup).value == pytest.approx(1.0, rel=1e-9)


def test_standard_gravity_in_place_of_local_spoils_a_drop():
    # at the equator g is 0.27 % less than the standard value; a closure has 1 + gT/(2v) = 1.4 times as much
    # of it to spare, a dead weight all of it (derived here)
    t = 2 * 3.0 / 9.7803253
    m = ForceMoments(t, 5.0 * 6.0, 0.0, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0.0, 0.0)
    right = approach_speed(m, ClosureSetup(5.0, 9.7803253)).value
    wrong = approach_speed(m, ClosureSetup(5.0, G)).value
    assert right == pytest.approx(3.0, rel=1e-12)
    assert 100 * (wrong / right - 1) == pytest.approx(-0.268, abs=0.005)


def test_en_number():
    # 1005 ± 8 against 1000 ± 6 (expanded): 0.5; ISO 13528:2015, 9.7, from memory
    assert en_number(1005, 8, 1000, 6) == pytest.approx(0.5, abs=1e-12)


def test_samples_of_a_linear_pad_drop(linear_pad):
    samples = np.concatenate([np.zeros(1000), linear_pad.contact_force[::100]])
    samples = samples + np.random.default_rng(1).normal(0, 1.0, samples.size)
    numbers = analyse_drop(samples, 1000.0, mass=5.0, gravity=G, height=1.0, u_gain=0.0025)
    # 0.3 %: 1 N of noise at 1 kHz is 0.05 % of this speed; a linear pad's force starts with a kink, which
    # costs a few hundredths of a millisecond at each start
    assert numbers.approach_speed.value == pytest.approx(4.428691, rel=3e-3)
    assert numbers.verdict.decision == "undecided"  # a pad that loses nothing is none
