"""Speed from tracked positions: exact where it must be, honest where frames are few, never across gaps."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.limb import LIMB_STRIKES, simulate_limb
from quintain.numerics.track import check_frame_times, speed_along_track, speed_from_track


def filmed(seed, rate, noise=0.002):
    generator = np.random.default_rng(seed)
    motion = simulate_limb(LIMB_STRIKES["straight"], generator)
    path = np.cumsum(motion.velocity, axis=0) / 10_000
    step = round(10_000 / rate)
    first = int(generator.integers(0, step))
    position = path[first::step] + generator.normal(0, noise, path[first::step].shape)
    return motion, position, first / 10_000 + np.arange(len(position)) / rate


@pytest.mark.parametrize(("rate", "worst"), [(500, 0.10), (250, 0.16)])
def test_simulated_strikes_on_film(rate, worst):
    inside = 0
    for seed in range(20):
        motion, position, time = filmed(seed, rate)
        found = speed_from_track(position, time, motion.contact, normal=[1, 0, 0], u_scale=0.0)
        assert found.value == pytest.approx(motion.approach_speed, rel=worst)
        inside += abs(found.value - motion.approach_speed) <= 1.96 * found.u
    assert inside >= 16  # 19 expected of 20; fewer than 16 has a probability of 0.3 %


def test_too_few_frames_are_refused_with_the_way_out():
    motion, position, time = filmed(1, 50)
    with pytest.raises(ValueError, match="film faster"):
        speed_from_track(position, time, motion.contact)


def test_a_gap_before_contact_is_not_bridged():
    motion, position, time = filmed(1, 250)
    last = np.searchsorted(time, motion.contact)
    position[last - 22 : last] = np.nan
    with pytest.raises(ValueError, match=r"got \d at"):
        speed_from_track(position, time, motion.contact)


def test_frames_after_contact_do_not_count():
    motion, position, time = filmed(2, 250)
    whole = speed_from_track(position, time, motion.contact)
    position[time > motion.contact] = np.nan
    assert speed_from_track(position, time, motion.contact) == whole


@pytest.mark.parametrize(
    ("time", "words"),
    [
        (np.round(np.arange(60) / 120, 2), "rise|rounded"),
        (np.floor(np.arange(60) / 72 * 1000 / 4) * 4 / 1000, "rounded"),
        (np.r_[np.arange(30), np.arange(35, 60)] / 100, "missing"),
        (np.r_[np.arange(30), np.arange(20, 50)] / 100, "rise"),
        ([0.0, 0.01, np.nan, 0.03], "missing"),
    ],
)
def test_broken_time_stamps_are_refused(time, words):
    with pytest.raises(ValueError, match=words):
        check_frame_times(time)


def test_millisecond_stamps_of_slow_film_pass():
    assert check_frame_times(np.round(np.arange(50) / 60, 3)) == pytest.approx(60, rel=1e-3)


def test_gaps_stay_gaps():
    t = np.arange(20) / 100
    x = np.outer(t, [3.0, 0.0, 4.0])
    x[10] = np.nan
    speed = speed_along_track(x, t)
    assert np.flatnonzero(np.isnan(speed)).tolist() == [0, 1, 8, 9, 10, 11, 12, 18, 19]
    assert np.nanmax(np.abs(speed - 5.0)) < 1e-9
