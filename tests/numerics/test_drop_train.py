"""Trains of bounces: how many starts, when, and what the rig does between them."""

from __future__ import annotations

import numpy as np
import pytest

from dropped_mass import BOUNCY, DEAD, FOAM, GRAVITY, LOSSY, SWINGING_PLATE, drop, record
from quintain.numerics.closure import ClosureSetup
from quintain.numerics.drop_train import Rig, follow_train
from quintain.numerics.impacts import find_drops

RIG = Rig(np.array([200.0]), np.array([0.02]), np.array([1.0]))


def follow(motion, *, rig=RIG, noise=3.0, **given):
    samples, begin = record(motion, noise=noise)
    times = begin + np.arange(samples.size) / 1000
    first = int(np.searchsorted(times, motion.touch_times[0]))
    return follow_train(samples, times, rig, ClosureSetup(5.0, GRAVITY), first=first, **given)


def test_seven_bounces():
    motion = drop(BOUNCY, 0.3, duration=3.2)
    train = follow(motion)
    assert train.starts.size >= 7
    np.testing.assert_allclose(train.starts[:7], motion.touch_times[:7], atol=0.25e-3)
    falling = np.diff(train.speeds)
    assert (falling < 0).all()


def test_few_bounces():
    motion = drop(LOSSY, 0.2)
    train = follow(motion)
    assert 2 <= train.starts.size <= motion.touch_times.size
    np.testing.assert_allclose(train.starts[:2], motion.touch_times[:2], atol=0.25e-3)


def test_sticking():
    train = follow(drop(DEAD, 0.3))
    assert train.starts.size == 1
    assert train.moments == ()


@pytest.mark.parametrize("height", [0.3, 0.8])
def test_swinging_plate_makes_no_contacts(height):
    motion = drop(FOAM, height, plate=SWINGING_PLATE)
    train = follow(motion)
    # behind a plate the first touches are known to some tenths of a millisecond; later ones, while it
    # swings with as much force as the mass brings, to about one
    np.testing.assert_allclose(train.starts[:2], motion.touch_times[:2], atol=0.7e-3)
    np.testing.assert_allclose(train.starts[2:4], motion.touch_times[2:4], atol=1.6e-3)
    assert all(f.frequency.size == 2 for f in train.flights[:1])
    assert train.flights[0].frequency[1] == pytest.approx(26.0, abs=2.0)


def test_refined_mode_is_the_rigs():
    off = Rig(np.array([197.0]), np.array([0.03]), np.array([1.0]))
    train = follow(drop(FOAM, 0.5), rig=off)
    assert train.rig.frequency[0] == pytest.approx(200.0, rel=0.001)
    assert train.rig.damping[0] == pytest.approx(0.02, rel=0.05)


def test_zero_follows_a_drift():
    motion = drop(FOAM, 0.5)
    samples, begin = record(motion, zero=12.0, drift=4.0)
    times = begin + np.arange(samples.size) / 1000
    first = int(np.searchsorted(times, motion.touch_times[0]))
    zero = follow_train(samples, times, RIG, ClosureSetup(5.0, GRAVITY), first=first).zero
    at = zero.offset + zero.slope * (0.5 - zero.reference)
    assert at == pytest.approx(12.0 + 4.0 * 0.5, abs=4 * zero.u_offset)
    assert zero.slope == pytest.approx(4.0, abs=4 * zero.u_slope)
    assert zero.straight


def test_drops_in_a_row_are_told_apart():
    parts = [record(drop(FOAM, h), seed=i)[0] for i, h in enumerate((0.3, 0.5, 0.2))]
    # the mass is lifted off while no one looks: each recording of one drop begins with quiet
    samples = np.concatenate(parts)
    found = find_drops(
        samples, 1000.0, mass=5.0, gravity=GRAVITY, noise=3.0, frequency=RIG.frequency, damping=RIG.damping
    )
    assert len(found) == 3
    begins = np.cumsum([0, parts[0].size, parts[1].size])
    for drop_found, begin, h in zip(found, begins, (0.3, 0.5, 0.2), strict=True):
        touch = begin + 1000 * (1.0 + np.sqrt(2 * h / GRAVITY))
        assert abs(drop_found.first - touch) < 25


def test_too_little_quiet_is_said():
    motion = drop(FOAM, 0.5)
    samples, begin = record(motion)
    times = begin + np.arange(samples.size) / 1000
    first = int(np.searchsorted(times, motion.touch_times[0]))
    with pytest.raises(ValueError, match="quiet"):
        follow_train(samples[first - 50 :], times[first - 50 :], RIG, ClosureSetup(5.0, GRAVITY), first=50)
