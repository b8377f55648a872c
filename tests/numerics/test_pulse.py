"""Pulse quantities: stated uncertainty against Monte Carlo for each, and what they refuse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from quintain.numerics.pulse import (
    contact_time,
    expected_peak,
    find_contact,
    find_peak,
    fit_ring_tail,
    impulse_of_corrected_force,
    impulse_with_zero,
    integrate_impulse,
    maximum_rate_of_force_development,
    rate_of_force_development,
    time_to_peak,
    width_at_level,
)
from quintain.numerics.pulse_shape import pulse_force

N_DRAWS = 1500
SPREAD = 0.08  # the spread of 1500 draws is known to 1.8 %; four times that
TIME = np.arange(-0.004, 0.014, 5e-5)
BLOW = pulse_force("half-sine", 3000.0, 0.01, TIME)


def spread(quantity, draws):
    return np.std([quantity(force) for force in draws])


def white(rng, shape, sd):
    return sd * rng.standard_normal(shape)


def smooth(rng, sd, width=6):
    """Errors that go together over some 0.5 ms, as those of a smoothed force do."""
    noise = gaussian_filter1d(rng.standard_normal((N_DRAWS, BLOW.size + 200)), width, axis=1)[:, 100:-100]
    return sd * noise / noise.std()


def test_impulse_against_draws():
    rng = np.random.default_rng(1)
    draws = BLOW + white(rng, (N_DRAWS, BLOW.size), 20.0)
    stated = integrate_impulse(BLOW, 20_000, u_noise=20.0).u
    assert spread(lambda f: integrate_impulse(f, 20_000).value, draws) == pytest.approx(stated, rel=SPREAD)


def test_impulse_with_zero_against_draws():
    rng = np.random.default_rng(2)
    rate, lag = 1000, 0.4
    t = np.arange(60) / rate
    force = np.where((t > 0.02) & (t < 0.03), 3000 * np.sin(np.pi * np.clip((t - 0.02) / 0.01, 0, 1)), 0.0)
    u = {"u_noise": 3.0, "u_zero": 0.5, "u_drift": 1.5, "u_gain": 0.002}
    draws = (
        force * (1 + white(rng, (N_DRAWS, 1), u["u_gain"]))
        + white(rng, (N_DRAWS, t.size), u["u_noise"])
        + white(rng, (N_DRAWS, 1), u["u_zero"])
        + white(rng, (N_DRAWS, 1), u["u_drift"]) * (lag + t)
    )
    stated = impulse_with_zero(force, rate, zero_lag=lag, **u)
    assert spread(lambda f: integrate_impulse(f, rate).value, draws) == pytest.approx(stated.u, rel=SPREAD)
    assert [c.name for c in stated.contributions] == ["noise", "zero", "drift", "gain", "sampling", "tail"]
    # no source hides behind another: each counts here
    assert min(abs(c.u) for c in stated.contributions[:4]) > 0.05 * stated.u


def test_ring_tail_against_draws():
    rng = np.random.default_rng(3)
    modes = [(120.0, 0.03), (310.0, 0.01)]
    k = np.arange(80)
    ring = sum(
        200 * np.exp(-2 * np.pi * f * z * k / 1000) * np.cos(2 * np.pi * f * math.sqrt(1 - z * z) * k / 1000)
        for f, z in modes
    )
    stated = fit_ring_tail(ring, 1000, modes, u_noise=3.0)
    draws = ring + white(rng, (N_DRAWS, k.size), 3.0)
    assert spread(lambda f: fit_ring_tail(f, 1000, modes).value, draws) == pytest.approx(stated.u, rel=SPREAD)


def test_ring_tail_with_a_wrong_mode_doubts_itself():
    k = np.arange(200)
    ring = 100 * np.exp(-0.01 * k) * np.cos(0.5 * k)
    omega = math.hypot(10, 500)
    right = fit_ring_tail(ring[:100], 1000, [(omega / 2 / np.pi, 10 / omega)], u_noise=0.01)
    wrong = fit_ring_tail(ring[:100], 1000, [(1.1 * omega / 2 / np.pi, 10 / omega)], u_noise=0.01)
    assert wrong.u > 100 * right.u


def test_ring_tail_of_a_mode_too_slow_to_see():
    # a plate that swings at 8 Hz, seen for an eighth of its period: nothing wild, and a doubt that says so
    rng = np.random.default_rng(12)
    t = np.arange(15) / 1000
    ring = 100 * np.exp(-2 * t) * np.cos(2 * np.pi * 8 * t + 1) + white(rng, t.size, 3.0)
    tail = fit_ring_tail(ring, 1000, [(8.0, 0.04), (210.0, 0.02)], u_noise=3.0)
    whole = np.trapezoid(
        100 * np.exp(-2 * (s := np.arange(0.014, 5, 1e-3))) * np.cos(2 * np.pi * 8 * s + 1), s
    )
    assert abs(tail.value) < 3 * 100 / (2 * np.pi * 8)
    assert tail.value == pytest.approx(whole, abs=3 * tail.u)


def test_no_ringing_no_tail():
    assert fit_ring_tail(np.zeros(50), 1000, [(100.0, 0.02)], u_noise=3.0).value == 0.0


def test_impulse_of_corrected_force_against_draws():
    # errors wholly alike along the trace, as the method assumes; end and gain independent of them
    rng = np.random.default_rng(4)
    shared, end, gain = white(rng, (3, N_DRAWS), 1.0)
    found = [
        impulse_of_corrected_force(
            BLOW * (1 + 0.003 * g) + 10.0 * s, TIME, 0.0, start=0.0, end=0.006 + 2e-5 * e
        ).value
        for s, e, g in zip(shared, end, gain, strict=True)
    ]
    stated = impulse_of_corrected_force(BLOW, TIME, 10.0, start=0.0, end=0.006, u_end=2e-5, u_gain=0.003)
    assert np.std(found) == pytest.approx(stated.u, rel=SPREAD)
    # alike is the worst case: errors that go together over a part only do less harm
    part = BLOW + smooth(rng, 10.0)
    less = spread(lambda f: impulse_of_corrected_force(f, TIME, 0.0, start=0.0, end=0.006).value, part)
    assert less < impulse_of_corrected_force(BLOW, TIME, 10.0, start=0.0, end=0.006).u


def test_peak_against_draws():
    rng = np.random.default_rng(5)
    stated = find_peak(BLOW, TIME, 10.0)
    peaks = [find_peak(f, TIME, 10.0) for f in BLOW + smooth(rng, 10.0)]
    assert np.std([p.value for p in peaks]) == pytest.approx(stated.u, rel=SPREAD)
    # the time of a flat top: stated as limits, so as not to need how far errors go together
    assert np.std([p.time for p in peaks]) < stated.u_time < 4 * np.std([p.time for p in peaks])


def test_contact_time_against_draws():
    # without the share of the threshold, which is a doubt of definition and not of noise
    rng = np.random.default_rng(6)
    stated = contact_time(BLOW, TIME, 4.0)
    noise_only = math.hypot(*(c.u for c in stated.contributions if c.name != "threshold"))
    found = spread(lambda f: contact_time(f, TIME, 4.0).value, BLOW + smooth(rng, 4.0))
    assert found == pytest.approx(noise_only, rel=SPREAD)


@pytest.mark.parametrize("name", ["half-sine", "haversine", "triangle", "parabola", "sin^1.5"])
def test_contact_time_covers_the_pulse(name):
    # the true length lies above the stated time, by no more than 2 u, for every shape of toe
    force = pulse_force(name, 3000.0, 0.01, TIME)
    stated = contact_time(force, TIME, 3.0)
    assert stated.value <= 0.01 <= stated.value + 2 * stated.u


def test_a_moment_of_doubt_does_not_end_the_contact():
    # a correction is unsure for 1.5 ms about a kink, here on either side of the peak, well inside the pulse
    doubt = np.full(TIME.size, 2.0)
    for middle in (0.0015, 0.0085):
        doubt[np.abs(TIME - middle) < 0.00075] = 400.0
    here, sure = find_contact(BLOW, TIME, doubt), find_contact(BLOW, TIME, 2.0)
    assert (here.start, here.end) == (sure.start, sure.end)
    assert here.u_end < 0.003


def test_a_flat_edge_is_uncertain_within_bounds():
    # the force creeps through its threshold of 30 N; 2 N over its slope would be 4 ms, beyond the data
    force = np.where(TIME > 0.0095, 31.0 - 500 * (TIME - 0.0095), BLOW)
    found = find_contact(force, TIME, 2.0)
    assert found.end == pytest.approx(0.0115, abs=5e-5)
    assert found.u_end == pytest.approx((TIME[-1] - 0.0095) / 2, abs=1e-4)


def test_a_peak_that_is_hardly_above_the_usual_doubt_is_no_contact():
    doubt = np.full(TIME.size, 2000.0)
    doubt[int(np.argmax(BLOW))] = 1.0
    with pytest.raises(ValueError, match="does not stand above the threshold"):
        find_contact(BLOW, TIME, doubt)


def test_contact_is_sought_from_the_peak():
    # a wave before the contact, higher than the threshold: not the start
    force = BLOW + 60 * np.exp(-(((TIME + 0.003) / 0.0003) ** 2))
    assert find_contact(force, TIME, 2.0).start == pytest.approx(0.0, abs=5e-5)


def test_time_to_peak_against_draws():
    rng = np.random.default_rng(7)
    stated = time_to_peak(BLOW, TIME, 10.0)
    assert stated.value == pytest.approx(0.005, abs=2 * stated.u)
    found = spread(lambda f: time_to_peak(f, TIME, 10.0).value, BLOW + smooth(rng, 10.0))
    assert found < stated.u < 4 * found  # limits for the peak's instant: wide on purpose


def test_width_against_draws():
    rng = np.random.default_rng(8)
    stated = width_at_level(BLOW, TIME, 10.0)
    found = spread(lambda f: width_at_level(f, TIME, 10.0).value, BLOW + smooth(rng, 10.0))
    assert found == pytest.approx(stated.u, rel=SPREAD)


def test_rate_of_force_development_against_draws():
    rng = np.random.default_rng(9)
    force, gain = BLOW + smooth(rng, 10.0), 1 + white(rng, (N_DRAWS, 1), 0.005)
    stated = rate_of_force_development(BLOW, TIME, 10.0, u_gain=0.005)
    found = spread(lambda f: rate_of_force_development(f, TIME, 10.0).value, gain * force)
    assert found == pytest.approx(stated.u, rel=SPREAD)


def test_maximum_rate_against_draws():
    # a pulse with one clear steepest place: on a straight rise the place wanders and picks up noise
    rng = np.random.default_rng(10)
    force = pulse_force("haversine", 3000.0, 0.01, TIME)
    stated = maximum_rate_of_force_development(force, TIME, 4.0, width=0.002, u_gain=0.002)
    draws = (force + smooth(rng, 4.0)) * (1 + white(rng, (N_DRAWS, 1), 0.002))
    found = [maximum_rate_of_force_development(f, TIME, 4.0, width=0.002).value for f in draws]
    assert np.std(found) == pytest.approx(stated.u, rel=2 * SPREAD)

    ramp = pulse_force("triangle", 3000.0, 0.01, TIME)
    steepest = [
        maximum_rate_of_force_development(f, TIME, 4.0, width=0.002).value
        for f in ramp + smooth(rng, 4.0)[:200]
    ]
    assert np.mean(steepest) > 600_000 + 4 * np.std(steepest) / math.sqrt(200)  # too great on average


def test_expected_peak_against_draws():
    rng = np.random.default_rng(11)
    n = 200_000
    stated = expected_peak(19.1, 0.010, u_impulse=0.2, u_duration=2e-4)
    least, greatest = (19.1 / (c * 0.010) for c in (2 / 3, 64 / 135))
    middle = rng.uniform(least, greatest, n)
    draws = middle * (19.1 + white(rng, n, 0.2)) / 19.1 * 0.010 / (0.010 + white(rng, n, 2e-4))
    assert np.mean(draws) == pytest.approx(stated.value, rel=1e-3)
    assert np.std(draws) == pytest.approx(stated.u, rel=0.01)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: integrate_impulse([1.0], 1000), "need at least 2 samples of force in one row"),
        (lambda: integrate_impulse([1.0, np.nan], 1000), "force must be finite, but sample 1 is nan"),
        (lambda: integrate_impulse([1.0, 2.0], 0.0), "the sampling rate must be above 0 Hz, got 0"),
        (lambda: impulse_with_zero(BLOW, 1000, modes=[(100.0, 0.02)]), "n_free must be 1 to 360"),
        (lambda: impulse_with_zero(BLOW, 1000, u_zero=np.nan), "every contribution must be finite"),
        (lambda: fit_ring_tail(BLOW, 1000, [(100.0, 0.0)]), "a damping ratio between 0 and 1"),
        (lambda: fit_ring_tail(BLOW[:3], 1000, [(100.0, 0.02)]), "need at least 4 samples"),
        (lambda: find_peak(BLOW[:100], TIME[:100], 1.0), "the pulse is cut off"),
        (lambda: find_peak(BLOW, TIME[::-1], 1.0), "time must increase"),
        (lambda: find_peak(BLOW, TIME, -1.0), "u_force must not be negative"),
        (lambda: find_peak(BLOW, TIME, [1.0, 2.0]), "force, time and u_force must match"),
        (lambda: find_contact(BLOW[100:], TIME[100:], 1.0), "cut off there"),
        (lambda: find_contact(0 * BLOW, TIME, 1.0), "there is no contact to find"),
        (lambda: contact_time(BLOW, TIME, 400.0), "does not stand above the threshold"),
        (lambda: width_at_level(-BLOW - 1, TIME, 1.0), "no push in the data"),
        (lambda: rate_of_force_development(-BLOW - 1, TIME, 1.0), "no push in the data"),
        (
            lambda: rate_of_force_development(BLOW, TIME, 1.0, window=(0.0, 0.8)),
            "fractions of the peak in order",
        ),
        (lambda: width_at_level(BLOW, TIME, 1.0, fraction=1.0), "fractions of the peak in order"),
        (
            lambda: rate_of_force_development(BLOW, TIME, 1.0, window=(0.8, 0.2)),
            "fractions of the peak in order",
        ),
        (lambda: maximum_rate_of_force_development(BLOW, TIME, 1.0, width=1.0), "the width of 1.0 s"),
        (lambda: impulse_of_corrected_force(BLOW, TIME, 1.0, start=0.02, end=0.03), "start < end"),
        (lambda: expected_peak(19.1, 0.0), "the duration must be above 0 s"),
        (lambda: expected_peak(19.1, 0.01, shapes=[]), "at least one pulse shape"),
        (lambda: expected_peak(19.1, 0.01, shapes=["cube"]), "no pulse shape 'cube'"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
