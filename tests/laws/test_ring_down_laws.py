"""Laws of identification and calibration that hold for any rig."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from free_decay import free_decay
from quintain.numerics.added_mass import find_moving_mass
from quintain.numerics.ring_down import cramer_rao, identify_ring_down
from quintain.numerics.static_load import fit_calibration, force_at_reading

RATE, N = 2000, 500
NOISE = np.random.default_rng(17).normal(0, 1, N)
TIME = np.arange(N) / RATE


@given(
    frequency=st.floats(60, 700),
    damping=st.floats(0.005, 0.06),
    scale=st.sampled_from([1e-3, -1.0, 250.0]),
    offset=st.floats(-1e3, 1e3),
)
@settings(deadline=None, max_examples=15)
def test_modes_do_not_depend_on_unit_sign_or_zero(frequency, damping, scale, offset):
    trace = free_decay(TIME, frequency, damping, 100, 0.4) + NOISE
    plain = identify_ring_down(trace, RATE, n_modes=1)
    other = identify_ring_down(scale * trace + offset * abs(scale), RATE, n_modes=1)
    # the search stops a thousandth of an uncertainty from the minimum
    assert other.natural_frequency == pytest.approx(
        plain.natural_frequency, abs=0.01 * plain.u_natural_frequency[0]
    )
    assert other.damping_ratio == pytest.approx(plain.damping_ratio, abs=0.01 * plain.u_damping_ratio[0])
    assert other.amplitude == pytest.approx(abs(scale) * plain.amplitude, rel=1e-3)


@given(frequency=st.floats(60, 700), damping=st.floats(0.005, 0.06), level=st.floats(20, 500))
@settings(deadline=None, max_examples=15)
def test_truth_lies_within_the_stated_uncertainty(frequency, damping, level):
    found = identify_ring_down(free_decay(TIME, frequency, damping, level, 1.0) + NOISE, RATE, n_modes=1)
    # one noise record for all examples: five uncertainties for the worst of many frequencies
    assert abs(found.natural_frequency[0] - frequency) < 5 * found.u_natural_frequency[0]
    assert abs(found.damping_ratio[0] - damping) < 5 * found.u_damping_ratio[0]


@given(frequency=st.floats(60, 700), damping=st.floats(0.005, 0.06), factor=st.floats(1.5, 20))
@settings(deadline=None, max_examples=20)
def test_the_bound_falls_with_amplitude_and_length(frequency, damping, factor):
    near = cramer_rao(frequency, damping, 50, 1, RATE, N)
    louder = cramer_rao(frequency, damping, 50 * factor, 1, RATE, N)
    longer = cramer_rao(frequency, damping, 50, 1, RATE, round(N * factor))
    assert louder.u_natural_frequency == pytest.approx(near.u_natural_frequency / factor, rel=1e-6)
    assert longer.u_natural_frequency[0] <= near.u_natural_frequency[0] * (1 + 1e-9)
    assert longer.u_damping_ratio[0] <= near.u_damping_ratio[0] * (1 + 1e-9)


@given(mass=st.floats(0.2, 20), stiffness=st.floats(1e5, 1e8), share=st.floats(0.02, 1.0))
@settings(deadline=None, max_examples=30)
def test_moving_mass_is_weighed_whatever_the_rig(mass, stiffness, share):
    bare, loaded = (np.sqrt(stiffness / m) / (2 * np.pi) for m in (mass, mass * (1 + share)))
    found = find_moving_mass(bare, loaded, mass * share)
    assert found.mass == pytest.approx(mass, rel=1e-6)
    assert found.stiffness == pytest.approx(stiffness, rel=1e-6)


@given(slope=st.floats(1e-6, 1e3), zero=st.floats(-10, 10), bend=st.floats(-0.02, 0.02), at=st.floats(0, 1))
@settings(deadline=None, max_examples=30)
def test_reading_and_force_are_inverse(slope, zero, bend, at):
    force = np.linspace(0, 5000, 12)
    reading = zero + slope * force * (1 + bend * force / 5000)
    fit = fit_calibration(force, reading, 2)
    wanted = 5000 * at
    there = float(zero + slope * wanted * (1 + bend * wanted / 5000))
    # a zero of 10 beside a span of 0.005 leaves twelve digits
    assert force_at_reading(there, fit).force == pytest.approx(wanted, abs=1e-3)
