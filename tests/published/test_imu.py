"""
Kinematics and error growth of inertial sensors against values worked out by hand.

Status: 'derived' values follow from elementary kinematics and were computed independently of this
package. The growth of a tilt with a gyro's bias is also given by O. J. Woodman, An introduction to
inertial navigation, University of Cambridge UCAM-CL-TR-696 (2007) (form of the law from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.approach_speed import approach_speed_from_imu
from quintain.numerics.clocks import fit_clock, lag_by_correlation
from quintain.numerics.impact_edge import ImpactEdge, filter_delay
from quintain.numerics.strapdown import integrate_motion

G = 9.80665
RATE = 1000.0
REST = 500


def still(seconds):
    return np.tile([0.0, 0.0, G], (REST + round(seconds * RATE) + 1, 1))


def integrate(force, rates=None, rate=RATE):
    rates = np.zeros_like(force) if rates is None else rates
    return integrate_motion(force, rates, rate, rest=(0, REST), stop=len(force))


@pytest.mark.parametrize(
    ("bias", "time", "speed", "distance"),
    [(0.010, 0.3, 0.029420, 4.413e-3), (0.050, 0.5, 0.245166, 61.29e-3)],
)
def test_speed_and_distance_from_a_bias(bias, time, speed, distance):
    """Derived: b t and b t²/2."""
    force = still(time)
    force[REST:, 0] += bias * G
    v = integrate(force).velocity[:, 0]
    # the bias sets in within one sampling interval, which adds half of one to the time
    half = bias * G / RATE / 2
    assert v[-1] - half == pytest.approx(speed, abs=1e-6)
    assert np.trapezoid(v[REST - 1 :]) / RATE == pytest.approx(distance, rel=5e-3)


@pytest.mark.parametrize(
    ("degrees", "acceleration", "speed"), [(1.0, 0.171150, 0.05134), (5.0, 0.854706, 0.25641)]
)
def test_speed_from_a_tilt(degrees, acceleration, speed):
    """Derived: g sin θ, over 0.3 s."""
    force = still(0.3)
    tilted = np.array([math.sin(math.radians(degrees)), 0.0, math.cos(math.radians(degrees))]) * G
    force[REST:] = tilted
    found = integrate(force)
    assert found.acceleration[-1, 0] == pytest.approx(acceleration, abs=1e-6)
    assert found.velocity[-1, 0] - acceleration / RATE / 2 == pytest.approx(speed, abs=1e-5)


def test_speed_and_distance_from_a_gyro_bias():
    """Derived, and Woodman 2007 for the form: g ω t²/2 and g ω t³/6 for 1 °/s over 0.3 s."""
    force, rates = still(0.3), np.zeros_like(still(0.3))
    rates[REST:, 1] = math.radians(1.0)
    v = integrate(force, rates).velocity[:, 0]
    # 0.5 % : the bias sets in within one of 300 intervals
    assert v[-1] == pytest.approx(0.0077021, rel=5e-3)
    assert np.trapezoid(v[REST:]) / RATE == pytest.approx(0.77021e-3, rel=7e-3)


def test_speed_from_white_noise():
    """Derived: n g √(t/2) for a one-sided density of 300 µg/√Hz over 0.3 s is 1.13943 mm/s."""
    generator = np.random.default_rng(1)
    density = 300e-6 * G
    noise = generator.normal(0, density * math.sqrt(RATE / 2), (4000, 300))
    spread = (noise.sum(axis=1) / RATE).std()
    assert density * math.sqrt(0.3 / 2) == pytest.approx(1.13943e-3, abs=1e-7)
    assert spread == pytest.approx(1.13943e-3, rel=0.04)  # 4000 draws know it to 1.1 %


def test_centripetal_acceleration_of_a_sensor_off_the_axis():
    """Derived: 1500 °/s at 0.3 m: ω² r = 205.617 m/s² = 20.967 g, ω r = 7.85398 m/s."""
    w, r = math.radians(1500.0), 0.3
    assert w**2 * r == pytest.approx(205.617, abs=1e-3)
    assert w**2 * r / G == pytest.approx(20.967, abs=1e-3)
    n = 301
    rates = np.zeros((REST + n, 3))
    force = np.tile([0.0, 0.0, G], (REST + n, 1))
    spin = np.clip(np.arange(n) / 100, 0, 1) * w
    rates[REST:, 2] = spin
    # a sensor on the axis and a striking point 0.3 m off it: all of the speed comes from the lever arm
    found = approach_speed_from_imu(
        force, rates, RATE, rest=(0, REST), edge=ImpactEdge((REST + 250) / RATE, 0.0, 0.0),
        lever_arm=[r, 0.0, 0.0], u_lever_arm=0.01, acceleration_limit=500.0, rate_limit=40.0,
    )  # fmt: skip
    assert found.value == pytest.approx(7.85398, abs=1e-2)  # carried over 2 ms along an arc: cos 3°
    assert dict(found.contributions)["lever_arm"] == pytest.approx(w * 0.01, rel=0.02)


@pytest.mark.parametrize(("rate", "error"), [(100, -0.36581), (200, -0.09140), (1000, -0.0036554)])
def test_half_sine_and_the_error_of_the_trapezoid(rate, error):
    """Derived: 10 g for 150 ms gives 9.364661 m/s; the trapezoid is low by (π/N)²/12, in %."""
    t = np.arange(round(0.15 * rate) + 1) / rate
    force = np.tile([0.0, 0.0, G], (REST + t.size, 1))
    force[REST:, 0] = 10 * G * np.sin(np.pi * t / 0.15)
    exact = 2 / np.pi * 10 * G * 0.15
    assert exact == pytest.approx(9.364661, abs=1e-6)
    speed = integrate(force, rate=float(rate)).velocity[-1, 0]
    assert 100 * (speed / exact - 1) == pytest.approx(error, abs=2e-4)


def test_one_turn_on_a_circle_brings_the_speed_back():
    """Derived: 720 °/s at 0.4 m for 0.5 s, steps of 1 ms: 5.026548 m/s again, and the place."""
    w, r = math.radians(720.0), 0.4
    n = 500
    force = np.tile([0.0, 0.0, G], (REST + n + 1, 1))
    rates = np.zeros_like(force)
    force[REST:, 0] = -(w**2) * r
    rates[REST:, 2] = w
    motion = integrate(force, rates)
    # the first interval, in which the rate jumps, counts half: take the turn from the sample after it
    v = motion.velocity[REST:, :2] - motion.velocity[REST, :2]
    heading = motion.attitude[REST, :, 1][:2]
    v = v + w * r * heading
    assert w * r == pytest.approx(5.026548, abs=1e-6)
    assert v[-1] == pytest.approx(w * r * heading, abs=2e-5)
    # the trapezoid's chords are short by (ω Δt)²/12: 33 µm after the turn; a mid-step rule leaves 17 µm
    assert np.abs(np.trapezoid(v, axis=0) / RATE).max() < 3.4e-5


def test_a_rest_afterwards_takes_a_constant_bias_out():
    """Derived: with a linear drift between two rests the speed is exact everywhere."""
    force = np.tile([0.0, 0.0, G], (1500, 1))
    force[REST:700, 0] += 20.0
    force[800:1000, 0] -= 20.0
    clean = integrate_motion(force, None, RATE, rest=(0, REST), stop=1500)
    biased = force.copy()
    # a bias that sets in after the rest and goes before the other one
    biased[REST + 1 : 1200, 0] += 0.5
    biased[[REST, 1200], 0] += 0.25
    closed = integrate_motion(biased, None, RATE, rest=(0, REST), stop=1500, rest_after=(1200, 1500))
    assert np.abs(closed.velocity[-1]).max() < 1e-3
    assert np.abs(closed.velocity[:, 0] - clean.velocity[:, 0]).max() < 2e-3


def test_lag_between_two_copies_of_a_burst():
    """Derived: 40 Hz burst, 12.3 ms, 1 kHz: 12 ms in whole samples, 12.2982 ms by the parabola."""
    t = np.arange(1000) / 1000

    def burst(t):
        return np.exp(-(((t - 0.4) / 0.01) ** 2)) * np.sin(2 * np.pi * 40 * (t - 0.4))

    assert 1e3 * lag_by_correlation(burst(t), burst(t - 0.0123), 1000.0) == pytest.approx(12.2982, abs=5e-3)


@pytest.mark.parametrize(("late", "change"), [(0.001, 0.196133), (0.002, 0.392266)])
def test_speed_read_at_a_wrong_instant(late, change):
    """Derived: a δt at 20 g."""
    force = still(0.2)
    force[REST:, 0] = 20 * G
    v = integrate(force).velocity[:, 0]
    assert v[-1] - v[-1 - round(late * RATE)] == pytest.approx(change, abs=1e-6)


def test_drift_of_a_clock():
    """Derived: 50 ppm over 60 s is 3.0 ms."""
    t = np.sort(np.random.default_rng(2).uniform(0, 60, 20))
    fit = fit_clock(t, t * (1 + 50e-6))
    assert fit.to_other(60.0) - 60.0 == pytest.approx(3.0e-3, abs=1e-6)


@pytest.mark.parametrize(("cutoff", "delay"), [(44, 3.617), (184, 0.865), (260, 0.612)])
def test_delay_of_a_low_pass_filter(cutoff, delay):
    """Derived: 1/(2π f), in ms."""
    assert 1e3 * filter_delay(cutoff) == pytest.approx(delay, abs=1e-3)
