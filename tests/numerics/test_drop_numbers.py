"""One drop from samples to numbers and verdict: many rigs and pads, and drops that prove nothing."""

from __future__ import annotations

import numpy as np
import pytest

from dropped_mass import (
    BOUNCY,
    DEAD,
    FOAM,
    GRAVITY,
    HARD,
    LOSSY,
    PLATE,
    QUIET,
    SLOW,
    SOFT,
    SWINGING_PLATE,
    drop,
    record,
    true_speed,
)
from quintain.numerics.drop_numbers import analyse_drop

MODES = {"natural_frequency": [200.0], "damping_ratio": [0.02]}


def analyse(motion, *, rate=1000.0, height=None, noise=3.0, seed=1, chain=None, **given):
    samples, _ = record(motion, rate, noise=noise, seed=seed, **(chain or {}))
    given = {"mass": 5.0, "u_mass": 0.0025, "u_gain": 0.0025, **MODES, **given}
    return analyse_drop(samples, rate, gravity=GRAVITY, height=height, **given)


@pytest.mark.parametrize("pad", [FOAM, LOSSY, SOFT, HARD, BOUNCY, SLOW])
def test_speed_from_force_alone(pad):
    motion = drop(pad, 0.5)
    numbers = analyse(motion)
    off = numbers.approach_speed.value / true_speed(motion) - 1
    # 0.6 % is the goal for 95 % of drops at 1 kHz with 3 N of noise
    assert abs(off) < 0.006
    gain = next(c.u for c in numbers.approach_speed.contributions if c.name == "gain")
    own = np.sqrt(numbers.approach_speed.u**2 - gain**2)
    assert abs(off) * true_speed(motion) < 3 * own


def test_ringing_that_outlives_the_flight():
    motion = drop(FOAM, 0.5, damping=0.003)
    numbers = analyse(motion, damping_ratio=[0.003])
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.006)
    assert len(numbers.starts) >= 6
    np.testing.assert_allclose(np.diff(numbers.starts[:3]), np.diff(motion.touch_times[:3]), atol=0.2e-3)


def test_slow_rig():
    motion = drop(FOAM, 0.5, frequency=60.0, damping=0.01)
    numbers = analyse(motion, natural_frequency=[60.0], damping_ratio=[0.01])
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.006)


@pytest.mark.parametrize("plate", [PLATE, SWINGING_PLATE])
def test_plate_that_swings_on(plate):
    motion = drop(FOAM, 0.5, plate=plate)
    numbers = analyse(motion, height=0.5)
    # 1 %: the start behind a plate is known to some 0.2 ms only, and swinging takes from the flight
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.01)
    assert numbers.verdict.decision == "pass"
    assert "plate-swings" in numbers.flags


def test_drift_of_the_zero_is_followed():
    motion = drop(FOAM, 0.5)
    numbers = analyse(motion, chain={"drift": 5.0, "zero": 20.0})
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.006)


def test_taps_of_another_day_do_not_harm():
    motion = drop(FOAM, 0.5)
    numbers = analyse(motion, natural_frequency=[203.0], damping_ratio=[0.026])
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.006)
    assert numbers.train.rig.frequency[0] == pytest.approx(200.0, rel=0.002)


def test_cell_that_follows_at_once():
    motion = drop(FOAM, 0.5, frequency=3000.0, damping=0.05)
    numbers = analyse(motion, natural_frequency=[], damping_ratio=[])
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.006)


def test_what_comes_with_the_speed():
    motion = drop(FOAM, 0.5, duration=3.5)
    numbers = analyse(motion, height=0.5)
    i = int(np.searchsorted(motion.time, motion.leave_times[0]))
    assert numbers.impulse.value == pytest.approx(motion.contact_impulse[i], rel=0.004)
    assert numbers.peak_force.value == pytest.approx(motion.force_on_cell.max(), rel=0.01)
    assert numbers.contact_time.value == pytest.approx(
        motion.leave_times[0] - motion.touch_times[0], abs=2.5 * numbers.contact_time.u
    )
    assert numbers.speed_by_half_impulse < 0.9 * true_speed(motion)
    assert numbers.speed_until_rest.value == pytest.approx(true_speed(motion), rel=0.05)
    assert numbers.starts[0] - QUIET == pytest.approx(motion.touch_times[0], abs=1.2e-3)


def test_verdict_passes_a_true_chain_and_fails_a_wrong_one():
    motion = drop(FOAM, 0.5)
    assert analyse(motion, height=0.5).verdict.decision == "pass"
    assert analyse(motion).verdict.decision == "pass"
    wrong = analyse(motion, height=0.5, chain={"gain": 1.03})
    assert wrong.verdict.decision == "fail"
    assert "too high" in wrong.verdict.reasons[0]
    assert wrong.gain.value == pytest.approx(1 / 1.03, rel=0.003)
    assert wrong.gain_without_height.value == pytest.approx(1 / 1.03, rel=0.005)


def test_friction_on_the_guide_shows():
    clean = analyse(drop(FOAM, 0.8), height=0.8, noise=0.5)
    rubbed = analyse(drop(FOAM, 0.8, friction=0.03 * 5.0 * GRAVITY), height=0.8, noise=0.5)
    # 3 % of the weight: height says 1.5 % too fast, closure takes part of it up
    assert rubbed.friction.value - clean.friction.value == pytest.approx(0.007, abs=0.004)


def test_mass_that_sticks_is_undecided():
    numbers = analyse(drop(DEAD, 0.3), height=0.3)
    assert numbers.verdict.decision == "undecided"
    assert "one-contact" in numbers.flags
    assert numbers.approach_speed is None
    assert numbers.speed_until_rest.value == pytest.approx(np.sqrt(2 * GRAVITY * 0.3), rel=0.03)


