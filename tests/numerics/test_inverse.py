"""Inverse filter: undoes what the rig does, with one and several modes, and says how noise grows."""

from __future__ import annotations

import numpy as np
import pytest

from half_sine_response import half_sine_response
from quintain.numerics.inverse import inverse_noise_gain, invert_second_order
from quintain.numerics.sampling import interpolate_peak


@pytest.mark.parametrize(
    ("periods", "least", "most"), [(2.0, -0.012, 0.012), (3.0, -0.005, 0.005), (5.0, -0.003, 0.003)]
)
def test_peak_of_long_pulses(periods, least, most):
    # simulated for this project over five shapes: at 2 periods 0.16 % in the middle, 0.9 % at the 95th
    # percentile
    t = np.arange(-0.05, 0.3, 1 / 2000)
    read = half_sine_response(t, periods / 200, 200.0, 0.02)
    peak = interpolate_peak(invert_second_order(read, 2000, 200.0, 0.02), 2000).value
    assert least < peak - 1 < most
    assert read.max() - 1 > 5 * most


def test_short_pulse_is_cut():
    # below half a period it must not be trusted: that is what the smoother is for
    t = np.arange(-0.05, 0.3, 1 / 5000)
    read = half_sine_response(t, 0.4 / 200, 200.0, 0.02)
    assert invert_second_order(read, 5000, 200.0, 0.02).max() < 0.95


def test_two_modes():
    # a sum of two modes is undone exactly where the low-pass lets it pass
    t = np.arange(-0.05, 0.4, 1 / 5000)
    read = 0.7 * half_sine_response(t, 0.02, 300.0, 0.03) + 0.3 * half_sine_response(t, 0.02, 90.0, 0.05)
    true = np.where((t > 0) & (t < 0.02), np.sin(np.pi * t / 0.02), 0.0)
    corrected = invert_second_order(read, 5000, [300.0, 90.0], [0.03, 0.05], [0.7, 0.3])
    assert np.abs(read - true).max() > 0.1
    assert np.abs(corrected - true).max() < 0.02  # the corners, rounded by the low-pass at 600 Hz
    one = invert_second_order(read, 5000, 300.0, 0.03)
    assert np.abs(one - true).max() > 0.05  # one mode does not do


def test_impulse_stays():
    t = np.arange(-0.1, 1.0, 1 / 2000)
    read = half_sine_response(t, 0.01, 150.0, 0.05)
    assert invert_second_order(read, 2000, 150.0, 0.05).sum() == pytest.approx(read.sum(), rel=1e-4)


def test_ringing_cut_at_the_end_spoils_only_the_end():
    t = np.arange(-0.05, 0.06, 1 / 5000)
    read = half_sine_response(t, 0.012, 300.0, 0.01)
    true = np.where((t > 0) & (t < 0.012), np.sin(np.pi * t / 0.012), 0.0)
    error = np.abs(invert_second_order(read, 5000, 300.0, 0.01) - true)
    assert error[t < 0.055].max() < 0.03  # the corners of the pulse, rounded by the low-pass


def test_noise_gain():
    rng = np.random.default_rng(2)
    noise = rng.standard_normal(100_000)
    for rate in (1000, 5000):
        found = invert_second_order(noise, rate, 300.0, 0.02).std()
        assert inverse_noise_gain(rate, 300.0, 0.02) == pytest.approx(found, rel=0.02)  # 100 000 draws: 0.5 %


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: invert_second_order(np.ones(9), 500, 300.0, 0.02), "sample faster than 600 Hz"),
        (lambda: invert_second_order([1.0, np.nan, 2.0], 5000, 300.0, 0.02), "must be finite"),
        (
            lambda: invert_second_order(np.ones(9), 5000, 300.0, 0.02, corner=0.0),
            "the corner must be above 0 Hz",
        ),
        (lambda: invert_second_order(np.ones(9), 5000, 300.0, 0.0), "must be above 0, got 300.0 Hz and 0.0"),
        (
            lambda: invert_second_order(np.ones(9), 5000, [100.0, 200.0], [0.02]),
            "each mode needs one natural",
        ),
        (
            lambda: invert_second_order(np.ones(9), 5000, 300.0, 0.02, 0.5),
            "shares of the modes must sum to 1",
        ),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
