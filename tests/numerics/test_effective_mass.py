"""Effective mass against simulated limbs, whose mass is known."""

from __future__ import annotations

import numpy as np
import pytest
from tests.simulated_limb import Simulated, simulate_blow

from quintain.numerics.bodies import Push
from quintain.numerics.effective_mass import (
    DEFINITIONS,
    effective_mass,
    find_stop,
    join_speed,
    mass_bounds,
    mass_by_definition,
    mass_growth,
    touch_before_start,
)

STEADY = Push(300.0, start=-0.03, duration=0.15, rise=0.001)
"""Acts from long before the touch until after contact."""
LATE = Push(600.0, start=0.0071, duration=0.06, rise=0.005)
"""Begins as contact does: 0.05 m at 7 m/s."""


def _mass(blow: Simulated) -> float:
    stop = find_stop(blow.trace)
    assert stop is not None
    impulse = float(np.interp(stop, blow.trace.time, blow.trace.impulse))
    return effective_mass(impulse, blow.approach_speed, acceleration=blow.acceleration, stop=stop)


@pytest.mark.parametrize("pad", ["firm", "soft", "thin", "slow"])
@pytest.mark.parametrize("push", [None, STEADY])
def test_a_limb_of_one_mass_under_a_steady_push_gives_its_mass(pad: str, push: Push | None) -> None:
    # 0.3 %: the speed at the touch is a straight line through 3 ms
    assert _mass(simulate_blow(push=push, pad=pad)) == pytest.approx(3.0, rel=0.003)


def test_without_the_push_the_mass_is_too_large_by_its_impulse() -> None:
    blow = simulate_blow(push=STEADY)
    impulse = float(np.interp(blow.stop, blow.trace.time, blow.trace.impulse))
    naive = effective_mass(impulse, blow.approach_speed)
    # momentum: J = m v1 + P t_z
    expected = 3.0 + 300.0 * blow.stop / blow.approach_speed
    assert naive == pytest.approx(expected, rel=0.003)


def test_half_the_impulse_is_low_by_what_the_pad_keeps() -> None:
    blow = simulate_blow(push=None)
    total = float(blow.trace.impulse[-1])
    half = mass_by_definition("half_impulse", total, blow.approach_speed, u_impulse=0.0, u_approach_speed=0.0)
    restitution = -float(blow.trace.speed[-1]) / blow.approach_speed
    # J = m v1 (1 + e), so J/(2 v1) = m (1 + e)/2
    assert half.value == pytest.approx(3.0 * (1 + restitution) / 2, rel=0.005)
    assert half.value < 0.9 * 3.0


def test_bounds_hold_the_mass() -> None:
    for pad in ("firm", "soft", "slow"):
        trace = simulate_blow(pad=pad).trace
        to_peak = float(trace.impulse[np.argmax(trace.force)])
        low, high = mass_bounds(
            to_peak, trace.impulse[-1], trace.speed[0],
            u_impulse_to_peak=0.1, u_impulse=0.1, u_approach_speed=0.1,
        )  # fmt: skip
        assert low.value < 3.0 < high.value


def test_a_late_push_and_a_second_mass_show_as_growth() -> None:
    steady = simulate_blow(push=STEADY)
    late = simulate_blow(push=LATE)
    two = simulate_blow(2.0, mass_behind=3.0)
    growth = [mass_growth(b.trace, b.stop, acceleration=b.acceleration).ratio for b in (steady, late, two)]
    assert abs(growth[0]) < 0.01  # the same mass in every window
    assert growth[1] > 0.1
    assert growth[2] > 0.5


def test_two_masses_give_the_front_one_and_some_of_the_other() -> None:
    two = simulate_blow(2.0, mass_behind=3.0, joint_frequency=15.0)
    assert 2.0 < _mass(two) < 2.0 + 0.5 * 3.0


def test_growth_knows_what_alignment_does_to_it() -> None:
    blow = simulate_blow()
    growth = mass_growth(blow.trace, blow.stop, acceleration=0.0, u_alignment=0.0002)
    t, trace = blow.since, blow.trace
    moved = join_speed(
        t, blow.motion.force_on_cell, t + 0.0002, blow.motion.striker_speed, end=trace.time[-1]
    )
    stop = find_stop(moved)
    assert stop is not None
    shifted = mass_growth(moved, stop, acceleration=0.0).ratio - growth.ratio
    assert abs(shifted) == pytest.approx(growth.u_ratio, rel=0.15)  # first order in the shift


def test_the_touch_lies_before_the_threshold() -> None:
    for pad in ("firm", "soft"):
        blow = simulate_blow(pad=pad)
        force = blow.motion.force_on_cell
        late = blow.since[int(np.argmax(force > 0.01 * force.max()))]
        lead = touch_before_start(blow.since - late, force)
        assert lead.value == pytest.approx(late, abs=2 * lead.u)
        assert abs(lead.value - late) < 0.5 * late


def test_speed_of_few_samples_is_read_between_them() -> None:
    blow = simulate_blow(pad="thin")
    coarse = np.arange(-0.02, 0.1, 0.001)
    speed = np.interp(coarse, blow.since, blow.motion.striker_speed)
    trace = join_speed(blow.since, blow.motion.force_on_cell, coarse, speed, end=blow.trace.time[-1])
    stop = find_stop(trace)
    # a straight line through 1 ms would be 0.03-0.08 ms late
    assert stop == pytest.approx(blow.stop, abs=0.01e-3)


def test_a_limb_that_goes_on_has_no_stop() -> None:
    t = np.linspace(0, 0.01, 11)
    assert find_stop(join_speed(t, 100 * t, t, 5 - t, end=0.01)) is None


def test_nothing_is_made_of_impossible_speeds() -> None:
    t = np.linspace(0, 0.01, 11)
    with pytest.raises(ValueError, match="towards the pad"):
        find_stop(join_speed(t, 100 * t, t, -5 - t, end=0.01))
    with pytest.raises(ValueError, match="above 0 m/s"):
        effective_mass(20.0, 0.0)
    with pytest.raises(ValueError, match="above 0 m/s"):
        effective_mass(20.0, 5.0, acceleration=-1000.0, stop=0.01)
    with pytest.raises(ValueError, match="must increase"):
        join_speed(t, t, t[::-1], t, end=0.01)
    with pytest.raises(ValueError, match="finite"):
        join_speed(t, t, t, np.where(t > 0.005, np.nan, 1.0), end=0.01)
    with pytest.raises(ValueError, match="hold the start"):
        join_speed(t + 0.001, t, t, t, end=0.01)
    with pytest.raises(ValueError, match="definition must be one of"):
        mass_by_definition("to_stop_with_push", 20.0, 5.0, u_impulse=0.0, u_approach_speed=0.0)
    with pytest.raises(ValueError, match="below that of the whole"):
        mass_bounds(30.0, 20.0, 5.0, u_impulse_to_peak=0.1, u_impulse=0.1, u_approach_speed=0.1)


def test_every_definition_says_its_window_and_its_own_doubt() -> None:
    assert all(d.window and d.formula and 0 < d.u_method < 1 for d in DEFINITIONS.values())
