"""Rests are found where the sensor is held still, and only there."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.limb import LIMB_STRIKES, read_sensor, simulate_limb
from quintain.numerics.stillness import find_rests, reads_gravity


def test_a_simulated_strike_has_a_rest_before_and_after():
    generator = np.random.default_rng(2)
    motion = simulate_limb(LIMB_STRIKES["straight"], generator, tremor=0.1)
    sensor = read_sensor(motion, generator)
    rests = find_rests(sensor.acceleration, sensor.rate, angular_rate=sensor.angular_rate)
    before, after = rests[0], rests[-1]
    # the window is 0.1 s: a rest may reach that far into the slow beginning of a movement, not further
    assert before.start == 0
    assert before.stop / sensor.rate == pytest.approx(motion.rests[0][1], abs=0.1)
    # the drawn-back limb comes to rest so gently that its last 0.25 s pass for tremor
    assert after.start / sensor.rate == pytest.approx(motion.rests[1][0], abs=0.25)
    assert np.linalg.norm(before.acceleration) == pytest.approx(9.80665, abs=0.05)  # tremor averages out


def test_turning_without_acceleration_is_no_rest():
    a = np.tile([0.0, 0.0, 9.8], (1000, 1))
    w = np.zeros((1000, 3))
    w[400:600, 2] = 2.0
    rests = find_rests(a, 1000.0, angular_rate=w)
    assert [(r.start <= 1, r.stop >= 999) for r in rests] == [(True, False), (False, True)]


def test_short_rests_and_short_recordings_give_none():
    a = np.tile([0.0, 0.0, 9.8], (150, 1))
    assert find_rests(a, 1000.0) == []
    assert find_rests(a[:20], 1000.0) == []


@pytest.mark.parametrize("reading", [[0, 0, 1.0], [0, 0, 0.01], [0, 0, 98.0], [9.8, 9.8, 0]])
def test_wrong_units_do_not_read_gravity(reading):
    assert not reads_gravity(reading)


def test_upside_down_reads_gravity_as_well():
    assert reads_gravity([0.0, 0.1, -9.8])


def test_missing_samples_are_refused():
    a = np.tile([0.0, 0.0, 9.8], (1000, 1))
    a[5, 1] = np.nan
    with pytest.raises(ValueError, match="sample 5"):
        find_rests(a, 1000.0)
