"""The measuring chain, one property at a time."""

import numpy as np
import pytest

from quintain.numerics.acquisition import acquire
from quintain.numerics.pulse_shape import impulse_coefficient, pulse_force
from quintain.numerics.resonator import butterworth_poles, respond

FINE = 100e3
TIME = np.arange(10_001) / FINE
PULSE = pulse_force("haversine", 3000.0, 0.020, TIME - 0.01)


def rng():
    return np.random.default_rng(7)


@pytest.mark.parametrize("rate", [500.0, 1000.0, 1234.5, 9999.0, 44.1e3])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.999])
def test_samples_the_signal_at_any_rate_and_phase(rate, phase):
    got = acquire(PULSE, FINE, rate=rate, rng=rng(), phase=phase)
    assert np.diff(got.time) == pytest.approx(1 / rate, abs=1e-12)
    assert got.time[0] == pytest.approx(phase / rate)
    assert 0 <= TIME[-1] - got.time[-1] < 1 / rate * (1 + 1e-9)
    # Cubic between points 10 us apart: (omega dt)^4 / 40 of the peak is far below 1e-9; the haversine's kinks
    # in curvature, omega^2 F / 2 at both ends, leave 1e-7.
    assert got.force == pytest.approx(pulse_force("haversine", 3000.0, 0.020, got.time - 0.01), abs=1e-3)
    assert not got.clipped.any()


def test_random_phase_comes_from_the_generator_only():
    one, two = (acquire(PULSE, FINE, rate=1e3, rng=rng(), noise=2.0) for _ in range(2))
    assert (one.force == two.force).all()
    phases = [
        acquire(PULSE, FINE, rate=1e3, rng=g).time[0] * 1e3
        for g in [np.random.default_rng(i) for i in range(400)]
    ]
    # Uniform on 0 to 1: the mean of 400 lies within 4 standard errors of 0.0144.
    assert np.mean(phases) == pytest.approx(0.5, abs=0.058)
    assert min(phases) >= 0
    assert max(phases) < 1


def test_quiet_before():
    got = acquire(PULSE + 50.0, FINE, rate=1e3, rng=rng(), phase=0.0, quiet_before=0.5)
    assert got.time[0] == pytest.approx(-0.5)
    assert not got.force[got.time < -1e-9].any()
    assert got.force[np.abs(got.time) < 1e-9] == pytest.approx([50.0])


def test_gain_zero_and_drift():
    plain = acquire(PULSE, FINE, rate=2e3, rng=rng(), phase=0.25)
    got = acquire(PULSE, FINE, rate=2e3, rng=rng(), phase=0.25, gain=1.02, zero=-7.0, drift=30.0)
    assert got.force == pytest.approx(1.02 * plain.force - 7.0 + 30.0 * got.time, abs=1e-9)


def test_noise_is_white_and_of_the_stated_size():
    got = acquire(np.zeros(500_001), FINE, rate=20e3, rng=rng(), noise=3.0, anti_alias_cutoff=100.0)
    # 1e5 samples: standard error of the spread 0.22 %, of the correlation 0.0032; four of them.
    assert got.force.std() == pytest.approx(3.0, rel=0.009)
    neighbours = np.corrcoef(got.force[1:], got.force[:-1])[0, 1]
    assert abs(neighbours) < 0.013


def test_quantisation():
    got = acquire(PULSE, FINE, rate=2e3, rng=rng(), phase=0.1, limit=5000.0, bits=12)
    step = 10_000 / 4096
    assert got.force / step == pytest.approx(np.rint(got.force / step), abs=1e-9)
    plain = acquire(PULSE, FINE, rate=2e3, rng=rng(), phase=0.1)
    assert np.abs(got.force - plain.force).max() <= step / 2 * (1 + 1e-12)


def test_clipping_at_both_ends():
    wave = 3000.0 * np.sin(2 * np.pi * 50.0 * TIME)
    got = acquire(wave, FINE, rate=1e4, rng=rng(), phase=0.0, limit=2000.0, bits=16)
    assert got.force.max() == 2000.0 - 4000.0 / 65536
    assert got.force.min() == -2000.0
    assert (got.clipped == ((got.force > 1999.9) | (got.force < -1999.9))).all()
    assert 0.4 < got.clipped.mean() < 0.6
    plain = acquire(wave, FINE, rate=1e4, rng=rng(), phase=0.0, limit=2000.0)
    assert plain.force.max() == 2000.0


def test_anti_alias_filter_keeps_the_impulse_and_removes_the_alias():
    got = acquire(PULSE, FINE, rate=2e3, rng=rng(), phase=0.0, anti_alias_cutoff=400.0)
    impulse = impulse_coefficient("haversine") * 3000.0 * 0.020
    # Unity gain at zero frequency; above 1 kHz, where the sum would err, nothing is left of a 20 ms pulse.
    assert got.force.sum() / 2e3 == pytest.approx(impulse, rel=1e-6)
    expected = respond(PULSE, FINE, butterworth_poles(400.0, 4))[::50]
    assert got.force == pytest.approx(expected, abs=1e-6)
    tone = acquire(
        1000.0 * np.sin(2 * np.pi * 1700.0 * TIME),
        FINE,
        rate=2e3,
        rng=rng(),
        phase=0.0,
        anti_alias_cutoff=400.0,
    )
    # Fourth order: (1700 / 400)^-4 = 0.3 % is left after the start has settled.
    assert np.abs(tone.force[100:]).max() < 4.0


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"rate": 0.0}, "rate must be above 0 Hz"),
        ({"rate": 1e3, "phase": 1.0}, "phase must be at least 0 and below 1, got 1.0"),
        ({"rate": 1e3, "noise": -1.0}, "must not be negative, got -1.0 N"),
        ({"rate": 1e3, "limit": 0.0}, "limit must be above 0 N"),
        ({"rate": 1e3, "bits": 16}, "needs a limit"),
        ({"rate": 1e3, "bits": 0, "limit": 1.0}, "bits must be 1 to 32"),
    ],
)
def test_senseless_settings(keys, message):
    with pytest.raises(ValueError, match=message):
        acquire(PULSE, FINE, rng=rng(), **keys)


def test_senseless_signals():
    with pytest.raises(ValueError, match="at least 2 points"):
        acquire([1.0], FINE, rate=1e3, rng=rng())
    with pytest.raises(ValueError, match="finite"):
        acquire([1.0, np.nan, 2.0], FINE, rate=1e3, rng=rng())
    with pytest.raises(ValueError, match="signal_rate must be above 0"):
        acquire([1.0, 2.0], 0.0, rate=1e3, rng=rng())
