"""Laws that every pulse obeys, whatever its shape: tried on random ones."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from quintain.numerics.cfc import filter_cfc
from quintain.numerics.inverse import invert_second_order
from quintain.numerics.pulse import (
    contact_time,
    expected_peak,
    find_contact,
    find_peak,
    impulse_with_zero,
    integrate_impulse,
    rate_of_force_development,
    time_to_peak,
    width_at_level,
)
from quintain.numerics.resonator import Mode, mode_poles, transfer
from quintain.numerics.sampling import sampling_error_of_impulse, sampling_loss
from quintain.numerics.uncertainty.budget import build_budget
from quintain.numerics.uncertainty.linear import combine

forces = arrays(float, st.integers(2, 60), elements=st.floats(-1e4, 1e4))
factors = st.floats(0.01, 100)
shifts = st.floats(-1e3, 1e3)


@st.composite
def pulses(draw):
    """One hump with a random rise and fall, quiet around it, on a grid of 0.1 ms."""
    t = np.arange(-0.003, 0.04, 1e-4)
    duration, peak = draw(st.floats(0.004, 0.03)), draw(st.floats(200, 8000))
    rise, fall = draw(st.floats(0.7, 2.5)), draw(st.floats(0.7, 2.5))
    x = np.clip(t / duration, 0, 1)
    hump = x**rise * (1 - x) ** fall
    return t, peak * hump / hump.max()


@given(forces, forces, factors)
def test_impulse_is_linear(a, b, factor):
    n = min(a.size, b.size)
    both = integrate_impulse(a[:n] + factor * b[:n], 1000).value
    parts = integrate_impulse(a[:n], 1000).value + factor * integrate_impulse(b[:n], 1000).value
    assert both == pytest.approx(parts, rel=1e-9, abs=1e-6)


@given(forces, st.data())
def test_impulse_of_parts_adds_up(force, data):
    cut = data.draw(st.integers(1, force.size - 1))
    assume(cut + 1 >= 2 and force.size - cut >= 2)
    parts = integrate_impulse(force[: cut + 1], 500).value + integrate_impulse(force[cut:], 500).value
    assert integrate_impulse(force, 500).value == pytest.approx(parts, rel=1e-9, abs=1e-6)


@given(forces, factors)
def test_slower_sampling_stretches_the_impulse(force, factor):
    stretched = integrate_impulse(force, 1000 / factor).value
    assert stretched == pytest.approx(factor * integrate_impulse(force, 1000).value, rel=1e-9, abs=1e-6)


@given(forces, st.floats(-50, 50))
def test_an_error_of_zero_moves_the_impulse_by_its_contribution(force, error):
    moved = integrate_impulse(force + error, 1000).value - integrate_impulse(force, 1000).value
    stated = dict(impulse_with_zero(force, 1000, u_zero=abs(error)).contributions)["zero"]
    assert abs(moved) == pytest.approx(abs(stated), rel=1e-6, abs=1e-6)


@given(pulses(), shifts, factors)
def test_times_shift_and_forces_scale(pulse, shift, factor):
    t, force = pulse
    u = 0.001 * force.max()
    times = (contact_time, time_to_peak, width_at_level)
    for quantity in times:
        here, there = quantity(force, t, u), quantity(factor * force, t + shift, factor * u)
        # 1e-12 of a shift of 1000 s, over slopes: nanoseconds
        assert there.value == pytest.approx(here.value, abs=1e-8)
        assert there.u == pytest.approx(here.u, rel=1e-4, abs=1e-8)
    rate = rate_of_force_development(force, t, u)
    assert rate_of_force_development(factor * force, t + shift, factor * u).value == pytest.approx(
        factor * rate.value, rel=1e-5
    )
    peak = find_peak(force, t, u)
    assert find_peak(factor * force, t, factor * u).value == pytest.approx(factor * peak.value, rel=1e-9)


@given(pulses())
def test_order_of_instants(pulse):
    t, force = pulse
    contact, peak = find_contact(force, t, 0.5), find_peak(force, t, 0.5)
    assert 0 <= contact.start < peak.time < contact.end
    assert width_at_level(force, t, 0.5).value < contact_time(force, t, 0.5).value
    assert peak.value >= force.max()


@given(pulses(), st.floats(1, 30))
def test_higher_threshold_shortens_the_contact(pulse, multiple):
    t, force = pulse
    u = 0.001 * force.max()
    times = [find_contact(force, t, u, multiple=m * multiple) for m in (1, 2)]
    assert times[1].end - times[1].start <= times[0].end - times[0].start


@given(st.floats(0.1, 100), st.floats(0.001, 0.1))
def test_expected_peak_is_above_the_mean_force(impulse, duration):
    peak = expected_peak(impulse, duration)
    assert peak.value > impulse / duration
    assert peak.value == pytest.approx(expected_peak(2 * impulse, 2 * duration).value)


@given(st.floats(1, 500))
def test_sampling_loss_shrinks(n):
    loss, finer = sampling_loss(n), sampling_loss(1.5 * n)
    assert 0 < finer.worst < loss.worst <= 1
    assert 0 < loss.mean < loss.worst
    assert sampling_error_of_impulse(1.5 * n) < sampling_error_of_impulse(n)


@given(st.floats(60, 400), st.floats(0.005, 0.3), st.floats(1, 50))
def test_inverse_undoes_the_rig(frequency, damping, tone):
    # a slow tone read through the rig comes back, away from the edges
    t = np.arange(2000) / 2000
    response = complex(transfer(tone, mode_poles([Mode(frequency, damping)])))
    read = (response * np.exp(2j * np.pi * tone * t)).imag
    back = invert_second_order(read, 2000, frequency, damping, corner=600)
    assert back[600:-600] == pytest.approx(np.sin(2 * np.pi * tone * t)[600:-600], abs=2e-3)


@given(forces, factors)
def test_cfc_is_linear_and_keeps_a_constant(force, factor):
    force = np.concatenate([np.zeros(20), force, np.zeros(20)])
    once = filter_cfc(force, 10_000, 180)
    assert filter_cfc(factor * force + 5, 10_000, 180) == pytest.approx(factor * once + 5, rel=1e-7, abs=1e-5)


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=8))
def test_budget_shares_add_up(contributions):
    assume(max(map(abs, contributions)) > 1e-3)
    whole = combine(1.0, **{f"source_{i}": c for i, c in enumerate(contributions)})
    lines = build_budget(whole.contributions)
    assert sum(line.share for line in lines) == pytest.approx(1)
    assert all(line.u_without <= whole.u * (1 + 1e-9) for line in lines)
