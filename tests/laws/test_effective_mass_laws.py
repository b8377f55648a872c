"""Laws that effective mass and energy obey whatever the blow."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.simulated_limb import simulate_blow

from quintain.numerics.bodies import Push
from quintain.numerics.effective_mass import (
    LimbTrace,
    effective_mass,
    find_stop,
    mass_by_definition,
    mass_growth,
)
from quintain.numerics.energy import energy_to, running_energy
from quintain.numerics.limb_numbers import QUANTITIES, LimbDoubts, draw_limb, measure_limb

few = settings(deadline=None, max_examples=12)
masses = st.floats(1.0, 6.0)
speeds = st.floats(3.0, 8.0)
pads = st.sampled_from(["firm", "soft", "slow", "lively"])


@few
@given(masses, speeds, st.floats(0.0, 500.0), pads)
def test_momentum_gives_the_mass_back(mass: float, speed: float, push: float, pad: str) -> None:
    steady = Push(push, start=-0.05, duration=0.3, rise=0.001)
    blow = simulate_blow(mass, speed, push=steady, pad=pad)
    stop = find_stop(blow.trace)
    assert stop is not None
    impulse = float(np.interp(stop, blow.trace.time, blow.trace.impulse))
    found = effective_mass(impulse, blow.approach_speed, acceleration=blow.acceleration, stop=stop)
    # 0.5 %: speed and acceleration at the touch come from a line through 3 ms
    assert abs(found / mass - 1) < 0.005
    assert abs(mass_growth(blow.trace, stop, acceleration=blow.acceleration).ratio) < 0.02


@few
@given(masses, speeds, pads)
def test_energy_rises_to_the_stop_and_falls_after_it(mass: float, speed: float, pad: str) -> None:
    blow = simulate_blow(mass, speed, pad=pad)
    energy = running_energy(blow.trace)
    i = int(np.argmax(energy))
    assert abs(blow.trace.time[i] - blow.stop) < 1e-4  # two grid steps and the start between two points
    assert (np.diff(energy[: i - 1]) >= -1e-9).all()
    assert 0 < energy[-1] < energy[i]  # a pad never gives back more than it took


@few
@given(st.floats(0.2, 5.0))
def test_everything_scales_with_the_force(factor: float) -> None:
    t = simulate_blow().trace
    scaled = LimbTrace(t.time, factor * t.force, t.speed, factor * t.impulse)
    kwargs = {"approach_speed": 7.0, "acceleration": 0.0, "doubts": LimbDoubts(gain=0.01)}
    one, other = measure_limb(t, **kwargs), measure_limb(scaled, **kwargs)  # type: ignore[arg-type]
    for name in ("impulse_to_stop", "effective_mass", "energy", "mean_power", "peak_power"):
        a, b = one.estimates[name], other.estimates[name]
        assert abs(b.value / a.value / factor - 1) < 1e-9
        assert abs(b.u / a.u / factor - 1) < 1e-6
    assert abs(one.stop - other.stop) < 1e-12


@few
@given(st.floats(-10.0, 10.0), st.floats(1.0, 6.0))
def test_numbers_do_not_know_what_time_it_is(shift: float, speed: float) -> None:
    from quintain.numerics.effective_mass import join_speed

    m = simulate_blow(speed=speed).motion
    touch = float(m.touch_times[0])
    end = float(m.leave_times[0]) - touch
    here = join_speed(m.time - touch, m.force_on_cell, m.time - touch, m.striker_speed, end=end)
    moved = (m.time + shift) - (touch + shift)
    there = join_speed(moved, m.force_on_cell, moved, m.striker_speed, end=end)
    assert abs(energy_to(here, 0.004) / energy_to(there, 0.004) - 1) < 1e-8


@few
@given(st.floats(0.001, 0.02), st.floats(0.001, 0.02), st.floats(0.0, 2e-4), st.integers(0, 1000))
def test_first_order_holds_for_small_doubts(gain: float, scale: float, alignment: float, seed: int) -> None:
    blow = simulate_blow(pad="soft")
    doubts = LimbDoubts(gain=gain, speed_scale=scale, alignment=alignment)
    kwargs = {"approach_speed": blow.approach_speed, "acceleration": 0.0, "doubts": doubts}
    linear = measure_limb(blow.trace, **kwargs)  # type: ignore[arg-type]
    drawn = draw_limb(blow.trace, n_draws=20_000, seed=seed, **kwargs)  # type: ignore[arg-type]
    for name in QUANTITIES:
        one, many = linear.estimates[name], drawn[name]
        # 4 sd of a standard deviation from 2e4 draws is 2 %; the rest is curvature
        assert abs(many.u - one.u) <= 0.05 * one.u + 1e-9


@few
@given(st.floats(5, 60), st.floats(2, 12), st.floats(0.0, 0.05), st.floats(0.0, 0.05))
def test_mass_of_two_relative_doubts_adds_in_squares(j: float, v: float, u_j: float, u_v: float) -> None:
    mass = mass_by_definition("to_stop", j, v, u_impulse=u_j * j, u_approach_speed=u_v * v)
    parts = {c.name: c.u for c in mass.contributions}
    assert abs(np.hypot(parts["impulse"], parts["speed"]) / mass.value - np.hypot(u_j, u_v)) < 1e-12
