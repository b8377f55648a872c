"""Taps found in a recording, and what several of them say together."""

from __future__ import annotations

import numpy as np
import pytest

from free_decay import free_decay
from quintain.numerics.ring_down import identify_ring_down
from quintain.numerics.taps import combine_taps, find_taps, identify_from_strikes

RATE = 5000


def tapped(
    starts, *, contact=0.004, frequency=240.0, damping=0.02, level=300.0, noise=1.0, seed=1, length=3.0
):
    """Recording with half-sine taps: forced response during contact, then free decay (by summed impulses)."""
    time = np.arange(int(length * RATE)) / RATE
    natural = 2 * np.pi * frequency
    swing = natural * np.sqrt(1 - damping**2)
    answer = np.exp(-damping * natural * time) * np.sin(swing * time)
    force = np.zeros(time.size)
    for start in starts:
        inside = (time >= start) & (time < start + contact)
        force[inside] += np.sin(np.pi * (time[inside] - start) / contact)
    trace = np.convolve(force, answer[: RATE // 2])[: time.size]
    trace *= level / np.abs(trace).max()
    return trace + np.random.default_rng(seed).normal(0, noise, time.size) + 7


def test_every_tap_is_found_after_its_contact():
    starts = [0.5, 1.1, 2.0]
    found = find_taps(tapped(starts), RATE)
    assert len(found) == 3
    for decay, start in zip(found, starts, strict=True):
        assert start + 0.003 < decay.first / RATE < start + 0.06
        mode = identify_ring_down(tapped(starts)[decay.first : decay.stop], RATE)
        assert abs(mode.natural_frequency[0] - 240) < 4 * mode.u_natural_frequency[0]
        assert abs(mode.damping_ratio[0] - 0.02) < 4 * mode.u_damping_ratio[0]


def test_a_tap_before_the_last_has_died_is_told_apart():
    found = find_taps(tapped([0.5, 0.62]), RATE)
    assert len(found) == 2
    assert found[0].stop <= found[1].first


def test_a_clipped_tap_begins_after_the_last_clipped_sample():
    trace = np.clip(tapped([0.5], noise=0.5), -150, 150)
    (decay,) = find_taps(trace, RATE)
    assert decay.first > np.flatnonzero(np.abs(trace) == 150)[-1]


def test_noise_alone_holds_no_tap():
    assert find_taps(np.random.default_rng(3).normal(0, 1, 20000), RATE) == []


def test_recordings_that_cannot_be_searched_are_refused():
    with pytest.raises(ValueError, match="at least"):
        find_taps(np.zeros(10), RATE)
    with pytest.raises(ValueError, match="sample 7"):
        find_taps(np.where(np.arange(20000) == 7, np.nan, 0.0), RATE)


def decays(frequencies, *, seed=2, noise=1.0):
    rng = np.random.default_rng(seed)
    time = np.arange(1000) / RATE
    return [
        identify_ring_down(
            free_decay(time, f, 0.02, 200, rng.uniform(0, 6)) + rng.normal(0, noise, 1000), RATE
        )
        for f in frequencies
    ]


def test_taps_that_agree_sharpen_the_mean():
    taps = decays([240.0] * 9)
    joint = combine_taps(taps)
    assert joint.u_natural_frequency[0] < 0.6 * taps[0].u_natural_frequency[0]
    assert abs(joint.natural_frequency[0] - 240) < 4 * joint.u_natural_frequency[0]
    assert joint.agreement[0] > 0.01
    assert "taps-disagree" not in joint.flags


def test_a_loosening_bolt_shows_as_spread_and_flag():
    joint = combine_taps(decays(240 - 0.5 * np.arange(6)))
    assert "taps-disagree" in joint.flags
    # sd of six steps of 0.5 Hz
    assert joint.spread_natural_frequency[0] == pytest.approx(0.935, rel=0.1)
    assert joint.u_natural_frequency[0] == pytest.approx(0.935 / np.sqrt(6), rel=0.1)


def test_agreement_is_uniform_where_taps_do_agree():
    rng = np.random.default_rng(5)
    time = np.arange(400) / RATE
    p = []
    for _ in range(40):
        taps = [
            identify_ring_down(free_decay(time, 240, 0.03, 100, 1) + rng.normal(0, 1, 400), RATE, n_modes=1)
            for _ in range(3)
        ]
        p.append(combine_taps(taps).agreement[0])
    # mean of 40 uniform values: sd 0.046
    assert np.mean(p) == pytest.approx(0.5, abs=0.14)


def test_no_tap_and_no_common_mode_are_refused():
    with pytest.raises(ValueError, match="no tap"):
        combine_taps([])
    with pytest.raises(ValueError, match="no mode is seen"):
        combine_taps(decays([200, 240, 300]), seen_in=0.9)


def test_modes_from_strikes_pass_over_swing_and_dead_tails():
    rng = np.random.default_rng(8)
    time = np.arange(1200) / 2000
    tails = []
    for k in range(10):
        tail = free_decay(time, 15, 0.1, rng.uniform(50, 100), rng.uniform(0, 6)) + 5
        if k % 3:
            tail = tail + free_decay(time, 210, 0.04, rng.uniform(10, 40), rng.uniform(0, 6))
        tails.append(tail + rng.normal(0, 1, time.size))
    tails += [np.zeros(50), rng.normal(0, 1, 400)]
    joint = identify_from_strikes(tails, 2000)
    assert joint.natural_frequency == pytest.approx([210], abs=4 * joint.u_natural_frequency[0])
    assert joint.u_natural_frequency[0] < 0.5
    assert joint.left_out == pytest.approx([15], abs=0.5)


def test_strikes_that_never_ring_are_refused():
    with pytest.raises(ValueError, match="make a tap test"):
        identify_from_strikes([np.random.default_rng(1).normal(0, 1, 300)] * 3, 2000)
    with pytest.raises(ValueError, match="make a tap test"):
        identify_from_strikes([], 2000)
