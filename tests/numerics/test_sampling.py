"""Peaks between samples and the error of a sampled impulse, by simulation over all phases."""

from __future__ import annotations

import math

import numpy as np
import pytest

from half_sine_response import half_sine_response
from quintain.numerics.pulse import integrate_impulse
from quintain.numerics.pulse_shape import SHAPES, pulse_force
from quintain.numerics.sampling import (
    interpolate_peak,
    maximum_of_noise,
    sampling_error_of_impulse,
    sampling_loss,
)

RNG_PHASES = np.random.default_rng(3).random(200)


def samples(shape, n, phase):
    return pulse_force(shape, 1.0, 1.0, (np.arange(-6, n + 7) + phase) / n)


@pytest.mark.parametrize(
    ("shape", "n", "worst"),
    [
        # half-sine: worst errors of a spline as simulated for this project, rounded up
        ("half-sine", 5, 0.008),
        ("half-sine", 7, 0.003),
        ("half-sine", 10, 0.0015),
        ("haversine", 7, 0.005),
        ("haversine", 10, 0.002),
    ],
)
def test_spline_peak(shape, n, worst):
    errors = [interpolate_peak(samples(shape, n, p), 1000).value - 1 for p in RNG_PHASES]
    assert np.max(np.abs(errors)) < worst
    assert np.max(np.abs(errors)) < sampling_loss(n, curve=SHAPES[shape].curve).worst / 4


@pytest.mark.parametrize("shape", ["half-sine", "haversine", "parabola"])
@pytest.mark.parametrize("n", [5, 6, 8, 12])
def test_doubt_of_the_spline_peak(shape, n):
    # stated as a standard uncertainty: 2 u must hold nine in ten at the least
    found = [interpolate_peak(samples(shape, n, p), 1000) for p in RNG_PHASES]
    assert np.mean([abs(f.value - 1) <= 2 * f.u + 1e-4 for f in found]) > 0.9


def test_noise_of_the_spline_peak():
    rng = np.random.default_rng(4)
    force = 3000 * samples("half-sine", 12, 0.4)
    stated = dict(interpolate_peak(force, 1000, u_noise=3.0).contributions)["noise"]
    draws = [interpolate_peak(force + 3.0 * rng.standard_normal(force.size), 1000).value for _ in range(1000)]
    assert np.std(draws) == pytest.approx(stated, rel=0.1)  # 1000 draws: 2.2 %, four times


@pytest.mark.parametrize(("ratio", "n"), [(2.3, 6), (2.6, 10), (4.3, 8), (6.3, 15)])
def test_error_of_a_sampled_ringing_impulse(ratio, n):
    # the whole ringing trace, sampled at 400 phases: never beyond 1.5 of what is stated (the envelope is an
    # upper bound for a pulse whose length is not a whole number of samples)
    rate, duration = 1000.0, n / 1000
    t = np.arange(-5, 4000) / rate
    errors = [
        integrate_impulse(half_sine_response(t + p / rate, duration, rate / ratio, 0.02), rate).value
        * math.pi
        / 2
        / duration
        - 1
        for p in RNG_PHASES
    ]
    stated = sampling_error_of_impulse(n, rate_over_frequency=ratio, damping_ratio=0.02)
    assert np.std(errors) == pytest.approx(stated, rel=0.1)
    assert stated < sampling_error_of_impulse(n)  # a rig in between smooths the pulse


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sampling_loss(0.5), "at least one sample in the pulse"),
        (lambda: sampling_loss(math.nan), "at least one sample in the pulse"),
        (lambda: sampling_error_of_impulse(0.5), "at least one sample in the pulse"),
        (lambda: sampling_error_of_impulse(9, rate_over_frequency=0.8), "above the natural frequency"),
        (lambda: maximum_of_noise(0), "at least 1 sample"),
        (lambda: interpolate_peak(np.arange(20.0), 1000), "within 3 samples of an edge"),
        (lambda: interpolate_peak(-((np.arange(20.0) - 9) ** 2), 1000), "no force above zero"),
        (lambda: interpolate_peak(np.ones(5), 1000), "at least 7 samples"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
