"""Laws of motion from a sensor: what must not matter does not, and what scales does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quintain.numerics._rotation import rotation_matrices
from quintain.numerics.approach_speed import approach_speed_from_imu
from quintain.numerics.clocks import fit_clock
from quintain.numerics.impact_edge import find_impact_edges
from quintain.numerics.limb import LIMB_STRIKES, read_sensor, simulate_limb
from quintain.numerics.strapdown import integrate_motion

_GENERATOR = np.random.default_rng(4)
MOTION = simulate_limb(LIMB_STRIKES["hook"], _GENERATOR, tremor=0.05)
SENSOR = read_sensor(MOTION, _GENERATOR)
EDGE = find_impact_edges(SENSOR.acceleration, SENSOR.rate)[0]
FEW = settings(deadline=None, max_examples=12)
ANGLE = st.floats(-3.0, 3.0)


def speed(acceleration, rates, **changes):
    return approach_speed_from_imu(
        acceleration,
        rates,
        SENSOR.rate,
        edge=EDGE,
        **({"rest": (50, 550), "normal": MOTION.normal} | changes),
    )


REFERENCE = speed(SENSOR.acceleration, SENSOR.angular_rate)


@FEW
@given(st.tuples(ANGLE, ANGLE, ANGLE))
def test_how_the_sensor_is_turned_on_the_limb_does_not_matter(vector):
    turn = rotation_matrices(np.array([vector]))[0]
    found = speed(SENSOR.acceleration @ turn.T, SENSOR.angular_rate @ turn.T, normal=turn @ MOTION.normal)
    assert found.value == pytest.approx(REFERENCE.value, rel=1e-9)
    assert found.acceleration_before == pytest.approx(REFERENCE.acceleration_before, rel=1e-7)


@FEW
@given(st.tuples(*[st.floats(-0.2, 0.2)] * 3))
def test_a_constant_gyro_bias_does_not_matter(bias):
    found = speed(SENSOR.acceleration, SENSOR.angular_rate + np.array(bias))
    assert found.value == pytest.approx(REFERENCE.value, rel=1e-9)


@FEW
@given(st.tuples(*[st.floats(-1.0, 1.0)] * 3))
def test_an_accelerometer_bias_cancels_without_turning(bias):
    shown = SENSOR.acceleration + np.array(bias)
    still = np.zeros_like(SENSOR.angular_rate)
    one, other = (
        integrate_motion(a, still, SENSOR.rate, rest=(50, 550), stop=len(a))
        for a in (SENSOR.acceleration, shown)
    )
    assert np.abs(one.velocity - other.velocity).max() < 1e-9


@FEW
@given(st.floats(0.7, 1.4))
def test_speed_grows_with_the_scale_of_the_accelerometer(scale):
    found = speed(SENSOR.acceleration * scale, SENSOR.angular_rate, gravity=9.80665 * scale)
    assert found.value == pytest.approx(scale * REFERENCE.value, rel=1e-9)


def test_attitude_stays_a_rotation():
    motion = integrate_motion(
        SENSOR.acceleration, SENSOR.angular_rate, SENSOR.rate, rest=(50, 550), stop=len(SENSOR.acceleration)
    )
    product = motion.attitude @ np.swapaxes(motion.attitude, 1, 2)
    assert np.abs(product - np.eye(3)).max() < 1e-12


@FEW
@given(st.floats(-1e4, 1e4), st.floats(-100e-6, 100e-6), st.integers(0, 2**32 - 1))
def test_clocks_are_found_at_any_offset_and_drift(offset, drift, seed):
    generator = np.random.default_rng(seed)
    t = np.cumsum(generator.uniform(1.0, 8.0, 15))
    fit = fit_clock(t, t * (1 + drift) + offset)
    assert fit.pairs.tolist() == [[i, i] for i in range(15)]
    assert fit.to_other(30.0) == pytest.approx(30.0 * (1 + drift) + offset, abs=1e-6)


@FEW
@given(st.integers(0, 2**32 - 1))
def test_swapping_the_clocks_inverts_the_line(seed):
    generator = np.random.default_rng(seed)
    t = np.cumsum(generator.uniform(1.0, 8.0, 12))
    other = t * (1 + 30e-6) + 5.0 + generator.normal(0, 2e-4, t.size)
    there, back = fit_clock(t, other), fit_clock(other, t)
    # fitted errors lie along one clock in either case: they agree to second order of 0.2 ms
    assert back.to_other(there.to_other(40.0)) == pytest.approx(40.0, abs=1e-4)
