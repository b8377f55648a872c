"""Zero, drift and noise against known answers (derived here) and against repeated simulation."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.quiet import Zero, measure_zero, zero_line

RATE = 2000.0


def test_white_noise_gives_the_textbook_uncertainty():
    # sd of a mean is sigma / sqrt(n); of a slope sigma / sqrt(sum t^2): any book on least squares
    rng = np.random.default_rng(1)
    zeros = [measure_zero(rng.normal(5.0, 3.0, 1000), RATE) for _ in range(400)]
    values = np.array([z.value for z in zeros])
    drifts = np.array([z.drift for z in zeros])
    t = (np.arange(1000) - 499.5) / RATE
    # the scatter of 400 runs is known to 3.5 %, four times that
    assert values.std() == pytest.approx(3 / np.sqrt(1000), rel=0.14)
    assert drifts.std() == pytest.approx(3 / np.sqrt(t @ t), rel=0.14)
    # the stated uncertainty is never below it and on average at most a third above (few batches)
    stated = np.sqrt(np.mean([z.u_value**2 for z in zeros]))
    assert 1.0 <= stated / (3 / np.sqrt(1000)) < 1.35
    assert np.mean([z.noise for z in zeros]) == pytest.approx(3.0, rel=0.02)


@pytest.mark.parametrize("kind", ["white", "hum", "wander"])
def test_coverage_of_two_standard_uncertainties(kind):
    rng = np.random.default_rng(2)
    time = np.arange(1000) / RATE
    inside = drift_inside = 0
    n = 500
    for _ in range(n):
        x = 7.0 + 4.0 * (time - time.mean()) + rng.normal(0, 1.0, time.size)
        if kind == "hum":
            x += 5.0 * np.sin(2 * np.pi * 50.3 * time + rng.uniform(0, 2 * np.pi))
        if kind == "wander":
            from scipy.signal import lfilter

            # first-order wander with a time constant of 5 ms, a hundredth of the stretch
            x += lfilter([0.3], [1, -0.9], rng.normal(size=3000))[2000:]
        zero = measure_zero(x, RATE)
        inside += abs(zero.value - 7.0) <= 2 * zero.u_value
        drift_inside += abs(zero.drift - 4.0) <= 2 * zero.u_drift
    # 95 % less three standard deviations of a count of 500; more is allowed: the floor is safe
    assert inside / n > 0.92
    assert drift_inside / n > 0.92


def test_hum_is_noise_and_does_not_average_like_it():
    time = np.arange(1000) / RATE
    x = 5.0 * np.sin(2 * np.pi * 50 * time) + np.random.default_rng(3).normal(0, 0.1, 1000)
    assert measure_zero(x, RATE).noise == pytest.approx(5 / np.sqrt(2), rel=0.01)


def test_discharges_and_missing_samples_are_left_out():
    x = np.random.default_rng(4).normal(2.0, 1.0, 1000)
    plain = measure_zero(x, RATE)
    x[[100, 700]] = [9000.0, -400.0]
    x[300:320] = np.nan
    spoiled = measure_zero(x, RATE)
    assert spoiled.n == 978
    assert spoiled.value == pytest.approx(plain.value, abs=0.05)  # 22 of 1000 samples less
    assert spoiled.noise == pytest.approx(plain.noise, rel=0.03)


def test_noise_below_a_step():
    x = np.round(np.random.default_rng(5).normal(10.3, 0.05, 1000) / 1.0)
    x[500] = 11.0
    zero = measure_zero(x, RATE)
    assert zero.coarse
    assert zero.step == 1.0
    assert zero.u_value >= 1 / np.sqrt(12)
    assert abs(zero.value - 10.3) < 2 * zero.u_value


def test_step_of_a_constant_stretch_can_be_stated():
    zero = measure_zero(np.full(100, 3.0), RATE, step=0.5)
    assert zero.coarse
    assert zero.noise == pytest.approx(0.5 / np.sqrt(12))
    assert not measure_zero(np.full(100, 3.0), RATE).coarse


def test_first_sample_sets_the_time():
    zero = measure_zero(np.zeros(1001), 1000.0, first=2000)
    assert zero.time == pytest.approx(2.5)


@pytest.mark.parametrize(
    ("x", "rate"), [(np.zeros(7), 1000.0), (np.full(50, np.nan), 1000.0), (np.zeros(50), 0.0)]
)
def test_too_little_is_refused(x, rate):
    with pytest.raises(ValueError):
        measure_zero(x, rate)


def test_eight_samples_are_enough():
    assert np.isfinite(measure_zero([1.0, 2, 1, 2, 1, 2, 1, 2], 100.0)).all()


def a_zero(time: float, value: float, u: float, drift: float = 0.0, u_drift: float = 0.1) -> Zero:
    return Zero(time, value, u, drift, u_drift, 1.0, 1000, 0.0, False)


def test_line_through_both_ends():
    line = zero_line(a_zero(0, 1.0, 0.3), a_zero(2, 5.0, 0.4))
    assert line.at([0, 1, 2]) == pytest.approx([1, 3, 5])
    # middle of two independent values: half the root sum of squares
    assert line.u_at([0, 1, 2]) == pytest.approx([0.3, 0.25, 0.4])


def test_line_from_before_alone():
    held = zero_line(a_zero(0, 1.0, 0.3, drift=0.15))
    assert held.at(2.0) == pytest.approx(1.0)
    assert held.u_at(2.0) == pytest.approx(np.hypot(0.3, 0.2))
    drifting = zero_line(a_zero(0, 1.0, 0.3, drift=3.0))
    assert drifting.at(2.0) == pytest.approx(7.0)


def test_after_must_follow_before():
    with pytest.raises(ValueError, match="must lie after"):
        zero_line(a_zero(2, 0, 1), a_zero(1, 0, 1))


def test_line_uncertainty_against_simulation():
    rng = np.random.default_rng(6)
    time = np.arange(6000) / RATE
    errors, stated = [], []
    for _ in range(300):
        x = 3.0 + 2.0 * time + rng.normal(0, 2.0, time.size)
        line = zero_line(measure_zero(x[:1000], RATE), measure_zero(x[5000:], RATE, first=5000))
        errors.append(float(line.at(1.2)) - 5.4)
        stated.append(float(line.u_at(1.2)))
    # 300 runs know their scatter to 4 %; few batches state up to a third more
    assert 0.95 < np.sqrt(np.mean(np.square(stated))) / np.std(errors) < 1.4
