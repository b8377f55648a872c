"""Linear ringing against SciPy and closed forms."""

import math

import numpy as np
import pytest
from scipy import signal

from quintain.numerics.resonator import (
    Mode,
    butterworth_poles,
    mode_poles,
    respond,
    respond_to_modes,
    transfer,
)

RATE = 20e3


def noise(n=3000, seed=3):
    return np.random.default_rng(seed).normal(0.0, 100.0, n)


@pytest.mark.parametrize("damping_ratio", [1e-6, 0.02, 0.7, 0.999999, 1.0, 1.5])
def test_mode_agrees_with_scipy(damping_ratio):
    # scipy.signal.lsim holds the input as straight lines too, by a matrix exponential.
    omega = 2 * math.pi * 300.0
    system = signal.lti([omega**2], [1, 2 * damping_ratio * omega, omega**2])
    force = noise()
    _, expected, _ = signal.lsim(system, force, np.arange(force.size) / RATE)
    output = respond_to_modes(force, RATE, [Mode(300.0, damping_ratio)])
    # Near critical damping two poles all but cancel: 1e-8 apart costs 1e-8 of the response.
    assert np.abs(output - expected).max() < 1e-7 * np.abs(expected).max()


@pytest.mark.parametrize("order", range(1, 11))
def test_butterworth_agrees_with_scipy(order):
    frequency = np.geomspace(1.0, 5000.0, 50)
    b, a = signal.butter(order, 2 * np.pi * 400.0, analog=True)
    _, expected = signal.freqs(b, a, 2 * np.pi * frequency)
    # Residues of ten close poles cancel to some digits.
    assert transfer(frequency, butterworth_poles(400.0, order)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("order", [1, 2, 3, 4, 6])
def test_butterworth_in_time_agrees_with_scipy(order):
    force = noise()
    system = signal.lti(*signal.butter(order, 2 * np.pi * 400.0, analog=True))
    _, expected, _ = signal.lsim(system, force, np.arange(force.size) / RATE)
    assert respond(force, RATE, butterworth_poles(400.0, order)) == pytest.approx(expected, abs=1e-8)


def test_transfer_of_a_textbook_resonance():
    # Greatest gain 1 / (2 zeta sqrt(1 - zeta^2)) at sqrt(1 - 2 zeta^2) of the natural frequency; any text.
    zeta = 0.1
    poles = mode_poles([Mode(1.0, zeta)])
    frequency = np.linspace(0.9, 1.1, 200_001)
    gain = np.abs(transfer(frequency, poles))
    assert gain.max() == pytest.approx(5.025189, abs=1e-6)
    assert frequency[gain.argmax()] == pytest.approx(0.989949, abs=2e-6)


def test_sine_settles_to_the_transfer():
    poles = mode_poles([Mode(200.0, 0.05, 0.8), Mode(700.0, 0.1, 0.2)])
    time = np.arange(200_000) / 200e3
    output = respond(np.sin(2 * np.pi * 150.0 * time), 200e3, poles)
    gain = complex(transfer(150.0, poles))
    settled = np.abs(gain) * np.sin(2 * np.pi * 150.0 * time + np.angle(gain))
    # The straight pieces flatten a sine by (omega dt)^2 / 12 = 1.9e-6; the ringing is gone by then.
    assert output[100_000:] == pytest.approx(settled[100_000:], abs=5e-6)


def test_shares_add_up():
    modes = [Mode(150.0, 0.03, 0.7), Mode(420.0, 0.02, 0.4), Mode(900.0, 0.05, -0.1)]
    force = noise()
    parts = sum(m.share * respond_to_modes(force, RATE, [Mode(*m[:2])]) for m in modes)
    assert respond_to_modes(force, RATE, modes) == pytest.approx(parts, abs=1e-9)
    assert transfer(0.0, mode_poles(modes)) == pytest.approx(1.0, abs=1e-12)


def test_first_sample_is_a_step_from_rest():
    output = respond(np.full(10, 4.0), RATE, butterworth_poles(100.0, 2))
    assert output[0] == 0.0
    assert (np.diff(output) > 0).all()


def test_one_sample_gives_one():
    assert respond([5.0], RATE, butterworth_poles(100.0)) == pytest.approx([0.0])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: mode_poles([]), "at least 1 mode"),
        (lambda: mode_poles([Mode(100.0, 0.1, 0.9)]), "must sum to 1, got 0.9"),
        (lambda: mode_poles([Mode(-100.0, 0.1)]), "above 0, got -100.0 Hz and 0.1"),
        (lambda: mode_poles([Mode(100.0, 0.0)]), "above 0, got 100.0 Hz and 0.0"),
        (lambda: butterworth_poles(0.0), "cutoff"),
        (lambda: butterworth_poles(10.0, 11), "order of a filter must be 1 to 10, got 11"),
        (lambda: respond([1.0, math.nan], 1.0, butterworth_poles(1.0)), "sample 1 is nan"),
        (lambda: respond([1.0], 0.0, butterworth_poles(1.0)), "rate must be above 0"),
    ],
)
def test_senseless_arguments(call, message):
    with pytest.raises(ValueError, match=message):
        call()
