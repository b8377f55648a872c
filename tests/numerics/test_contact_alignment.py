"""Alignment of force and speed on the strike itself."""

from __future__ import annotations

import numpy as np
import pytest
from tests.simulated_limb import simulate_blow

from quintain.numerics.bodies import Push
from quintain.numerics.contact_alignment import align_on_contact


@pytest.mark.parametrize("error", [-0.0006, 0.0, 0.0004])
@pytest.mark.parametrize("pad", ["firm", "soft"])
def test_a_wrong_clock_is_found(error: float, pad: str) -> None:
    blow = simulate_blow(push=Push(200.0, start=-0.03, duration=0.15, rise=0.001), pad=pad)
    coarse = np.arange(-0.02, 0.08, 0.001)
    speed = np.interp(coarse, blow.since, blow.motion.striker_speed)
    found = align_on_contact(
        blow.trace.time,
        blow.trace.impulse,
        coarse + error,
        speed,
        acceleration=blow.acceleration,
        u_alignment=0.001,
    )
    # below 1 % of the time to the stop, 6 ms on the firm and 17 ms on the soft pad, as U_SHAPE allows
    assert found.shift == pytest.approx(-error, abs=0.01 * blow.stop)
    assert found.misfit < 0.005


def test_good_clocks_are_believed() -> None:
    blow = simulate_blow()
    found = align_on_contact(
        blow.trace.time, blow.trace.impulse, blow.since + 0.0003, blow.motion.striker_speed,
        acceleration=0.0, u_alignment=1e-6,
    )  # fmt: skip
    assert abs(found.shift) < 1e-7
    assert found.disagreement < -2


def test_a_limb_that_does_not_stop_cannot_be_aligned() -> None:
    t = np.linspace(-0.01, 0.02, 301)
    with pytest.raises(ValueError, match="to its stop"):
        align_on_contact(t, np.maximum(t, 0), t, 5 - t, acceleration=0.0, u_alignment=0.001)
    with pytest.raises(ValueError, match="above 0 s"):
        align_on_contact(t, np.maximum(t, 0), t, 5 - 1000 * t, acceleration=0.0, u_alignment=0.0)
