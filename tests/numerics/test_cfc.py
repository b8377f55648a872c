"""Channel class filters: against scipy's own design, and what they refuse."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, filtfilt

from quintain.numerics.cfc import cfc_coefficients, cfc_gain, filter_cfc


@pytest.mark.parametrize("channel_class", [60, 180, 600])
def test_it_is_a_butterworth_filter(channel_class):
    rate = 20_000
    b, a = butter(2, 2.0775 * channel_class, fs=rate)
    c = cfc_coefficients(channel_class, rate)
    assert (c.a0, c.a1, c.a2, 1.0, -c.b1, -c.b2) == pytest.approx((*b, *a), rel=1e-9)
    trace = np.random.default_rng(1).standard_normal(5000).cumsum()
    # far from the edges the padding does not matter
    assert filter_cfc(trace, rate, channel_class)[1500:-1500] == pytest.approx(
        filtfilt(b, a, trace, padlen=4000)[1500:-1500], abs=1e-6
    )


def test_gain_is_what_a_sine_meets():
    t = np.arange(20_000) / 10_000
    filtered = filter_cfc(np.sin(2 * np.pi * 90 * t), 10_000, 60)[5000:15_000]
    assert filtered.max() == pytest.approx(float(cfc_gain(90.0, 10_000, 60)), rel=1e-3)  # top between samples


def test_constant_passes_to_the_edges():
    assert filter_cfc(np.full(50, 7.0), 10_000, 60) == pytest.approx(np.full(50, 7.0), rel=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: cfc_coefficients(100, 10_000),
            r"channel_class must be one of \(60, 180, 600, 1000\), got 100",
        ),
        (lambda: cfc_coefficients(60, 10_000, standard="DIN"), "standard must be one of SAE J211, ISO 6487"),
        (lambda: filter_cfc(np.ones(5), 10_000, 60), "at least 10 samples"),
        (lambda: filter_cfc(np.full(50, np.inf), 10_000, 60), "must be finite"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
