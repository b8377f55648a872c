"""Pulse quantities on the force that the correction gives back: the truth lies where they say."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics import pulse
from quintain.numerics.pulse_shape import impulse_coefficient, pulse_force
from quintain.numerics.resonator import Mode, respond_to_modes
from quintain.numerics.ringing import remove_ringing
from quintain.numerics.sampling import sampling_error_of_impulse

FINE, RATE, FREQUENCY, DAMPING, PEAK, NOISE = 100_000, 2000, 200.0, 0.02, 5000.0, 3.0
SHAPES = ("half-sine", "haversine", "triangle", "sin^1.5", "asymmetric")


def strike(shape, duration, rng):
    """Samples of a pulse that begins at 30 ms on a ringing cell, and where in time the first lies."""
    time = np.arange(0, 0.25, 1 / FINE)
    read = respond_to_modes(pulse_force(shape, PEAK, duration, time - 0.03), FINE, [Mode(FREQUENCY, DAMPING)])
    first = rng.integers(FINE // RATE)
    samples = read[first :: FINE // RATE]
    return samples + NOISE * rng.standard_normal(samples.size), time[first]


def true_rise(shape, duration):
    time = np.linspace(0, duration, 20_001)
    return pulse.rate_of_force_development(
        np.concatenate([[-1.0], pulse_force(shape, PEAK, duration, time), [-1.0]]),
        np.concatenate([[-1e-9], time, [duration + 1e-9]]),
        0.0,
    ).value


@pytest.mark.parametrize("periods", [1.5, 3.0])
def test_truth_lies_within_two_standard_uncertainties(periods):
    rng = np.random.default_rng(5)
    duration = periods / FREQUENCY
    found: dict[str, list[float]] = {}
    for shape in SHAPES * 2:
        samples, offset = strike(shape, duration, rng)
        begin = int(np.ceil((0.03 - offset) * RATE))
        force = remove_ringing(
            samples[:250],
            RATE,
            natural_frequency=[FREQUENCY],
            damping_ratio=[DAMPING],
            noise=NOISE,
            u_natural_frequency=[0.1],
            u_damping_ratio=[4e-4],
            contact=(begin, begin + int(duration * RATE)),
        )
        curve = force.force, force.time, force.u_force
        whole = pulse.impulse_with_zero(
            samples[begin - 5 :],
            RATE,
            u_noise=NOISE,
            u_sampling=sampling_error_of_impulse(
                duration * RATE, rate_over_frequency=RATE / FREQUENCY, damping_ratio=DAMPING
            ),
            modes=[(FREQUENCY, DAMPING)],
            n_free=200,
        )
        truth = {
            "impulse": (whole, impulse_coefficient(shape) * PEAK * duration),
            "contact time": (pulse.contact_time(*curve), duration),
            "time to peak": (pulse.time_to_peak(*curve), duration * (0.25 if shape == "asymmetric" else 0.5)),
            "rate": (pulse.rate_of_force_development(*curve), true_rise(shape, duration)),
        }
        for name, (stated, true) in truth.items():
            found.setdefault(name, []).append((stated.value - true) / stated.u)
    for name, errors in found.items():
        if name == "contact time":
            # a pulse that fades as the third power has no end to find at 1 % of its peak: see contact_time
            errors = errors[:4] + errors[5:9]
        # ten strikes: one outside of two standard uncertainties may happen, none outside of three
        assert np.sum(np.abs(errors) > 2) <= 1, name
        assert np.max(np.abs(errors)) < 3, name
