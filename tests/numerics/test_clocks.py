"""Clocks are brought together in spite of missed and extra strikes, and say when they cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.clocks import find_pulses, find_stretch, fit_clock, lag_by_correlation


def session(generator, n=20, *, offset=123.4, drift=40e-6, jitter=0.0005, span=600.0):
    force = np.sort(generator.uniform(0, span, n))
    force = force[np.r_[True, np.diff(force) > 0.3]]
    imu = force * (1 + drift) + offset + generator.normal(0, jitter, force.size)
    return force, imu


@pytest.mark.parametrize("seed", range(5))
def test_missed_and_extra_strikes_do_not_break_the_line(seed):
    generator = np.random.default_rng(seed)
    force, imu = session(generator, 25)
    kept = generator.random(imu.size) > 0.2
    extra = generator.uniform(imu[0], imu[-1], 5)
    fit = fit_clock(force, np.sort(np.r_[imu[kept], extra]))
    assert len(fit.pairs) >= kept.sum() - 1
    assert not fit.ambiguous
    assert not fit.jumped
    for t in (0.0, 300.0, 600.0):
        # 0.5 ms of jitter over some 20 strikes: 0.1 ms in the middle, 0.25 ms at the ends
        assert fit.to_other(t) == pytest.approx(t * (1 + 40e-6) + 123.4, abs=0.0008)


def test_stated_uncertainty_covers():
    generator = np.random.default_rng(7)
    inside = 0
    for _ in range(150):
        force, imu = session(generator, 20)
        fit = fit_clock(force, imu)
        t = generator.uniform(0, 600)
        inside += abs(fit.to_other(t) - (t * (1 + 40e-6) + 123.4)) <= 1.96 * fit.u_at(t)
    # 95 % of 150 is 142; the robust spread of 20 pairs is itself uncertain by a quarter
    assert inside >= 128


def test_one_pair_gives_the_offset_alone():
    fit = fit_clock([5.0], [17.0])
    assert fit.offset == 12.0
    assert fit.drift == 0.0
    assert fit.u_at(5.0 + 100.0) > 0.004  # 50 ppm over 100 s is 5 ms


def test_one_of_several_cannot_be_paired_without_a_hint():
    assert fit_clock([5.0, 9.0, 14.0], [17.0]).ambiguous
    fit = fit_clock([5.0, 9.0, 14.0], [17.0], around=(8.0, 0.5))
    assert fit.pairs.tolist() == [[1, 0]]


def test_an_exact_rhythm_is_ambiguous():
    force = np.arange(10) * 3.0
    assert fit_clock(force[:-1], force[1:] + 100).ambiguous


def test_a_jump_of_the_clock_is_seen():
    generator = np.random.default_rng(3)
    force, imu = session(generator, 30)
    imu[20:] += 2.0
    fit = fit_clock(force, imu)
    assert fit.jumped
    assert fit.pairs[:, 0].max() == 19


def test_a_sensor_at_another_rate_is_found_when_allowed():
    generator = np.random.default_rng(4)
    force, imu = session(generator, 12, drift=-0.048, span=60.0)
    assert fit_clock(force, imu, largest_drift=0.1).drift == pytest.approx(-0.048, abs=1e-4)


def test_nothing_in_common():
    generator = np.random.default_rng(8)
    assert fit_clock([], [1.0]) is None
    fit = fit_clock(np.sort(generator.uniform(0, 600, 8)), np.sort(generator.uniform(0, 600, 8)))
    assert fit is None or fit.ambiguous


def test_times_that_run_backwards_are_refused():
    with pytest.raises(ValueError, match="rising"):
        fit_clock([2.0, 1.0], [1.0, 2.0])


def test_noise_on_a_pulse_does_not_count_twice():
    generator = np.random.default_rng(1)
    signal = np.repeat([0.0, 5.0] * 4, 50) + generator.normal(0, 0.05, 400)
    assert find_pulses(signal, 1000.0) == pytest.approx([0.0495, 0.1495, 0.2495, 0.3495], abs=1e-4)
    assert find_pulses(np.zeros(10), 1000.0).size == 0


def test_lag_is_signed():
    t = np.arange(500) / 1000
    a, b = np.exp(-(((t - 0.2) / 0.02) ** 2)), np.exp(-(((t - 0.17) / 0.02) ** 2))
    assert lag_by_correlation(a, b, 1000.0) == pytest.approx(-0.030, abs=2e-4)
    with pytest.raises(ValueError, match="constant"):
        lag_by_correlation(np.ones(10), a, 1000.0)


@pytest.mark.parametrize("factor", [0.1, 0.8, 1.024, 1.25, 4.0])
def test_any_wrong_rate_is_told_by_the_intervals(factor):
    generator = np.random.default_rng(3)
    force = np.cumsum(generator.uniform(1.5, 4.0, 20))
    other = factor * (force + generator.normal(0, 0.0005, 20)) + 60.0
    assert find_stretch(force, other) == pytest.approx(factor, rel=1e-3)
    # one strike missed by either: two intervals of nineteen are lost
    assert find_stretch(np.delete(force, 4), other) == pytest.approx(factor, rel=1e-3)


def test_unrelated_or_few_events_tell_no_rate():
    generator = np.random.default_rng(4)
    found = [
        find_stretch(np.cumsum(generator.uniform(1.5, 4.0, 12)), np.cumsum(generator.uniform(1.5, 4.0, 12)))
        for _ in range(50)
    ]
    assert found.count(None) == 50
    assert find_stretch([1.0, 2.0, 4.0], [1.2, 2.4, 4.8]) is None