def test_one_flight_without_height_is_undecided():
    motion = drop(LOSSY, 0.5)
    samples, begin = record(motion)
    cut = int((motion.touch_times[1] + 0.02 - begin) * 1000)
    numbers = analyse_drop(samples[:cut], 1000.0, mass=5.0, gravity=GRAVITY, **MODES)
    assert numbers.approach_speed.value == pytest.approx(true_speed(motion), rel=0.01)
    assert numbers.verdict.decision == "undecided"
    assert "no height" in numbers.verdict.reasons[0]


def test_missed_pad_is_undecided():
    noise = np.random.default_rng(2).normal(0, 3.0, 4000)
    numbers = analyse_drop(noise, 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES)
    assert numbers.verdict.decision == "undecided"
    assert "no-contact" in numbers.flags


def test_grazed_pad_is_undecided():
    motion = drop(FOAM, 0.5)
    samples, _ = record(motion)
    # two thirds of the force went past the cell
    numbers = analyse_drop(samples / 3, 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES)
    assert numbers.verdict.decision != "pass"


def test_recording_that_starts_on_the_pad_is_undecided():
    motion = drop(FOAM, 0.5)
    samples, begin = record(motion)
    cut = int((motion.touch_times[0] + 0.005 - begin) * 1000)
    numbers = analyse_drop(samples[cut:], 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES)
    assert numbers.verdict.decision == "undecided"


def test_tilted_mass_that_hits_twice_is_undecided():
    motion = drop(FOAM, 0.5)
    samples, _ = record(motion, noise=0.0)
    # the other edge comes down 32 ms later with the other half of the blow
    twice = (samples + np.concatenate([np.zeros(32), samples[:-32]])) / 2
    twice += np.random.default_rng(3).normal(0, 3.0, twice.size)
    numbers = analyse_drop(twice, 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES)
    assert numbers.verdict.decision == "undecided"
    assert "hit-twice" in numbers.flags


def test_hand_on_the_pad_during_the_flight_is_never_a_pass():
    motion = drop(FOAM, 0.5)
    samples, begin = record(motion)
    i = int((motion.touch_times[0] - begin) * 1000) + 120
    samples[i : i + 100] += 60 * np.sin(np.pi * np.arange(100) / 100)
    numbers = analyse_drop(samples, 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES)
    assert numbers.verdict.decision == "undecided"


def test_mass_caught_in_flight_is_undecided():
    motion = drop(FOAM, 0.5)
    samples, begin = record(motion)
    i = int((motion.touch_times[1] - begin) * 1000) - 30
    samples[i:] = np.random.default_rng(4).normal(0, 3.0, samples.size - i)
    samples[i + 200 :] += 49.05 * np.clip(np.arange(samples.size - i - 200) / 300, 0, 1)
    numbers = analyse_drop(samples, 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES)
    assert numbers.verdict.decision == "undecided"


def test_mass_that_lay_on_the_pad_before_is_no_harm():
    motion = drop(FOAM, 0.5)
    samples, _ = record(motion)
    lying = 49.05 + np.random.default_rng(5).normal(0, 3.0, 2000)
    numbers = analyse_drop(
        np.concatenate([lying, samples]), 1000.0, mass=5.0, gravity=GRAVITY, height=0.5, **MODES
    )
    assert numbers.verdict.decision == "pass"
    assert abs(numbers.zero) < 1.0


def test_hum_widens_the_uncertainty():
    motion = drop(FOAM, 0.5)
    samples, _ = record(motion)
    hum = 20 * np.sin(2 * np.pi * 50 * np.arange(samples.size) / 1000)
    numbers = analyse_drop(samples + hum, 1000.0, mass=5.0, gravity=GRAVITY, **MODES)
    assert numbers.approach_speed.value == pytest.approx(
        true_speed(motion), abs=2.5 * numbers.approach_speed.u
    )
    assert numbers.noise > 10.0


def test_wrong_mass_is_never_a_pass():
    motion = drop(FOAM, 0.5)
    for mass in (2.5, 4.5, 6.0, 10.0):
        assert analyse(motion, height=0.5, mass=mass).verdict.decision != "pass"


def test_wrong_height_is_never_a_pass():
    motion = drop(FOAM, 0.5)
    for height in (0.1, 0.45, 0.55, 2.0):
        assert analyse(motion, height=height, u_height=0.001).verdict.decision != "pass"


@pytest.mark.parametrize(
    ("bad", "word"),
    [
        ({"mass": 0.0}, "mass"),
        ({"mass": -5.0}, "mass"),
        ({"mass": 5000.0}, "mass"),
        ({"height": 0.0}, "height"),
        ({"height": -0.5}, "height"),
        ({"height": 500.0}, "height"),
        ({"gravity": 1.62}, "gravity"),
        ({"u_mass": -1.0}, "u_mass"),
        ({"natural_frequency": [200.0, 300.0]}, "mode"),
    ],
)
def test_absurd_arguments_are_refused(bad, word):
    given = {"mass": 5.0, "gravity": 9.81, **MODES, **bad}
    with pytest.raises(ValueError, match=word):
        analyse_drop(np.zeros(3000), 1000.0, **given)


def test_missing_samples_are_refused():
    y = np.zeros(3000)
    y[1200] = np.nan
    with pytest.raises(ValueError, match="sample 1200"):
        analyse_drop(y, 1000.0, mass=5.0, gravity=9.81, **MODES)
