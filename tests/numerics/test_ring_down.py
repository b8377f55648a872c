"""Identification from free decay: on the Cramer-Rao bound, several modes, nuisances, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from free_decay import free_decay
from quintain.numerics.damped_sinusoids import Terms, fit_damped
from quintain.numerics.ring_down import clipped_at, cramer_rao, identify_ring_down


def draws(frequency, damping, level, rate, n, count, seed):
    """Relative errors and normalised errors of natural frequency and damping over seeded decays, noise 1."""
    rng = np.random.default_rng(seed)
    time = np.arange(n) / rate
    error, normal = [], []
    for phase in rng.uniform(0, 2 * np.pi, count):
        trace = free_decay(time, frequency, damping, level, phase) + 4 + rng.normal(0, 1, n)
        found = identify_ring_down(trace, rate)
        i = int(np.argmin(np.abs(found.natural_frequency - frequency)))
        off = (found.natural_frequency[i] - frequency, found.damping_ratio[i] - damping)
        error.append(off)
        normal.append((off[0] / found.u_natural_frequency[i], off[1] / found.u_damping_ratio[i]))
    return np.array(error), np.array(normal)


@pytest.mark.parametrize(
    ("frequency", "damping", "level", "seed"), [(200, 0.03, 100, 11), (120, 0.01, 30, 12)]
)
def test_identification_sits_on_the_cramer_rao_bound(frequency, damping, level, seed):
    # goal: within 10 % of the bound; the rms of 400 draws is itself known to 3.5 %
    error, normal = draws(frequency, damping, level, 1000, 500, 400, seed)
    bounds = [cramer_rao(frequency, damping, level, 1, 1000, 500, phase=p) for p in (0, np.pi / 2)]
    bound = np.sqrt(np.mean(np.square(bounds), axis=0)).ravel()  # over phases
    ratio = np.sqrt(np.mean(error**2, axis=0)) / bound
    assert (ratio < 1.10).all(), ratio
    assert (ratio > 0.89).all(), ratio  # nobody is better than the bound: three sd below one
    # the stated uncertainty is the true one, to the same three sd
    assert np.sqrt(np.mean(normal**2, axis=0)) == pytest.approx([1, 1], abs=0.11)


def test_bound_of_a_long_decay_in_closed_form():
    # A decay that has died inside the record, sampled finely, offset well known: u(sigma) = u(omega_d) =
    # 4 sigma (noise / A) sqrt(sigma / rate) for large rate and T (derived here from the Fisher information)
    frequency, damping, rate, level = 200.0, 0.02, 20000, 100.0
    sigma = 2 * np.pi * frequency * damping
    u_frequency, u_damping = cramer_rao(frequency, damping, level, 1, rate, 20000)
    expected = 4 * sigma / level * np.sqrt(sigma / rate)
    # cosine phase terms of order zeta and the offset: a few per cent
    assert 2 * np.pi * u_frequency[0] == pytest.approx(expected, rel=0.04)
    assert 2 * np.pi * frequency * u_damping[0] == pytest.approx(expected, rel=0.04)


def test_noise_free_decay_comes_back_exactly():
    time = np.arange(400) / 2000
    found = identify_ring_down(free_decay(time, 180, 0.025, 3.0, 0.7) - 11, 2000)
    assert found.n_modes == 1
    assert found.natural_frequency[0] == pytest.approx(180, rel=1e-9)
    assert found.damping_ratio[0] == pytest.approx(0.025, rel=1e-7)
    assert (found.amplitude[0], found.phase[0], found.offset) == pytest.approx((3.0, 0.7, -11), rel=1e-7)


def test_three_modes_are_counted_and_found():
    rng = np.random.default_rng(3)
    time = np.arange(1500) / 5000
    trace = rng.normal(0, 1, time.size)
    truth = [(150, 0.03, 200), (410, 0.02, 120), (980, 0.015, 60)]
    for mode in truth:
        trace += free_decay(time, *mode, rng.uniform(0, 6))
    found = identify_ring_down(trace, 5000)
    assert found.n_modes == 3
    for i, (frequency, damping, _) in enumerate(truth):
        assert abs(found.natural_frequency[i] - frequency) < 4 * found.u_natural_frequency[i]
        assert abs(found.damping_ratio[i] - damping) < 4 * found.u_damping_ratio[i]
    counts = [row.n_modes for row in found.orders]
    assert counts == sorted(counts)
    assert min(found.orders, key=lambda row: row.criterion).n_modes == 3


def test_two_modes_a_few_widths_apart():
    rng = np.random.default_rng(5)
    time = np.arange(1200) / 2000
    trace = free_decay(time, 200, 0.02, 100) + free_decay(time, 222, 0.02, 80, 1) + rng.normal(0, 1, 1200)
    found = identify_ring_down(trace, 2000)
    assert found.natural_frequency == pytest.approx([200, 222], abs=0.3)


def test_swing_of_a_plate_offset_drift_and_creep_do_not_bias_the_mode():
    rng = np.random.default_rng(7)
    time = np.arange(1600) / 2000
    nuisance = free_decay(time, 15, 0.08, 80, 1) + 30 + 25 * time + 60 * np.exp(-6 * time)
    error = []
    for phase in rng.uniform(0, 6, 25):
        trace = free_decay(time, 200, 0.03, 100, phase) + nuisance + rng.normal(0, 1, time.size)
        found = identify_ring_down(trace, 2000)
        i = int(np.argmin(np.abs(found.natural_frequency - 200)))
        error.append((found.natural_frequency[i] - 200) / found.u_natural_frequency[i])
    # 25 draws: the mean of a standard normal scatters by 0.2, its rms by 0.14
    assert abs(np.mean(error)) < 0.6
    assert np.sqrt(np.mean(np.square(error))) < 1.4


def test_shares_of_an_impulse_response():
    # mode i of sum s_i H_i answers an impulse with s_i omega_i / sqrt(1 - zeta^2) e^(-sigma t) sin(omega_d t)
    time = 0.002 + np.arange(1500) / 5000
    trace = np.random.default_rng(1).normal(0, 0.1, time.size)
    for share, frequency, damping in ((0.7, 120, 0.03), (0.3, 400, 0.02)):
        natural = 2 * np.pi * frequency
        size = share * natural / np.sqrt(1 - damping**2)
        trace += free_decay(time, frequency, damping, size, -np.pi / 2)
    found = identify_ring_down(trace, 5000, since_impulse=0.002)
    assert found.share == pytest.approx([0.7, 0.3], abs=0.003)


def test_hum_is_fitted_but_is_no_mode():
    time = np.arange(2000) / 2000
    trace = free_decay(time, 240, 0.02, 50) + 3 * np.cos(2 * np.pi * 50 * time)
    found = identify_ring_down(trace + np.random.default_rng(2).normal(0, 0.5, time.size), 2000)
    assert found.natural_frequency == pytest.approx([240], abs=0.2)
    assert "steady-tone" in found.flags


def test_a_mode_that_stiffens_is_one_mode_with_a_wider_uncertainty():
    # instantaneous frequency rises from 236 to 240 Hz as the amplitude falls
    time = np.arange(3000) / 10000
    decay = np.exp(-30 * time)
    angle = 2 * np.pi * np.cumsum(240 - 4 * decay) / 10000
    trace = 100 * decay * np.cos(angle) + np.random.default_rng(4).normal(0, 0.2, time.size)
    found = identify_ring_down(trace, 10000, noise=0.2)
    main = int(np.argmax(found.amplitude))
    assert "mode-drifts" in found.flags
    assert 236 < found.natural_frequency[main] < 240
    assert 0.3 < found.u_natural_frequency[main] < 6


def test_noise_above_the_stated_one_is_a_misfit():
    time = np.arange(1000) / 2000
    trace = free_decay(time, 240, 0.02, 50) + np.random.default_rng(2).normal(0, 1.0, time.size)
    assert "ring-down-misfit" in identify_ring_down(trace, 2000, noise=0.5).flags
    assert "ring-down-misfit" not in identify_ring_down(trace, 2000, noise=1.0).flags


def test_a_folded_mode_keeps_its_decay_rate():
    time = np.arange(400) / 1000
    trace = free_decay(time, 700, 0.02, 100) + np.random.default_rng(9).normal(0, 1, 400)
    found = identify_ring_down(trace, 1000)
    assert found.damped_frequency[0] == pytest.approx(1000 - 700 * np.sqrt(1 - 0.02**2), abs=0.5)
    assert abs(found.decay_rate[0] - 0.02 * 2 * np.pi * 700) < 4 * found.u_decay_rate[0]
    assert found.damping_ratio[0] > 0.04


NOISE = np.random.default_rng(21).normal(0, 1, 600)
TIME = np.arange(600) / 1000


@pytest.mark.parametrize(
    ("trace", "words"),
    [
        (NOISE, "nothing rings"),
        (NOISE + 50 * np.cos(2 * np.pi * 50 * TIME), "does not decay"),
        (NOISE + 2 * np.exp(4 * TIME) * np.cos(2 * np.pi * 12 * TIME), "does not decay"),
        (np.clip(free_decay(TIME, 80, 0.02, 100), -60, 60), "cut off at 60"),
        (np.full(600, 3.0), "frozen"),
        (np.where(TIME == 0.1, np.nan, NOISE), "sample 100 is nan"),
        (NOISE[:10], "at least 16"),
        (NOISE.reshape(2, 300), "one row"),
    ],
    ids=["noise", "hum", "growing", "clipped", "frozen", "nan", "short", "two rows"],
)
def test_nonsense_is_refused_in_words(trace, words):
    with pytest.raises(ValueError, match=words):
        identify_ring_down(trace, 1000)


def test_more_modes_than_there_are_is_an_error():
    with pytest.raises(ValueError, match="must be at least 1"):
        identify_ring_down(free_decay(TIME, 200, 0.02, 100), 1000, n_modes=0)


def test_coarse_steps_are_not_taken_for_clipping():
    slow = np.round(8 * np.sin(2 * np.pi * 3 * np.arange(2000) / 2000))
    assert clipped_at(slow) is None
    assert clipped_at(np.clip(100 * np.sin(0.05 * np.arange(300)), -70, 200)) == -70


def test_modes_that_run_into_one_another_are_not_fitted():
    trace = free_decay(TIME, 200, 0.02, 100)
    twice = np.array([25.0, 1256.0, 25.0, 1257.0])
    assert fit_damped(trace, 1000, Terms(2), twice) is None


def test_impossible_bounds_are_refused():
    with pytest.raises(ValueError, match="positive"):
        cramer_rao(200, 0.02, 1, 0.0, 1000, 100)
    with pytest.raises(ValueError, match="between 0 and 1"):
        cramer_rao(200, 1.2, 1, 1.0, 1000, 100)
