"""Approach speed from a sensor on a simulated limb, its uncertainty, and its guards."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.approach_speed import approach_speed_from_imu
from quintain.numerics.impact_edge import find_impact_edges
from quintain.numerics.imu_errors import CALIBRATED
from quintain.numerics.limb import LIMB_STRIKES, read_sensor, simulate_limb
from quintain.numerics.stillness import find_rests

ARM = np.array([0.08, 0.0, 0.02])


def strike(kind="straight", seed=1, *, errors=CALIBRATED, **sensor):
    generator = np.random.default_rng(seed)
    motion = simulate_limb(LIMB_STRIKES[kind], generator, lever_arm=ARM, tremor=0.1)
    return motion, read_sensor(motion, generator, errors=errors, **sensor)


def speed(motion, sensor, *, gyro=True, both_rests=False, **settings):
    rests = find_rests(sensor.acceleration, sensor.rate, angular_rate=sensor.angular_rate)
    edge = find_impact_edges(sensor.acceleration, sensor.rate)[0]
    after = (rests[-1].start, rests[-1].stop) if both_rests else None
    settings = {
        "lever_arm": ARM, "u_lever_arm": 0.0, "normal": motion.normal, "u_normal": 0.0, "errors": CALIBRATED
    } | settings  # fmt: skip
    return approach_speed_from_imu(
        sensor.acceleration,
        sensor.angular_rate if gyro else None,
        sensor.rate,
        rest=(rests[0].start, rests[0].stop),
        edge=edge,
        rest_after=after,
        **settings,
    )


@pytest.mark.parametrize("kind", sorted(LIMB_STRIKES))
def test_a_perfect_sensor_gives_the_speed(kind):
    motion, sensor = strike(kind, errors=None)
    found = speed(motion, sensor)
    # 0.4 %: what filter and carrying to the edge leave of a perfect sensor (95th percentile 0.3 %)
    assert found.value == pytest.approx(motion.approach_speed, rel=4e-3)
    assert found.flags == ()


@pytest.mark.parametrize("kind", sorted(LIMB_STRIKES))
def test_a_calibrated_sensor_stays_within_its_uncertainty(kind):
    wrong = 0
    for seed in range(12):
        motion, sensor = strike(kind, seed)
        found = speed(motion, sensor)
        assert found.value == pytest.approx(motion.approach_speed, rel=0.015)
        wrong += abs(found.value - motion.approach_speed) > 1.96 * found.u
    assert wrong <= 3  # 1 in 20 expected; 4 of 12 has a probability of 0.2 %


def test_a_rest_afterwards_helps_an_uncalibrated_sensor_and_its_uncertainty():
    from quintain.numerics.imu_errors import UNCALIBRATED

    alone, closed = [], []
    for seed in range(8):
        motion, sensor = strike("kick", seed, errors=UNCALIBRATED)
        for errors, settings in ((alone, {}), (closed, {"both_rests": True})):
            found = speed(motion, sensor, errors=UNCALIBRATED, **settings)
            errors.append((abs(found.value / motion.approach_speed - 1), found.u))
    assert np.median([u for _, u in closed]) < np.median([u for _, u in alone])


def test_the_lever_arm_matters_and_is_in_the_budget():
    motion, sensor = strike("hook")
    right = speed(motion, sensor, u_lever_arm=0.01)
    without = speed(motion, sensor, lever_arm=(0.0, 0.0, 0.0), u_lever_arm=0.1)
    assert dict(right.contributions)["lever_arm"] > 0
    assert abs(without.value - motion.approach_speed) > abs(right.value - motion.approach_speed)
    assert abs(without.value - motion.approach_speed) < 3 * without.u


def test_gyro_at_its_limit_withholds_the_speed():
    motion, sensor = strike("kick", rate_limit=3.0)
    for limit in (3.0, None):
        found = speed(motion, sensor, rate_limit=limit)
        assert "gyro-limit" in found.flags
        assert math.isnan(found.value)


def test_clipping_before_contact_withholds_and_in_contact_ends_the_motion():
    motion, sensor = strike("kick", acceleration_limit=60.0)
    assert "imu-clipped" in speed(motion, sensor, acceleration_limit=60.0).flags
    motion, sensor = strike("straight", acceleration_limit=157.0)
    found = speed(motion, sensor, acceleration_limit=157.0)
    assert found.flags == ()
    assert 0 <= found.time[-1] < 0.006
    assert found.value == pytest.approx(motion.approach_speed, rel=0.02)  # the edge's rise is cut


def test_a_coarse_converter_is_not_taken_for_one_at_its_end():
    motion, sensor = strike("straight", noise=0.0, rate_noise=0.0)
    step = 400 * 9.80665 / 2**15  # 16 bit over 400 g: an axis at rest holds its extreme readings for long
    coarse = sensor._replace(acceleration=np.round(sensor.acceleration / step) * step)
    assert "imu-clipped" not in speed(motion, coarse).flags


def test_a_clipped_impact_is_never_closed_by_the_rest_afterwards():
    motion, sensor = strike("straight", acceleration_limit=157.0)
    plain = speed(motion, sensor, acceleration_limit=157.0)
    closed = speed(motion, sensor, acceleration_limit=157.0, both_rests=True)
    assert closed.value == plain.value


def test_without_a_gyro():
    motion, sensor = strike("straight")
    with pytest.raises(ValueError, match="straight"):
        speed(motion, sensor, gyro=False)
    found = speed(motion, sensor, gyro=False, straight=True)
    assert {"no-gyro", "resultant-speed"} <= set(found.flags)
    assert 0.05 < found.u / found.value < 0.25
    assert abs(found.value - motion.approach_speed) < 2.5 * found.u


def test_readings_in_g_are_noticed():
    _, sensor = strike("straight")
    wrong = sensor._replace(acceleration=sensor.acceleration / 9.80665)
    rests = find_rests(wrong.acceleration, wrong.rate)
    edge = find_impact_edges(sensor.acceleration, sensor.rate)[0]
    rest = (0, min(rests[0].stop, 600))
    found = approach_speed_from_imu(wrong.acceleration, wrong.angular_rate, 1000.0, rest=rest, edge=edge)
    assert "still-not-g" in found.flags
    assert math.isnan(found.value)


def test_a_long_way_from_the_rest_is_flagged():
    motion, sensor = strike("straight")
    assert "long-integration" in speed(motion, sensor, longest=0.1).flags


def test_motion_in_contact_reaches_the_turning_of_the_limb():
    motion, sensor = strike("straight", errors=None)
    found = speed(motion, sensor)
    truth = np.interp(found.time, motion.time - motion.contact, motion.velocity[:, 0])
    during = (found.time > 0) & (found.time < 0.02)
    assert found.speed[during].min() < 0  # it bounces back
    # 0.4 ms of delay at 800 m/s² of deceleration
    assert np.abs(found.speed - truth)[during].max() < 0.5
    assert found.u_speed.shape == found.speed.shape == found.acceleration.shape


def test_a_rest_after_the_edge_is_refused():
    _, sensor = strike("straight")
    edge = find_impact_edges(sensor.acceleration, sensor.rate)[0]
    with pytest.raises(ValueError, match="before the edge"):
        approach_speed_from_imu(
            sensor.acceleration,
            sensor.angular_rate,
            sensor.rate,
            rest=(0, len(sensor.acceleration) - 5),
            edge=edge,
        )
